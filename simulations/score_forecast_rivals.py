"""What a person with a pocket calculator says to the questions that the product was asked.

**Fixed averages.** What is known the night before: laps take the common multiples of a good lap (medians of recorded
practice sessions, ``COMMON``), stops the mean of the plan's three points, whatever this day has shown so far. The end
time is normal with one spread pooled over all questions: the one with which these very answers score best, so nobody
could have chosen a better one.

**PERT**, as in textbooks: mean (a + 4 m + b) / 6 and variance ((b - a) / 6)^2 for each activity, their sums normal,
no interruptions. The points of a stop are those that the plan gives; the likely lap times are those that the product
had learned by then, with the way through the lane, which is more than PERT has in textbooks. Checked with Taylor's
example in the tests.

**Hindsight** is a bound rather than a rival: fixed averages again, but of the laps and stops that all the *other*
rehearsals of the same scoring really had (with the lane, the late calls and the red flags in them), and the spread of
each kind. Nobody has these the night before.

None of them knows of interruptions to come; all know what is left of the lap under way, and how long the work that is
under way has lasted.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import partial
from statistics import NormalDist, fmean

from simulations.score_forecast_rows import Day, Leg, Row, pert_mean

COMMON: dict[str, float] = {"out": 1.25, "timed": 1.0, "cool": 1.5, "in": 1.18}
SPREADS_S = tuple(range(30, 901, 15))
KNOWN = ("wait", "item")
"""What is no lap and no stop: taken as the product has it."""
Moments = tuple[float, float]
"""Mean in seconds and variance in seconds squared."""


def chance(row: Row, moments: Callable[[Leg], Moments]) -> float:
    """Chance that the legs of a row take no longer than the time that is left, their sum being normal."""
    end, variance = end_of(row, moments)
    if variance <= 0:
        return float(end <= row.left_s)
    return NormalDist(end, math.sqrt(variance)).cdf(row.left_s)


def end_of(row: Row, moments: Callable[[Leg], Moments]) -> Moments:
    """When the legs of a row are over, seconds from its moment: mean and variance."""
    end, variance = 0.0, 0.0
    for leg in row.legs:
        mean, its = moments(leg)
        end = max(end, leg.not_before_s - row.t if leg.not_before_s is not None else 0.0) + mean
        variance += its
    return end, variance


def pert_moments(leg: Leg) -> Moments:
    """Mean and variance of one activity by PERT; of work that is under way, what is left of its mean."""
    mean = max(0.0, pert_mean(leg.low_s, leg.likely_s, leg.high_s) - leg.lasted_s)
    return mean, ((leg.high_s - leg.low_s) / 6.0) ** 2


def pert(row: Row) -> float:
    """What PERT says to this question."""
    return chance(row, pert_moments)


@dataclass(frozen=True)
class Averages:
    """By kind of lap and for stops: mean and spread of the multiples."""

    of: dict[str, Moments]

    @classmethod
    def over(cls, days: Iterable[Day]) -> Averages:
        """Averages over these days; their spread pooled over all of them."""
        taken: dict[str, list[float]] = {}
        for day in days:
            for one in day.took:
                taken.setdefault(one.kind, []).append(one.times)
        return cls({kind: _moments(values) for kind, values in taken.items()})

    def moments(self, leg: Leg, lap_s: float) -> Moments:
        """Mean and variance of one activity by these averages; by PERT where there are none."""
        known = self.of.get(leg.kind)
        if known is None or leg.under_way or leg.kind in KNOWN:
            return pert_moments(leg)
        unit = pert_mean(leg.low_s, leg.likely_s, leg.high_s) if leg.kind == "garage" else lap_s
        return max(0.0, known[0] * unit - leg.lasted_s), known[1] * unit**2


def _moments(values: Sequence[float]) -> Moments:
    mean = fmean(values)
    return mean, fmean((value - mean) ** 2 for value in values)


def hindsight(days: Sequence[Day]) -> list[list[float]]:
    """For each day the chances of its rows by the averages of all other days."""
    found: list[list[float]] = []
    for number, day in enumerate(days):
        others = [other for index, other in enumerate(days) if index != number] or [day]
        averages = Averages.over(others)

        def moments(leg: Leg, averages: Averages = averages, lap_s: float = day.lap_s) -> Moments:
            return averages.moments(leg, lap_s)

        found.append([chance(row, moments) for row in day.rows])
    return found


def fixed_moments(leg: Leg, lap_s: float) -> Moments:
    """Mean of one activity by fixed averages; its spread is not its own."""
    if leg.under_way or leg.kind not in COMMON:
        return pert_moments(leg)
    return COMMON[leg.kind] * lap_s, 0.0


def fixed(days: Sequence[Day]) -> list[list[float]]:
    """For each day the chances of its rows by fixed averages, with the one spread that serves them best."""
    margins = [[row.left_s - end_of(row, partial(fixed_moments, lap_s=day.lap_s))[0] for row in day.rows]
               for day in days]
    happened = [row.happened for day in days for row in day.rows]
    every = [margin for day in margins for margin in day]

    def error(spread_s: float) -> float:
        return sum((_below(margin / spread_s) - done) ** 2 for margin, done in zip(every, happened, strict=True))

    best = min(SPREADS_S, key=error)
    return [[_below(margin / best) for margin in day] for day in margins]


def _below(deviations: float) -> float:
    """The standard normal distribution function."""
    return 0.5 * (1.0 + math.erf(deviations / math.sqrt(2.0)))
