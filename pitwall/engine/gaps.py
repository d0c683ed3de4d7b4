"""Who is around our car at a place ahead: the car behind and the car ahead there, from the crossings of all cars.

Every other car is taken on from its last crossing at the pace of the lap it is on; beyond the line at that of the lap
that most likely follows, or, after a timed lap, of another timed lap: the quickest is the one that catches us. A car on
its in-lap is not met beyond the pit entry, a stopped one not at all. Cars that stand in the pit lane now may leave and
are not foreseen: the officials' and the wall's own eyes come first.

The doubt of a gap grows with the time since the crossings that it rests on; its shares were measured on three real
sessions, in which four of five gaps turned out within it.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

from pitwall.engine.car import CarTrack
from pitwall.model.plan import LapKind

HORIZON_S = 45.0
"""Cars further behind or ahead than this are no neighbours."""
LEAST_DOUBT_S = 0.4
DOUBT: dict[LapKind, float] = {"timed": 0.04, "out": 0.12, "cool": 0.12, "in": 0.12, "installation": 0.15}
"""Seconds of doubt for each second since the last crossing."""
NEXT_LAP_DOUBT_S = 4.0
FOLLOWS: dict[LapKind, LapKind] = {"out": "timed", "timed": "timed", "cool": "timed", "installation": "timed"}
MOST_LAPS_AHEAD = 2
BESIDE = 0.5
"""Further ahead than this share of the room that is needed, a car is ahead, whatever the doubt."""


@dataclass(frozen=True, slots=True)
class Neighbour:
    """Another car at our place: how far off in time, give or take ``doubt_s``, and on which kind of lap."""

    car: str
    gap_s: float
    doubt_s: float
    kind: LapKind


@dataclass(frozen=True, slots=True)
class Gaps:
    """The closest cars when ours is at the place; None: nobody within ``HORIZON_S``."""

    behind: Neighbour | None
    ahead: Neighbour | None

    def close_behind(self, needed_s: float) -> Neighbour | None:
        """The car that comes closer than ``needed_s``: behind, or so little ahead that it may as well be behind."""
        beside = self.ahead
        if beside is not None and beside.gap_s < min(beside.doubt_s, BESIDE * needed_s):
            return beside
        return self.behind if self.behind is not None and self.behind.gap_s < needed_s else None


@dataclass(frozen=True, slots=True)
class Pass:
    """When a car passes a place, give or take ``doubt_s``, on which kind of lap."""

    t: float
    doubt_s: float
    kind: LapKind


def gaps_at(phase: float, at_s: float, others: Iterable[CarTrack], own_doubt_s: float = 0.0) -> Gaps:
    """Who is closest behind and ahead when our car is at a place.

    Args:
        phase: the place, 0 <= phase < 1 of the lap map.
        at_s: when our car is expected there, session seconds.
        others: every other car that is followed.
        own_doubt_s: give or take, for our own car.

    Equal times count as behind; of two cars with equal gaps the first by name is told.
    """
    behind: Neighbour | None = None
    ahead: Neighbour | None = None
    for track in sorted(others, key=lambda one: one.car):
        for one in passes(track, phase, at_s + HORIZON_S):
            gap = one.t - at_s
            if 0 <= gap <= HORIZON_S and (behind is None or gap < behind.gap_s):
                behind = Neighbour(track.car, gap, math.hypot(one.doubt_s, own_doubt_s), one.kind)
            elif -HORIZON_S <= gap < 0 and (ahead is None or -gap < ahead.gap_s):
                ahead = Neighbour(track.car, -gap, math.hypot(one.doubt_s, own_doubt_s), one.kind)
    return Gaps(behind, ahead)


def passes(track: CarTrack, phase: float, until_s: float) -> Iterator[Pass]:
    """When the car passes a place: once on the lap it is on, as seen or foreseen, and on the laps that follow."""
    lap, kind = track.lap, track.lap_kind
    if lap is None or kind is None or not track.on_track or track.state == "stopped":
        return
    comes_in = kind in ("in", "installation")
    seen_t = max(track.seen_t, lap.start_t)
    arrival = track.going_on()
    here = passed(track, phase) if phase <= track.seen_phase else arrival(phase)
    if phase >= lap.start_phase and here is not None and not (comes_in and phase > track.lap_map.pit_entry):
        yield Pass(here, doubt_s(kind, here - seen_t), kind)
    line = arrival(1.0)
    if comes_in or line is None:
        return
    doubt = doubt_s(kind, line - seen_t)
    for _ in range(MOST_LAPS_AHEAD):
        kind = FOLLOWS[kind]
        lap_s = track.pace.lap_s(kind)
        t = line + lap_s * track.pace.bend(phase)
        doubt += NEXT_LAP_DOUBT_S
        if t > until_s:
            return
        yield Pass(t, doubt + DOUBT[kind] * (t - line), kind)
        line += lap_s


def passed(track: CarTrack, phase: float) -> float | None:
    """When the car was at a phase of its running lap that lies behind it: between the two crossings around it."""
    return passing(track)(phase)


def passing(track: CarTrack) -> Callable[[float], float | None]:
    """``passed`` for many phases, with what they share worked out once. Good until the next fact."""
    lap, loops = track.lap, track.lap_map.loops
    if lap is None:
        return lambda phase: None
    points = [(lap.start_phase, lap.start_t)]
    points += sorted([(loops[loop], t) for loop, t in lap.crossings.items() if loop in loops])

    def at(phase: float) -> float:
        for (p0, t0), (p1, t1) in itertools.pairwise(points):
            if p0 <= phase <= p1:
                return t0 + (t1 - t0) * (phase - p0) / max(p1 - p0, 1e-6)
        return points[0][1]

    return at


def doubt_s(kind: LapKind, ahead_s: float) -> float:
    """By how much a car on such a lap is expected to be off, so many seconds after its last crossing."""
    return LEAST_DOUBT_S + DOUBT[kind] * max(0.0, ahead_s)
