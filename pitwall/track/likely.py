"""How long laps and runs likely take, and a plan laid out on the session clock, before anything is known.

A rough sketch on purpose, and the only one: the check says by it whether a plan can fit at all, the run sheet prints
it, and the plan's lanes and the debrief show beside it what was driven. The forecast, which draws futures and knows
about interruptions, is another thing.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from pitwall.model.plan import LapChoice, LapKind, Plan, Run
from pitwall.model.procedure import Procedure
from pitwall.model.rules import SessionWindow
from pitwall.model.setup import GarageWork

LAP_FACTORS: Mapping[LapKind, float] = {"out": 1.25, "timed": 1.01, "cool": 1.50, "in": 1.18, "installation": 1.45}
"""Lap time over the car's best lap: medians of about ten hours of real practice sessions (out, cool, in); a timed lap
lies a little above the best; out and straight in is an out-lap that ends in the pit lane (common practice)."""


@dataclass(frozen=True, slots=True)
class Span:
    """One run on the clock: session seconds at which it leaves the garage, starts its last timed lap, and is back.

    In a session in windows ``flag_s`` is the flag of its window, and the timed lap is the last that must be begun.
    """

    run: Run
    start_s: float
    last_timed_s: float | None
    end_s: float
    after_flag: bool
    flag_s: float | None = None


def lap_indices(run: Run, choices: tuple[LapChoice, ...]) -> tuple[int, ...]:
    """Indices into ``run.laps`` on which an item sits. Without ``on`` it is the first lap."""
    if not run.laps:
        return ()
    if not choices:
        return (0,)
    found: set[int] = set()
    for choice in choices:
        of_kind = laps_of(run, choice.kind)
        found.update(of_kind if not choice.numbers else [of_kind[n - 1] for n in choice.numbers if n <= len(of_kind)])
    return tuple(sorted(found))


def laps_of(run: Run, kind: LapKind) -> list[int]:
    """Indices into ``run.laps`` of the laps of a kind."""
    if kind == "installation" and run.out_in:
        return [0]
    return [index for index, mine in enumerate(run.laps) if mine == kind]


def likely_run_s(run: Run, lap_s: float, procedures: Mapping[str, Procedure]) -> tuple[float, float | None]:
    """Likely seconds from leaving to back, and to the start of the last timed lap (None: it has none)."""
    kinds: tuple[LapKind, ...] = ("installation",) if run.out_in else run.laps
    lengths = [LAP_FACTORS[kind] * lap_s for kind in kinds]
    for item in run.items:
        procedure = procedures.get(item.do)
        if procedure is None:
            continue
        times = item.times if procedure.stationary else 1
        for lap in lap_indices(run, item.on)[: 1 if item.when is not None else None]:
            lengths[min(lap, len(lengths) - 1)] += procedure.extra_s * times
    last = max((index for index, kind in enumerate(kinds) if kind == "timed"), default=None)
    return sum(lengths), sum(lengths[:last]) if last is not None else None


def needed_s(run: Run, lap_s: float, procedures: Mapping[str, Procedure], finish_started_lap: bool = True) -> float:
    """Likely seconds from leaving until the fewest timed laps that count are begun (done); without any: until back."""
    length, last = likely_run_s(run, lap_s, procedures)
    if last is None or not run.laps:
        return length
    fewest = run.shorten_to if run.shorten_to is not None else (run.timed_laps + 1) // 2
    spared = run.laps[_at_timed(run, fewest) : _at_timed(run, run.timed_laps)]
    needed = last - sum(LAP_FACTORS[kind] * lap_s for kind in spared)
    return needed if finish_started_lap else needed + LAP_FACTORS["timed"] * lap_s


def _at_timed(run: Run, number: int) -> int:
    return [index for index, kind in enumerate(run.laps) if kind == "timed"][max(number, 1) - 1]


def window_of(session: SessionWindow, run: Run) -> int | None:
    """Index of the window that the run is bound to; None: bound to none, or to one that there is not."""
    return None if run.window is None else session.find(run.window)


def plan_spans(
    plan: Plan, lap_s: float, session: SessionWindow, procedures: Mapping[str, Procedure], garage: GarageWork, *,
    finish_started_lap: bool = True,
) -> tuple[Span, ...]:
    """Every run of a plan on the clock of its session by likely times, windows and changes of drivers included.

    Args:
        plan: laid out in its order.
        lap_s: the car's best lap, seconds.
        session: of the regulations.
        procedures: the library by name; what is not in it takes no time.
        garage: what work beside the runs' own takes.
        finish_started_lap: may a timed lap that was begun in time be finished.
    """
    if not session.windows:
        return likely_spans(plan, lap_s, procedures, session.duration_s, garage)
    spans: list[Span] = []
    now = 0.0
    for run, following in zip(plan.runs, (*plan.runs[1:], None), strict=False):
        length, last = likely_run_s(run, lap_s, procedures)
        bound = window_of(session, run)
        allowed = session.windows if bound is None else (session.windows[bound],)
        if run.after_flag == "only" or (not run.laps and run.after_flag is not None):
            spans.append(Span(run, allowed[-1].to_s, None, allowed[-1].to_s + length, True, allowed[-1].to_s))
            continue
        ready = max(now, run.release.not_before or 0.0)
        needed = needed_s(run, lap_s, procedures, finish_started_lap)
        window = next((one for one in allowed if max(ready, one.from_s) + needed < one.to_s), allowed[-1])
        start = max(ready, window.from_s)
        decides = start + needed if last is not None else None
        spans.append(Span(run, start, decides, start + length, False, window.to_s))
        if run.laps:
            now = start + length + stop_s(plan, run, following, garage)
    return tuple(spans)


def stop_s(plan: Plan, run: Run, following: Run | None, garage: GarageWork) -> float:
    """Likely seconds in the garage after a run: its work, and a change of drivers before the one that follows."""
    changes = following is not None and bool(following.laps) and plan.driver_of(following) != plan.driver_of(run)
    return garage.stop(run.after_garage_s, changes_driver=changes).likely_s


def likely_spans(
    plan: Plan, lap_s: float, procedures: Mapping[str, Procedure], duration_s: float, garage: GarageWork | None = None
) -> tuple[Span, ...]:
    """Every run on the clock by likely times, one after the other in file order."""
    spans: list[Span] = []
    now = 0.0
    for run, following in zip(plan.runs, (*plan.runs[1:], None), strict=False):
        length, last = likely_run_s(run, lap_s, procedures)
        after_flag = run.after_flag == "only" or (not run.laps and run.after_flag is not None)
        start = max(now, run.release.not_before or 0.0)
        if after_flag:
            start = max(start, duration_s)
        spans.append(Span(run, start, start + last if last is not None else None, start + length, after_flag))
        if run.laps and not after_flag:
            now = start + length + stop_s(plan, run, following, garage or GarageWork())
    return tuple(spans)


def fits(span: Span, duration_s: float, finish_started_lap: bool) -> bool:
    """Does the run still count? A timed lap begun in time may be finished where the regulations say so."""
    if span.after_flag:
        return True
    duration_s = duration_s if span.flag_s is None else span.flag_s
    if span.last_timed_s is not None and finish_started_lap:
        return span.last_timed_s < duration_s
    return span.end_s <= duration_s
