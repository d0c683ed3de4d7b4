"""Quantiles of weighted values, and forecasters weighed by their record so far.

Several simple forecasters stand beside one another; each has its mean loss so far, and the weights follow from it.
The loss of an error is ``log(scale + |error|)``: it counts the usual error and the large one alike, in whatever unit.
The first
forecaster is the simple rule: it starts with most of the weight, so that little evidence changes little.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

LEVELS = (0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95)
"""Levels at which every distribution is told."""
MIDDLE, LOW, HIGH = LEVELS.index(0.5), LEVELS.index(0.1), LEVELS.index(0.9)
_LEVELS = np.array(LEVELS)
_AROUND = _LEVELS - 0.5


def weighted_quantiles(values: Array, weights: Array, levels: Array | Sequence[float] = _LEVELS) -> Array:
    """Quantiles of weighted values, linear between the middles of their weights.

    Raises:
        ValueError: without values, or when the weights add up to nothing.
    """
    return _quantiles(values, weights, np.asarray(levels), False)


def sample_quantiles(values: Array, weights: Array) -> Array:
    """Quantiles at ``LEVELS`` of what comes next, where the values are a sample of it: a little wider than their own.

    Of n values k / (n + 1) lie below the k-th (as for any exchangeable next one: split conformal prediction); of
    weighted ones n is the effective number, the square of the sum over the sum of squares (Kish 1965).
    """
    return _quantiles(values, weights, _LEVELS, True)


def _quantiles(values: Array, weights: Array, levels: Array, of_next: bool) -> Array:
    if len(values) == 0:
        raise ValueError("no values to take a quantile of")
    order = values.argsort()
    sorted_weights = weights.take(order)
    total = sorted_weights.cumsum()
    whole = float(total[-1])
    if not whole > 0:
        raise ValueError("the weights add up to nothing")
    if of_next:
        count = max(whole * whole / max(float(weights.dot(weights)), 1e-300), 1.0)
        # Levels beyond 0 and 1 are those of the least and the greatest value.
        levels = 0.5 + _AROUND * (1.0 + 1.0 / count)
    sorted_weights *= 0.5
    total -= sorted_weights
    made: Array = np.interp(levels * whole, total, values.take(order))
    return made


def weighted_median(values: Sequence[float], weights: Sequence[float]) -> float:
    """The lower weighted median of a few values."""
    pairs = sorted(zip(values, weights, strict=True))
    half, so_far = 0.5 * sum(weights), 0.0
    for value, weight in pairs:
        so_far += weight
        if so_far >= half - 1e-12:
            return value
    return pairs[-1][0]


@dataclass
class Record:
    """How well several forecasters of one quantity did so far.

    Args:
        scale: errors well under this are as good as none.
        first_weights: weights before anything is known, one a forecaster.
        worth: how many forecasts the first weights are worth.
        sharpness: how strongly a better mean loss is preferred.
        memory: about how many forecasts back count.
    """

    scale: float
    first_weights: tuple[float, ...]
    worth: float = 4.0
    sharpness: float = 12.0
    memory: float = 150.0
    _count: float = 0.0
    _losses: list[float] = field(default_factory=list)
    _weights: tuple[float, ...] | None = None

    def weights(self) -> tuple[float, ...]:
        """Weights of the forecasters, adding up to one."""
        if self._weights is None:
            losses = self._losses or [0.0] * len(self.first_weights)
            known = self._count / (self._count + self.worth)
            best = min(losses)
            raw = [first * math.exp(-self.sharpness * known * (loss - best) * min(1.0, self._count / 4))
                   for first, loss in zip(self.first_weights, losses, strict=True)]
            total = sum(raw)
            self._weights = tuple(value / total for value in raw)
        return self._weights

    def learn(self, forecasts: Sequence[float], truth: float) -> None:
        """Take what each forecaster had said, and what it was."""
        if not self._losses:
            self._losses = [0.0] * len(self.first_weights)
        self._count = min(self._count + 1.0, self.memory)
        for at, said in enumerate(forecasts):
            loss = math.log(self.scale + abs(said - truth))
            self._losses[at] += (loss - self._losses[at]) / self._count
        self._weights = None

    def pooled(self, forecasts: Sequence[float]) -> float:
        """One forecast of all: their weighted mean."""
        return sum(weight * said for weight, said in zip(self.weights(), forecasts, strict=True))


@dataclass
class Spread:
    """Widens or narrows intervals until they hold what they say: both sides on their own.

    After each truth a side's factor grows a little when the truth lay beyond its outer quantile (10 or 90 %), and
    shrinks by a ninth of that when it did not; in balance one in ten lies beyond.
    """

    step: float = 0.08
    low: float = 1.0
    high: float = 1.0
    _factors: Array | None = None

    def apply(self, quantiles: Array) -> Array:
        """The distribution with its sides stretched about the median."""
        if self._factors is None:
            # Quantiles rise: those before the median lie on its low side.
            self._factors = np.array([self.low if at < MIDDLE else self.high for at in range(len(LEVELS))])
        middle = quantiles[MIDDLE]
        made: Array = quantiles - middle
        made *= self._factors
        made += middle
        return made

    def learn(self, told: Array, truth: float) -> None:
        """Take a distribution as it was told (stretched), and what it was."""
        self.low = _stretched(self.low, self.step, truth < told[LOW])
        self.high = _stretched(self.high, self.step, truth > told[HIGH])
        self._factors = None


def _stretched(factor: float, step: float, beyond: bool) -> float:
    return min(max(factor * math.exp(step * (0.9 if beyond else -0.1)), 0.25), 6.0)
