"""Durations by three points: beta-PERT distributions, and spreads through 10th, 50th and 90th percentile.

An estimate (a, m, b), optimistic, likely, pessimistic, becomes a beta distribution on [a, b] with

    alpha = 1 + 4 (m - a) / (b - a)        beta = 1 + 4 (b - m) / (b - a)

so that the mean is (a + 4 m + b) / 6 (the PERT mean; Malcolm, Roseboom, Clark and Fazar 1959 for the mean, the modified
beta with weight 4 for the shape) and the variance is exactly (mean - a)(b - mean) / 7. The textbook's other variance,
((b - a) / 6)^2, is an approximation and another number: nothing here uses it.

Draws turn evenly spread numbers into durations by the inverse of the distribution, read from a table. So each draw
takes one number, whatever the estimate is, and a longer estimate gives a longer duration in every future: alternatives
can be compared draw by draw. It is also several times as fast as drawing from the beta distribution itself.
"""

from __future__ import annotations

import math
from functools import lru_cache
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

WEIGHT = 4.0
"""Weight of the likely value; 4 is what makes the mean (a + 4 m + b) / 6."""

Z90 = 1.2815515655446004
"""90th percentile of the standard normal distribution."""

CELLS = 1024
"""Cells of a table of quantiles; the error of a mean is below 1e-4 of the width."""

GRID = 512


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


def sample(
    rng: np.random.Generator, low: float, likely: float, high: float, count: int, lasted: float = 0.0
) -> Floats:
    """Draw ``count`` durations.

    Args:
        rng: Source of the draws, one number each; the only state that changes.
        low: Optimistic value.
        likely: Most likely value.
        high: Pessimistic value.
        count: How many.
        lasted: It is known to take longer than this. Past the pessimistic value nothing is known: then it is taken to
            end within a quarter of the estimate's width (a choice of ours).

    Returns:
        Array of shape (count,), each within [low, high], and beyond ``lasted``.

    Raises:
        ValueError: when the estimate is out of order.
    """
    even = rng.random(count)
    if low == likely == high and lasted <= low:
        return np.full(count, low)
    if lasted >= high:
        return lasted + even * max((high - low) / 4.0, 1.0)
    values, rises, below = _quantiles(*shape(low, likely, high))
    if lasted > low:
        passed = float(np.interp((lasted - low) / (high - low), np.linspace(0.0, 1.0, GRID + 1), below))
        even *= 1.0 - passed
        even += passed
    drawn = _looked_up(even, values, rises)
    drawn *= high - low
    drawn += low
    return drawn if lasted <= low else np.maximum(drawn, lasted)


def sample_tenths(rng: np.random.Generator, low: float, middle: float, high: float, count: int) -> Floats:
    """Draw ``count`` values through three percentiles, one number each; see ``tenths_at``."""
    return tenths_at(rng.random(count), low, middle, high)


def tenths_at(even: Floats, low: float, middle: float, high: float) -> Floats:
    """Quantiles of a distribution with one in ten below ``low``, half below ``middle`` and one in ten above ``high``.

    The logarithm is normal with one spread below the median and another above (the two-piece normal of Fechner).

    Args:
        even: Levels, 0 to 1, shape (N,).
        low: 10th percentile; percentiles out of order are put in order and kept positive.
        middle: Median.
        high: 90th percentile.
    """
    low, middle, high = (max(value, 1e-6) for value in sorted((low, middle, high)))
    if low == high:
        return np.full(even.size, middle)
    z = normal(even)
    z *= np.where(z < 0, math.log(middle / low) / Z90, math.log(high / middle) / Z90)
    np.exp(z, out=z)
    z *= middle
    return z


def normal(even: Floats) -> Floats:
    """Standard normal values of evenly spread numbers from 0 to 1, by their quantiles."""
    return _looked_up(even, *_normal_quantiles())


def normal_below(z: float) -> float:
    """Chance of a standard normal value below this one."""
    return NormalDist().cdf(z)


_GRID: Floats = np.linspace(-8.0, 8.0, 3201)
_BELOW: Floats = np.array([NormalDist().cdf(float(z)) for z in _GRID])


def normal_below_each(z: Floats) -> Floats:
    """The same for many values at once, to within a millionth, shape (N,): linear between two hundred to the unit."""
    below: Floats = np.interp(z, _GRID, _BELOW)
    return below


def _looked_up(even: Floats, values: Floats, rises: Floats) -> Floats:
    """Quantiles at these levels, shape (N,): linear within the cells of the table."""
    place = even * CELLS
    cell = place.astype(np.intp)
    np.minimum(cell, CELLS - 1, out=cell)
    place -= cell
    place *= rises.take(cell)
    place += values.take(cell)
    return place


@lru_cache(maxsize=512)
def _quantiles(alpha: float, beta: float) -> tuple[Floats, Floats, Floats]:
    """Quantiles of the beta distribution at the edges of ``CELLS`` cells, what each cell rises by, and the distribution
    function on an even grid."""
    x = (1.0 - np.cos(np.linspace(0.0, math.pi, GRID + 1))) / 2.0
    density = x ** (alpha - 1.0) * (1.0 - x) ** (beta - 1.0)
    below = np.concatenate([[0.0], np.cumsum((density[1:] + density[:-1]) * np.diff(x))])
    below /= below[-1]
    values = np.interp(np.linspace(0.0, 1.0, CELLS + 1), below, x)
    return values, np.diff(values), np.interp(np.linspace(0.0, 1.0, GRID + 1), x, below)


@lru_cache(maxsize=1)
def _normal_quantiles() -> tuple[Floats, Floats]:
    """Quantiles of the standard normal at the edges of the cells; the outermost stand for the tails."""
    unit = NormalDist()
    inner = [unit.inv_cdf(level / CELLS) for level in range(1, CELLS)]
    tail = 2.0 * unit.pdf(inner[-1]) * CELLS - inner[-1]  # so that the outer cell has the right mean
    values = np.array([-tail, *inner, tail])
    return values, np.diff(values)
