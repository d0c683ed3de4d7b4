"""What is believed of a running lap: which kind it is, with probabilities, and when the car reaches each place.

At each crossing the lap is compared with the laps that were driven (``shapes``). The simple rule, the car's last quick
lap stretched by this lap so far, stands beside that; both are pooled by their record over all cars (``weighing``), and
the interval is kept honest by what happened to earlier ones. A crossing costs this once; a place between is a
straight line between the loops around it, along the car's own shares of the lap.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import NamedTuple

import numpy as np

from pitwall.pace.chances import chances, shifted
from pitwall.pace.experience import Experience, Said, record_of
from pitwall.pace.kept import Kept
from pitwall.pace.planned import Chances, PlanRecord, PlanWord
from pitwall.pace.queueing import OutLapQueue
from pitwall.pace.shapes import Alike
from pitwall.pace.weighing import LEVELS, MIDDLE, Array, sample_quantiles, weighted_quantiles

FIRST_OUT = 1.25
OFF_PACE = 0.05
SLOWER = np.array([1.02, 1.05, 1.15, 1.3, 1.42, 1.55, 1.65])
"""A slow period has just begun for a lap at the pace: quantiles of its rest over the reference. Under speed limits laps
take 1.3 to 1.45 times a quick one, and the period may end before the line (common practice, no source)."""
Rests = Sequence[float | None]
EVEN = (1.0, 1.0, 1.0)


class LapSoFar(NamedTuple):
    """A running lap as it was seen until now.

    Attributes:
        start_t: when it began.
        start_phase: where: 0 at the line, else the pit exit.
        crossings: when each loop was passed, by label.
        slow: a slow or red period held at the last of these.
        odds: how much likelier than usual the session makes timed, cool-down and in.
        word: what the plan says of the lap.
        compound: what is on; empty where that is not known.
        resumed: the track is green again after a slow period that it began under, or passed a loop under.
        disturbed: a slow or red period touched the lap.
    """

    start_t: float
    start_phase: float
    crossings: Mapping[str, float]
    slow: bool = False
    odds: Chances = EVEN
    disturbed: bool = False
    word: PlanWord = "none"
    resumed: bool = False
    compound: str = ""


@dataclass(eq=False)
class Outlook:
    """The belief after one crossing. What is rarely asked for is made when it is.

    Attributes:
        knot: the loop passed last; 0 for the beginning of the lap.
        seen_t: when.
        kinds: probabilities of timed, cool-down and in, adding up to one (a lap out of the pits: of nothing else).
        line: quantiles (at ``LEVELS``) of the second at which it reaches the line, if it does not come in.
        said: what the records need to know when the lap is over.
    """

    knot: int
    seen_t: float
    kinds: Chances
    line: Array
    said: Said
    _alike: Alike | None
    _reference: tuple[float, ...]
    _so_far: float
    _limit_s: float
    _timed: Array | None
    _read: Kept[tuple[float, bool, tuple[float, ...] | None], Array] = field(default_factory=Kept, init=False)

    @property
    def places(self) -> tuple[float, ...]:
        """Shares of the car's lap at which the last crossing and the knots ahead of it lie."""
        return tuple(at / self._reference[-1] for at in self._reference[self.knot :])

    @cached_property
    def timed_line(self) -> Array:
        """Quantiles of the second at which it reaches the line if it turns out timed."""
        if self._timed is not None:
            return self.seen_t + self._timed
        last = len(self._reference) - 1
        found = self._alike.at(last) if self._alike is not None else None
        rest = self._reference[last] - self._reference[self.knot]
        if found is None:
            return self.line
        quick = self._so_far + rest * found[0] <= self._limit_s
        if not quick.any():
            return self.line
        return self.seen_t + rest * weighted_quantiles(found[0][quick], found[1][quick])

    @cached_property
    def ahead(self) -> tuple[Array, ...]:
        """Quantiles at each knot ahead, if it does not come in: never falling, in proportion to those of the line."""
        last = len(self._reference) - 1
        line = self._way(last)
        made: list[Array] = []
        for at in range(self.knot + 1, last):
            here = self._way(at)
            whole = self._reference[last] - self._reference[self.knot]
            share = (self._reference[at] - self._reference[self.knot]) / whole
            part = share if here is None or line is None else np.minimum(here / np.maximum(line, 1e-6), 1.0)
            made.append(np.maximum(self.seen_t + (self.line - self.seen_t) * part, made[-1] if made else self.seen_t))
        return (*made, self.line)

    @cached_property
    def coming_in(self) -> tuple[Array, ...]:
        """The same if it comes in."""
        made: list[Array] = []
        for at, otherwise in zip(range(self.knot + 1, len(self._reference)), self.ahead, strict=True):
            way = self._way(at, coming_in=True)
            there = otherwise if way is None else self.seen_t + way
            made.append(np.maximum(there, made[-1] if made else self.seen_t))
        return tuple(made)

    def _way(self, knot: int, coming_in: bool = False) -> Array | None:
        return _quantiles(self._alike, knot, self._reference[knot] - self._reference[self.knot], coming_in)

    def at(self, share: float, coming_in: bool = False, places: tuple[float, ...] | None = None) -> Array:
        """Quantiles of the second at which the car is at this share of the lap; kept, for the same places are asked for
        until the next crossing, and so not to be written to.

        Args:
            share: past the last crossing, at most 1 (the line).
            coming_in: on a lap that comes in.
            places: where the last crossing and the knots ahead of it lie, when not in shares of the car's own lap.
        """
        if share >= 1.0 and not coming_in:
            return self.line
        key = (share, coming_in, places)
        found = self._read.get(key)
        return self._read.keep(key, self._at(*key)) if found is None else found

    def _at(self, share: float, coming_in: bool, places: tuple[float, ...] | None) -> Array:
        places = self.places if places is None else places
        begin, before = places[0], np.full(len(LEVELS), self.seen_t, dtype=np.float64)
        for end, after in zip(places[1:], self.coming_in if coming_in else self.ahead, strict=True):
            if share <= end:
                part = max(0.0, (share - begin) / max(end - begin, 1e-9))
                between: Array = before + (after - before) * part
                return between
            begin, before = end, after
        return before

    def no_earlier_than(self, now: float, quantiles: Array) -> Array:
        """The same distribution when the car has not been seen there by ``now``."""
        if now <= quantiles[0]:
            return quantiles
        if now >= quantiles[-1]:
            return np.full(len(LEVELS), now)
        levels = np.array(LEVELS)
        passed = float(np.interp(now, quantiles, levels))
        made: Array = np.maximum(np.interp(passed + (1.0 - passed) * levels, levels, quantiles), now)
        return made


