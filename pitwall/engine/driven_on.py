"""A driver who was to slow down and drives on: from which moment a cool-down lap is known to be none.

Past half of the lap its pace alone tells. Sooner it tells only of a driver who had been told long enough before, or
whom nobody tells any more: of five cars that were at the pace at the end of the first sector three had just heard the
call, and slowed down (six rehearsed hours).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from pitwall.engine.call import Call
from pitwall.engine.run_state import RunState
from pitwall.pace.kinds import at_the_pace

if TYPE_CHECKING:
    from pitwall.engine.team import TeamCar

SURE_FROM = 0.5  # of the lap: who heard late that it is a cool-down lap has slowed down by then (a choice of ours)
SHOWS_S = 8.0  # from the end of the call: some two to react, and five of a slow lap cost two (a choice of ours)


def last_timed_lap_spent(car: TeamCar, run: RunState) -> bool:
    """Guard: the lap is driven as a timed one in place of the cool-down lap, and behind the timed lap that was to
    follow there is no other: that one is spent, so what it needs is not called for. Where a timed lap follows it, what
    is told now is done on that one."""
    lap, follows = car.track.lap, run.pointer + 1
    if lap is None or lap.kind != "timed" or not lap.crossings:
        return False
    if lap.disturbed or lap.start_phase > 0 or lap.from_pits:
        return False
    if run.expected_kind != "cool" or run.laps[follows : follows + 1] != ("timed",) or run.laps[follows + 1] == "timed":
        return False
    last_t = max(lap.crossings.values())
    if not at_the_pace(car.track.pace, {loop: t - lap.start_t for loop, t in lap.crossings.items()}, last_t):
        return False  # a quick cool-down lap: what the timed lap behind it needs would be left where it stands
    if car.track.seen_phase >= SURE_FROM:
        return True
    told_by = _told_by(car, run, lap.start_t)
    return told_by is not None and last_t >= told_by + SHOWS_S


def _told_by(car: TeamCar, run: RunState, since: float) -> float | None:
    """By when the driver has heard that this lap is a cool-down lap, if he ever does: session seconds. None while it
    may still be said, or is being said."""
    calls = [call for action in ("lap_kind", "procedure") for call in car.book.asking(action)
             if call.spec.ask.lap_kind == "cool" and (call.spec.run, call.spec.leg) == (run.run.run, run.pointer)
             and (call.ended_t is None or call.ended_t >= since or (call.said_t or 0.0) >= since)]
    return None if any(call.open for call in calls) else max((_heard_by(call) for call in calls), default=since)


def _heard_by(call: Call) -> float:
    """The end of a call that was said; of one that nobody says was said, its end had it been begun at the last moment
    that it was asked for."""
    if call.said_t is not None:
        return call.said_t
    last = call.spec.last_moment_s
    return (last if call.ended_t is None else min(last, call.ended_t)) + call.spec.spoken_s
