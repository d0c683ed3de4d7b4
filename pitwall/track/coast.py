"""Coasting: how long a car rolls from one speed to another with nothing but resistance.

With resistance per mass ``a + c v**2`` (rolling and drag) the speed obeys ``dv/dt = -(a + c v**2)``, so

    t = (atan(v0 sqrt(c/a)) - atan(v1 sqrt(c/a))) / sqrt(a c),    s = ln((a + c v0**2) / (a + c v1**2)) / (2 c)

with the limits ``(1/v1 - 1/v0) / c`` and ``ln(v0/v1) / c`` for ``a = 0``, ``(v0 - v1) / a`` and
``(v0**2 - v1**2) / 2a`` for ``c = 0``. Derived by separation of variables; checked against the coast-down table of
40 CFR 86.529-98.
"""

from __future__ import annotations

import math


def coast_time_s(from_mps: float, to_mps: float, *, rolling_mps2: float, drag_per_m: float) -> float:
    """Seconds to roll from the higher to the lower speed.

    Args:
        from_mps: speed at the start, m/s.
        to_mps: speed at the end, m/s, above zero unless there is rolling resistance.
        rolling_mps2: constant resistance over mass, m/s^2.
        drag_per_m: quadratic resistance over mass, 1/m.

    Raises:
        ValueError: when the car would speed up, or never arrives.
    """
    _check(from_mps, to_mps, rolling_mps2, drag_per_m)
    if drag_per_m == 0:
        return (from_mps - to_mps) / rolling_mps2
    if rolling_mps2 == 0:
        return (1.0 / to_mps - 1.0 / from_mps) / drag_per_m
    ratio = math.sqrt(drag_per_m / rolling_mps2)
    return (math.atan(from_mps * ratio) - math.atan(to_mps * ratio)) / math.sqrt(rolling_mps2 * drag_per_m)


def coast_distance_m(from_mps: float, to_mps: float, *, rolling_mps2: float, drag_per_m: float) -> float:
    """Metres rolled meanwhile; arguments and errors as :func:`coast_time_s`."""
    _check(from_mps, to_mps, rolling_mps2, drag_per_m)
    if drag_per_m == 0:
        return (from_mps**2 - to_mps**2) / (2.0 * rolling_mps2)
    if rolling_mps2 == 0:
        return math.log(from_mps / to_mps) / drag_per_m
    start, end = (rolling_mps2 + drag_per_m * v**2 for v in (from_mps, to_mps))
    return math.log(start / end) / (2.0 * drag_per_m)


def _check(from_mps: float, to_mps: float, rolling_mps2: float, drag_per_m: float) -> None:
    if not 0 <= to_mps <= from_mps < math.inf:
        raise ValueError(f"a coasting car only slows down: cannot go from {from_mps:g} to {to_mps:g} m/s")
    if rolling_mps2 < 0 or drag_per_m < 0 or rolling_mps2 + drag_per_m == 0:
        raise ValueError("resistance must not be negative, and not zero altogether")
    if to_mps == 0 and rolling_mps2 == 0:
        raise ValueError("drag alone never stops a car: give rolling resistance or a speed above zero")
