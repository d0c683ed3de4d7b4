"""Held speeds reckoned again: from raw positions, or from the crossings of the lap, by the rules that DEVELOPERS.md and
the docstrings of the program state; each fit is solved by itself, with the least squares of numpy.
"""

from __future__ import annotations

import math
import re
from itertools import pairwise
from typing import Any

import numpy as np

from tests.recount.own import Own, near
from tests.recount.second_laps import HOME, ON_THE_WAY, Lap, loops_of, map_of
from tests.recount.sessions import Row, Told

BAND, NOISE, WAVERS, WAVERS_FOR = 0.9, 0.1, 0.12, 0.6
GAIN_OF_TWO, AS_WELL, HIDDEN_S = 9.0, 4.0, 0.18
NEAR_S, NEAR_END_S = 0.1, 0.5
ROUNDED_M = 0.05 + 0.0006 * 70  # of a moment that is rounded to a thousandth, and of the metres themselves
COUNT_LOW, COUNT, COUNT_HIGH = 0.86, 1.02, 1.2
Array = Any


class Asked:
    """What was to be held: from which place on, how fast, how long, after settling. What is no hold at a speed, such as
    a coast-down, is reckoned as if the car went on at the pace of its lap."""

    def __init__(self, told: Told, car: str, item: str, lap: Lap) -> None:
        row = next(one for one in told.debrief.car(car).items if one.item == item)  # type: ignore[union-attr]
        procedure, track = told.setup["procedures"][row.do], map_of(told, car)
        hold, given = procedure["hold"], dict(row.arguments)
        self.place, self.at_a_speed = track.phase_of(str(row.place)), hold is not None
        if hold is None:
            slower = max((lap.end - lap.begin) / track.lap_s, 1.0)
            self.speed = (track.speed_at_phase(self.place) or 50.0) / slower
            self.seconds, self.settle = float(given.get("seconds") or max(procedure["extra_s"], 4.0)), 0.0
            return

        def value(of: Any) -> float:
            return float(given[of.strip("{}")] if isinstance(of, str) else of)

        self.seconds, self.settle = value(hold["seconds"]), float(hold["settle_s"])
        kph = hold.get("speed_kph")
        self.speed = value(hold["speed_mps"]) if kph is None else value(kph) / 3.6


def interval(value: float, below: float, above: float, places: int) -> Row:
    """A value with both ends of its interval."""
    return {"value": near(value, places), "low": near(value - below, places), "high": near(value + above, places)}


def held(told: Told, car: str, lap: Lap, actual: Any) -> Row:
    """The numbers of a hold."""
    asked = Asked(told, car, actual.item, lap)
    if actual.evidence == "positions":
        return seen(told, car, lap, asked, actual)
    found = reckoned(told, car, lap, asked)
    shown = next(one["reason"] or "" for run in told.plans[car]["runs"] for one in run["items"]
                 if one["item"] == actual.item).startswith("positions:")
    if asked.at_a_speed and not shown and nothing_held(told, car, lap, asked):  # that stands first
        place = [float(f"{asked.speed:.0f}"), *(float(one) for one in re.findall(r"\d+", str(actual.place)))]
        found |= {"evidence_text": Own([*place, *found["evidence_text"].value]), "spoilt": Own(place)}
    return found if asked.at_a_speed else {key: value for key, value in found.items() if key != "speed_mps"}


# -- from positions ---------------------------------------------------------------------------------------------------


def seen(told: Told, car: str, lap: Lap, asked: Asked, actual: Any) -> Row:
    """As the positions of the lap show it.

    When the speed was reached and left is a matter of estimating: ours is another estimator, and the debrief's moment
    has to lie within a tenth of a second of it, the ends of its interval within half a second of ours. All else follows
    from those moments, and is reckoned exactly.
    """
    t, metres, speed = about(told, car, lap, asked)
    first, last, level = longest_level(t, speed, asked.speed)
    back = len(t) - 1
    begin = edge(-t[::-1], speed[::-1], back - first, beside(speed[::-1], back - first, back - last), leaves=False)
    end = edge(t, speed, last, beside(speed, last, first), leaves=True)
    inside = slice(first, last + 1)
    middle, at_middle = float(np.mean(t[inside])), float(np.mean(metres[inside]))
    off = 0.1 + 2.0 * float(np.std(speed[inside])) / math.sqrt(last - first + 1)
    hz = (len(t) - 1) / (t[-1] - t[0])
    found: Row = {"speed_mps": interval(level, off, off, 2),
                  "evidence_text": Own([float(last - first + 1), round(float(hz), 1)], off=0.051)}
    for name, ours, word in (("from", (-begin[0], -begin[2], -begin[1]), actual.from_s), ("to", end, actual.to_s)):
        found[f"{name}_s"] = {key: Own(value, "estimate", off) for key, value, off in
                              zip(("value", "low", "high"), ours, (NEAR_S, NEAR_END_S, NEAR_END_S), strict=True)}
        at, low, high = word.value, word.low, word.high
        metres = at_middle + level * (at - middle)
        ends = (metres, metres - 1.0 - (at - low) * level, metres + 1.0 + (high - at) * level)
        found[f"{name}_m"] = {key: Own(value, off=ROUNDED_M) for key, value in
                              zip(("value", "low", "high"), ends, strict=True)}
    return found


