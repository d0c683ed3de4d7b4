"""When each run would happen by likely times: the plan laid out on the session clock, before anything is known.

A rough sketch on purpose: it answers "can this plan fit at all?" while it is being written. The forecast, which
draws futures and knows about interruptions, is another thing.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from pitwall.checks.laps import lap_indices
from pitwall.model.plan import LapKind, Plan, Run
from pitwall.model.procedure import Procedure

LAP_FACTORS: Mapping[LapKind, float] = {"out": 1.25, "timed": 1.01, "cool": 1.50, "in": 1.18, "installation": 1.45}
"""Lap time over the car's best lap: medians of about ten hours of real practice sessions (out, cool, in); a timed lap
lies a little above the best; out and straight in is an out-lap that ends in the pit lane (common practice)."""


@dataclass(frozen=True, slots=True)
class Span:
    """One run on the clock: session seconds at which it leaves the garage, starts its last timed lap, and is back."""

    run: Run
    start_s: float
    last_timed_s: float | None
    end_s: float
    after_flag: bool


def likely_run_s(run: Run, lap_s: float, procedures: Mapping[str, Procedure]) -> tuple[float, float | None]:
    """Likely seconds from leaving to back, and to the start of the last timed lap (None: it has none)."""
    kinds: tuple[LapKind, ...] = ("installation",) if run.out_in else run.laps
    lengths = [LAP_FACTORS[kind] * lap_s for kind in kinds]
    for item in run.items:
        procedure = procedures.get(item.do)
        if procedure is None:
            continue
        times = item.times if procedure.stationary else 1
        for lap in lap_indices(run, item.on):
            lengths[min(lap, len(lengths) - 1)] += procedure.extra_s * times
    last = max((index for index, kind in enumerate(kinds) if kind == "timed"), default=None)
    return sum(lengths), sum(lengths[:last]) if last is not None else None


def likely_spans(
    plan: Plan, lap_s: float, procedures: Mapping[str, Procedure], duration_s: float
) -> tuple[Span, ...]:
    """Every run on the clock by likely times, one after the other in file order."""
    spans: list[Span] = []
    now = 0.0
    for run in plan.runs:
        length, last = likely_run_s(run, lap_s, procedures)
        after_flag = run.after_flag == "only" or (not run.laps and run.after_flag is not None)
        start = max(now, run.release.not_before or 0.0)
        if after_flag:
            start = max(start, duration_s)
        spans.append(Span(run, start, start + last if last is not None else None, start + length, after_flag))
        if run.laps and not after_flag:
            now = start + length + run.after_garage_s.likely_s
    return tuple(spans)


def fits(span: Span, duration_s: float, finish_started_lap: bool) -> bool:
    """Does the run still count? A timed lap begun in time may be finished where the regulations say so."""
    if span.after_flag:
        return True
    if span.last_timed_s is not None and finish_started_lap:
        return span.last_timed_s < duration_s
    return span.end_s <= duration_s
