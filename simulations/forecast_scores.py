"""How good a forecast was that came as a distribution: the usual scores, smaller is better.

Pinball loss of a quantile: Koenker and Bassett, Regression Quantiles, Econometrica 46 (1978). Continuous ranked
probability score (CRPS): Gneiting and Raftery, Strictly Proper Scoring Rules, JASA 102 (2007), equations 20-21; its
fair
form for an ensemble: Ferro, QJRMS 140 (2014). It is twice the integral of the pinball loss over the levels, which is
how ``crps_of_quantiles`` takes it. Brier score: Brier, Monthly Weather Review 78 (1950), for an event that happens or
not.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from statistics import NormalDist


def pinball(quantile: float, truth: float, level: float) -> float:
    """Loss of a quantile that was told for ``level`` (0 to 1)."""
    return (truth - quantile) * level if truth >= quantile else (quantile - truth) * (1.0 - level)


def crps_of_quantiles(quantiles: Sequence[float], levels: Sequence[float], truth: float) -> float:
    """CRPS of a distribution known at a few levels only, each standing for the levels nearest to it.

    The first and the last stand for the levels out to 0 and 1, too.
    """
    edges = [0.0, *((low + high) / 2 for low, high in itertools.pairwise(levels)), 1.0]
    return 2.0 * sum(
        pinball(quantile, truth, level) * (high - low)
        for quantile, level, low, high in zip(quantiles, levels, edges, edges[1:], strict=False)
    )


def crps_of_normal(mean: float, deviation: float, truth: float) -> float:
    """CRPS of a normal distribution."""
    z, unit = (truth - mean) / deviation, NormalDist()
    return deviation * (z * (2.0 * unit.cdf(z) - 1.0) + 2.0 * unit.pdf(z) - 1.0 / math.sqrt(math.pi))


def crps_of_ensemble(members: Sequence[float], truth: float, fair: bool = False) -> float:
    """CRPS of equally likely values; ``fair``: as if there were endlessly many of their kind."""
    count = len(members)
    between = sum(abs(one - other) for one in members for other in members)
    pairs = count * (count - 1) if fair else count * count
    return sum(abs(one - truth) for one in members) / count - between / (2.0 * pairs)


def brier(probabilities: Sequence[float], happened: Sequence[bool]) -> float:
    """Mean squared difference of probabilities and what happened."""
    return sum((p - float(h)) ** 2 for p, h in zip(probabilities, happened, strict=True)) / len(probabilities)


def binomial_band(share: float, count: int, confidence: float = 0.95) -> tuple[float, float]:
    """Shares between which a count of ``count`` tries lies with at least this probability (equal tails)."""
    tail, total, low, high = (1.0 - confidence) / 2.0, 0.0, None, count
    for hits in range(count + 1):
        total += math.exp(
            math.lgamma(count + 1) - math.lgamma(hits + 1) - math.lgamma(count - hits + 1)
            + hits * math.log(share) + (count - hits) * math.log1p(-share)
        )  # fmt: skip
        if low is None and total > tail:
            low = hits
        if total >= 1.0 - tail:
            high = hits
            break
    return (low or 0) / count, high / count
