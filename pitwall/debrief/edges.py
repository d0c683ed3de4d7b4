"""When a held speed was reached or left, from measured speeds around that moment.

What is told is the moment about which most of the chance lies, near enough to be of use; the interval is the likeliest
part of all moments, and holds nearly all of the chance (``edge_chances.py``). Where a driver lets go so shortly before
he brakes that nobody can see it, or goes on at nearly the speed that he held, the interval says so by being wide.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pitwall.debrief.edge_chances import (
    BEGINS,
    ENDS,
    STEP_S,
    Array,
    Scatter,
    Story,
    chances,
    covariance,
)

__all__ = ["Array", "Edge", "edge_of", "scatter_of", "told"]

INSIDE_S, OUTSIDE_S, FAR_MPS = 2.0, 0.6, 6.0
"""Looked at: so long inside the hold, and outside as long as the speed is no further off."""
LEAST_OUTSIDE = 2
"""So many positions outside count however far off they are; with fewer nobody sees how the level ended."""
BACK_S, ON_S = 1.3, 0.3
"""It may have been left so long before the last position that lies near the level, or after the next one."""
GAP_S = 1.2
"""Where no position came for so long the edge was not seen."""
NEAR_S = 0.085
"""So near a moment is near enough: at the speeds of a hold, within five metres."""
HELD_SHARE = 0.95
"""Of the chance, in the interval."""
NORMAL2 = 1.4826**2
"""The square of a sigma over that of a median deviation, for a normal curve."""
USUAL = Scatter()
KNOWN_AS = 20
"""Positions of a hold say how far they scatter; what is usual counts as much as so many of them."""
LEAST_OFF, MOST_OFF = 0.3, 4.0
"""Times the usual scatter: less and more is not believed of so few positions."""


@dataclass(frozen=True)
class Edge:
    """A moment with its interval, session seconds."""

    t: float
    low: float
    high: float


def edge_of(t: Array, speed: Array, last: int, way: int, level: float, scatter: Scatter = USUAL) -> Edge | None:
    """When the level ends; None where too few positions show how.

    Args:
        t, speed: positions of the stretch in order, session seconds and metres a second.
        last: the last position on the level, in the direction looked in.
        way: +1 for the end of a hold; -1 for its beginning, which is the end of it looked at backwards.
        level: the speed that was held there.
        scatter: of these speeds.
    """
    outside = last + way
    if not 0 <= outside < len(t) or abs(t[outside] - t[last]) > GAP_S:
        return None
    time, off = t[::way] * way, speed[::way] - level
    here = last if way > 0 else len(t) - 1 - last
    seen = (time >= time[here] - INSIDE_S) & (time <= time[here + 1] + OUTSIDE_S)
    seen &= (time <= time[here]) | (np.abs(off) <= FAR_MPS)
    seen[here + 1 : here + 1 + LEAST_OUTSIDE] = time[here + 1 : here + 1 + LEAST_OUTSIDE] <= time[here] + GAP_S
    if np.count_nonzero(seen & (time > time[here])) < LEAST_OUTSIDE:
        return None
    moments = np.arange(time[here] - BACK_S, time[here + 1] + ON_S, STEP_S)
    found = _likeliest(time[seen], off[seen], moments, ENDS if way > 0 else BEGINS, scatter)
    return _looked_at(found, way)


def _likeliest(time: Array, off: Array, moments: Array, stories: tuple[Story, ...], scatter: Scatter) -> Edge:
    return told(moments, chances(time, off, moments, stories, covariance(time, off, moments, scatter)))


def told(moments: Array, share: Array, step_s: float = STEP_S) -> Edge:
    """The moment about which most of the chance lies, and the likeliest part of all; ``moments`` are one step apart."""
    near = round(NEAR_S / step_s)
    around = np.convolve(share, np.ones(2 * near + 1), mode="same")
    best = int(np.argmax(around))
    # Neighbours hold about as much: the middle of them.
    beside = slice(max(0, best - near), best + near + 1)
    weight = (around[beside] / around[best]) ** 10
    at = float(np.sum(moments[beside] * weight) / np.sum(weight))
    order = np.argsort(-share, kind="stable")
    inside = moments[order[: int(np.searchsorted(np.cumsum(share[order]), HELD_SHARE)) + 1]]
    low, high = float(np.min(inside)) - step_s, float(np.max(inside)) + step_s
    return Edge(at, min(low, at), max(high, at))


def _looked_at(edge: Edge, way: int) -> Edge:
    """As seen forwards."""
    return edge if way > 0 else Edge(-edge.t, -edge.high, -edge.low)


def scatter_of(t: Array, speed: Array) -> Scatter:
    """How far the speeds of a hold scatter, from its positions, with what is usual where they are few.

    What neighbours differ by is mostly how far a measurement is off; what all are off by, the driver too. Medians: a
    position at either end may lie on the way to the hold already.
    """
    if len(t) < LEAST_OUTSIDE + 1:
        return USUAL
    steps = NORMAL2 * float(np.median(np.abs(np.diff(speed)))) ** 2 / 2.0
    every = NORMAL2 * float(np.median(np.abs(speed - np.median(speed)))) ** 2
    fades = 1.0 - float(np.exp(-np.median(np.diff(t)) / USUAL.wavers_for_s))
    wavers2 = max(0.0, every - steps) / max(1.0 - fades, 0.1)
    noise2 = max(0.0, steps - fades * wavers2)
    return Scatter(_mixed(noise2, USUAL.noise_mps, len(t)), _mixed(wavers2, USUAL.wavers_mps, len(t)),
                   USUAL.wavers_for_s)


def _mixed(found2: float, usual: float, count: int) -> float:
    """A scatter from its square as so many positions show it, and from what is usual."""
    trust = count / (count + KNOWN_AS)
    share = float(np.sqrt(trust * found2 + (1.0 - trust) * usual**2)) / usual
    return usual * min(max(share, LEAST_OFF), MOST_OFF)
