"""Where a car is now: between what was seen of it and what is expected."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pitwall.engine.car import CarTrack
from pitwall.pace.arrivals import Here
from tests.unit.pace_stage import Cars, driven_field


def here(track: CarTrack, now: float) -> Here:
    """Where it is; it is known."""
    found = track.here(now)
    assert found is not None
    return found


def on_a_timed_lap() -> tuple[Cars, CarTrack, float]:
    """A field that has driven, and a car that has just passed the first loop (0.3 of the lap) at its pace."""
    cars = driven_field()
    cars.laps("car-0", 1.25)
    now = cars.lap("car-0", 30.0)
    return cars, cars.tracks["car-0"], now


def test_at_a_crossing_it_is_at_the_loop() -> None:
    """The moment it was seen there it is there."""
    _, track, now = on_a_timed_lap()
    assert here(track, now).phase == pytest.approx(0.3, abs=0.005)


def test_between_loops_it_is_where_its_pace_has_brought_it() -> None:
    """Twenty seconds on, on a lap of a hundred: a fifth of the lap further; early and late lie around that."""
    _, track, now = on_a_timed_lap()
    found = here(track, now + 20.0)
    assert found.phase == pytest.approx(0.5, abs=0.01)
    assert found.low <= found.phase <= found.high
    assert found.high - found.low < 0.1


def test_a_cool_down_lap_is_not_so_far_yet_and_known_less_well() -> None:
    """Half as slow again so far: after the same time it has come less far, give or take more."""
    _, quick, now = on_a_timed_lap()
    at_the_pace = here(quick, now + 20.0)
    cars = driven_field()
    cars.laps("car-0", 1.25, 1.0)
    now = cars.lap("car-0", 45.0)
    found = here(cars.tracks["car-0"], now + 20.0)
    assert found.phase < at_the_pace.phase - 0.04
    assert found.high - found.low > at_the_pace.high - at_the_pace.low


def test_overdue_at_the_line_it_is_there_and_not_beyond() -> None:
    """A crossing that has not come: it is expected at the line, and on no lap that nobody saw begin."""
    _, track, now = on_a_timed_lap()
    assert here(track, now + 300.0) == Here(1.0, 1.0, 1.0)


def test_a_sighting_is_where_it_is() -> None:
    """Seen between two loops later than expected: it is there, not where it would have been."""
    _, track, now = on_a_timed_lap()
    assert track.sight(now + 20.0, 0.42)
    assert here(track, now + 20.0).phase == pytest.approx(0.42, abs=0.005)


def test_in_the_pits_and_stopped_it_is_on_no_lap() -> None:
    """Nothing is told of a car that is not under way."""
    cars, track, now = on_a_timed_lap()
    track.fall_silent(now + 200.0)
    assert track.here(now + 200.0) is None
    other = cars.tracks["car-1"]
    other.come_in(now + 50.0)
    assert other.here(now + 60.0) is None


@settings(max_examples=30, deadline=None)
@given(st.floats(0.9, 1.7), st.floats(0.0, 90.0), st.floats(0.0, 20.0))
def test_it_only_goes_forward_and_arrives_where_it_is(ratio: float, after_s: float, more_s: float) -> None:
    """Later it is never less far on; and where it is now is the place whose expected arrival is now."""
    cars = driven_field()
    cars.laps("car-0", 1.25)
    now = cars.lap("car-0", 30.0 * ratio) + after_s
    track = cars.tracks["car-0"]
    found, later = here(track, now), here(track, now + more_s)
    assert found.phase <= later.phase + 1e-9
    assert found.low <= later.low + 1e-9
    arrival = track.arrival(found.phase)
    assert arrival is not None
    if found.phase < 1.0:
        assert arrival == pytest.approx(now, abs=0.05)


def test_a_car_that_positions_show_moving_has_not_stopped() -> None:
    """No loop for long, but positions go on: it moves. Positions of one place for as long: it stands."""
    cars, track, now = on_a_timed_lap()
    for step in range(1, 13):
        assert track.sight(now + 20.0 * step, 0.3 + 0.002 * step)
    assert track.moving_t == now + 240.0
    for step in range(1, 6):
        assert track.sight(now + 240.0 + 20.0 * step, 0.324)
    assert track.moving_t == now + 240.0
    assert cars.tracks["car-1"].moving_t == cars.tracks["car-1"].seen_t


def test_crawling_is_moving() -> None:
    """Ten positions a second of a car at walking pace: each step is next to nothing, all together are not."""
    _, track, now = on_a_timed_lap()
    for step in range(1, 201):
        track.sight(now + 0.1 * step, 0.3 + 0.00003 * step)
    assert track.moving_t > now + 15.0
