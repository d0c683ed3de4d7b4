"""The map of a lap in phase: places, travel times, windows, holds, and what a timing-only circuit leaves unknown."""

from __future__ import annotations

import pickle
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pitwall.errors import UserError
from pitwall.model.car import Car
from pitwall.model.circuit import Circuit, ListeningStretch, Segment
from pitwall.model.setup import CallTiming
from pitwall.track.lapmap import LapMap, lap_map

FIGURES: dict[str, Any] = {
    "car": 1, "name": "test car", "mass_kg": 780, "power_w": 560_000, "drag_area_m2": 1.3, "downforce_area_m2": 3.4,
    "grip": 1.55, "brake_mps2": 35, "traction_mps2": 13, "top_speed_mps": 92, "fuel_per_lap_kg": 1.8,
}
CAR = Car.model_validate(FIGURES)
TIMING = CallTiming()

MEASURED = Circuit.model_validate({
    "circuit": 1, "name": "Test Ring",
    "segments": [
        {"length_m": 350}, {"turn": 1, "length_m": 80, "radius_m": 40},
        {"length_m": 700}, {"turn": 2, "length_m": 120, "radius_m": 90},
        {"length_m": 90}, {"turn": 3, "length_m": 100, "radius_m": 50},
        {"length_m": 200}, {"turn": 4, "length_m": 100, "radius_m": 2500},
        {"length_m": 300}, {"turn": 5, "length_m": 90, "radius_m": 60}, {"length_m": 250},
    ],
    "loops": [{"loop": 2, "at_m": 1500}, {"loop": 1, "at_m": 800}, {"loop": "line"}],
    "places": [{"place": "Old Oak", "at_m": 600}, {"place": "Inside", "at_m": 390}],
    "pit": {"entry_m": 2200, "exit_m": 120, "last_chance_m": 2100, "lane_length_m": 400, "lane_s": 99},
    "marshal_sectors": [{"sector": 1, "from_m": 100, "to_m": 1200}, {"sector": 2, "from_m": 1150, "to_m": 2000},
                        {"sector": 3, "from_m": 2000, "to_m": 100}],
})
SHARES = Circuit.model_validate({
    "circuit": 1, "name": "Heath", "lap_s": 80,
    "loops": [{"loop": "b", "at_share": 0.7}, {"loop": "a", "at_share": 0.3}, {"loop": "line"}],
    "places": [{"place": "turn 4", "at_share": 0.45}],
    "pit": {"entry_share": 0.95, "exit_share": 0.05, "last_chance_share": 0.93, "lane_s": 18},
    "marshal_sectors": [{"sector": "north", "from_share": 0.9, "to_share": 0.4}],
})
LAP = lap_map(MEASURED, CAR, TIMING)
HEATH = lap_map(SHARES, None, TIMING)


def _phase(lap: LapMap, distance_m: float) -> float:
    phase = lap.phase_at_distance(distance_m)
    assert phase is not None
    return phase


def test_a_turn_is_its_end_and_its_start_apart() -> None:
    """"After turn 2" is where the turn ends; its start is asked for by name."""
    assert LAP.phase_of("turn 2") == pytest.approx(_phase(LAP, 1250))
    assert LAP.turn_start("turn 2") == pytest.approx(_phase(LAP, 1130))
    assert LAP.turn_start("old oak") == LAP.phase_of("old oak")


def test_every_place_of_the_circuit_has_a_phase() -> None:
    """All names that an item may use are known, each from 0 to below 1."""
    for circuit, lap in ((MEASURED, LAP), (SHARES, HEATH)):
        for name in circuit.place_names():
            assert 0 <= lap.phase_of(name) < 1
            assert lap.phase_of(name.upper()) == lap.phase_of(name)
        assert lap.phase_of("line") == 0


@pytest.mark.parametrize("ask", [LapMap.phase_of, LapMap.turn_start, LapMap.stretch_of])
def test_an_unknown_place_is_an_error_with_a_suggestion(ask: Any) -> None:
    """A misspelt place names the circuit and what was probably meant."""
    with pytest.raises(UserError, match="unknown place 'turm 2' on Test Ring: did you mean 'turn 2'"):
        ask(LAP, "turm 2")
    with pytest.raises(UserError, match="unknown place 'chicane'"):
        LAP.hold_fits("chicane", 5, 50, 1)