def look_ahead(
    experience: Experience, plans: PlanRecord, car: str, situation: int, labels: Sequence[str], lap: LapSoFar,
    reference: Sequence[float], last_quick: Sequence[float] | None, rests: tuple[Rests, Rests], limit_s: float,
    timed_next: Array | None, queue: OutLapQueue | None = None,
) -> Outlook:
    """Make the outlook after the last crossing of a lap.

    Args:
        experience: of laps that begin where this one did.
        plans: what the plan's word is worth.
        car: whose lap.
        situation: what was before in this run (see ``CarBelief``).
        labels: the loops between line and line, in order.
        lap: the lap so far.
        reference: the car's usual seconds at each knot, from the beginning of this lap; the line last.
        last_quick: those of its last quick lap.
        rests: what the field usually, and what it lately needs from each knot to the line on such a lap, seconds.
        limit_s: a lap from the line that takes longer is no timed lap.
        timed_next: quantiles of the time of a timed lap from here, for a lap that begins.
        queue: the out-laps that are under way, on a lap out of the pits.
    """
    knot, seen_t, whole, part = _seen(labels, lap, reference)
    if lap.resumed:
        whole = part = 0.0  # what it lost while it had to go slowly says nothing of the rest
    alike = experience.shapes.alike(knot, whole, part, car, situation, seen_t, lap.slow)
    rest = reference[-1] - reference[knot]
    kernel = _quantiles(alike, experience.shapes.last, rest)
    so_far = seen_t - lap.start_t
    quick = last_quick if last_quick is not None else reference
    rules = tuple((one[-1] - one[knot]) * (so_far / one[knot] if knot else 1.0) for one in (quick, reference))
    if experience.from_pits:
        ever, lately = (one[knot] for one in rests)
        first = ever if ever is not None else FIRST_OUT * rest
        rules = (first, lately if lately is not None else first, rules[0] if knot else first)
    which = record_of(knot, part > OFF_PACE)
    if kernel is None:
        kernel = rules[0] * np.exp(experience.residuals[which].quantiles())
    behind = queue.behind(car, knot, seen_t) if queue is not None and not lap.slow else None
    told, queued = _told(experience, which, lap, rest, rules, kernel, None if behind is None else behind - seen_t)
    if queue is not None:
        queue.passes(car, _passed(labels, lap), seen_t + told)
    without = chances(
        alike, experience.shapes.last, so_far, (limit_s - so_far) / max(rest, 1e-9), lap.odds, lap.slow or lap.disturbed
    )
    usual = not (lap.slow or lap.resumed)
    said = Said(knot, seen_t, part > OFF_PACE, (*rules, float(kernel[MIDDLE])), told, without, usual, queued)
    return Outlook(
        knot, seen_t, shifted(without, plans.odds(lap.word)), seen_t + told, said, alike, tuple(reference), so_far,
        limit_s, timed_next if knot == 0 else None,
    )  # fmt: skip