def about(told: Told, car: str, lap: Lap, asked: Asked) -> tuple[Array, Array, Array]:
    """Times, metres and speeds of the positions of the lap about the place of the hold."""
    track = map_of(told, car)
    by_time = {one["t"]: one for one in reversed(told.facts("car_positioned", car))}  # of two at once the first counts
    rows = [by_time[t] for t in sorted(by_time) if lap.begin <= t <= lap.end]
    if not rows:
        return np.array([]), np.array([]), np.array([])
    whole = sum(one["length_m"] for one in told.setup["circuit"]["segments"])
    metres = np.array([one["distance_m"] for one in rows])
    laps = np.cumsum([0, *((later < earlier - whole / 2) * 1 - (later > earlier + whole / 2) * 1
                           for earlier, later in pairwise(metres))])  # fmt: skip
    metres = metres + whole * laps
    metres = metres - whole * math.floor(float(np.median(metres)) / whole)
    place_m = track.distance_at_phase(asked.place) or 0.0
    far = place_m + asked.speed * (asked.settle + asked.seconds + 8.0) + 200.0
    kept = (metres >= place_m - 100.0) & (metres <= far)
    t, speed = (np.array([one[key] for one in rows])[kept] for key in ("t", "speed_mps"))
    return t, metres[kept], speed


def nothing_held(told: Told, car: str, lap: Lap, asked: Asked) -> bool:
    """Whether positions came all the way from the place to where a hold that began late would end, four times a second
    and without a gap, and in no 1.2 s of them the speed stayed within 2 m/s."""
    t, metres, speed = about(told, car, lap, asked)
    place_m = map_of(told, car).distance_at_phase(asked.place)
    if place_m is None or len(t) < 10 or None in speed.tolist() or (len(t) - 1) / (t[-1] - t[0]) < 3.5:
        return False
    way = asked.speed * (asked.settle + asked.seconds + 6.0)
    here = (metres >= place_m - 60.0) & (metres <= place_m + way)
    t, metres, speed = t[here], metres[here], speed[here].astype(float)
    if len(t) < 2 or min(metres) > place_m or max(metres) < place_m + 0.9 * way or max(np.diff(t)) > 0.6:
        return False
    for last in range(len(t)):
        long = np.flatnonzero(t[last] - t >= 1.2)
        some = speed[long[-1] : last + 1] if len(long) else np.array([])
        if len(some) and abs(np.mean(some) - asked.speed) <= 12.0 and np.ptp(some) <= 2.0:
            return False
    return True


def longest_level(t: Array, speed: Array, wanted: float) -> tuple[int, int, float]:
    """First and last position of the longest stretch about one speed near the wanted one, and that speed."""
    best: tuple[float, int, int, float] = (-1.0, 0, 0, 0.0)
    for centre in range(len(t)):
        level = float(speed[centre])
        if abs(level - wanted) > 10.0:
            continue
        for _ in (1, 2):
            near_it = np.abs(speed - level) <= BAND
            before = np.flatnonzero(~near_it[:centre])
            after = np.flatnonzero(~near_it[centre + 1 :])
            first = int(before[-1]) + 1 if len(before) else 0
            last = centre + int(after[0]) if len(after) else len(t) - 1
            level = float(np.median(speed[first : last + 1]))
        if t[last] - t[first] > best[0] + 1e-9:
            best = (float(t[last] - t[first]), first, last, level)
    return best[1:]


def beside(speed: Array, edge_at: int, other: int) -> float:
    """The level beside an edge: the mean of six positions, the two at the edge left out."""
    way = 1 if other > edge_at else -1
    return float(np.mean([speed[edge_at + way * step] for step in range(2, 8)]))


