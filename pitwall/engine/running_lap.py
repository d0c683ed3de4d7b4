"""The running lap, for whoever looks at it: when it began and ends, where the driver can listen, who is around."""

from __future__ import annotations

from pitwall.engine.car import CarTrack
from pitwall.engine.gaps import Neighbour, gaps_at
from pitwall.engine.session_clock import SessionClock
from pitwall.engine.team import TeamCar
from pitwall.engine.view import situation
from pitwall.model.desk import CarNear, RunningLap
from pitwall.pace.arrivals import COMING_IN

STEPS = 8
"""Halvings of the lap to find where the car is: to a third of a second on a lap of a minute and a half."""
BOUND_PHASE = 0.995


def running_lap(car: TeamCar, clock: SessionClock, now: float) -> RunningLap | None:
    """The running lap in session seconds; None while the car is not on one."""
    if not car.track.on_track or car.track.lap is None:
        return None
    seen = situation(car, clock, now)
    leg = next((one for one in seen.legs if one.running), None)
    if leg is None:
        return None
    spans, at = seen.stretches((leg,)) or (), leg.at
    # Where it is now: the phase whose moment is now. Moments grow with the phase, so halving finds it.
    low, high = leg.start_phase, BOUND_PHASE
    for _ in range(STEPS):
        middle = (low + high) / 2
        low, high = (middle, high) if at(middle) < now else (low, middle)
    here = (low + high) / 2
    around = gaps_at(here, now, seen.others)
    return RunningLap(
        kind=leg.kind,
        begun_s=round(leg.start_s, 2),
        line_s=round(leg.end_s, 2),
        listen=tuple((round(begin, 2), round(end, 2)) for begin, end in spans),
        here=round(here, 4),
        here_within_s=_within(car.track, here),
        line_within_s=_within(car.track, 1.0) if leg.kind not in COMING_IN else None,
        others=(*_near(around.ahead, 1.0), *_near(around.behind, -1.0)),
    )


def _within(track: CarTrack, phase: float) -> float | None:
    spread = track.spread(phase)
    return None if spread is None else max(0.0, round(spread, 2))  # quantiles close together may cross by a hair


def _near(one: Neighbour | None, side: float) -> tuple[CarNear, ...]:
    return () if one is None else (CarNear(car=one.car, gap_s=round(side * one.gap_s, 1), kind=one.kind),)
