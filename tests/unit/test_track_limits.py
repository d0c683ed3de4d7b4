"""The limits of the point mass: friction ellipse, power, brakes, drag, and the speed that can be kept in a bend."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitwall.model.car import Car
from pitwall.track.limits import AIR_KG_PER_M3, GRAVITY_MPS2, Limits, limits_of

CAR = Car(car=1, name="test car", mass_kg=800, power_w=560_000, drag_area_m2=1.2, downforce_area_m2=3.0, grip=1.5,
          brake_mps2=30, traction_mps2=12, fuel_per_lap_kg=1.8)


def test_limits_of_a_car_are_forces_per_mass() -> None:
    """Every figure of the car file arrives per kilogram of car and fuel."""
    limits = limits_of(CAR, fuel_kg=40)
    assert limits.tyre_mps2 == pytest.approx(1.5 * GRAVITY_MPS2)
    assert limits.tyre_per_m == pytest.approx(0.5 * AIR_KG_PER_M3 * 3.0 * 1.5 / 840)
    assert limits.drag_per_m == pytest.approx(0.5 * AIR_KG_PER_M3 * 1.2 / 840)
    assert limits.power_w_per_kg == pytest.approx(560_000 / 840)
    assert (limits.brake_mps2, limits.drive_mps2) == pytest.approx((30 * 800 / 840, 12 * 800 / 840))
    assert limits.top_mps == 100


def test_negative_fuel_is_refused() -> None:
    """A fuel load below zero is an error that shows the figure."""
    with pytest.raises(ValueError, match="fuel_kg must not be negative, got -1"):
        limits_of(CAR, fuel_kg=-1)


@pytest.mark.parametrize("name", ["tyre_mps2", "along", "power_w_per_kg", "top_mps"])
def test_limits_that_must_be_positive(name: str) -> None:
    """Zero tyre, power or top speed makes no car."""
    with pytest.raises(ValueError, match=f"{name} must be above zero"):
        Limits(**{name: 0.0})


@pytest.mark.parametrize("name", ["tyre_per_m", "drive_mps2", "brake_mps2", "drag_per_m"])
def test_limits_that_must_not_be_negative(name: str) -> None:
    """Negative downforce, drive, brakes or drag are refused; so is a not-a-number."""
    with pytest.raises(ValueError, match=f"{name} must not be negative"):
        Limits(**{name: -0.1})
    with pytest.raises(ValueError, match=f"{name} must not be negative"):
        Limits(**{name: math.nan})


def test_friction_circle_three_four_five() -> None:
    """With 5 of tyre force and 3 used sideways, 4 are left along the road; twice that when ``along`` is 2."""
    assert Limits(tyre_mps2=5).tyre_left_mps2(30, 0.1) == pytest.approx(4)
    assert Limits(tyre_mps2=5, along=2).tyre_left_mps2(30, 0.1) == pytest.approx(8)


def test_beyond_the_lateral_limit_nothing_is_left() -> None:
    """A car that is too fast for the bend has no longitudinal force, not an imaginary one."""
    assert Limits(tyre_mps2=5).tyre_left_mps2(100, 0.1) == 0


def test_drive_is_the_smallest_of_traction_tyre_and_power() -> None:
    """Each of the three caps the drive in its own range of speed; drag is taken off."""
    limits = Limits(tyre_mps2=15, drive_mps2=10, power_w_per_kg=600, drag_per_m=0.001)
    assert limits.speed_up_mps2(0, 0) == pytest.approx(10)
    assert limits.speed_up_mps2(80.0**2, 0) == pytest.approx(600 / 80 - 6.4)
    assert limits.speed_up_mps2(30.0**2, 14.5 / 900) == pytest.approx(math.sqrt(15**2 - 14.5**2) - 0.9)


def test_brakes_and_drag_add_up() -> None:
    """Deceleration is what brakes or tyres give, and drag on top."""
    assert Limits(tyre_mps2=50, brake_mps2=30, drag_per_m=0.001).slow_down_mps2(80.0**2, 0) == pytest.approx(36.4)
    assert Limits(tyre_mps2=20, brake_mps2=30, drag_per_m=0.001).slow_down_mps2(80.0**2, 0) == pytest.approx(26.4)


def test_top_speed_is_the_lower_of_limiter_and_power() -> None:
    """The limiter counts until drag needs more than the power, or the drive, that is there."""
    assert Limits(power_w_per_kg=700, drag_per_m=0.001, top_mps=60).top_q() == pytest.approx(3600)
    assert Limits(power_w_per_kg=700, drag_per_m=0.001).top_q() == pytest.approx(math.cbrt(700_000) ** 2)
    assert Limits(power_w_per_kg=700, drive_mps2=4, drag_per_m=0.001).top_q() == pytest.approx(4000)


def test_downforce_that_outgrows_the_bend_leaves_only_the_top_speed() -> None:
    """In a wide enough bend downforce grows faster than the need: the corner does not limit at all."""
    limits = Limits(tyre_mps2=15, tyre_per_m=0.005, top_mps=90)
    assert limits.corner_q(np.array([1 / 400, 1 / 50])) == pytest.approx([8100, 15 / (0.02 - 0.005)])


@given(
    tyre=st.floats(5, 40), wing=st.floats(0, 0.01), drag=st.floats(1e-5, 0.003), along=st.floats(0.7, 1.4),
    curvature=st.floats(1e-3, 0.1),
)
def test_kept_speed_balances_drag_on_the_ellipse(
    tyre: float, wing: float, drag: float, along: float, curvature: float
) -> None:
    """At the corner's bound the tyre force that is left equals drag: the speed can be kept and no more."""
    limits = Limits(tyre_mps2=tyre, tyre_per_m=wing, drag_per_m=drag, along=along)
    q = float(limits.corner_q(np.array([curvature]))[0])
    if math.isfinite(q):
        # The root is ill-conditioned where friction is nearly all lateral, hence the scale of the tolerance.
        left, aside = drag * q / along, q * curvature
        assert math.hypot(left, aside) == pytest.approx(tyre + wing * q, rel=1e-9)


@given(curvature=st.floats(1e-3, 0.1), grip=st.floats(5, 30), more=st.floats(0.01, 10))
def test_more_grip_never_lowers_the_kept_speed(curvature: float, grip: float, more: float) -> None:
    """The bound rises with tyre force."""
    bend = np.array([curvature])
    lower = Limits(tyre_mps2=grip, drag_per_m=0.001).corner_q(bend)
    higher = Limits(tyre_mps2=grip + more, drag_per_m=0.001).corner_q(bend)
    assert higher[0] > lower[0]