def test_loops_are_in_lap_order_with_the_line_last() -> None:
    """The order in the file does not matter; the line closes the lap at phase zero."""
    assert LAP.loop_order == ("1", "2", "line")
    assert HEATH.loop_order == ("a", "b", "line")
    assert HEATH.loops == {"a": 0.3, "b": 0.7, "line": 0.0}
    assert LAP.loops["1"] == pytest.approx(_phase(LAP, 800))


def test_pit_phases_follow_the_lap() -> None:
    """Last chance, entry, line, exit: in this order."""
    for lap in (LAP, HEATH):
        assert 0 < lap.pit_exit < 0.1 < lap.last_chance < lap.pit_entry < 1


@given(first=st.floats(0, 2379.9), second=st.floats(0, 2379.9))
def test_phase_rises_with_distance(first: float, second: float) -> None:
    """Further along the lap is later in it."""
    low, high = sorted((first, second))
    assert _phase(LAP, low) <= _phase(LAP, high)
    if high - low > 0.01:
        assert _phase(LAP, low) < _phase(LAP, high)


@given(distance=st.floats(0, 2379.9))
def test_distance_to_phase_and_back(distance: float) -> None:
    """The two directions undo each other, also a lap later."""
    phase = _phase(LAP, distance)
    assert LAP.distance_at_phase(phase) == pytest.approx(distance, abs=1e-6)
    assert LAP.distance_at_phase(phase + 1) == pytest.approx(distance, abs=1e-6)


def test_speed_at_a_phase_is_the_reference_speed() -> None:
    """In turn 1 the car is near its slowest, on the straight after it much faster."""
    assert LAP.speed_at_phase(_phase(LAP, 390)) == pytest.approx(float(np.min(LAP.profile.v_mps)), rel=0.02)  # type: ignore[union-attr]  # measured
    assert (LAP.speed_at_phase(_phase(LAP, 900)) or 0) > 60


@given(start=st.floats(0, 1), share=st.floats(0.001, 0.999), lap_s=st.floats(50, 200))
def test_travel_goes_forward_over_the_line(start: float, share: float, lap_s: float) -> None:
    """Travel time is the share of the lap from one phase forward to the other."""
    assert LAP.travel_s(start, (start + share) % 1.0, lap_s) == pytest.approx(share * lap_s, rel=1e-6)


def test_travel_at_its_corners() -> None:
    """Same place: no time. Line to line written as 0 and 1: a lap. A rounding error is not a lap."""
    assert LAP.travel_s(0.4, 0.4, 90) == 0
    assert LAP.travel_s(0.0, 1.0, 90) == 90
    assert LAP.travel_s(1.0, 0.25, 90) == pytest.approx(22.5)
    assert LAP.travel_s(0.25, 1.0, 90) == pytest.approx(67.5)
    assert LAP.travel_s(0.4 + 1e-12, 0.4, 90) == 0


def test_marshal_sectors_may_overlap_and_span_the_line() -> None:
    """A phase can lie in two sectors; the last sector holds both sides of the line; 1.0 is the line."""
    assert LAP.marshal_sectors_at(_phase(LAP, 1175)) == ("1", "2")
    assert LAP.marshal_sectors_at(_phase(LAP, 2300)) == ("3",)
    assert LAP.marshal_sectors_at(0.0) == LAP.marshal_sectors_at(1.0) == ("3",)
    assert HEATH.marshal_sectors_at(0.95) == ("north",)
    assert HEATH.marshal_sectors_at(0.5) == ()


def test_may_listen_follows_the_windows() -> None:
    """True inside a window, false outside."""
    assert LAP.may_listen(_phase(LAP, 700)) is True
    assert LAP.may_listen(_phase(LAP, 390)) is False
    assert LAP.may_listen(_phase(LAP, 700) + 1) is True


