"""The speed profile of one lap: a quasi-steady-state point mass driven at its limits.

Theory. A lap is a chain of short elements of constant curvature. At every node between them three bounds hold:

1. the speed at which the bends on either side can be driven (``Limits.corner_q``, vectorised);
2. *forward*: no faster than full drive from the node before;
3. *backward*: no faster than full braking can undo before the node after.

The fastest lap takes the smallest of the three everywhere. Within an element speed squared changes by
``2 a ds``; ``a`` is the mean of its values at both ends (Heun's trapezoidal rule, error of second order in the step).
On a closed lap no speed above what drive can keep against drag lasts, so ``Limits.top_q`` is a bound as well. Both
passes then start at the node with the lowest bound: every bound can be kept where it stands, so no pass ever falls
below the lowest, one turn of the lap is exact and no second one is needed.

Method: forward-backward integration, Milliken & Milliken ch. 9 and Brayshaw & Harrison 2005 (from memory); checked
against closed forms, a published worked example and an independent implementation in ``tests/published``.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from pitwall.model.car import Car
from pitwall.model.circuit import Circuit
from pitwall.track.limits import FloatArray, Limits, limits_of

DEFAULT_STEP_M = 2.0


@dataclass(frozen=True, eq=False, slots=True)
class SpeedProfile:
    """One closed lap from line to line. All arrays have shape ``(n + 1,)``; the last node is the line again.

    Attributes:
        s_m: distance from the line, metres, strictly rising from 0 to the lap's length.
        v_mps: speed, m/s.
        t_s: time since the line, seconds, strictly rising from 0 to ``lap_s``.
        ax_mps2: acceleration along the road in the element that starts here (negative: braking or drag).
        ay_mps2: lateral acceleration at the start of that element, positive in a left-hand bend (ISO 8855).
        lap_s: lap time, seconds.
    """

    s_m: FloatArray
    v_mps: FloatArray
    t_s: FloatArray
    ax_mps2: FloatArray
    ay_mps2: FloatArray
    lap_s: float

    @property
    def length_m(self) -> float:
        """Length of the lap, metres."""
        return float(self.s_m[-1])

    def time_at(self, distance_m: float) -> float:
        """Seconds after the line at which this distance (taken round the lap) is reached."""
        return float(np.interp(distance_m % self.length_m, self.s_m, self.t_s))

    def distance_at(self, seconds: float) -> float:
        """Distance reached so many seconds (taken round the lap) after the line."""
        return float(np.interp(seconds % self.lap_s, self.t_s, self.s_m))

    def speed_at(self, distance_m: float) -> float:
        """Speed at this distance, taken round the lap, m/s."""
        return float(np.interp(distance_m % self.length_m, self.s_m, self.v_mps))


def mesh(circuit: Circuit, step_m: float = DEFAULT_STEP_M) -> tuple[FloatArray, FloatArray]:
    """Cut the segments into elements no longer than ``step_m``; a segment's ends are always nodes.

    Returns:
        element lengths in metres and signed curvatures in 1/m (left positive), both of shape ``(n,)``.

    Raises:
        ValueError: when the circuit has no geometry or the step is not positive.
    """
    if circuit.timing_only:
        raise ValueError(f"circuit {circuit.name!r} has shares of the lap only: a speed profile needs segments")
    if not 0 < step_m < math.inf:
        raise ValueError(f"step_m must be a positive number, got {step_m}")
    counts = np.array([math.ceil(segment.length_m / step_m - 1e-9) for segment in circuit.segments])
    lengths = np.array([segment.length_m for segment in circuit.segments]) / counts
    signs = [-1.0 if segment.direction == "right" else 1.0 for segment in circuit.segments]
    bends = [sign / segment.radius_m if segment.radius_m else 0.0
             for sign, segment in zip(signs, circuit.segments, strict=True)]
    return np.repeat(lengths, counts), np.repeat(np.array(bends), counts)


def solve(
    lengths_m: FloatArray,
    curvature_1pm: FloatArray,
    limits: Limits,
    *,
    closed: bool,
    start_mps: float | None = None,
    end_mps: float | None = None,
    cap_mps: FloatArray | None = None,
) -> FloatArray:
    """Fastest speeds at the nodes of a road that respect the limits.

    Args:
        lengths_m: element lengths, shape ``(n,)``, positive.
        curvature_1pm: curvature of each element, shape ``(n,)``, any sign.
        limits: what the car can do.
        closed: True when the end joins the start.
        start_mps: open roads only: speed at the start (default: as fast as the limits allow).
        end_mps: open roads only: highest speed allowed at the end.
        cap_mps: an own speed limit for each element, shape ``(n,)``.

    Returns:
        speeds, shape ``(n + 1,)``; on a closed road the last equals the first.

    Raises:
        ValueError: for arrays that do not match, a closed lap without any limit of speed, or a start that is too fast
            to slow down from.
    """
    lengths, curvature, bound = _checked(lengths_m, curvature_1pm, limits, cap_mps)
    if closed:
        bound = np.minimum(bound, limits.top_q())
        if start_mps is not None or end_mps is not None:
            raise ValueError("start_mps and end_mps are for open roads: a closed lap has neither start nor end")
        return _solve_closed(lengths, curvature, limits, bound)
    nodes = np.concatenate(([bound[0]], np.minimum(bound[:-1], bound[1:]), [bound[-1]]))
    if start_mps is not None:
        if start_mps**2 > nodes[0] * (1 + 1e-9):
            raise ValueError(f"start speed {start_mps:g} m/s is above what the first stretch allows")
        nodes[0] = start_mps**2
    if end_mps is not None:
        nodes[-1] = min(nodes[-1], end_mps**2)
    if math.isinf(nodes[0]):
        raise ValueError("nothing limits the speed at the start: give start_mps")
    q = _both_passes(lengths, curvature, limits, bound, nodes)
    if start_mps is not None and q[0] < start_mps**2 * (1 - 1e-9):
        raise ValueError(f"start speed {start_mps:g} m/s is too fast to slow down for what follows "
                         f"(at most {math.sqrt(q[0]):.2f} m/s)")
    return _root(q)


def _root(q: FloatArray) -> FloatArray:
    speeds: FloatArray = np.sqrt(q)
    return speeds


def _checked(
    lengths_m: FloatArray, curvature_1pm: FloatArray, limits: Limits, cap_mps: FloatArray | None
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Arrays that match, and the bound on speed squared of each element."""
    lengths = np.asarray(lengths_m, dtype=np.float64)
    curvature = np.abs(np.asarray(curvature_1pm, dtype=np.float64))
    if lengths.ndim != 1 or lengths.size == 0 or lengths.shape != curvature.shape:
        raise ValueError(f"lengths {lengths.shape} and curvature {curvature.shape} must be of one shape (n,), n > 0")
    if not np.all(np.isfinite(lengths)) or not np.all(lengths > 0) or not np.all(np.isfinite(curvature)):
        raise ValueError("element lengths must be positive and curvatures finite")
    bound = limits.corner_q(curvature)
    if cap_mps is not None:
        cap = np.asarray(cap_mps, dtype=np.float64)
        if cap.shape != lengths.shape or not np.all(cap > 0):
            raise ValueError("cap_mps must give each element a positive speed")
        bound = np.minimum(bound, cap**2)
    return lengths, curvature, bound