def _told(
    experience: Experience, which: int, lap: LapSoFar, rest: float, rules: Sequence[float], kernel: Array,
    behind: Array | None,
) -> tuple[Array, tuple[float, float] | None]:
    """Quantiles of the seconds to the line; of a car that follows another, the medians that its record needs."""
    if not experience.from_pits:
        if lap.slow and not which % 2:
            return rest * SLOWER, None
        if lap.resumed:
            rules = (rest, rest)
    told, alone = experience.pooled(which, rules, kernel, behind)
    return told, None if behind is None else (alone, max(alone, float(behind[MIDDLE])))


def _seen(labels: Sequence[str], lap: LapSoFar, reference: Sequence[float]) -> tuple[int, float, float, float]:
    """The last knot, when it was passed, and the log ratios to the reference over the whole lap and its last part."""
    knot, seen_t, before, before_t = 0, lap.start_t, 0, lap.start_t
    for at, label in enumerate(labels, start=1):
        t = lap.crossings.get(label)
        if t is not None and t > seen_t:
            before, before_t, knot, seen_t = knot, seen_t, at, t
    if knot == 0:
        return 0, seen_t, 0.0, 0.0
    whole = math.log((seen_t - lap.start_t) / max(reference[knot], 1e-3))
    part = math.log((seen_t - before_t) / max(reference[knot] - reference[before], 1e-3))
    return knot, seen_t, whole, part


def _passed(labels: Sequence[str], lap: LapSoFar) -> tuple[float, ...]:
    """When each knot was passed, as far as the lap is; a loop where it was not seen counts as passed with the next."""
    found, at = [], math.inf
    for label in reversed(labels):
        at = min(lap.crossings.get(label, math.inf), at)
        if at < math.inf:
            found.append(at)
    return (lap.start_t, *reversed(found))


def _quantiles(alike: Alike | None, knot: int, reference_s: float, coming_in: bool = False) -> Array | None:
    found = alike.at(knot, coming_in) if alike is not None else None
    return None if found is None else reference_s * sample_quantiles(*found)