def edge(t: Array, speed: Array, last: int, level: float, *, leaves: bool) -> tuple[float, float, float]:
    """When the level is left, with the earliest and the latest moment that fit nearly as well.

    One bend, or two of which the first counts where they fit much better; wavering is alike for neighbours. Who
    leaves it to brake may have let go a little before, which shows nothing.
    """
    off = speed - level
    used = (t >= t[last] - 1.3) & (t <= t[last + 1] + 0.6) & ((t <= t[last]) | (np.abs(off) <= 6.0))
    time, off = t[used], off[used]
    lag = np.abs(np.subtract.outer(time, time))
    white = np.linalg.inv(np.linalg.cholesky(NOISE**2 * np.eye(len(time)) + WAVERS**2 * np.exp(-lag / WAVERS_FOR)))

    def fit(*shapes: Array) -> tuple[float, Array]:
        columns = np.column_stack([np.ones_like(time), *shapes])
        known = np.zeros(columns.shape[1])
        known[0] = 1 / WAVERS
        matrix, target = np.vstack([white @ columns, known]), np.append(white @ off, 0.0)
        factors = np.linalg.lstsq(matrix, target, rcond=None)[0]
        return float(np.sum((matrix @ factors - target) ** 2)), factors

    bends = np.arange(t[last] - 0.5, t[last + 1] + 0.45, 0.02)
    one = []
    for bend in bends:
        left, factors = fit(np.maximum(time - bend, 0.0))
        if abs(factors[1]) < 25.0:
            one.append((left, bend, factors[1]))
    two = []
    for start in np.arange(t[last] - 1.0, t[last + 1] + 0.1, 0.02):
        for bend in bends[(bends - start >= 0.05) & (bends - start <= 1.0)]:
            left, factors = fit(np.clip(time - start, 0.0, bend - start), np.maximum(time - bend, 0.0))
            rate = abs(factors[1])
            if 0.8 <= rate < 25.0 and rate * (bend - start) >= 0.3 and abs(factors[2]) < 25.0:
                two.append((left, start))
    best_one, best_two = min(one), min(two, default=(math.inf, 0.0))
    twice = best_two[0] < best_one[0] - GAIN_OF_TWO
    least, at = best_two if twice else best_one[:2]
    price = 0.0 if twice else GAIN_OF_TWO
    as_well = [when for left, when, _ in one if left <= least + AS_WELL]
    as_well += [when for left, when in two if left + price <= least + AS_WELL]
    low, high = min([*as_well, at]) - 0.02, max([*as_well, at]) + 0.02
    if leaves and not twice and best_one[2] < 0:
        low = min(low, at - HIDDEN_S)
    return float(at), float(low), float(high)


# -- from crossings ---------------------------------------------------------------------------------------------------


def reckoned(told: Told, car: str, lap: Lap, asked: Asked) -> Row:
    """As reckoned from the crossings of the lap: the way to the place, to the speed, the settling, the count."""
    track = map_of(told, car)
    begin = track.pit_exit if lap.kind in ON_THE_WAY else 0.0
    end = track.pit_entry if lap.kind in HOME else 1.0
    length = asked.settle + asked.seconds
    beyond = track.speed_at_phase(min(asked.place + 0.03, 0.999))
    share = asked.speed * length / (beyond * track.lap_s) if beyond else length / track.lap_s
    pace = max((lap.end - lap.begin - length) / max(end - begin - share, 0.05), 0.9 * track.lap_s)
    usual = track.speed_at_phase(asked.place)
    start = asked.speed if usual is None else usual / max(pace / track.lap_s, 0.9)
    reach = abs(asked.speed - start) / (6.0 if asked.speed > start else 5.0)
    over = reach + length
    place_m = track.distance_at_phase(asked.place)
    grid = np.linspace(0.0, over, 24)
    if place_m is None:
        phases = asked.place + grid / pace
    else:
        gone = np.minimum(grid, reach)
        way = start * gone + (asked.speed - start) * gone**2 / (2 * reach or 1.0)
        way += asked.speed * np.maximum(grid - reach, 0.0)
        phases = np.array([track.phase_at_distance(place_m + float(one)) or 0.0 for one in way])
    known = [(begin, lap.begin), (end, lap.end)]
    known += [(track.loops[loop], t) for loop, t in lap.passed.items()]
    moments = []
    for phase, t in known:
        if phase <= asked.place:
            ahead = (asked.place - phase) * pace
            moments.append((0.3 + 0.07 * ahead, t + ahead))
        elif phase >= phases[-1]:
            behind = (phase - phases[-1]) * pace
            moments.append((0.3 + 0.4 + 0.6 + 0.07 * behind, t - behind - over))
        else:
            since = float(np.interp(phase, phases, grid))
            moments.append((0.3 + 0.12 * since, t - since))
    off_place, at_place = min(moments, key=lambda one: one[0])
    off_begin = math.hypot(off_place, 0.4 + 0.28 * reach)
    shorter, longer = asked.seconds * (COUNT - COUNT_LOW), asked.seconds * (COUNT_HIGH - COUNT)
    begins = at_place + reach
    ends = begins + asked.settle + asked.seconds * COUNT
    seen_loops = [loop for loop in loops_of(told) if loop in lap.passed or (loop == "line" and not lap.home)]
    found: Row = {
        "from_s": interval(begins, off_begin, off_begin, 3),
        "to_s": interval(ends, math.hypot(off_begin, shorter), math.hypot(off_begin, longer), 3),
        "speed_mps": interval(asked.speed, 2.0, 2.0, 2),
        "evidence_text": Own([*(float(one) for one in seen_loops if re.fullmatch(r"\d+", one)), asked.seconds]),
    }
    if place_m is not None:
        first = place_m + reach * (start + asked.speed) / 2.0
        last = first + asked.speed * (asked.settle + asked.seconds * COUNT)
        off = 15.0 + 0.28 * reach * asked.speed
        found["from_m"] = interval(first, off, off, 1)
        found["to_m"] = interval(last, math.hypot(off, asked.speed * shorter), math.hypot(off, asked.speed * longer), 1)
    return found
