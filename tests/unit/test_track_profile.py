"""The forward-backward lap: within every limit, monotone in what makes a car faster, and plain about bad input."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pitwall.model.car import Car
from pitwall.model.circuit import Circuit
from pitwall.track.limits import FloatArray, Limits, limits_of
from pitwall.track.profile import mesh, solve, speed_profile, travel_times

RING = Circuit.model_validate({
    "circuit": 1, "name": "ring",
    "segments": [
        {"length_m": 300}, {"turn": 1, "length_m": 80, "radius_m": 40, "direction": "right"},
        {"length_m": 500}, {"turn": 2, "length_m": 120, "radius_m": 90, "direction": "left"},
        {"length_m": 150}, {"turn": 3, "length_m": 200, "radius_m": 250, "direction": "right"},
        {"length_m": 250},
    ],
    "loops": [{"loop": "line"}],
    "pit": {"entry_m": 1500, "exit_m": 100, "last_chance_m": 1400},
})


def _car(**changes: float) -> Car:
    figures = {"mass_kg": 780, "power_w": 560_000, "drag_area_m2": 1.3, "downforce_area_m2": 3.4, "grip": 1.55,
               "brake_mps2": 35, "traction_mps2": 13, "top_speed_mps": 92, "fuel_per_lap_kg": 1.8}
    return Car.model_validate({"car": 1, "name": "test car", **figures, **changes})


CARS = st.builds(
    _car, mass_kg=st.floats(500, 1400), power_w=st.floats(2e5, 8e5), drag_area_m2=st.floats(0.6, 2.0),
    downforce_area_m2=st.floats(0, 5), grip=st.floats(0.6, 2.0), brake_mps2=st.floats(6, 45),
    traction_mps2=st.floats(4, 15), top_speed_mps=st.floats(50, 100),
)
SEGMENTS = st.lists(
    st.tuples(st.floats(20, 600), st.one_of(st.none(), st.floats(15, 900))), min_size=2, max_size=9
)


def _elements(pieces: list[tuple[float, float | None]], step: float = 4.0) -> tuple[FloatArray, FloatArray]:
    counts = [math.ceil(length / step) for length, _ in pieces]
    lengths = [length / count for (length, _), count in zip(pieces, counts, strict=True)]
    return np.repeat(lengths, counts), np.repeat([1 / radius if radius else 0.0 for _, radius in pieces], counts)


@settings(max_examples=40, deadline=None)
@given(car=CARS, pieces=SEGMENTS)
def test_speed_never_passes_a_limit(car: Car, pieces: list[tuple[float, float | None]]) -> None:
    """On any closed road the speed stays at or below what the bend and the top speed allow."""
    lengths, bends = _elements(pieces)
    limits = limits_of(car)
    speeds = solve(lengths, bends, limits, closed=True)
    bound = np.sqrt(np.minimum(limits.corner_q(bends), limits.top_q()))
    assert np.all(speeds[:-1] <= bound * (1 + 1e-9))
    assert np.all(speeds[1:] <= bound * (1 + 1e-9))
    assert speeds[0] == speeds[-1]


@settings(max_examples=40, deadline=None)
@given(car=CARS, pieces=SEGMENTS)
def test_accelerations_stay_on_the_tyre(car: Car, pieces: list[tuple[float, float | None]]) -> None:
    """In every element the tyre forces stay within the friction ellipse, the brakes and the drive."""
    lengths, bends = _elements(pieces, step=2.0)
    limits = limits_of(car)
    q = solve(lengths, bends, limits, closed=True) ** 2
    along, middle = np.diff(q) / (2 * lengths), 0.5 * (q[:-1] + q[1:])
    tyre = along + limits.drag_per_m * middle
    used = np.hypot(tyre / limits.along, middle * bends) / (limits.tyre_mps2 + limits.tyre_per_m * middle)
    assert used.max() < 1.01
    assert tyre.min() > -limits.brake_mps2 * 1.01
    assert np.all(tyre <= np.minimum(limits.drive_mps2, limits.power_w_per_kg / np.sqrt(middle)) * 1.01 + 1e-6)


@settings(max_examples=25, deadline=None)
@given(car=CARS, factor=st.floats(1.02, 1.4))
def test_more_grip_power_or_brakes_never_lose_time(car: Car, factor: float) -> None:
    """Lap time falls with grip and never rises with power, brakes or traction."""
    before = speed_profile(RING, car).lap_s
    assert speed_profile(RING, car.model_copy(update={"grip": car.grip * factor})).lap_s < before
    for field in ("power_w", "brake_mps2", "traction_mps2"):
        assert speed_profile(RING, car.model_copy(update={field: getattr(car, field) * factor})).lap_s <= before + 1e-6


@given(light=st.floats(0, 60), more=st.floats(1, 60))
@settings(max_examples=25, deadline=None)
def test_fuel_costs_time(light: float, more: float) -> None:
    """A car with downforce gets slower with every kilogram on board."""
    assert speed_profile(RING, _car(), fuel_kg=light + more).lap_s > speed_profile(RING, _car(), fuel_kg=light).lap_s


@settings(max_examples=25, deadline=None)
@given(pieces=SEGMENTS, turn=st.integers(1, 400))
def test_a_closed_lap_does_not_depend_on_where_it_starts(pieces: list[tuple[float, float | None]], turn: int) -> None:
    """Turning the list of elements turns the speeds and changes nothing else."""
    lengths, bends = _elements(pieces)
    limits = limits_of(_car())
    by = turn % lengths.size
    speeds = solve(lengths, bends, limits, closed=True)[:-1]
    turned = solve(np.roll(lengths, -by), np.roll(bends, -by), limits, closed=True)[:-1]
    assert turned == pytest.approx(np.roll(speeds, -by), rel=1e-9)


@settings(max_examples=25, deadline=None)
@given(pieces=SEGMENTS, cap=st.floats(20, 60))
def test_capping_the_speed_clips_the_profile(pieces: list[tuple[float, float | None]], cap: float) -> None:
    """A cap on the whole lap gives the smaller of the free speed and the cap: the hold check rests on this."""
    lengths, bends = _elements(pieces, step=1.0)
    limits = limits_of(_car())
    free = solve(lengths, bends, limits, closed=True)
    capped = solve(lengths, bends, limits, closed=True, cap_mps=np.full(lengths.shape, cap))
    assert capped == pytest.approx(np.minimum(free, cap), rel=0.01)


def test_profile_arrays_belong_together() -> None:
    """One entry a node, time and distance rising from zero, accelerations that give back the speeds."""
    lap = speed_profile(RING, _car())
    assert {array.shape for array in (lap.s_m, lap.v_mps, lap.t_s, lap.ax_mps2, lap.ay_mps2)} == {lap.s_m.shape}
    assert (lap.s_m[0], lap.t_s[0]) == (0, 0)
    assert lap.length_m == pytest.approx(RING.length_m)
    assert lap.t_s[-1] == lap.lap_s
    assert np.all(np.diff(lap.t_s) > 0)
    q = lap.v_mps[0] ** 2 + np.concatenate(([0.0], np.cumsum(2 * lap.ax_mps2[:-1] * np.diff(lap.s_m))))
    assert np.sqrt(q) == pytest.approx(lap.v_mps)


def test_lateral_acceleration_is_positive_to_the_left() -> None:
    """Right-hand bends show a negative sign, left-hand ones a positive one, straights none."""
    lap = speed_profile(RING, _car())
    assert lap.ay_mps2[np.searchsorted(lap.s_m, 340)] < -5
    assert lap.ay_mps2[np.searchsorted(lap.s_m, 940)] > 5
    assert lap.ay_mps2[np.searchsorted(lap.s_m, 600)] == 0


@given(distance=st.floats(-5000, 5000))
def test_time_and_distance_invert_each_other(distance: float) -> None:
    """Distance to time and back returns the place on the lap, however many laps away it was given."""
    back = PROFILE.distance_at(PROFILE.time_at(distance))
    off = abs(back - distance % PROFILE.length_m)
    assert min(off, PROFILE.length_m - off) < 1e-6


PROFILE = speed_profile(RING, _car())


def test_step_hardly_matters() -> None:
    """Halving the step moves the lap time by less than a hundredth of a second: second order."""
    laps = [speed_profile(RING, _car(), step_m=step).lap_s for step in (4.0, 2.0, 1.0, 0.25)]
    assert abs(laps[1] - laps[3]) < 0.01
    assert abs(laps[2] - laps[3]) <= abs(laps[0] - laps[3])


def test_mesh_keeps_segment_ends_and_lengths() -> None:
    """Elements are no longer than the step, sum to each segment and carry its curvature with its sign."""
    lengths, bends = mesh(RING, 7.0)
    assert lengths.max() <= 7.0
    assert lengths.sum() == pytest.approx(RING.length_m)
    ends = np.cumsum(lengths)
    for distance in (300, 380, 880, 1000, 1150, 1350):
        assert np.abs(ends - distance).min() < 1e-6
    assert set(np.round(bends, 6)) == {0.0, -0.025, round(1 / 90, 6), -0.004}


@pytest.mark.parametrize("step", [0.0, -1.0, math.inf, math.nan])
def test_a_bad_step_is_refused(step: float) -> None:
    """The step must be a positive, finite number of metres."""
    with pytest.raises(ValueError, match="step_m must be a positive number"):
        mesh(RING, step)


def test_a_timing_only_circuit_has_no_profile() -> None:
    """Without segments the error says what is missing."""
    circuit = Circuit.model_validate({
        "circuit": 1, "name": "Heath", "lap_s": 80, "loops": [{"loop": "line"}],
        "pit": {"entry_share": 0.95, "exit_share": 0.05, "last_chance_share": 0.9},
    })
    with pytest.raises(ValueError, match="'Heath' has shares of the lap only"):
        speed_profile(circuit, _car())


STRAIGHT = (np.full(50, 2.0), np.zeros(50))


@pytest.mark.parametrize(("lengths", "bends"), [
    (np.array([]), np.array([])), (np.ones(3), np.zeros(2)), (np.ones((2, 2)), np.zeros((2, 2))),
])
def test_arrays_must_match(lengths: FloatArray, bends: FloatArray) -> None:
    """Empty, unequal or two-dimensional arrays are refused with their shapes."""
    with pytest.raises(ValueError, match="must be of one shape"):
        solve(lengths, bends, Limits(tyre_mps2=10), closed=True)


@pytest.mark.parametrize("length", [0.0, -1.0, math.nan, math.inf])
def test_elements_must_have_length(length: float) -> None:
    """An element without a positive finite length is refused."""
    with pytest.raises(ValueError, match="lengths must be positive"):
        solve(np.array([1.0, length]), np.zeros(2), Limits(top_mps=50), closed=True)


def test_a_cap_must_match_and_be_positive() -> None:
    """A speed cap needs one positive figure for each element."""
    for cap in (np.full(49, 30.0), np.zeros(50)):
        with pytest.raises(ValueError, match="cap_mps must give each element a positive speed"):
            solve(*STRAIGHT, Limits(), closed=True, cap_mps=cap)


def test_unlimited_speed_is_refused() -> None:
    """A road on which nothing limits the speed has no fastest lap."""
    with pytest.raises(ValueError, match="nothing limits the speed on this closed lap"):
        solve(*STRAIGHT, Limits(drive_mps2=5), closed=True)
    with pytest.raises(ValueError, match="give start_mps"):
        solve(*STRAIGHT, Limits(drive_mps2=5), closed=False)


def test_a_start_that_is_too_fast_is_refused() -> None:
    """A start above the first bound, or too fast to slow down from, is an error that gives the speed."""
    with pytest.raises(ValueError, match="above what the first stretch allows"):
        solve(*STRAIGHT, Limits(top_mps=40), closed=False, start_mps=50)
    with pytest.raises(ValueError, match=r"too fast to slow down for what follows \(at most 45.8"):
        solve(*STRAIGHT, Limits(brake_mps2=10), closed=False, start_mps=50, end_mps=10)


def test_a_closed_lap_has_no_start_or_end_speed() -> None:
    """Start and end speeds belong to open roads."""
    with pytest.raises(ValueError, match="for open roads"):
        solve(*STRAIGHT, Limits(top_mps=40), closed=True, start_mps=10)


def test_a_car_that_never_leaves_is_refused() -> None:
    """Without drive a standing car takes for ever: an error, not an infinite time."""
    speeds = solve(*STRAIGHT, Limits(drive_mps2=0, brake_mps2=5), closed=False, start_mps=0)
    with pytest.raises(ValueError, match="the car stands still"):
        travel_times(STRAIGHT[0], speeds)


def test_a_standing_start_follows_uniform_acceleration() -> None:
    """From rest with 8 m/s^2 over 100 m: v = sqrt(2 a s), t = sqrt(2 s / a)."""
    speeds = solve(*STRAIGHT, Limits(drive_mps2=8), closed=False, start_mps=0)
    assert speeds[-1] == pytest.approx(math.sqrt(1600))
    assert travel_times(STRAIGHT[0], speeds)[-1] == pytest.approx(5.0)
