"""A held speed by places alone: metres that a receiver gives without a speed.

Nothing but metres that are a metre or two off says when the speed was reached and left, so all of them are weighed
together. The car drives as drivers do, its acceleration changing within a second; from one moment to another its speed
stays; then it drives again as before. For each two moments the metres have a likelihood: by a Kalman filter forwards to
the first, on through the hold, and by the same filter backwards from the last place to the second (Kalman, 1960;
Bar-Shalom, Li, Kirubarajan, Estimation with Applications to Tracking and Navigation, 2001, 6.2; ``tests/published``
compares with SciPy's normal densities). Of all pairs each moment gets its chance.

The figures of the drive are common practice, no source; ``simulations/score_debrief.py`` measures what they are worth.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

STEP_S = 0.1
"""Moments are looked at so closely, and at each place."""
ACCELERATION_MPS2, CHANGES_IN_S = 6.0, 0.8
"""How hard a car speeds up or slows down, one sigma, and for about how long the same."""
ANY_MPS = 30.0
WAVERS_M2 = 0.02
"""What a driver who wavers about his speed adds to the way in a second: the square of it, metres."""
ASKED_OFF_MPS = 2.0
"""How far from the speed that was asked for one is held."""
SHORTEST_S, LONGER_S = 1.5, 12.0
LENGTH_OFF = 0.2
"""How far a hold is from the length that was asked, in shares of it; much further off is not rare."""
USUAL_OFF_M, KNOWN_AS, LEAST_OFF, MOST_OFF = 1.5, 20, 0.3, 4.0
"""How far one place is off; what is usual counts as much as so many places; times it, less and more is not believed."""
NORMAL2 = 1.4826**2
"""The square of a sigma over that of a median deviation, for a normal curve."""


@dataclass(frozen=True)
class Pairs:
    """Every two moments between which a speed may have been held.

    Attributes:
        moments: session seconds, in order.
        chance: of each pair, first moment by second; together they are one.
        mps: the speed that was held, for each pair; ``off_mps``: one sigma of it.
        gain: how much likelier the places are with a hold than without any: the logarithm.
    """

    moments: Array
    chance: Array
    mps: Array
    off_mps: Array
    gain: float

    def begins(self, step_s: float) -> tuple[Array, Array]:
        """Moments one step apart, and the chance of each that the speed was reached then."""
        return self._even(np.sum(self.chance, axis=1), step_s)

    def ends(self, step_s: float) -> tuple[Array, Array]:
        """Moments one step apart, and the chance of each that the speed was left then."""
        return self._even(np.sum(self.chance, axis=0), step_s)

    def _even(self, chance: Array, step_s: float) -> tuple[Array, Array]:
        even = np.arange(self.moments[0], self.moments[-1], step_s)
        found = np.interp(even, self.moments, chance / np.gradient(self.moments))
        return even, found / np.sum(found)

    def level(self) -> tuple[float, float]:
        """The speed and one sigma of it, over all pairs."""
        mean = float(np.sum(self.chance * self.mps))
        return mean, float(np.sqrt(np.sum(self.chance * (self.off_mps**2 + (self.mps - mean) ** 2))))


def pairs_of(t: Array, metres: Array, asked_mps: float, asked_s: float) -> Pairs | None:
    """The chance of every two moments; None where no two are far enough apart.

    Args:
        t, metres: places in order, session seconds and metres.
        asked_mps, asked_s: what was to be held, and for how long.
    """
    moments, at = _moments(t)
    seen = np.full(len(moments), np.nan)
    seen[at] = metres - metres[0]
    off2 = place_off_m(t, metres) ** 2
    before, after = _before(moments, seen, off2, asked_mps), _after(moments, seen, off2)
    held = _held(moments, seen, off2, before, asked_mps)
    length = moments[None, :] - moments[:, None]
    firsts, lasts = np.nonzero((length >= SHORTEST_S) & (length <= asked_s + LONGER_S))
    if not len(firsts):
        return None
    logs = np.full(length.shape, -np.inf)
    logs[firsts, lasts] = held.logs[firsts, lasts] + _joined(held, after, firsts, lasts)
    width = np.gradient(moments)
    usual = width[:, None] * width[None, :] / (1 + ((length - asked_s) / (LENGTH_OFF * asked_s)) ** 2)
    best = float(np.max(logs))
    chance = usual * np.exp(logs - best)
    total = float(np.sum(chance))
    gain = best + float(np.log(total / np.sum(usual[firsts, lasts]))) - float(before.logs[-1])
    return Pairs(moments, chance / total, held.v, np.sqrt(held.vv), gain)


def place_off_m(t: Array, metres: Array) -> float:
    """How far one place is off, one sigma: by how far it lies from the line between its neighbours."""
    share = (t[1:-1] - t[:-2]) / (t[2:] - t[:-2])
    apart = metres[1:-1] - metres[:-2] * (1 - share) - metres[2:] * share
    found2 = NORMAL2 * float(np.median(apart**2 / (1 + share**2 + (1 - share) ** 2)))
    trust = len(t) / (len(t) + KNOWN_AS)
    found = float(np.sqrt(trust * found2 + (1 - trust) * USUAL_OFF_M**2))
    return min(max(found, LEAST_OFF * USUAL_OFF_M), MOST_OFF * USUAL_OFF_M)


def _moments(t: Array) -> tuple[Array, NDArray[np.int64]]:
    """The moments that are looked at, and which of them are those of the places."""
    parts = np.maximum(np.ceil(np.diff(t) / STEP_S - 0.2).astype(np.int64), 1)
    at = np.concatenate(([0], np.cumsum(parts)))
    return np.interp(np.arange(at[-1] + 1), at, t), at


def _drive(step_s: float) -> tuple[Array, float]:
    """How metres, speed and acceleration go on, and the square of what is new in the acceleration."""
    fades = float(np.exp(-step_s / CHANGES_IN_S))
    way = np.array([[1.0, step_s, step_s**2 / 2], [0.0, 1.0, step_s], [0.0, 0.0, fades]])
    return way, ACCELERATION_MPS2**2 * (1 - fades**2)


@dataclass(frozen=True)
class _Forwards:
    """Metres and speed by all places so far, at each moment: means, covariances, log density of the places."""

    x: Array
    v: Array
    xx: Array
    xv: Array
    vv: Array
    logs: Array


def _before(moments: Array, seen: Array, off2: float, usual_mps: float) -> _Forwards:
    """Nothing was held yet."""
    state, spread = np.array([seen[0], usual_mps, 0.0]), np.diag([off2, ANY_MPS**2, ACCELERATION_MPS2**2])
    log, rows = 0.0, []
    for here in range(len(moments)):
        if here:
            way, new = _drive(moments[here] - moments[here - 1])
            state, spread = way @ state, way @ spread @ way.T
            spread[2, 2] += new
            if not np.isnan(seen[here]):
                whole, apart = spread[0, 0] + off2, seen[here] - state[0]
                gain = spread[:, 0] / whole
                state, spread = state + gain * apart, spread - np.outer(gain, spread[0])
                log -= 0.5 * (apart**2 / whole + np.log(2 * np.pi * whole))
        rows.append((state[0], state[1], spread[0, 0], spread[0, 1], spread[1, 1], log))
    return _Forwards(*np.array(rows).T)


def _held(moments: Array, seen: Array, off2: float, before: _Forwards, asked_mps: float) -> _Forwards:
    """The speed is held since the moment of the row, at that of the column."""
    found = _Forwards(*(np.zeros((len(moments), len(moments))) for _ in range(6)))
    whole, apart = before.vv + ASKED_OFF_MPS**2, asked_mps - before.v
    begun = np.array([
        before.x + before.xv / whole * apart, before.v + before.vv / whole * apart,
        before.xx - before.xv**2 / whole, before.xv * (1 - before.vv / whole), before.vv * (1 - before.vv / whole),
        before.logs - 0.5 * (apart**2 / whole + np.log(2 * np.pi * whole)),
    ])  # fmt: skip
    now = begun.copy()
    for here in range(len(moments)):
        if here:
            step = moments[here] - moments[here - 1]
            x, v, xx, xv, vv, logs = now[:, :here]
            x, xx, xv = x + step * v, xx + 2 * step * xv + step**2 * vv + WAVERS_M2 * step, xv + step * vv
            if not np.isnan(seen[here]):
                total, away = xx + off2, seen[here] - x
                x, v = x + xx / total * away, v + xv / total * away
                xx, xv, vv = xx - xx**2 / total, xv - xx * xv / total, vv - xv**2 / total
                logs = logs - 0.5 * (away**2 / total + np.log(2 * np.pi * total))
            now[:, :here] = x, v, xx, xv, vv, logs
        for kept, value in zip(vars(found).values(), now, strict=True):
            kept[: here + 1, here] = value[: here + 1]
    return found


@dataclass(frozen=True)
class _Backwards:
    """What the places after each moment say of the state there: ``exp(constant + linear' s - s' square s / 2)``."""

    square: Array
    linear: Array
    constant: Array


def _after(moments: Array, seen: Array, off2: float) -> _Backwards:
    """Nothing is held any more."""
    square, linear, constant = np.zeros((3, 3)), np.zeros(3), 0.0
    rows = [(square, linear, constant)]
    for here in range(len(moments) - 1, 0, -1):
        if not np.isnan(seen[here]):
            square, linear = square.copy(), linear.copy()
            square[0, 0] += 1 / off2
            linear[0] += seen[here] / off2
            constant -= 0.5 * (seen[here] ** 2 / off2 + np.log(2 * np.pi * off2))
        way, new = _drive(moments[here] - moments[here - 1])
        whole = 1 / new + square[2, 2]
        constant += 0.5 * (linear[2] ** 2 / whole - np.log(1 + new * square[2, 2]))
        linear = way.T @ (linear - square[2] * linear[2] / whole)
        square = way.T @ (square - np.outer(square[2], square[2]) / whole) @ way
        rows.append((square, linear, constant))
    squares, linears, constants = zip(*reversed(rows), strict=True)
    return _Backwards(np.array(squares), np.array(linears), np.array(constants))


def _joined(held: _Forwards, after: _Backwards, firsts: NDArray[np.int64], lasts: NDArray[np.int64]) -> Array:
    """Log density of the places after each pair, given what went before: the acceleration there is a new one."""
    zero, pair = np.zeros(len(firsts)), (firsts, lasts)
    mean = np.stack([held.x[pair], held.v[pair], zero], axis=-1)
    spread = np.zeros((len(firsts), 3, 3))
    spread[:, 0, 0], spread[:, 1, 1], spread[:, 2, 2] = held.xx[pair], held.vv[pair], ACCELERATION_MPS2**2
    spread[:, 0, 1] = spread[:, 1, 0] = held.xv[pair]
    square, linear = after.square[lasts], after.linear[lasts]
    of_mean = np.einsum("pij,pj->pi", square, mean)
    right = linear - of_mean
    both = np.eye(3) + square @ spread
    explained = np.einsum("pi,pij,pj->p", right, spread, np.linalg.solve(both, right[:, :, None])[:, :, 0])
    volume = np.log(np.linalg.det(both))
    at_mean = np.sum(linear * mean, axis=1) - 0.5 * np.sum(of_mean * mean, axis=1)
    return np.asarray(after.constant[lasts] + at_mean + 0.5 * (explained - volume))
