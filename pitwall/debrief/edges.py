"""When a held speed was reached or left, from measured speeds around that moment: two shapes, and the likelier of them.

*One bend*: the speed is level, then runs along a line. *Two bends*: between level and line lies another line, the other
way or slower. So it looks where a driver lets go shortly before he must brake: he gains a little first, or goes along
with a lap whose pace is nearly that of the hold. Two bends always fit better than one, so they must fit much better.

Measured speeds scatter, and a driver wavers about the speed that he holds. Wavering is slow: neighbours are off by
about the same, so the fit weighs them together (generalised least squares, as in any textbook of regression). Every
moment that fits nearly as well as the best belongs to the interval. The figures are common practice, no source; what
they are worth is measured by ``simulations/score_debrief.py``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

NOISE_MPS, WAVERS_MPS, WAVERS_FOR_S = 0.1, 0.12, 0.6
"""How far a measured speed is off, how far a driver is, and for how long he stays so."""
INSIDE_S, OUTSIDE_S, FAR_MPS = 1.3, 0.6, 6.0
"""Looked at: so long inside the hold, and outside as long as the speed is no further off."""
STEP_S = 0.02
GAP_S = 1.2
"""Where no position came for so long the edge was not seen."""
FASTEST_MPS2, SLOWEST_MPS2 = 25.0, 0.8
"""Of changes of speed between two bends, and behind them."""
SHOWS_MPS = 0.3
"""What happens between two bends changes the speed by so much, else nobody can tell it from wavering."""
MUCH_BETTER, NEARLY_AS_WELL = 9.0, 4.0
"""In squares of the scatter: what two bends must gain over one, and what a moment may lose (two sigma)."""
HIDDEN_S = 0.18
"""Who lets go so shortly before he brakes may not show it."""


@dataclass(frozen=True)
class Edge:
    """A moment with its interval, session seconds."""

    t: float
    low: float
    high: float


@dataclass(frozen=True)
class _Fits:
    """Moments at which the level may end, what each leaves unexplained, and the slope of the line behind."""

    at: Array
    left: Array
    slope: Array

    @property
    def best(self) -> int:
        return int(np.argmin(self.left))


def edge_of(t: Array, speed: Array, last: int, way: int, level: float, band: float) -> Edge | None:
    """When the level ends; None where too few positions show how.

    Args:
        t, speed: positions of the stretch in order, session seconds and metres a second.
        last: the last position on the level, in the direction looked in.
        way: +1 for the end of a hold; -1 for its beginning, which is the end of it looked at backwards.
        level: the speed that was held there.
        band: a speed so near the level belongs to it.
    """
    outside = last + way
    if not 0 <= outside < len(t) or abs(t[outside] - t[last]) > GAP_S:
        return None
    time, off = t[::way] * way, speed[::way] - level
    here = last if way > 0 else len(t) - 1 - last
    seen = (time >= time[here] - INSIDE_S) & (time <= time[here + 1] + OUTSIDE_S)
    seen &= (time <= time[here]) | (np.abs(off) <= FAR_MPS)
    if np.count_nonzero(seen & (time > time[here])) < 2:
        return None
    found = _fitted(time[seen], off[seen], float(time[here]), float(time[here + 1]), falls_late=way > 0)
    return found if way > 0 else Edge(-found.t, -found.high, -found.low)


def _fitted(time: Array, off: Array, inside: float, outside: float, *, falls_late: bool) -> Edge:
    weights = _weights(time)
    bends = np.arange(inside - 0.5, outside + 0.45, STEP_S)
    one = _one_bend(time, off, weights, bends)
    first, second = np.meshgrid(np.arange(inside - 1.0, outside + 0.1, STEP_S), bends, indexing="ij")
    apart = (second - first >= 0.05) & (second - first <= 1.0)
    two = _two_bends(time, off, weights, first[apart], second[apart])
    bent_twice = two.left[two.best] < one.left[one.best] - MUCH_BETTER
    best = two if bent_twice else one
    most = best.left[best.best] + NEARLY_AS_WELL
    price = 0.0 if bent_twice else MUCH_BETTER
    near = np.concatenate([one.at[one.left <= most], two.at[two.left + price <= most], best.at[[best.best]]])
    low, high = float(np.min(near)) - STEP_S, float(np.max(near)) + STEP_S
    if falls_late and not bent_twice and one.slope[one.best] < 0:
        low = min(low, float(one.at[one.best]) - HIDDEN_S)
    return Edge(float(best.at[best.best]), low, high)


def _one_bend(time: Array, off: Array, weights: Array, bends: Array) -> _Fits:
    behind = np.maximum(time - bends[:, None], 0.0)
    found, left = _least_squares(weights, [np.ones_like(behind), behind], off)
    slope = found[:, 1]
    return _Fits(bends, np.where(np.abs(slope) < FASTEST_MPS2, left, np.inf), slope)


def _two_bends(time: Array, off: Array, weights: Array, first: Array, second: Array) -> _Fits:
    between = np.clip(time - first[:, None], 0.0, (second - first)[:, None])
    behind = np.maximum(time - second[:, None], 0.0)
    found, left = _least_squares(weights, [np.ones_like(between), between, behind], off)
    slow, slope = np.abs(found[:, 1]), found[:, 2]
    may_be = (slow >= SLOWEST_MPS2) & (slow < FASTEST_MPS2) & (slow * (second - first) >= SHOWS_MPS)
    may_be &= np.abs(slope) < FASTEST_MPS2
    return _Fits(first, np.where(may_be, left, np.inf), slope)


def _weights(time: Array) -> Array:
    """What makes the scatter of these speeds even and independent: the inverse Cholesky factor of its covariance."""
    apart = np.abs(time[:, None] - time[None, :])
    covariance = NOISE_MPS**2 * np.eye(len(time)) + WAVERS_MPS**2 * np.exp(-apart / WAVERS_FOR_S)
    return np.asarray(np.linalg.inv(np.linalg.cholesky(covariance)))


def _least_squares(weights: Array, shapes: list[Array], off: Array) -> tuple[Array, Array]:
    """Factors of the shapes and the squares that are left, for each of many bends at once.

    Args:
        weights: positions x positions.
        shapes: the level first, each bends x positions; the level itself is known about as well as a driver wavers.
        off: speeds less the level, by position.
    """
    weighed = weights @ np.stack(shapes, axis=-1)
    target = weights @ off
    normal = np.einsum("mnp,mnq->mpq", weighed, weighed) + 1e-9 * np.eye(len(shapes))
    normal[:, 0, 0] += 1.0 / WAVERS_MPS**2
    right = np.einsum("mnp,n->mp", weighed, target)
    found = np.linalg.solve(normal, right[..., None])[..., 0]
    return found, float(target @ target) - np.einsum("mp,mp->m", found, right)
