"""What the next timed laps will take: several simple rules, pooled by their record over all cars.

Inside a run: the median of its last three timed laps, a median whose weights fall with age, and a level that follows
each lap but never far (one mistake moves it little). For the first timed lap of a run, when the car comes in or is out
again: the car's last laps, the first lap of its run before, its best; each also moved by what the others' last first
laps were against their own laps before (the track comes to all of them, and so does the part of the session).
Quantiles are those of earlier errors, of the same step ahead.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field
from statistics import median

import numpy as np

from pitwall.pace.residuals import Residuals
from pitwall.pace.weighing import Array, Record, Spread, weighted_median

LAP_SCALE_S = 0.15
FALL = 0.7
LEVEL_GAIN, LEVEL_SLOWER, LEVEL_QUICKER = 0.4, 0.006, 0.005
FIRST_MEMORY, FIRST_FADES_S = 60, 1200.0
HORIZONS = ("next", "later", "sum", "first", "after_out")
INSIDE = ("next", "later", "sum")
OUT_MEMORY, OUT_WIDTH, OTHER_TYRES = 80, 0.03, 0.4
OUT_FIRST = (
    (0.0, 0.055, 0.6), (0.05, 0.05, 0.6), (0.12, 0.015, 0.6), (0.2, 0.0, 1.0), (0.3, 0.0, 1.0), (0.4, 0.0, 0.6),
)  # fmt: skip
"""Who leaves for a long run does not nurse the tyres on the out-lap: (log out-lap over quick, log first lap over best,
weight). Invented from what practice sessions are like; common practice, no source."""
USED_FROM = 2
FIRST_ERRORS = (-0.06, -0.02, -0.01, -0.005, -0.002, 0.0, 0.003, 0.006, 0.01, 0.02, 0.05, 0.06)
"""Errors for the first timed lap of a run: a quick run and a long run are some 6 % apart (practice sessions)."""
SUM_OF = 5


@dataclass(frozen=True)
class DrivenLaps:
    """A car's timed laps: those of the run that it is on, and those of its runs before. Seconds, in order."""

    this_run: tuple[float, ...] = ()
    runs: tuple[tuple[float, ...], ...] = ()

    def lap(self, seconds: float) -> DrivenLaps:
        """With one more timed lap."""
        return DrivenLaps((*self.this_run, seconds), self.runs)

    def came_in(self) -> DrivenLaps:
        """The run is over."""
        return DrivenLaps((), (*self.runs, self.this_run)) if self.this_run else self

    @property
    def before(self) -> tuple[float, ...]:
        """All laps of the runs before, in order."""
        return tuple(lap for run in self.runs for lap in run)


@dataclass(frozen=True)
class Forecast:
    """What was forecast of one lap time (or the mean of several): by each rule, pooled, with quantiles."""

    rules: tuple[float, ...]
    seconds: float
    told: Array


def rules_inside(laps: Sequence[float]) -> tuple[float, ...]:
    """The rules inside a run, the simple one first."""
    level = laps[0]
    for lap in laps[1:]:
        level += LEVEL_GAIN * min(max(lap - level, -LEVEL_QUICKER * level), LEVEL_SLOWER * level)
    ages = range(len(laps) - 1, -1, -1)
    faded = weighted_median(laps, [FALL**age for age in ages])
    return median(laps[-3:]), faded, level, median(laps[-5:])