def test_windows_between_join_over_the_line() -> None:
    """Asked across the line, the window of the main straight is one; the ends are clipped; laps are counted on."""
    windows = LAP.windows_between(0.9, 2.05)
    assert windows is not None
    over = [window for window in windows if window[0] < 1.0 < window[1]]
    assert len(over) == 1
    assert windows[-1][1] == 2.05
    assert all(0.9 <= start < end <= 2.05 for start, end in windows)
    assert LAP.windows_between(0.5, 0.5) == ()


@settings(max_examples=50, deadline=None)
@given(start=st.floats(0, 3), length=st.floats(0.01, 2), share=st.floats(0.01, 0.99))
def test_windows_between_agree_with_may_listen(start: float, length: float, share: float) -> None:
    """Any moment between the two ends lies in a returned window exactly when the driver may listen then."""
    moment = start + share * length
    windows = LAP.windows_between(start, start + length)
    assert windows is not None
    edges = [edge for window in (LAP.listening or ()) for edge in window]
    if min(abs(moment % 1.0 - edge) for edge in edges) > 1e-6:
        assert any(first <= moment < last for first, last in windows) == LAP.may_listen(moment)


def test_pit_lane_time_is_length_over_limit() -> None:
    """The measured length counts before a given time; without length the given time is all there is."""
    assert LAP.pit_lane_s(60) == pytest.approx(24.0)
    assert HEATH.pit_lane_s(60) == 18
    bare = MEASURED.model_copy(update={"pit": MEASURED.pit.model_copy(update={"lane_length_m": None, "lane_s": None})})
    assert lap_map(bare, CAR, TIMING).pit_lane_s(60) is None
    with pytest.raises(ValueError, match="must be a positive speed, got 0 km/h"):
        LAP.pit_lane_s(0)


class TestHold:
    """Constant-speed holds on the straight after a place."""

    def test_a_long_straight_takes_a_hold(self) -> None:
        """Needed: reaching the speed, settling, holding. Available: up to braking for the next turn."""
        check = LAP.hold_fits("turn 1", 5, 50, 1.5)
        assert check.fits is True
        assert check.available_m is not None
        assert check.needed_m is not None
        assert 50 * 6.5 < check.needed_m < check.available_m < 700
        assert "before turn 2" in check.reason

    def test_too_long_a_hold_says_what_would_fit(self) -> None:
        """The reason gives the longest hold, and a hold that long does fit."""
        check = LAP.hold_fits("turn 1", 15, 50, 1.5)
        assert check.fits is False
        longest = float(check.reason.split("at most ")[1].split(" s")[0])
        assert LAP.hold_fits("turn 1", longest - 0.1, 50, 1.5).fits is True
        assert LAP.hold_fits("turn 1", longest + 0.1, 50, 1.5).fits is False

    def test_a_speed_that_is_not_reached(self) -> None:
        """On 90 m between two turns the car never gets to 80 m/s: no length is needed, the reason says so."""
        check = LAP.hold_fits("turn 2", 5, 80, 1.5)
        assert (check.fits, check.needed_m) == (False, None)
        assert check.available_m == pytest.approx(90)
        assert "80 m/s is not reached on the 90 m between turn 2 and turn 3" in check.reason

    def test_a_place_inside_a_turn_has_no_straight(self) -> None:
        """A hold that would begin in a loaded bend is refused by name."""
        check = LAP.hold_fits("inside", 1, 30, 0)
        assert (check.fits, check.available_m) == (False, 0.0)
        assert "inside lies in turn 1" in check.reason

    def test_a_gentle_bend_is_a_straight_at_low_speed(self) -> None:
        """A radius of 2500 m loads a car at 60 m/s with 1.4 m/s^2 and leaves the straight whole; at 75 it ends it."""
        assert "turn 5" in LAP.hold_fits("turn 3", 2, 60, 0.5).reason
        assert "turn 4" in LAP.hold_fits("turn 3", 2, 75, 0.5).reason

    def test_a_hold_may_span_the_line(self) -> None:
        """After the last turn the straight goes on over the line to turn 1."""
        check = LAP.hold_fits("turn 5", 5, 50, 1)
        assert check.fits is True
        assert 250 < (check.available_m or 0) < 600

    def test_available_ends_where_the_reference_brakes_through_the_speed(self) -> None:
        """At the end of the available road the reference lap is at hold speed and braking."""
        check = LAP.hold_fits("turn 1", 5, 50, 1.5)
        assert LAP.profile is not None
        end = 430 + (check.available_m or 0)
        assert LAP.profile.speed_at(end) == pytest.approx(50, abs=1.5)
        assert LAP.profile.speed_at(end + 10) < LAP.profile.speed_at(end - 10)

    @settings(max_examples=40, deadline=None)
    @given(speed=st.floats(20, 90), seconds=st.floats(0.5, 20), more=st.floats(0.1, 5))
    def test_longer_holds_never_fit_better(self, speed: float, seconds: float, more: float) -> None:
        """If the longer hold fits, the shorter one does."""
        if LAP.hold_fits("turn 1", seconds + more, speed, 1).fits:
            assert LAP.hold_fits("turn 1", seconds, speed, 1).fits

    @pytest.mark.parametrize(
        ("seconds", "speed", "settle"), [(0, 50, 1), (5, 0, 1), (5, 50, -1), (float("nan"), 50, 1)]
    )
    def test_nonsense_is_refused(self, seconds: float, speed: float, settle: float) -> None:
        """Length and speed are positive, settling is not negative."""
        with pytest.raises(ValueError, match="a hold needs a positive length and speed"):
            LAP.hold_fits("turn 1", seconds, speed, settle)

    def test_a_circuit_without_bends_holds_for_a_lap(self) -> None:
        """Where no bend counts, the straight is the whole lap."""
        ring = MEASURED.model_copy(update={"segments": (Segment(length_m=5000, radius_m=5000),) * 2})
        check = lap_map(ring, CAR, TIMING).hold_fits("line", 60, 80, 1.5)
        assert check.fits is True
        assert check.available_m == pytest.approx(10_000)


