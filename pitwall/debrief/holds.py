"""Where a constant speed was held: seen from positions, else reckoned from the crossings before it.

A hold begins when its speed is reached and ends when it is left. *Positions with a speed* show both: the speed on the
hold is a level, before and after it the speed rises or falls along lines; where they leave the level is the edge
(``edges.py``). Without a speed in the message the metres alone must show it (``places_alone.py``), which is coarser,
and the interval says so.

*By crossings*: the car reaches the place at the pace of its lap, gets to the speed, settles, and the driver counts. How
far each of these may be off is common practice, no source; together they make the interval.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from pitwall.debrief.edges import Array, Edge, edge_of, scatter_of, told
from pitwall.debrief.model import Evidence, LapRow, Uncertain, ValueEvidence
from pitwall.debrief.notes import CarNotes
from pitwall.debrief.places_alone import pairs_of
from pitwall.track.hold_passing import BEFORE_M, Passing
from pitwall.track.lapmap import LapMap

LEAST_HZ = 3.5
"""Fewer positions a second show no edges."""
BAND_MPS = 0.9
"""A speed so near the level belongs to it."""
PLACES_STEP_S, LEAST_GAIN = 0.04, -4.0
"""Places alone show a hold unless they are so much likelier without any: of its logarithm. The item was done, so there
was one; laps without a hold stay below."""
AROUND_MPS = 10.0
"""A hold may be so far off its speed; further off it is another stretch."""
BLUNT_S = 1.3
"""How far an edge may be off that no position shows."""
CLEAR_S = 0.5
"""A wider interval is worth a word: there the speed hardly changes, or the driver brakes just after he let go."""
AT_M = 1.0
"""How far a straight line through the positions of a hold may be off."""
LEAST_S, LEAST_INSIDE = 1.5, 4
REACH_S = 8.0
COUNTED = (0.86, 1.02, 1.2)
"""Five, ten and nineteen in twenty of what drivers count as so many seconds, over it (common practice, no source)."""
SPEED_UP_MPS2, SLOW_DOWN_MPS2 = 6.0, 5.0
PACE_OFF = 0.07
"""How far a stretch of a lap may be off the pace of the whole."""
PLACE_OFF_S, INSIDE_OFF = 0.3, 0.12
REACH_OFF_S, REACH_OFF = 0.4, 0.28
SPEED_OFF_MPS = 2.0


@dataclass(frozen=True)
class HoldAsked:
    """What was to be held: from a place (a phase of the lap) on, a speed for so long after settling."""

    place: float
    speed_mps: float
    seconds: float
    settle_s: float


@dataclass(frozen=True)
class Rests:
    """What each value of a stretch rests on: its beginning, its end, its places and its speed."""

    begin: ValueEvidence
    end: ValueEvidence
    place: ValueEvidence
    speed: ValueEvidence


SEEN = Rests("positions", "positions", "positions", "positions")
RECKONED = Rests("reckoned", "reckoned", "plan", "plan")
"""Of a hold that crossings alone tell: when it was is reckoned from them; where and how fast is what was asked for."""


@dataclass(frozen=True)
class Stretch:
    """A stretch of a lap: from, to, where, how fast, and the evidence. ``held``: at a constant speed."""

    from_s: Uncertain
    to_s: Uncertain
    from_m: Uncertain | None
    to_m: Uncertain | None
    speed_mps: Uncertain | None
    evidence: Evidence
    rests: Rests
    text: str
    held: bool = False


def by_positions(hold: HoldAsked, lap: LapRow, notes: CarNotes, lap_map: LapMap) -> Stretch | None:
    """The hold as positions of this lap show it; None where there are too few of them, or no constant speed."""
    found = _near_place(hold, lap, notes, lap_map)
    if found is None:
        return None
    t, metres, speed = found
    return _by_places(hold, t, metres) if speed is None else _by_speeds(hold, t, metres, speed)


def shows_none(hold: HoldAsked, lap: LapRow, notes: CarNotes, lap_map: LapMap) -> bool:
    """Guard: positions with speeds came all the way over the place of the hold, and no stretch of them is at about one
    speed (``track/hold_passing.py``): what wavers too much to be measured was held all the same."""
    found, place_m = _near_place(hold, lap, notes, lap_map), lap_map.distance_at_phase(hold.place)
    if found is None or place_m is None:
        return False
    times, ways, speeds = found
    if speeds is None:
        return False
    passing = Passing.of(hold.speed_mps, hold.settle_s + hold.seconds)
    for t, metres, speed in zip(times, ways, speeds, strict=True):
        if -BEFORE_M <= metres - place_m <= passing.reach_m:
            passing.see(float(t), float(metres - place_m), float(speed))
    return passing.none_held


def _near_place(
    hold: HoldAsked, lap: LapRow, notes: CarNotes, lap_map: LapMap
) -> tuple[Array, Array, Array | None] | None:
    """Times, metres and, where all have one, speeds of the positions in which a hold would be; None where there are too
    few."""
    place_m = lap_map.distance_at_phase(hold.place)
    if place_m is None or lap_map.profile is None:
        return None
    here = notes.positions_between(lap.start_s, lap.end_s)
    t, metres = np.array(notes.at_s[here]), np.array(notes.at_m[here])
    if len(t) < 10:
        return None
    metres = _unrolled(metres, lap_map.profile.length_m)
    longest_m = hold.speed_mps * (hold.settle_s + hold.seconds + REACH_S) + 200.0
    near = np.flatnonzero((metres >= place_m - 100.0) & (metres <= place_m + longest_m))
    if len(near) < 10:
        return None
    t, metres = t[near], metres[near]
    given = notes.at_mps[here]
    if (len(t) - 1) / (t[-1] - t[0]) < LEAST_HZ:
        return None
    speeds = [given[at] for at in near]
    return t, metres, None if None in speeds else np.array(speeds, dtype=np.float64)


def _by_speeds(hold: HoldAsked, t: Array, metres: Array, speed: Array) -> Stretch | None:
    found = _longest_level(t, speed, hold.speed_mps, BAND_MPS)
    if found is None:
        return None
    first, last, level = found
    inside = slice(first, last + 1)
    scatter = scatter_of(t[inside], speed[inside])
    begins = edge_of(t, speed, first, -1, _near(speed, first, last, level), scatter) or _unseen(t, first)
    ends = edge_of(t, speed, last, +1, _near(speed, last, first, level), scatter) or _unseen(t, last)
    off_mps = 0.1 + 2.0 * float(np.std(speed[inside])) / math.sqrt(last - first + 1)
    return _between_edges(begins, ends, (t, metres, inside), (level, off_mps), "with speeds")


def _by_places(hold: HoldAsked, t: Array, metres: Array) -> Stretch | None:
    found = pairs_of(t, metres, hold.speed_mps, hold.settle_s + hold.seconds)
    if found is None or found.gain < LEAST_GAIN:
        return None
    begins, ends = (told(*which(PLACES_STEP_S), PLACES_STEP_S) for which in (found.begins, found.ends))
    first, last = np.searchsorted(t, [begins.t, ends.t])
    if last - first < LEAST_INSIDE:
        return None
    level, off = found.level()
    return _between_edges(begins, ends, (t, metres, slice(int(first), int(last))), (level, 2.0 * off), "without speeds")


def _between_edges(
    begins: Edge, ends: Edge, seen: tuple[Array, Array, slice], held: tuple[float, float], how: str
) -> Stretch | None:
    """The hold between two edges; ``seen``: times, metres, and which of them lie on the level; ``held``: the speed and
    how far it may be off."""
    if ends.t - begins.t < LEAST_S:
        return None
    (t, metres, inside), (level, off_mps) = seen, held
    # A straight line through the positions on the level: each is a metre or two off, all together much less.
    middle, at_middle = float(np.mean(t[inside])), float(np.mean(metres[inside]))
    text = f"{inside.stop - inside.start} positions at {(len(t) - 1) / (t[-1] - t[0]):.1f} Hz, {how}"
    text += _unclear(begins, ends)
    from_s, from_m = _where(begins, level, at_middle + level * (begins.t - middle))
    to_s, to_m = _where(ends, level, at_middle + level * (ends.t - middle))
    return Stretch(from_s, to_s, from_m, to_m, _around(level, off_mps, 2), "positions", SEEN, text, held=True)


def _unclear(begins: Edge, ends: Edge) -> str:
    """What the reader of a window should know of its ends; nothing where both are sharp."""
    which = [name for name, edge in (("beginning", begins), ("end", ends)) if edge.high - edge.low > CLEAR_S]
    return f"; its {' and '.join(which)} {'shows' if len(which) == 1 else 'show'} no sharp edge" if which else ""


def _where(edge: Edge, level: float, metres: float) -> tuple[Uncertain, Uncertain]:
    """An edge of a hold in seconds and in metres."""
    below, above = edge.t - edge.low, edge.high - edge.t
    return _between(edge.t, below, above), _between(metres, AT_M + below * level, AT_M + above * level, 1)


def _unseen(t: Array, at: int) -> Edge:
    """No position shows how the level ended."""
    return Edge(float(t[at]), float(t[at]) - BLUNT_S, float(t[at]) + BLUNT_S)


def _near(speed: Array, edge: int, other: int, level: float) -> float:
    """The level beside an edge: a driver wavers. The positions next to the edge may lie on the way already."""
    way = 1 if other > edge else -1
    beside = speed[range(edge + 2 * way, other, way)][:6] if abs(other - edge) > 6 else np.array([level])
    return float(np.mean(beside))


def _unrolled(metres: Array, length_m: float) -> Array:
    """Distances of one lap, going on beyond the line and below zero before it: a receiver that is a metre or two off
    may see a car before the line that has passed it."""
    steps = np.diff(metres)
    passed = (steps < -length_m / 2).astype(int) - (steps > length_m / 2).astype(int)
    unrolled = metres + length_m * np.concatenate(([0], np.cumsum(passed)))
    return unrolled - length_m * math.floor(float(np.median(unrolled)) / length_m)


def _longest_level(t: Array, speed: Array, wanted: float, band: float) -> tuple[int, int, float] | None:
    """First and last position of the longest constant speed near the wanted one, and that speed."""
    best: tuple[float, int, int, float] | None = None
    candidates = np.flatnonzero(np.abs(speed - wanted) <= AROUND_MPS)
    for centre in candidates:
        level = float(speed[centre])
        for _ in range(2):
            first = last = int(centre)
            while first > 0 and abs(speed[first - 1] - level) <= band:
                first -= 1
            while last + 1 < len(t) and abs(speed[last + 1] - level) <= band:
                last += 1
            level = float(np.median(speed[first : last + 1]))
        length = float(t[last] - t[first])
        if best is None or length > best[0] + 1e-9:
            best = (length, first, last, level)
    return None if best is None or best[0] < LEAST_S else best[1:]


def by_crossings(hold: HoldAsked, lap: LapRow, lap_map: LapMap) -> Stretch:
    """The hold as reckoned from the crossings of its lap.

    Each crossing near the place says when the car was there: those before it by the pace of the lap, those behind it by
    the way that the hold takes. The one that says it best counts.
    """
    way = _way(hold, lap, lap_map)
    known = [(0.0 if lap.kind not in ("out", "installation") else lap_map.pit_exit, lap.start_s)]
    known += [(lap_map.loops[one.loop], one.t) for one in lap.sectors if one.t is not None and one.loop != "line"]
    known += [(1.0, lap.end_s)] if lap.kind not in ("in", "installation") else [(lap_map.pit_entry, lap.end_s)]
    at_place, off_s = min((way.place_from(phase, t) for phase, t in known), key=lambda one: one[1])
    begin, held = at_place + way.reach_s, hold.settle_s + hold.seconds * COUNTED[1]
    off_begin = math.hypot(off_s, REACH_OFF_S + REACH_OFF * way.reach_s)
    shorter, longer = ((hold.seconds * abs(share - COUNTED[1])) for share in (COUNTED[0], COUNTED[2]))
    begins = _between(begin, off_begin, off_begin)
    ends = _between(begin + held, math.hypot(off_begin, shorter), math.hypot(off_begin, longer))
    seen = [one.loop for one in lap.sectors if one.t is not None]
    text = f"reckoned from crossings of {', '.join(seen)}" if seen else "reckoned from the pit signals"
    text += f", and {hold.seconds:g} s by the driver's count"
    from_m, to_m = _metres(hold, lap_map, way, (shorter, longer))
    return Stretch(begins, ends, from_m, to_m, _around(hold.speed_mps, SPEED_OFF_MPS, 2), "crossings", RECKONED, text,
                   held=True)


@dataclass(frozen=True)
class _Way:
    """The way from the place over the hold, as it is usually driven; phases of the lap, metres where they are known.

    ``pace_s``: what a whole lap at the pace of this one takes. ``places``: seconds from the place, phase.
    """

    hold: HoldAsked
    pace_s: float
    start_mps: float
    reach_s: float
    over_s: float
    over_phase: float
    steps: tuple[tuple[float, float], ...]

    def place_from(self, phase: float, t: float) -> tuple[float, float]:
        """When the car was at the place, by a crossing at ``phase``, and how far that may be off."""
        if phase <= self.hold.place:
            ahead_s = (self.hold.place - phase) * self.pace_s
            return t + ahead_s, PLACE_OFF_S + PACE_OFF * ahead_s
        if phase >= self.over_phase:
            beyond_s = (phase - self.over_phase) * self.pace_s
            return t - beyond_s - self.over_s, PLACE_OFF_S + REACH_OFF_S + 0.6 + PACE_OFF * beyond_s
        since = float(np.interp(phase, [one[1] for one in self.steps], [one[0] for one in self.steps]))
        return t - since, PLACE_OFF_S + INSIDE_OFF * since


def at_place(place: float, seconds: float, lap: LapRow, lap_map: LapMap) -> Stretch:
    """What begins at a place and is no hold at a speed, such as a coast-down: reckoned, positions or not."""
    begin, end = lap.start_s, lap.end_s
    slower = max((end - begin) / lap_map.lap_s, 1.0)
    usual = lap_map.speed_at_phase(place)
    found = by_crossings(HoldAsked(place, (usual or 50.0) / slower, seconds, 0.0), lap, lap_map)
    return replace(found, speed_mps=None, held=False)


def _way(hold: HoldAsked, lap: LapRow, lap_map: LapMap) -> _Way:
    pace_s = _pace(hold, lap, lap_map)
    slower = max(pace_s / lap_map.lap_s, 0.9)
    usual = lap_map.speed_at_phase(hold.place)
    start = usual / slower if usual is not None else hold.speed_mps
    rate = SPEED_UP_MPS2 if hold.speed_mps > start else SLOW_DOWN_MPS2
    reach_s = abs(hold.speed_mps - start) / rate
    over_s = reach_s + hold.settle_s + hold.seconds
    place_m = lap_map.distance_at_phase(hold.place)
    if place_m is None:
        over_phase = hold.place + over_s / pace_s
        return _Way(hold, pace_s, start, reach_s, over_s, over_phase, ((0.0, hold.place), (over_s, over_phase)))
    steps = []
    for since in np.linspace(0.0, over_s, 24):
        gone = min(float(since), reach_s)
        metres = place_m + start * gone + (hold.speed_mps - start) * gone * gone / (2 * reach_s or 1.0)
        metres += hold.speed_mps * max(0.0, float(since) - reach_s)
        steps.append((float(since), lap_map.phase_at_distance(metres) or 0.0))
    return _Way(hold, pace_s, start, reach_s, over_s, steps[-1][1], tuple(steps))


def _pace(hold: HoldAsked, lap: LapRow, lap_map: LapMap) -> float:
    """Seconds that a whole lap at the pace of this one would take, without the hold."""
    begin = 0.0 if lap.kind not in ("out", "installation") else lap_map.pit_exit
    end = 1.0 if lap.kind not in ("in", "installation") else lap_map.pit_entry
    length = hold.settle_s + hold.seconds
    usual = lap_map.speed_at_phase(min(hold.place + 0.03, 0.999))
    drives = (lap.end_s - lap.start_s - length) / max(end - begin, 0.05)
    # What the hold itself covers of the lap was driven in its time.
    share = hold.speed_mps * length / (usual * lap_map.lap_s) if usual else length / lap_map.lap_s
    return max(drives * (end - begin) / max(end - begin - share, 0.05), 0.9 * lap_map.lap_s)


def _metres(
    hold: HoldAsked, lap_map: LapMap, way: _Way, counts: tuple[float, float]
) -> tuple[Uncertain | None, Uncertain | None]:
    place_m = lap_map.distance_at_phase(hold.place)
    if place_m is None:
        return None, None
    begin_m = place_m + way.reach_s * (way.start_mps + hold.speed_mps) / 2.0
    end_m = begin_m + hold.speed_mps * (hold.settle_s + hold.seconds * COUNTED[1])
    off_m = 15.0 + REACH_OFF * way.reach_s * hold.speed_mps
    shorter, longer = (math.hypot(off_m, hold.speed_mps * seconds) for seconds in counts)
    return _between(begin_m, off_m, off_m, 1), _between(end_m, shorter, longer, 1)


def _between(value: float, below: float, above: float, digits: int = 3) -> Uncertain:
    return Uncertain(value=round(value, digits), low=round(value - below, digits), high=round(value + above, digits))


def _around(value: float, off: float, digits: int = 3) -> Uncertain:
    return Uncertain(value=round(value, digits), low=round(value - off, digits), high=round(value + off, digits))