@dataclass
class FieldLaps:
    """What all cars taught about lap times: records, errors, and how first laps of runs were against the laps
    before.
    """

    records: dict[str, Record] = field(default_factory=lambda: {
        "next": Record(LAP_SCALE_S, (0.3, 0.5, 0.1, 0.1)),
        "later": Record(LAP_SCALE_S, (0.3, 0.5, 0.1, 0.1)),
        "sum": Record(LAP_SCALE_S, (0.3, 0.5, 0.1, 0.1)),
        "first": Record(LAP_SCALE_S, (0.4, 0.15, 0.15, 0.15, 0.15)),
        "after_out": Record(LAP_SCALE_S, (0.3, 0.2, 0.5)),
    })  # fmt: skip
    residuals: dict[str, Residuals] = field(default_factory=lambda: {
        "next": Residuals(0.007), "later": Residuals(0.012), "sum": Residuals(0.009), "after_out": Residuals(0.015),
        "first": Residuals(FIRST_ERRORS * 2),
    })  # fmt: skip
    spreads: dict[str, Spread] = field(default_factory=lambda: {name: Spread() for name in HORIZONS})
    firsts: deque[tuple[float, float, float]] = field(default_factory=lambda: deque(maxlen=FIRST_MEMORY))
    outs: deque[tuple[float, bool, float]] = field(default_factory=lambda: deque(maxlen=OUT_MEMORY))

    def inside(self, laps: DrivenLaps, horizon: str) -> Forecast:
        """A later lap of the run that is on."""
        return self._pooled(horizon, rules_inside(laps.this_run))

    def first(self, laps: DrivenLaps, t: float) -> Forecast | None:
        """The first timed lap of the next run; None before the car drove a timed lap."""
        before = laps.before
        if not before:
            return None
        usual, best = median(before[-3:]), min(before)
        shift, from_best = self._shift(t, 1), self._shift(t, 2)
        rules = (usual, laps.runs[-1][0], usual * math.exp(shift), best * math.exp(from_best), best)
        return self._pooled("first", rules)

    def after_out(
        self, laps: DrivenLaps, out_ratio: float, used: bool, best_s: float, first: Forecast | None
    ) -> Forecast:
        """The first timed lap, when the out-lap is over.

        Args:
            laps: of the car.
            out_ratio: log of the out-lap over its reference.
            used: its tyres have done laps.
            best_s: its best lap; the field's usual one while it has none.
            first: what was forecast when it came in.
        """
        known = [(ratio, to_best, (1.0 if worn == used else OTHER_TYRES)) for ratio, worn, to_best in self.outs]
        weights, values = [], []
        for ratio, to_best, weight in (*OUT_FIRST, *known):
            weights.append(weight * math.exp(-0.5 * ((ratio - out_ratio) / OUT_WIDTH) ** 2) + 1e-6)
            values.append(to_best)
        alike = best_s * math.exp(weighted_median(values, weights))
        last = laps.before[-1] if laps.before else best_s
        return self._pooled("after_out", (last, first.seconds if first is not None else best_s, alike))

    def learn(self, horizon: str, said: Forecast, seconds: float) -> None:
        """Take what was forecast, and what it was."""
        self.records[horizon].learn(said.rules, seconds)
        self.residuals[horizon].learn(math.log(seconds / said.seconds))
        self.spreads[horizon].learn(said.told, seconds)

    def learn_first(self, t: float, laps: DrivenLaps, seconds: float) -> None:
        """Take a first timed lap of a run that ended at ``t``; ``laps`` as they were before it."""
        before = laps.before
        if before:
            against_usual, against_best = math.log(seconds / median(before[-3:])), math.log(seconds / min(before))
            self.firsts.append((t, against_usual, against_best))

    def _shift(self, t: float, which: int) -> float:
        if not self.firsts:
            return 0.0
        values = [0.0, *(one[which] for one in self.firsts)]
        return weighted_median(values, [1.0, *(math.exp((one[0] - t) / FIRST_FADES_S) for one in self.firsts)])

    def _pooled(self, horizon: str, rules: tuple[float, ...]) -> Forecast:
        seconds = self.records[horizon].pooled(rules)
        inside = horizon in INSIDE  # tyres wear from lap to lap; between runs what was so need not come again
        told = self.spreads[horizon].apply(seconds * np.exp(self.residuals[horizon].quantiles(with_bias=inside)))
        return Forecast(rules, seconds, told)
