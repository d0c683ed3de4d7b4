"""The errors of one kind of forecast so far, as a distribution."""

from __future__ import annotations

import copy
from bisect import bisect_left, insort
from collections import deque
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np

from pitwall.pace.weighing import LEVELS, MIDDLE, Array

MOST = 200
HEAVY = (-2.56, -1.42, -0.95, -0.61, -0.35, -0.115, 0.115, 0.35, 0.61, 0.95, 1.42, 2.56)
"""Quantiles of Student's t with 3 degrees of freedom, at 1/24, 3/24 ...: lap times have tails."""


ORDINARY, MISTAKES = 2.0, 1.5
"""Errors up to so many deviations are ordinary; beyond them a mistake or traffic counts, in so many times the noise."""


def as_logs(errors: Array, deviation: float, noise: float) -> Array:
    """Logs that stand for errors counted in deviations.

    What a mistake costs does not depend on how well the car is known: on the slow side, beyond ``ORDINARY`` deviations
    of what was told, errors are counted in the noise of a lap.

    Args:
        errors: in deviations.
        deviation: of the log that was forecast.
        noise: deviation of the log of a lap without a mistake.
    """
    unit = MISTAKES * noise
    if deviation <= unit:
        return deviation * errors
    made: Array = deviation * np.minimum(errors, ORDINARY)
    made += unit * np.maximum(errors - ORDINARY, 0.0)
    return made


def in_deviations(log: float, deviation: float, noise: float) -> float:
    """The error that ``as_logs`` makes this log of."""
    error, unit = log / deviation, MISTAKES * noise
    if error <= ORDINARY or deviation <= unit:
        return error
    return ORDINARY + (log - ORDINARY * deviation) / unit


@dataclass
class Residuals:
    """The last errors (log of truth over forecast), beginning with a heavy-tailed dozen.

    Args:
        spread: scale of the errors that stand there before any was seen; or these errors themselves, two at least.
    """

    spread: float | tuple[float, ...]
    _order: deque[float] = field(default_factory=deque)
    _sorted: list[float] = field(default_factory=list)
    _quantiles: tuple[Array, Array] | None = None
    _first: int = 0

    def __post_init__(self) -> None:
        first = self.spread if isinstance(self.spread, tuple) else tuple(self.spread * one for one in HEAVY)
        for error in first:
            self.learn(error)
        self._first = len(first)

    def __deepcopy__(self, _memo: object) -> Residuals:
        """Its own lists of the same errors, copied whole: number by number, the copy of a field's model that is made
        before each end of a lap takes twice as long (measured: 0.25 ms for 0.13)."""
        made = copy.copy(self)
        made._order, made._sorted = self._order.copy(), self._sorted.copy()
        return made

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
            known = self._sorted
            places = _places(len(known), self._first)
            biased = np.array([known[at] + (known[at + 1] - known[at]) * part for at, part in places])
            self._quantiles = biased, biased - biased[MIDDLE]
        return self._quantiles[0 if with_bias else 1]

    def errors(self, count: int) -> Array:
        """That many errors that stand for all: quantiles at the middles of equal shares."""
        whole, values = len(self._sorted), np.array(self._sorted)
        places = (np.arange(count) + 0.5) / count * whole - 0.5
        made: Array = np.interp(places, np.arange(whole), values)
        return made


@lru_cache(maxsize=4 * MOST)
def _places(count: int, first: int) -> tuple[tuple[int, float], ...]:
    """For each level which of the sorted errors lies below it, and how far it is from there to the next.

    Kept, for most questions come when there are as many errors as there will ever be. What was seen is a sample (see
    ``weighing.sample_quantiles``); what stood there first is a distribution.
    """
    seen = 1.0 - first / count
    places = (min(max(level * (count + seen) - 0.5 * (1.0 + seen), 0.0), count - 1.0) for level in LEVELS)
    return tuple((below, place - below) for place in places for below in (min(int(place), count - 2),))
