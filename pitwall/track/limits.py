"""What a point mass on tyres can do: the limits that a speed profile must respect.

The car is one mass ``m`` on a flat road. With ``q = v**2`` every limit is simple in ``q``, so the whole of ``track``
works in speed squared. Per unit of mass:

* tyre force available      ``T(q) = g mu + (rho A_cl mu / 2m) q``      (weight and downforce times friction)
* cornering takes           ``q |k|``                                   (``k`` is curvature, 1/m)
* friction ellipse          ``(a_tyre / along)**2 + (q k)**2 <= T(q)**2``
* drive                     ``a_tyre <= min(drive, P / (m v))``         (traction and power)
* brakes                    ``a_tyre >= -brake``
* drag                      ``d q``, always against the motion,  ``d = rho A_cd / 2m``

The ellipse is a second-order cone in ``(q, a)``: the mean of two states within it is within it as well, which is why
the trapezoidal step of ``profile`` stays inside the friction limit.

Sources: the friction circle with downforce and the quasi-steady-state lap are textbook matter (Milliken & Milliken,
Race Car Vehicle Dynamics, ch. 2 and 9; from memory). Standard gravity: ISO 80000-3. Air density: about 15-20 degrees
at sea level, common practice.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pitwall.model.car import Car

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

GRAVITY_MPS2 = 9.80665
AIR_KG_PER_M3 = 1.2


@dataclass(frozen=True, slots=True)
class Limits:
    """Limits per unit of mass. The defaults limit nothing, so a test or a study sets only what it is about.

    Attributes:
        tyre_mps2: tyre force at standstill over mass, m/s^2 (``mu g``).
        tyre_per_m: growth of that with speed squared, 1/m (downforce).
        along: longitudinal over lateral friction; 1 gives the friction circle.
        drive_mps2: most acceleration that the drive gives at low speed, m/s^2.
        power_w_per_kg: engine power over mass.
        brake_mps2: most deceleration that the brakes alone give; drag comes on top.
        drag_per_m: drag over mass and speed squared, 1/m.
        top_mps: speed that is never passed (gearing, limiter).
    """

    tyre_mps2: float = math.inf
    tyre_per_m: float = 0.0
    along: float = 1.0
    drive_mps2: float = math.inf
    power_w_per_kg: float = math.inf
    brake_mps2: float = math.inf
    drag_per_m: float = 0.0
    top_mps: float = math.inf

    def __post_init__(self) -> None:
        for name in ("tyre_mps2", "along", "power_w_per_kg", "top_mps"):
            if not getattr(self, name) > 0:
                raise ValueError(f"{name} must be above zero, got {getattr(self, name)!r}")
        for name in ("tyre_per_m", "drive_mps2", "brake_mps2", "drag_per_m"):
            if not getattr(self, name) >= 0:
                raise ValueError(f"{name} must not be negative, got {getattr(self, name)!r}")

    def tyre_left_mps2(self, q: float, curvature: float) -> float:
        """Longitudinal tyre force left over, per mass, at speed squared ``q`` in a bend of ``curvature``."""
        if self.tyre_mps2 == math.inf:
            return math.inf
        force = self.tyre_mps2 + self.tyre_per_m * q
        aside = q * curvature
        left = force * force - aside * aside
        return self.along * math.sqrt(left) if left > 0 else 0.0

    def speed_up_mps2(self, q: float, curvature: float) -> float:
        """Most acceleration along the road; negative where drag exceeds what drive and tyres give."""
        push = min(self.drive_mps2, self.tyre_left_mps2(q, curvature))
        if q > 0:
            push = min(push, self.power_w_per_kg / math.sqrt(q))
        return push - self.drag_per_m * q

    def slow_down_mps2(self, q: float, curvature: float) -> float:
        """Most deceleration along the road, a positive number."""
        return min(self.brake_mps2, self.tyre_left_mps2(q, curvature)) + self.drag_per_m * q

    def top_q(self) -> float:
        """Highest speed squared that can be kept on a straight: the limiter, or where power or drive equals drag."""
        if self.drag_per_m == 0:
            return self.top_mps**2
        by_power = math.cbrt(self.power_w_per_kg / self.drag_per_m) ** 2
        return min(self.top_mps**2, by_power, self.drive_mps2 / self.drag_per_m)

    def corner_q(self, curvature: FloatArray) -> FloatArray:
        """Highest speed squared at which the tyres can both turn the car and hold it against drag.

        The limit solves ``(d q / along)**2 + (k q)**2 = T(q)**2``, whose positive root is
        ``q = tyre / (hypot(k, d / along) - tyre_per_m)``. Without a positive root downforce outgrows the bend and
        only the limiter is left. A car may come to a bend faster than its engine could keep; see :meth:`top_q`.

        Args:
            curvature: shape ``(n,)``, 1/m, any sign.

        Returns:
            shape ``(n,)``, m^2/s^2, possibly infinite where nothing limits.
        """
        top = self.top_mps**2
        if math.isinf(self.tyre_mps2):
            return np.full(curvature.shape, top)
        room = np.hypot(curvature, self.drag_per_m / self.along) - self.tyre_per_m
        kept = np.full(curvature.shape, math.inf)
        np.divide(self.tyre_mps2, room, out=kept, where=room > 1e-12)
        bound: FloatArray = np.minimum(kept, top)
        return bound


def limits_of(car: Car, *, fuel_kg: float = 0.0) -> Limits:
    """The limits of this car with so much fuel on board.

    The car file gives traction and brakes as accelerations of the car without fuel; both are forces, so fuel
    lowers them like it lowers power per mass.

    Raises:
        ValueError: when the fuel load is negative.
    """
    if fuel_kg < 0:
        raise ValueError(f"fuel_kg must not be negative, got {fuel_kg}")
    mass = car.mass_kg + fuel_kg
    return Limits(
        tyre_mps2=car.grip * GRAVITY_MPS2,
        tyre_per_m=0.5 * AIR_KG_PER_M3 * car.downforce_area_m2 * car.grip / mass,
        drive_mps2=car.traction_mps2 * car.mass_kg / mass,
        power_w_per_kg=car.power_w / mass,
        brake_mps2=car.brake_mps2 * car.mass_kg / mass,
        drag_per_m=0.5 * AIR_KG_PER_M3 * car.drag_area_m2 / mass,
        top_mps=car.top_speed_mps,
    )
