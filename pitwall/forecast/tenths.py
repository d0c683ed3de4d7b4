"""Figures of a distribution over the futures: at 10, 50 and 90 percent, to the millisecond."""

from __future__ import annotations

import numpy as np

from pitwall.forecast.pert import Floats

LEVELS = (0.1, 0.5, 0.9)


def tenths(values: Floats) -> tuple[float, float, float]:
    """The values at 10, 50 and 90 percent, each one of those that are there, so that they may be infinite too."""
    low, middle, high = (round(level * (values.size - 1)) for level in LEVELS)
    found = np.partition(values, (low, middle, high))
    return rounded(found[low]), rounded(found[middle]), rounded(found[high])


def at_level(values: Floats, level: float) -> float:
    """The value that this share of the futures does not pass."""
    place = min(values.size - 1, int(np.ceil(level * values.size)) - 1)
    return float(np.partition(values, max(place, 0))[max(place, 0)])


def rounded(seconds: float) -> float:
    """To the millisecond."""
    return round(float(seconds), 3)