def _solve_closed(lengths: FloatArray, curvature: FloatArray, limits: Limits, bound: FloatArray) -> FloatArray:
    nodes = np.minimum(bound, np.roll(bound, 1))
    slowest = int(np.argmin(nodes))
    if math.isinf(nodes[slowest]):
        raise ValueError("nothing limits the speed on this closed lap: give a top speed, drag with power, or a bend")
    turned = [np.roll(values, -slowest) for values in (lengths, curvature, bound, nodes)]
    around = np.append(turned[3], turned[3][0])
    q = _both_passes(turned[0], turned[1], limits, turned[2], around)
    back = np.roll(q[:-1], slowest)
    return _root(np.append(back, back[0]))


def _both_passes(
    lengths: FloatArray, curvature: FloatArray, limits: Limits, bound: FloatArray, nodes: FloatArray
) -> FloatArray:
    """The smallest of node bound, forward and backward pass; speed squared, shape ``(n + 1,)``."""
    ahead = _sweep(lengths, curvature, bound, nodes, limits.speed_up_mps2)
    # Braking is the same recurrence with the road taken from its far end.
    behind = _sweep(lengths[::-1], curvature[::-1], bound[::-1], nodes[::-1], limits.slow_down_mps2)
    return np.minimum(ahead, behind[::-1])


def _sweep(
    lengths: FloatArray, curvature: FloatArray, bound: FloatArray, nodes: FloatArray,
    gain: Callable[[float, float], float],
) -> FloatArray:
    """Carry speed squared along the road, gaining at most ``2 gain(q, k) ds`` in each element.

    Sequential by nature, so plain floats: a Python loop over lists beats one over array elements by far.
    """
    q = float(nodes[0])
    found = [q]
    stretches = zip(lengths.tolist(), curvature.tolist(), bound.tolist(), nodes[1:].tolist(), strict=True)
    for ds, k, kept, node in stretches:
        here = gain(q, k) if q < math.inf else math.inf
        if here == math.inf:  # nothing limits this direction: only the node's own bound does
            q = node
            found.append(q)
            continue
        # The guess is held to what can be kept: beyond it the tyre has nothing left and the step would ring.
        guess = min(max(q + 2.0 * here * ds, 0.0), kept)
        q = min(max(q + (here + gain(guess, k)) * ds, 0.0), node)
        found.append(q)
    return np.array(found)


def travel_times(lengths_m: FloatArray, speeds_mps: FloatArray) -> FloatArray:
    """Time at each node: exact for constant acceleration within an element, ``dt = 2 ds / (v0 + v1)``.

    Args:
        lengths_m: shape ``(n,)``.
        speeds_mps: shape ``(n + 1,)``.

    Raises:
        ValueError: when the car stands still in an element and never gets out.
    """
    both = speeds_mps[:-1] + speeds_mps[1:]
    if not np.all(both > 0):
        raise ValueError("the car stands still: no drive left to leave an element at zero speed")
    return np.concatenate(([0.0], np.cumsum(2.0 * lengths_m / both)))


def speed_profile(
    circuit: Circuit, car: Car, *, fuel_kg: float = 0.0, step_m: float = DEFAULT_STEP_M
) -> SpeedProfile:
    """The fastest closed lap of this car on this circuit.

    Args:
        circuit: a circuit with segments.
        car: its figures.
        fuel_kg: fuel on board, kg.
        step_m: longest element, metres.

    Raises:
        ValueError: on a timing-only circuit, a negative fuel load or a bad step.
    """
    lengths, curvature = mesh(circuit, step_m)
    speeds = solve(lengths, curvature, limits_of(car, fuel_kg=fuel_kg), closed=True)
    times = travel_times(lengths, speeds)
    along = np.diff(speeds**2) / (2.0 * lengths)
    aside = speeds[:-1] ** 2 * curvature
    return SpeedProfile(
        s_m=np.concatenate(([0.0], np.cumsum(lengths))),
        v_mps=speeds,
        t_s=times,
        ax_mps2=np.append(along, along[0]),
        ay_mps2=np.append(aside, aside[0]),
        lap_s=float(times[-1]),
    )
