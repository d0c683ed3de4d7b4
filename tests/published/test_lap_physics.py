"""The lap physics against closed forms, a published worked example, a regulation's table and an independent solver."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from pitwall.track.coast import coast_distance_m, coast_time_s
from pitwall.track.limits import FloatArray, Limits
from pitwall.track.profile import solve, travel_times

MPH_IN_FPS = 5280 / 3600
REFERENCE = Path(__file__).parent / "data" / "velocity_profiles.json"


def _road(*pieces: tuple[float, float], step: float) -> tuple[FloatArray, FloatArray]:
    """Elements of pieces ``(length, curvature)``."""
    lengths: list[float] = []
    bends: list[float] = []
    for length, curvature in pieces:
        count = math.ceil(length / step - 1e-9)
        lengths += [length / count] * count
        bends += [curvature] * count
    return np.array(lengths), np.array(bends)


def _cases() -> list[dict[str, Any]]:
    cases: list[dict[str, Any]] = json.loads(REFERENCE.read_text(encoding="utf-8"))["cases"]
    return cases


class TestWorkedExample:
    """Beckman, The Physics of Racing, parts 17 and 18: in units of feet, seconds, g = 32 ft/s^2.

    650 ft of straight at 100 mph, a half circle of 150 ft radius, 650 ft of straight with g/2 of drive, 1 g of
    braking. The entry speed and g are inferred from his figures.
    """

    STRAIGHT, RADIUS, G = 650.0, 150.0, 32.0

    def _drive(self) -> tuple[FloatArray, FloatArray, int, int]:
        arc = math.pi * self.RADIUS
        lengths, bends = _road((self.STRAIGHT, 0), (arc, 1 / self.RADIUS), (self.STRAIGHT, 0), step=0.25)
        entry, corner = round(self.STRAIGHT / 0.25), math.ceil(arc / 0.25)
        # He enters at a steady 100 mph: the cap holds the entry there, the exit is free.
        cap = np.where(np.arange(lengths.size) < entry, 100 * MPH_IN_FPS, 1000.0)
        limits = Limits(tyre_mps2=self.G, drive_mps2=self.G / 2, brake_mps2=self.G)
        speeds = solve(lengths, bends, limits, closed=False, start_mps=100 * MPH_IN_FPS, cap_mps=cap)
        return travel_times(lengths, speeds), speeds, entry, entry + corner

    def test_entry_and_corner_take_his_time(self) -> None:
        """Straight, braking and corner together take 11.872 s."""
        times, _, _, out = self._drive()
        assert times[out] == pytest.approx(11.872, abs=0.001)

    def test_exit_speed_and_time_are_his(self) -> None:
        """The exit straight takes 5.670 s and ends at 109.091 mph; the whole takes 17.541 s."""
        times, speeds, _, out = self._drive()
        assert times[-1] - times[out] == pytest.approx(5.670, abs=0.001)
        assert speeds[-1] / MPH_IN_FPS == pytest.approx(109.091, abs=0.001)
        assert times[-1] == pytest.approx(17.541, abs=0.001)

    def test_corner_is_taken_at_the_root_of_g_times_radius(self) -> None:
        """In the corner v^2 = g r from its first node to its last."""
        _, speeds, into, out = self._drive()
        assert speeds[into : out + 1] == pytest.approx(math.sqrt(self.G * self.RADIUS), rel=1e-9)


class TestClosedForms:
    """Figures computed by hand from the equations of uniform acceleration and circular motion."""

    def test_circle(self) -> None:
        """A circle of 50 m at 9.81 m/s^2 is driven at 22.1472 m/s in 14.1850 s."""
        lengths, bends = _road((2 * math.pi * 50, 1 / 50), step=1.0)
        speeds = solve(lengths, bends, Limits(tyre_mps2=9.81), closed=True)
        assert speeds == pytest.approx(22.1472, abs=1e-4)
        assert travel_times(lengths, speeds)[-1] == pytest.approx(14.1850, abs=1e-4)

    def test_straight_with_a_peak(self) -> None:
        """500 m from 20 to 15 m/s, 5 up and 10 down: peak 60.6218 m/s, 12.686533 s."""
        lengths, bends = _road((500, 0), step=0.05)
        speeds = solve(lengths, bends, Limits(drive_mps2=5, brake_mps2=10), closed=False, start_mps=20, end_mps=15)
        assert speeds.max() == pytest.approx(60.6218, abs=0.005)
        assert speeds[-1] == pytest.approx(15)
        assert travel_times(lengths, speeds)[-1] == pytest.approx(12.686533, abs=1e-5)

    def test_capped_straight(self) -> None:
        """The same straight with a top speed of 50 m/s takes 13.025 s."""
        lengths, bends = _road((500, 0), step=0.05)
        limits = Limits(drive_mps2=5, brake_mps2=10, top_mps=50)
        speeds = solve(lengths, bends, limits, closed=False, start_mps=20, end_mps=15)
        assert speeds.max() == pytest.approx(50)
        assert travel_times(lengths, speeds)[-1] == pytest.approx(13.025, abs=1e-5)

    @pytest.mark.parametrize("step", [0.5, 2.0])
    def test_stadium(self, step: float) -> None:
        """Two straights of 300 m, two half circles of 40 m; lateral and braking 15, drive 6: 25.1100 s."""
        arc = (math.pi * 40, 1 / 40)
        lengths, bends = _road((300, 0), arc, (300, 0), arc, step=step)
        speeds = solve(lengths, bends, Limits(tyre_mps2=15, drive_mps2=6), closed=True)
        # The peak lies inside an element: the error falls with the square of the step.
        assert travel_times(lengths, speeds)[-1] == pytest.approx(25.1100, abs=2e-4 * max(1.0, step**2))

    def test_top_speed_is_where_power_equals_drag(self) -> None:
        """On an endless straight the speed tends to (P / d)^(1/3), for both are forces per mass times speed."""
        lengths, bends = _road((40_000, 0), step=10)
        speeds = solve(lengths, bends, Limits(power_w_per_kg=700, drag_per_m=0.001), closed=False, start_mps=10)
        assert speeds[-1] == pytest.approx((700 / 0.001) ** (1 / 3), rel=1e-4)

    def test_constant_power_gives_the_cube_law(self) -> None:
        """With power alone v^3 grows by 3 P s (from d(v^2)/ds = 2 P / v)."""
        lengths, bends = _road((400, 0), step=0.5)
        speeds = solve(lengths, bends, Limits(power_w_per_kg=500), closed=False, start_mps=30)
        assert speeds[-1] == pytest.approx((30**3 + 3 * 500 * 400) ** (1 / 3), rel=1e-6)


class TestCoastDown:
    """40 CFR 86.529-98: road load F = A + C V^2 (N, km/h) and the time from 70 to 60 km/h, by mass."""

    TABLE = (
        (100, 0.0, 0.0224, 2.95), (200, 8.69, 0.0252, 4.85), (300, 17.43, 0.0279, 6.18), (340, 20.92, 0.0290, 6.60),
    )

    @pytest.mark.parametrize(("mass", "a", "c", "seconds"), TABLE)
    def test_table_rows(self, mass: float, a: float, c: float, seconds: float) -> None:
        """Each row's coast-down time follows from its force, to the table's last digit."""
        got = coast_time_s(70 / 3.6, 60 / 3.6, rolling_mps2=a / mass, drag_per_m=c * 3.6**2 / mass)
        assert got == pytest.approx(seconds, abs=0.011)

    def test_solver_coasts_like_the_table(self) -> None:
        """The lap solver with no drive left loses 70 to 60 km/h in the 2.95 s of the row without rolling drag."""
        drag = 0.0224 * 3.6**2 / 100
        metres = coast_distance_m(70 / 3.6, 60 / 3.6, rolling_mps2=0, drag_per_m=drag)
        lengths, bends = _road((metres, 0), step=0.25)
        speeds = solve(lengths, bends, Limits(drive_mps2=0, drag_per_m=drag), closed=False, start_mps=70 / 3.6)
        assert speeds[-1] * 3.6 == pytest.approx(60, abs=0.01)
        assert travel_times(lengths, speeds)[-1] == pytest.approx(2.95, abs=0.011)


class TestIndependentSolver:
    """trajectory-planning-helpers 0.79 on the same roads, by ``simulations/reference_velocity_profiles.py``.

    Its step is of first order: on the stadium it is 0.09 % above the closed form at 0.5 m, and about 1 % off in speed
    in the first metres out of a bend. The bounds allow for that and for little else.
    """

    @pytest.mark.parametrize("case", _cases(), ids=lambda case: case["name"])
    def test_lap_and_speeds_agree(self, case: dict[str, Any]) -> None:
        """Lap time within 0.15 %, speed within 1.5 % everywhere and 0.12 % in the mean."""
        pieces = [(length, 1 / radius if radius else 0.0) for length, radius in case["segments"]]
        lengths, bends = _road(*pieces, step=case["step_m"])
        speeds = solve(lengths, bends, Limits(**case["limits"]), closed=True)
        at = np.concatenate(([0.0], np.cumsum(lengths)))
        off = np.abs(np.interp(case["at_m"], at, speeds) / np.array(case["v_mps"]) - 1)
        assert travel_times(lengths, speeds)[-1] == pytest.approx(case["lap_s"], rel=0.0015)
        assert off.max() < 0.015
        assert off.mean() < 0.0012

    def test_reference_covers_every_limit(self) -> None:
        """The reference values exercise constant limits, power with drag, and downforce."""
        limits = [case["limits"] for case in _cases()]
        assert {"tyre_per_m", "drag_per_m"} <= {name for case in limits for name, value in case.items() if value}
        assert any("power_w_per_kg" in case for case in limits)