class TestTimingOnly:
    """A circuit of shares knows times and nothing that needs physics."""

    def test_shares_are_phases(self) -> None:
        """The file's shares come through unchanged, and its lap time is the reference."""
        assert HEATH.phase_of("turn 4") == 0.45
        assert (HEATH.lap_s, HEATH.timing_only, LAP.timing_only) == (80, True, False)
        assert HEATH.travel_s(0.3, 0.7, 80) == pytest.approx(32)

    def test_physics_is_unknown_not_guessed(self) -> None:
        """Windows, distances, speeds and holds are None."""
        assert HEATH.listening is None
        assert HEATH.may_listen(0.5) is None
        assert HEATH.windows_between(0, 1) is None
        assert HEATH.phase_at_distance(100) is None
        assert HEATH.distance_at_phase(0.5) is None
        assert HEATH.speed_at_phase(0.5) is None
        check = HEATH.hold_fits("turn 4", 5, 50, 1)
        assert (check.fits, check.available_m, check.needed_m) == (None, None, None)
        assert "no geometry" in check.reason

    def test_a_car_file_changes_nothing(self) -> None:
        """A car may be given all the same."""
        assert lap_map(SHARES, CAR, TIMING).loops == HEATH.loops


def test_a_measured_circuit_needs_a_car() -> None:
    """Without a car there is no lap time: the error says what to add."""
    with pytest.raises(UserError, match="Test Ring is measured in metres: its lap times need a car file"):
        lap_map(MEASURED, None, TIMING)


def test_quiet_places_reach_the_windows() -> None:
    """A quiet turn of the circuit file is silent although its load would allow speech."""
    quiet = MEASURED.model_copy(update={"quiet_places": ("turn 4",)})
    inside = _phase(LAP, 1690)
    assert LAP.may_listen(inside) is True
    assert lap_map(quiet, CAR, TIMING).may_listen(inside) is False


