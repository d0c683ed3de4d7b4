"""What all cars together teach of the pace: quick laps of the field, and what laps of each kind take beside them.

The first ratios are the medians measured over eight practice sessions: out 1.25, cool 1.50, in 1.18 times the best lap.
"""

from __future__ import annotations

import itertools
from collections import deque
from dataclasses import dataclass, field, replace
from statistics import median

from pitwall.model.laptimes import LapTimes
from pitwall.model.plan import LapKind
from pitwall.pace.beliefs import CarBelief, EndedLap, FieldBelief, Lesson
from pitwall.pace.lapmodel import LapModel
from pitwall.pace.quickest import Quickest, QuickLaps
from pitwall.pace.runpace import FieldLaps

FIRST_RATIO: dict[LapKind, float] = {"out": 1.25, "timed": 1.0, "cool": 1.50, "in": 1.18, "installation": 1.40}
RATIO_BOUNDS: dict[LapKind, tuple[float, float]] = {
    "out": (1.0, 3.0), "timed": (0.9, 1.2), "cool": (1.05, 3.0), "in": (1.0, 3.0), "installation": (1.0, 4.0),
}  # fmt: skip
RATIO_MEMORY = 7
LESSONS_KEPT = 60
FIELD_WINDOW_S = 600.0


@dataclass
class KindRatios:
    """Running medians of lap time over quick lap time, by lap kind."""

    seen: dict[LapKind, deque[float]] = field(default_factory=dict)
    _medians: dict[LapKind, tuple[int, float]] = field(default_factory=dict, init=False, repr=False, compare=False)

    def learn(self, kind: LapKind, ratio: float) -> None:
        """Take one observed ratio, clipped to what such a lap can be (a stop on track is no out-lap)."""
        low, high = RATIO_BOUNDS[kind]
        if low <= ratio <= high:
            self.seen.setdefault(kind, deque(maxlen=RATIO_MEMORY)).append(ratio)
            self._medians.pop(kind, None)

    def ratio(self, kind: LapKind, fallback: KindRatios | None = None) -> float:
        """The median of what was seen; with fewer than two laps the fallback's, then the first ratio."""
        mine = self.seen.get(kind)
        if mine and len(mine) >= 2:
            # Asked dozens of times with a fact: kept until another is learned, or one is taken out.
            kept = self._medians.get(kind)
            if kept is None or kept[0] != len(mine):
                kept = self._medians[kind] = len(mine), median(mine)
            return kept[1]
        if fallback is not None:
            return fallback.ratio(kind)
        return median([*mine, FIRST_RATIO[kind]]) if mine else FIRST_RATIO[kind]


@dataclass
class FieldPace:
    """What all cars together teach: quick laps of the field, and ratios by kind."""

    reference_s: float
    quick: QuickLaps = field(default_factory=lambda: deque(maxlen=400))
    ratios: KindRatios = field(default_factory=KindRatios)
    belief: FieldBelief | None = None
    first: LapTimes = field(default_factory=LapTimes)
    lessons: deque[Lesson] = field(default_factory=deque)
    """The last timed laps that taught the lap model, so that it can be taught anew without one of them."""
    lessons_count: int = 0
    lessons_lost: int = 0
    lessons_retold: tuple[tuple[int, int], ...] = ()
    """After which lesson the model was taught anew, and the last number given before: who was at a number in between
    (the first not counted, the last counted) knew lessons that were told otherwise since."""
    _quickest: Quickest | None = None

    def taught(self, car: str, belief: CarBelief, lap: EndedLap) -> None:
        """Keep what taught the lap model; ``belief`` is the car's before this lap."""
        self.lessons_count += 1
        self.lessons.append(Lesson(self.lessons_count, car, belief, replace(lap, crossings={})))
        if len(self.lessons) > LESSONS_KEPT:
            self.lessons_lost = self.lessons.popleft().number

    def believing(self, labels: tuple[str, ...]) -> FieldBelief:
        """What all cars taught about laps with these loops."""
        if self.belief is None or self.belief.labels != labels:
            self.belief = FieldBelief(labels, FieldLaps(LapModel(self.reference_s, self.first)))
        return self.belief

    def learn(self, t: float, lap_time_s: float) -> None:
        """Take a timed lap that ended at ``t``."""
        self.quick.append((t, lap_time_s))
        if self._quickest is not None and self._quickest.of is self.quick:
            self._quickest.learned(t, lap_time_s)

    def best(self, t: float) -> float | None:
        """Best lap of the field in the last ten minutes, seconds."""
        if self._quickest is None or self._quickest.of is not self.quick:
            self._quickest = Quickest(self.quick)  # laps that a hand took back leave another list
        return self._quickest.between(t - FIELD_WINDOW_S, t + 1e-6)

    def usual(self) -> float:
        """A usual quick lap of the field; the circuit's reference while nobody has done one."""
        recent = [lap for _, lap in itertools.islice(reversed(self.quick), 20)]
        return median(recent) if recent else self.reference_s
