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
    covariance_of_metres,
)

__all__ = ["Array", "Edge", "Line", "coarse_edge_of", "edge_of", "scatter_of"]

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
COARSE_INSIDE_S, COARSE_OUTSIDE_S, COARSE_BACK_S, COARSE_ON_S, COARSE_STEP_S = 4.0, 1.6, 2.0, 1.4, 0.04
"""The same where no speed was measured: what lies near the level is then not known to half a second."""
LEAST_ON_LINE, AT_THE_ENDS_S = 12, 0.7
"""Positions that a line through a hold needs, and how much of either end is left out."""
NORMAL2 = 1.4826**2
"""The square of a sigma over that of a median deviation, for a normal curve."""
USUAL, USUAL_PLACE_M = Scatter(), 1.5
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
    return _told(moments, chances(time, off, moments, stories, covariance(time, off, moments, scatter)))


def _told(moments: Array, share: Array, step_s: float = STEP_S) -> Edge:
    """The moment about which most of the chance lies, and the likeliest part of all."""
    near = round(NEAR_S / step_s)
    around = np.convolve(share, np.ones(2 * near + 1), mode="same")
    best = int(np.argmax(around))
    # Neighbours hold about as much: the middle of them.
    beside = slice(max(0, best - near), best + near + 1)
    weight = (around[beside] / around[best]) ** 10
    told = float(np.sum(moments[beside] * weight) / np.sum(weight))
    order = np.argsort(-share, kind="stable")
    inside = moments[order[: int(np.searchsorted(np.cumsum(share[order]), HELD_SHARE)) + 1]]
    low, high = float(np.min(inside)) - step_s, float(np.max(inside)) + step_s
    return Edge(told, min(low, told), max(high, told))


@dataclass(frozen=True)
class Line:
    """Through places of a hold: metres at a second, metres a second, and how far one place and the line are off."""

    t: float
    metres: float
    mps: float
    place_off_m: float
    off: tuple[float, float]

    @classmethod
    def through(cls, t: Array, metres: Array) -> Line:
        """Through these; those near either end are left out, for they may lie on the way to the hold or from it."""
        least = max(LEAST_ON_LINE, len(t) - 2 * round(AT_THE_ENDS_S * len(t) / (t[-1] - t[0])))
        cut = max(0, (len(t) - least) // 2)
        t, metres = t[cut : len(t) - cut], metres[cut : len(t) - cut]
        since = t - np.mean(t)
        mps = float(np.sum(since * metres) / np.sum(since**2))
        at = float(np.mean(metres))
        steps = np.diff(metres - mps * since)
        own2 = NORMAL2 * float(np.median(np.abs(steps))) ** 2 / 2.0
        place = _mixed(own2, USUAL_PLACE_M, len(t))
        wavers = USUAL.wavers_mps * float(np.sqrt(2.0 * USUAL.wavers_for_s / (t[-1] - t[0])))
        off = (place / float(np.sqrt(len(t))), float(np.hypot(place / np.sqrt(np.sum(since**2)), wavers)))
        return cls(float(np.mean(t)), at, mps, place, off)


def coarse_edge_of(t: Array, metres: Array, last: int, way: int, line: Line) -> Edge | None:
    """When the level ends by places alone, which are a metre or two off: much coarser.

    Args:
        t, metres: positions of the stretch in order, session seconds and metres.
        last, way: as in ``edge_of``; what lies near the level is not known to half a second.
        line: through the hold.
    """
    outside = last + way
    if not 0 <= outside < len(t) or abs(t[outside] - t[last]) > GAP_S:
        return None
    time, off = t[::way] * way, (metres[::way] - line.metres - line.mps * (t[::way] - line.t)) * way
    here = time[last if way > 0 else len(t) - 1 - last]
    seen = (time >= here - COARSE_INSIDE_S) & (time <= here + COARSE_OUTSIDE_S)
    if np.count_nonzero(seen & (time > here)) < LEAST_OUTSIDE:
        return None
    time, off = time[seen], off[seen]
    moments = np.arange(here - COARSE_BACK_S, here + COARSE_ON_S, COARSE_STEP_S)
    spread = covariance_of_metres(time, moments, USUAL, line.place_off_m, line.t * way, line.off)
    share = chances(time, off, moments, ENDS if way > 0 else BEGINS, spread, order=2)
    return _looked_at(_told(moments, share, COARSE_STEP_S), way)


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
