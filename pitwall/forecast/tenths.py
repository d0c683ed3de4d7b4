"""Figures of a distribution over the futures: at 10, 50 and 90 percent, to the millisecond."""

from __future__ import annotations

import numpy as np

from pitwall.forecast.pert import Floats

LEVELS = (0.1, 0.5, 0.9)


def tenths(values: Floats) -> tuple[float, float, float]:
    """The values at 10, 50 and 90 percent, each one of those that are there, so that they may be infinite too."""
    # One partition each: all three places in one cost four times as much.
    low, middle, high = (_th(values, round(level * (values.size - 1))) for level in LEVELS)
    return rounded(low), rounded(middle), rounded(high)


def at_level(values: Floats, level: float) -> float:
    """The value that this share of the futures does not pass."""
    place = min(values.size - 1, int(np.ceil(level * values.size)) - 1)
    return _th(values, max(place, 0))


def _th(values: Floats, place: int) -> float:
    return float(np.partition(values, place)[place])


def rounded(seconds: float) -> float:
    """To the millisecond."""
    return round(float(seconds), 3)
