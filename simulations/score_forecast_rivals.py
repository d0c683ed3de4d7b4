"""The two forecasts that a person with a pocket calculator makes, asked what the product was asked.

**Fixed averages.** Each kind of lap takes its average multiple of a good lap, each stop its average multiple of what
the plan says, whatever this day has shown so far. The averages come from all the *other* rehearsals of the same
scoring, which is more than anybody has the night before. The sum of them is normal with the pooled spread of those
laps and stops.

**PERT**, as in textbooks: mean (a + 4 m + b) / 6 and variance ((b - a) / 6)^2 for each activity, their sums normal,
no interruptions. The points of a stop are those that the plan gives; the likely lap times are those that the product
had learned by then, which is more than PERT has in textbooks. Checked with Taylor's example in the tests.

Neither knows of interruptions to come; both know what is left of the lap under way and of a release that is waited for.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from statistics import NormalDist, fmean

from simulations.score_forecast_rows import Day, Leg, Row, pert_mean

KNOWN = ("wait", "item")
"""What is no lap and no stop: taken as the product has it."""
Moments = tuple[float, float]
"""Mean in seconds and variance in seconds squared."""


def chance(row: Row, moments: Callable[[Leg], Moments]) -> float:
    """Chance that the legs of a row take no longer than the time that is left, their sum being normal."""
    end, variance = 0.0, 0.0
    for leg in row.legs:
        mean, its = moments(leg)
        end = max(end, leg.not_before_s - row.t if leg.not_before_s is not None else 0.0) + mean
        variance += its
    if variance <= 0:
        return float(end <= row.left_s)
    return NormalDist(end, math.sqrt(variance)).cdf(row.left_s)


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


def fixed(days: Sequence[Day]) -> list[list[float]]:
    """For each day the chances of its rows by fixed averages, which are those of all other days."""
    found: list[list[float]] = []
    for number, day in enumerate(days):
        others = [other for index, other in enumerate(days) if index != number] or [day]
        averages = Averages.over(others)

        def moments(leg: Leg, averages: Averages = averages, lap_s: float = day.lap_s) -> Moments:
            return averages.moments(leg, lap_s)

        found.append([chance(row, moments) for row in day.rows])
    return found
