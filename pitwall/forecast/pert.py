"""Three-point durations as beta-PERT distributions: shape, moments, draws.

An estimate (a, m, b), optimistic, likely, pessimistic, becomes a beta distribution on [a, b] with

    alpha = 1 + 4 (m - a) / (b - a)        beta = 1 + 4 (b - m) / (b - a)

so that the mean is (a + 4 m + b) / 6 (the PERT mean; Malcolm, Roseboom, Clark and Fazar 1959 for the mean, the modified
beta with weight 4 for the shape) and the variance is exactly (mean - a)(b - mean) / 7. The textbook's other variance,
((b - a) / 6)^2, is an approximation and another number: nothing here uses it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

WEIGHT = 4.0
"""Weight of the likely value; 4 is what makes the mean (a + 4 m + b) / 6."""


def mean(low: float, likely: float, high: float) -> float:
    """Mean of the estimate, in its own unit."""
    return (low + WEIGHT * likely + high) / (WEIGHT + 2.0)


def variance(low: float, likely: float, high: float) -> float:
    """Exact variance of the beta-PERT distribution, unit squared: (mean - low)(high - mean) / 7."""
    middle = mean(low, likely, high)
    return (middle - low) * (high - middle) / (WEIGHT + 3.0)


def shape(low: float, likely: float, high: float) -> tuple[float, float]:
    """The two shape parameters of the beta distribution on [low, high].

    Raises:
        ValueError: when the estimate is out of order or has no width (then there is nothing to shape).
    """
    if not low <= likely <= high:
        raise ValueError(f"expected optimistic <= likely <= pessimistic, got {low:g}, {likely:g}, {high:g}")
    width = high - low
    if width <= 0:
        raise ValueError(f"an estimate without width ({low:g}) has no shape: use it as a constant")
    return 1.0 + WEIGHT * (likely - low) / width, 1.0 + WEIGHT * (high - likely) / width


def sample(rng: np.random.Generator, low: float, likely: float, high: float, count: int) -> Floats:
    """Draw ``count`` durations.

    Args:
        rng: Source of the draws; the only state that changes.
        low: Optimistic value.
        likely: Most likely value.
        high: Pessimistic value.
        count: How many.

    Returns:
        Array of shape (count,), each within [low, high].

    Raises:
        ValueError: when the estimate is out of order.
    """
    if low == likely == high:
        return np.full(count, low)
    alpha, beta = shape(low, likely, high)
    drawn = rng.beta(alpha, beta, count)
    drawn *= high - low
    drawn += low
    return drawn
