"""The errors of one kind of forecast so far, as a distribution."""

from __future__ import annotations

from bisect import bisect_left, insort
from collections import deque
from dataclasses import dataclass, field

import numpy as np

from pitwall.pace.weighing import LEVELS, MIDDLE, Array

MOST = 200
HEAVY = (-2.56, -1.42, -0.95, -0.61, -0.35, -0.115, 0.115, 0.35, 0.61, 0.95, 1.42, 2.56)
"""Quantiles of Student's t with 3 degrees of freedom, at 1/24, 3/24 ...: lap times have tails."""


@dataclass
class Residuals:
    """The last errors (log of truth over forecast), beginning with a heavy-tailed dozen.

    Args:
        spread: scale of the errors that stand there before any was seen; or these errors themselves.
    """

    spread: float | tuple[float, ...]
    _order: deque[float] = field(default_factory=deque)
    _sorted: list[float] = field(default_factory=list)
    _quantiles: Array | None = None
    _first: int = 0

    def __post_init__(self) -> None:
        first = self.spread if isinstance(self.spread, tuple) else tuple(self.spread * one for one in HEAVY)
        for error in first:
            self.learn(error)
        self._first = len(first)

    def learn(self, error: float) -> None:
        """Take one error; the oldest goes."""
        self._order.append(error)
        insort(self._sorted, error)
        if len(self._order) > MOST:
            del self._sorted[bisect_left(self._sorted, self._order.popleft())]
            self._first = max(self._first - 1, 0)
        self._quantiles = None

    def quantiles(self, with_bias: bool = False) -> Array:
        """Quantiles of the errors at ``LEVELS``: about their median (the spread alone), or with it."""
        if self._quantiles is None:
            # What was seen is a sample (see weighing.sample_quantiles); what stood there first is a distribution.
            count = len(self._sorted)
            seen = 1.0 - self._first / count
            places = (level * (count + seen) - 0.5 * (1.0 + seen) for level in LEVELS)
            self._quantiles = np.array([_at(self._sorted, place) for place in places])
        return self._quantiles if with_bias else self._quantiles - self._quantiles[MIDDLE]

    def errors(self, count: int) -> Array:
        """That many errors that stand for all: quantiles at the middles of equal shares."""
        whole, values = len(self._sorted), np.array(self._sorted)
        places = (np.arange(count) + 0.5) / count * whole - 0.5
        made: Array = np.interp(places, np.arange(whole), values)
        return made


def _at(values: list[float], place: float) -> float:
    place = min(max(place, 0.0), len(values) - 1.0)
    below = int(place)
    above = min(below + 1, len(values) - 1)
    return values[below] + (values[above] - values[below]) * (place - below)
