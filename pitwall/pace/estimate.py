"""What is believed of several unknown quantities at once: their means and how they vary together.

A linear Gaussian belief, updated by one observation at a time (Kalman 1960; as Bayesian regression: West and
Harrison, Bayesian Forecasting and Dynamic Models, 2nd ed., chapter 4). An observation is a weighted sum of the
quantities plus noise. One that lies far off counts less (Huber 1964), one that lies very far off hardly at all.
Quantities are in whatever unit the observations give them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from pitwall.pace.weighing import Array

Parts = Sequence[tuple[str, float]]
HUBER = 1.345
"""Beyond this many deviations an observation counts less; 95 % efficient where the noise is normal (Huber)."""


def weight_of(deviations: float, huber: float = HUBER, mistake_from: float = math.inf) -> float:
    """How much an observation counts, 0 to 1, that lies this many deviations off.

    Args:
        deviations: error over its standard deviation.
        huber: up to here it counts in full, beyond its pull no longer grows (Huber's weights).
        mistake_from: beyond here its pull falls off: it says little about what is usual.
    """
    off = abs(deviations)
    if off <= huber:
        return 1.0
    return huber / off * (min(1.0, mistake_from / off) ** 2)


class Estimate:
    """Named quantities with their means and covariances; all that is not yet named is unknown to it."""

    def __init__(self) -> None:
        self._place: dict[str, int] = {}
        self._mean: Array = np.zeros(0)
        self._covariance: Array = np.zeros((0, 0))

    def __contains__(self, name: str) -> bool:
        return name in self._place

    def begin(self, name: str, mean: float, deviation: float) -> None:
        """Take up a quantity with its prior; one that is there already is forgotten and begins anew."""
        at = self._place.get(name)
        if at is None:
            at = self._place[name] = len(self._mean)
            self._mean = np.append(self._mean, 0.0)
            self._covariance = np.pad(self._covariance, (0, 1))
        self._mean[at] = mean
        self._covariance[at, :] = self._covariance[:, at] = 0.0
        self._covariance[at, at] = deviation * deviation

    def loosen(self, name: str, variance: float) -> None:
        """The quantity may have moved since: that much variance more."""
        at = self._place[name]
        self._covariance[at, at] += variance

    def advance(self, level: str, rate: str, seconds: float) -> None:
        """Time passes: the level moves at its rate."""
        to, by = self._place[level], self._place[rate]
        self._mean[to] += seconds * self._mean[by]
        self._covariance[to, :] += seconds * self._covariance[by, :]
        self._covariance[:, to] += seconds * self._covariance[:, by]

    def mean(self, name: str) -> float:
        """What the quantity is believed to be."""
        return float(self._mean[self._place[name]])

    def variance(self, name: str) -> float:
        """Variance of what it is believed to be."""
        at = self._place[name]
        return float(self._covariance[at, at])

    def expect(self, parts: Parts) -> tuple[float, float]:
        """Mean and variance of a weighted sum of quantities, without noise.

        Args:
            parts: name and weight of each.
        """
        at, weights = self._row(parts)
        inner = self._covariance.take(at, axis=0).take(at, axis=1)
        return float(weights @ self._mean.take(at)), max(float(weights @ inner @ weights), 0.0)

    def take(self, parts: Parts, value: float, variance: float, mistake_from: float = math.inf,
             huber: float = HUBER) -> float:  # fmt: skip
        """Learn from an observation of a weighted sum; returns by how many deviations it was off.

        Args:
            parts: name and weight of each quantity in it.
            value: what was observed.
            variance: of its noise.
            mistake_from: see ``weight_of``.
            huber: see ``weight_of``; infinity takes every observation in full.
        """
        at, weights = self._row(parts)
        toward = self._covariance[:, at] @ weights
        known = max(float(weights @ toward.take(at)), 0.0)
        error = value - float(weights @ self._mean.take(at))
        off = error / math.sqrt(known + variance)
        counts = weight_of(off, huber, mistake_from)
        gain = toward / (known + variance / max(counts, 1e-9))
        self._mean += gain * error
        self._covariance -= np.outer(gain, toward)
        return off

    def _row(self, parts: Parts) -> tuple[list[int], Array]:
        return [self._place[name] for name, _ in parts], np.array([weight for _, weight in parts])