def test_the_settings_shape_the_windows() -> None:
    """A lower lateral limit and a longer least length leave fewer windows."""
    strict = lap_map(MEASURED, CAR, CallTiming(lateral_limit_mps2=0.5, listen_min_s=5))
    assert len(strict.listening or ()) < len(LAP.listening or ())


def test_a_map_survives_pickling() -> None:
    """A forecast in another process gets the same map."""
    again = pickle.loads(pickle.dumps(LAP))
    assert again.places == LAP.places
    assert again.listening == LAP.listening
    assert again.phase_at_distance(777) == LAP.phase_at_distance(777)


def test_listening_stretches_of_the_circuit_file_reach_the_windows() -> None:
    """A timing-only circuit knows the windows that its file names, and no others; a measured one adds them."""
    named = SHARES.model_copy(update={"listening": (ListeningStretch(from_share=0.3, to_share=0.5),)})
    told = lap_map(named, None, TIMING)
    assert told.listening == told.listening_easy == ((0.3, 0.5),)
    assert (told.may_listen(0.4), told.may_listen(0.6)) == (True, False)
    corner = _phase(LAP, 390)
    assert LAP.may_listen(corner) is False
    added = MEASURED.model_copy(update={"listening": (ListeningStretch(from_m=330, to_m=450),)})
    assert lap_map(added, CAR, TIMING).may_listen(corner) is True


def test_quiet_places_are_quiet_in_named_windows_too() -> None:
    """A timing-only circuit with both: the quiet place is cut out of the stretch."""
    both = SHARES.model_copy(update={
        "listening": (ListeningStretch(from_share=0.3, to_share=0.6),), "quiet_places": ("turn 4",)})  # fmt: skip
    told = lap_map(both, None, TIMING)
    assert (told.may_listen(0.4), told.may_listen(0.45), told.may_listen(0.5)) == (True, False, True)


@pytest.mark.parametrize(("stretch", "problem"), [
    ({"from_m": 10, "to_m": 20}, "does not fit this circuit"),
    ({"from_share": 0.2}, "to_share is missing"),
])  # fmt: skip
def test_a_listening_stretch_is_measured_as_its_circuit(stretch: dict[str, float], problem: str) -> None:
    """Metres on a timing-only circuit, or half a stretch, are named with their number in the file."""
    with pytest.raises(ValueError, match=f"listening stretch 1.*{problem}"):
        Circuit.model_validate({**SHARES.model_dump(exclude_none=True), "listening": [stretch]})


def test_windows_at_the_reference_pace_and_faster_are_those_of_the_map() -> None:
    """Nobody is quicker than the reference for long: the windows are the reference's."""
    assert LAP.listening_at(1.0) == LAP.listening
    assert LAP.listening_at(0.8) == LAP.listening
    assert LAP.listening_at(1.15) == LAP.listening_easy


@given(st.floats(1.0, 2.5))
def test_a_slower_lap_has_at_least_the_windows_of_a_quicker_one(slower: float) -> None:
    """Less speed is less lateral acceleration: what was calm stays so, and the share in which one may listen grows."""
    here, slow = LAP.listening_at(slower), LAP.listening_at(slower + 0.25)
    assert here is not None
    assert slow is not None
    assert sum(end - begin for begin, end in slow) >= sum(end - begin for begin, end in here) - 1e-9


@pytest.mark.parametrize(("slower", "step"), [(1.049, 1.0), (1.05, 1.05), (1.099, 1.05), (1.3, 1.3)])
def test_windows_between_two_paces_are_those_of_the_quicker(slower: float, step: float) -> None:
    """A window that is only there if the car is slower than thought is none: in steps of a twentieth."""
    assert LAP.listening_at(slower) == LAP.listening_at(step)


def test_without_geometry_windows_do_not_depend_on_the_pace() -> None:
    """A timing-only circuit knows the stretches of its file, or none, at any pace."""
    assert HEATH.listening_at(1.3) is None
    named = SHARES.model_copy(update={"listening": (ListeningStretch(from_share=0.3, to_share=0.5),)})
    assert lap_map(named, None, TIMING).listening_at(1.3) == ((0.3, 0.5),)
