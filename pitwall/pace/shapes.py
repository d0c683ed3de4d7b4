"""The shapes of laps that were driven: what a lap that went like this so far did in the end.

Every finished lap of every car is kept as its times at the loops, beside the *reference* times of that car then (what
it needed to each loop on its usual quick lap). A running lap is compared with all of them at the loop that it passed
last: by the ratio to the reference over the whole lap so far, and over its last part. Laps that were alike weigh more
(a normal kernel in the log ratios, narrow near the reference pace and wide off it), so do laps of the same car, after
the same kind of lap before, under the same flag. What those laps did from there on, as a ratio to the reference and
shifted towards this lap's own pace, is the distribution of what this one will do. Nobody has to say what a cool-down
lap looks like.

Before there are laps, a few invented ones stand there with little weight: laps at the reference pace, slow ones
(1.12-1.75 times the reference: cool-down laps of practice sessions), and one given up half-way. The rest of a slow lap
lies between what it was so far and the usual cool-down lap: where the parts of a lap scatter about the lap's own pace
as much as laps scatter among themselves, the best forecast of one part from another goes half of the way back to the
mean (linear regression to the mean, as in any text on it).
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from pitwall.pace.weighing import Array

MOST_LAPS = 320
TIMED, COOL, IN, OTHER = 0, 1, 2, 3

WIDEST_AT = 0.5
WHOLE_WIDER = 2.0  # the lap as a whole says less about the rest than its last part
SAME_CAR, OTHER_COUNT, OTHER_BEFORE, OTHER_FLAG = 2.5, 0.7, 0.25, 0.1
LEAST_WEIGHT = 1e-4
HALF_ROOT = math.sqrt(0.5)
MOST_GROWN = 500.0
INVENTED_SITUATION = 16
"""Situations are numbers from 0 to 15: see ``ShapeMemory.learn``."""
BEFORE_INVENTED = OTHER
LIKENESS = np.array([
    [1.0 if mine == theirs else
     OTHER_COUNT if mine % 4 == (BEFORE_INVENTED if theirs == INVENTED_SITUATION else theirs % 4) else OTHER_BEFORE
     for theirs in range(INVENTED_SITUATION + 1)] for mine in range(INVENTED_SITUATION)
])  # fmt: skip
FLAG_OR_NOT = np.array([OTHER_FLAG, 1.0])
UNSEEN_DISTANCE = 4.0  # as if two widths away: a lap that was not seen at this loop
INVENTED_WEIGHT = 0.3
NONE = np.zeros(0, dtype=np.int64)


USUAL_COOL = 1.45
BACK_TO_USUAL = 0.5
LAST_PART = 0.7
"""The last part of a cool-down lap leads on to the next lap, often a timed one: there the driver loses less than before
(common practice, no source)."""
PART_SCATTER = 0.12
"""Cool-down laps took 1.22, 1.50 and 1.68 times the best lap (10, 50, 90 %): half of the way from the first to the last
is 0.16 in log ratio, of which a part of a lap on its own has about three quarters (1 / sqrt 2)."""


def _invented() -> list[tuple[float, float, float, int]]:
    """(ratio so far, ratio of the rest, weight, kind)."""
    found = [(1.0, 1.0 + off, 2.0, TIMED) for off in (-0.006, 0.0, 0.006)]
    found.append((1.0, 1.3, 0.15, COOL))
    for ratio in np.linspace(1.12, 1.75, 12):
        usual = USUAL_COOL + BACK_TO_USUAL * (float(ratio) - USUAL_COOL)
        for off in (-PART_SCATTER, 0.0, PART_SCATTER):
            found.append((float(ratio), usual * math.exp(off), 0.4, COOL))
            if off == 0.0:
                found.append((float(ratio), float(ratio), 0.15, IN))
    return [(so_far, rest, weight * INVENTED_WEIGHT, kind) for so_far, rest, weight, kind in found]


INVENTED = _invented()
INVENTED_OUT = [(math.nan, ratio, 0.3, OTHER) for ratio in (1.08, 1.16, 1.25, 1.33, 1.42)]
"""Out-laps of practice sessions took 1.07-1.41 times the best lap, however they began."""


@dataclass(frozen=True)
class Traits:
    """How laps are compared.

    Attributes:
        narrow: width of the kernel at the reference pace, in log ratio.
        wider: how much wider it is for each unit of log ratio off that.
        shift: how far the rest of an old lap is moved towards the pace of this one: 0 not at all, 1 all the way.
        fades_s: over how many seconds an old lap loses weight.
        least_fresh: the weight that it keeps.
    """

    narrow: float = 0.010
    wider: float = 0.25
    shift: float = BACK_TO_USUAL
    fades_s: float = 3000.0
    least_fresh: float = 0.5


class Alike(NamedTuple):
    """The laps that were like the running one at a loop, with weights: what is known of its rest.

    ``rests`` has, for each lap and each knot (see ``ShapeMemory``), the ratio to the reference of the way from here to
    there; NaN where that lap was not seen there. ``inside``: those that came in.
    """

    weights: Array
    rests: Array
    inside: NDArray[np.bool_]
    kinds: NDArray[np.int64]

    def at(self, knot: int, coming_in: bool = False) -> tuple[Array, Array] | None:
        """Ratios and weights of the laps that were seen at this knot: those that came in, or those that did not."""
        values = self.rests[:, knot]
        taken = values == values  # NaN is never equal, and this costs less than asking for it
        taken &= self.inside if coming_in else ~self.inside
        found = values[taken]
        return (found, self.weights[taken]) if len(found) else None


class ShapeMemory:
    """The last laps of all cars. *Knots* are the beginning of a lap (0), its loops in order (1 ...) and the line
    (last).

    Args:
        loops: how many loops stand between the line and the line.
        invented: laps to begin with.
        traits: how laps are compared.
    """

    def __init__(self, loops: int, invented: list[tuple[float, float, float, int]], traits: Traits) -> None:
        self.last = loops + 1
        self._traits = traits
        self._fixed = len(invented)
        size = self._fixed + MOST_LAPS
        self._rests = np.full((loops + 2, size, loops + 2), np.nan)
        self._whole = np.full((size, loops + 2), np.nan, order="F")
        self._part = np.full((size, loops + 2), np.nan, order="F")
        self._seen = np.zeros((size, loops + 2), order="F")
        self._unlike = np.zeros((size, loops + 2), order="F")
        self._slow = np.zeros((size, loops + 2), dtype=bool, order="F")
        self._least = np.zeros(size)
        self._kinds = np.full(size, OTHER)
        self._inside = np.zeros(size, dtype=bool)
        self._rows_of: dict[str, NDArray[np.int64]] = {}
        self._cars: dict[int, str] = {}
        self._all_seen = [True] * (loops + 2)
        self._situations = np.full(size, INVENTED_SITUATION)
        self._grown = np.zeros(size)
        knots = np.arange(loops + 2)
        self._ahead = knots[None, :] > knots[:, None]
        self._any_slow = False
        self._places: dict[Hashable, int] = {}
        self._keys: dict[int, Hashable] = {}
        self._next = self._fixed
        self.count = 0
        for row, (so_far, rest, weight, kind) in enumerate(invented):
            self._whole[row], self._part[row] = math.log(so_far), math.log(so_far)
            self._least[row], self._kinds[row] = weight * traits.least_fresh, kind
            self._inside[row] = kind == IN
            self._mark(row, np.isnan(self._whole[row]))
            self._rests[:, row] = rest
            if kind == COOL:
                self._rests[loops, row] = 1.0 + LAST_PART * (rest - 1.0)

    def learn(
        self, key: Hashable, car: str, kind: int, situation: int, t: float,
        times: Sequence[float], refs: Sequence[float], slow: Sequence[bool],
    ) -> None:
        """Take a finished lap; one with the same ``key`` is replaced (a late message mended it).

        Args:
            key: names the lap.
            car: whose.
            kind: TIMED, COOL, IN or OTHER.
            situation: the kind of the lap before it, and four times the count of timed laps of its run so far.
            t: when it ended.
            times: seconds since its beginning at each knot; NaN where it was not seen. For a lap that came in, the
                line is where it would have got to it.
            refs: the car's reference seconds at each knot then.
            slow: whether a slow period held when it passed each knot.
        """
        row = self._places.get(key)
        if row is None:
            row = self._next
            self._next = self._fixed + (row + 1 - self._fixed) % MOST_LAPS
            self._places.pop(self._keys.get(row), None)
            self._places[key], self._keys[row] = row, key
            self.count = min(self.count + 1, MOST_LAPS)
            self._whose(row, car)
        self._slow[row] = slow
        self._any_slow = self._any_slow or any(slow)
        self._least[row], self._kinds[row], self._situations[row] = self._traits.least_fresh, kind, situation
        self._grown[row] = math.exp(min(t / self._traits.fades_s, MOST_GROWN))
        self._inside[row] = kind == IN
        at, ref = np.array(times, dtype=np.float64), np.array(refs, dtype=np.float64)
        with np.errstate(divide="ignore", invalid="ignore"):
            ratios = (at[None, :] - at[:, None]) / (ref[None, :] - ref[:, None])
            self._rests[:, row] = np.where(self._ahead, ratios, np.nan)
            self._whole[row] = np.log(at / ref)
            self._part[row, 1:] = np.log(np.diff(at) / np.diff(ref))
            unseen = ~np.isfinite(self._whole[row])
            self._part[row] = np.where(np.isfinite(self._part[row]), self._part[row], self._whole[row])
        self._mark(row, unseen)

    def _whose(self, row: int, car: str) -> None:
        before = self._cars.get(row)
        if before is not None:
            self._rows_of[before] = self._rows_of[before][self._rows_of[before] != row]
        self._cars[row] = car
        self._rows_of[car] = np.append(self._rows_of.get(car, NONE), row)

    def _mark(self, row: int, unseen: NDArray[np.bool_]) -> None:
        for knot in np.flatnonzero(unseen):
            self._all_seen[knot] = False
        self._seen[row], self._unlike[row] = ~unseen, np.where(unseen, 0.5 * UNSEEN_DISTANCE, 0.0)
        self._whole[row][unseen] = self._part[row][unseen] = 0.0

    def alike(
        self, knot: int, whole: float, part: float, car: str, situation: int, t: float, slow: bool
    ) -> Alike | None:
        """The laps that were like this one at a knot; None where nothing is known.

        Args:
            knot: the last loop that was passed; 0 at the beginning of the lap.
            whole: log of the ratio to the reference over the lap so far; 0 at the beginning.
            part: the same since the loop before.
            car: whose lap.
            situation: what was before it.
            t: now.
            slow: a slow period holds now.
        """
        end, traits = self._fixed + self.count, self._traits
        # The weight of age: e to the (then - now), of which the part of then was worked out once.
        weights = self._grown[:end] * math.exp(-min(t / traits.fades_s, MOST_GROWN))
        np.maximum(weights, self._least[:end], out=weights)
        weights *= LIKENESS[situation][self._situations[:end]]
        mine = self._rows_of.get(car)
        if mine is not None:
            weights[mine] *= SAME_CAR
        if slow or self._any_slow:
            weights *= FLAG_OR_NOT.take(self._slow[:end, knot] == slow)
        off: Array | None = None
        if knot > 0:
            narrow, wider = traits.narrow, traits.wider
            off = self._off(self._part, part, knot, end)
            distance = off * (HALF_ROOT / (narrow + wider * min(abs(part), WIDEST_AT)))
            distance *= distance
            if not self._all_seen[knot]:
                distance += self._unlike[:end, knot]
            if knot > 1:
                further = self._off(self._whole, whole, knot, end)
                further *= HALF_ROOT / (WHOLE_WIDER * (narrow + wider * min(abs(whole), WIDEST_AT)))
                further *= further
                distance += further
            np.negative(distance, out=distance)
            weights *= np.exp(distance, out=distance)
        most = weights.max() if end else 0.0
        if not most > 0.0:
            return None
        kept = (weights > LEAST_WEIGHT * most).nonzero()[0]
        rests = self._rests[knot].take(kept, axis=0)
        if off is not None:
            off = off.take(kept)
            off *= traits.shift
            rests *= np.exp(off, out=off)[:, None]
        return Alike(weights.take(kept), rests, self._inside.take(kept), self._kinds.take(kept))

    def _off(self, of: Array, ratio: float, knot: int, end: int) -> Array:
        """How far laps are off this one at a knot, in log ratio; 0 where they were not seen there."""
        made: Array = ratio - of[:end, knot]
        if not self._all_seen[knot]:
            made *= self._seen[:end, knot]
        return made
