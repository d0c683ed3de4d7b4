"""The debrief of one run: the whole debrief, cut to that run. No row is made here, and none is changed.

A run is *out* from the start of its first lap to the end of its last, once for each leaving. What happened in the
garage after it is still of it until the car leaves again; what was changed in the garage before it was changed for it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby
from math import inf

from pitwall.debrief.model import AlertRow, CallRow, CarDebrief, Debrief, MinuteLoad, RunRow, SessionSummary, SwitchMove
from pitwall.debrief.radio import MINUTE_S, statistics_of
from pitwall.model.comment_rows import CommentFindings
from pitwall.model.debrief_rows import LapRow


@dataclass(frozen=True)
class Leaving:
    """One leaving of a run, in session seconds: out from ``from_s`` to ``to_s``; ``since_s`` is when the car came back
    before it (minus infinity: never), ``until_s`` when it left again after it (infinity: not yet)."""

    since_s: float
    from_s: float
    to_s: float
    until_s: float


def leavings(laps: Sequence[LapRow], run: str) -> tuple[Leaving, ...]:
    """Every leaving of a run, from all laps of the car in order; none of a run that drove no lap."""
    groups = [(name, list(group)) for name, group in groupby(laps, key=lambda lap: lap.run)]
    found = []
    for at, (name, own) in enumerate(groups):
        if name == run:
            since_s = groups[at - 1][1][-1].end_s if at else -inf
            until_s = groups[at + 1][1][0].start_s if at + 1 < len(groups) else inf
            found.append(Leaving(since_s, own[0].start_s, own[-1].end_s, until_s))
    return tuple(found)


def driven(car: CarDebrief) -> tuple[str, ...]:
    """The runs of the plan that drove a lap, in the order in which they drove the last."""
    planned = {one.run for one in car.runs}
    last = {lap.run: lap.end_s for lap in car.laps if lap.run is not None and lap.run in planned}
    return tuple(sorted(last, key=lambda run: last[run]))


def last_run(car: CarDebrief, session: SessionSummary) -> str | None:
    """The run from which the car came back last; before it came back from any, the one that it is on. Once the session
    is closed the one that drove last, wherever it ended. None before any lap."""
    found = driven(car)
    back = [run for run in found if session.state == "closed" or not is_out(_row(car, run))]
    return [*found[-1:], *back[-1:]][-1] if found else None


def is_out(run: RunRow) -> bool:
    """True for a run from which nobody has seen the car come back."""
    return bool(run.stints) and run.stints[-1].to_s is None


def of_run(debrief: Debrief, name: str, run: str) -> Debrief:
    """The debrief of one run of one car; ``session`` stays that of the whole session.

    Raises:
        ValueError: for a car that is not in it, or a run that drove no lap.
    """
    car = debrief.car(name)
    spans = leavings(car.laps, run) if car is not None else ()
    if car is None or not spans:
        raise ValueError(f"no lap of run {run} of car {name} is in this debrief")
    return debrief.model_copy(update={
        "run": run,
        "cars": (_car(car, run, spans),),
        "alerts": None,
        "alert_rows": tuple(one for one in debrief.alert_rows if one.car in (None, name) and _stood_in(one, spans)),
        "changes": tuple(one for one in debrief.changes if any(at.since_s <= one.t < at.until_s for at in spans)),
    })


def _car(car: CarDebrief, run: str, spans: Sequence[Leaving]) -> CarDebrief:
    laps = tuple(lap for lap in car.laps if lap.run == run)
    calls = tuple(one for one in car.calls if one.run == run or (one.run is None and _came_up_in(one, spans)))
    load = _load(car.radio.load, laps)
    spoken_s = round(sum(one.spoken_s for one in load), 1) if load else None
    return car.model_copy(update={
        "drivers": tuple(dict.fromkeys(lap.driver for lap in laps if lap.driver is not None)) or car.drivers,
        "runs": (_row(car, run),),
        "items": tuple(one for one in car.items if one.run == run),
        "data_windows": tuple(one for one in car.data_windows if one.run == run),
        "laps": laps,
        "best_lap_s": min((lap.lap_time_s for lap in laps if lap.lap_time_s is not None), default=None),
        "switches": _switches(car.switches, run, spans),
        "calls": calls,
        "radio": statistics_of(calls, load, medium=car.radio.medium, spoken_s=spoken_s,
                               spoken_from=car.radio.spoken_from),
        "questions": tuple(one for one in car.questions if any(at.from_s <= one.asked_s < at.until_s for at in spans)),
        "changes": tuple(one for one in car.changes if any(at.since_s <= one.t < at.until_s for at in spans)),
        "comments": tuple(one for one in car.comments if one.run == run),
        "said": _said(car.said, run),
    })


def _row(car: CarDebrief, run: str) -> RunRow:
    return next(one for one in car.runs if one.run == run)


def _switches(moves: Sequence[SwitchMove], run: str, spans: Sequence[Leaving]) -> tuple[SwitchMove, ...]:
    """Of each switch the last move before the run, which says where it stood as it began, then every move in it."""
    stood = {one.switch: one for one in moves if one.t < spans[0].from_s}
    return (*stood.values(), *(one for one in moves if spans[0].from_s <= one.t
                               and (one.t <= spans[-1].to_s or one.run == run)))


def _load(load: Sequence[MinuteLoad], laps: Sequence[LapRow]) -> tuple[MinuteLoad, ...]:
    """The minutes in which the run was out; the first and the last reach beyond it."""
    return tuple(one for one in load
                 if any(lap.start_s < one.from_s + MINUTE_S and one.from_s <= lap.end_s for lap in laps))


def _came_up_in(call: CallRow, spans: Sequence[Leaving]) -> bool:
    """Guard: a call of no run, such as a red flag, that was to be said while this one was out."""
    return any(at.from_s <= call.say_from_s <= at.to_s for at in spans)


def _stood_in(alert: AlertRow, spans: Sequence[Leaving]) -> bool:
    """Guard: it stood while the run was out, or in the garage after it."""
    return any(alert.from_s < at.until_s and (alert.to_s is None or alert.to_s >= at.from_s) for at in spans)


def _said(said: CommentFindings, run: str) -> CommentFindings:
    """What the comments of this run say, and what became of those of another run in it."""
    return CommentFindings(
        said=tuple(one for one in said.said if one.run == run),
        matrices=tuple(one for one in said.matrices if one.run == run),
        changes=tuple(one for one in said.changes if run in (one.before.run, one.after.run)),
        contradictions=tuple(one for one in said.contradictions if run in (one.first.run, one.second.run)),
        open=tuple(one for one in said.open if one.run == run),
    )
