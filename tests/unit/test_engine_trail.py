"""How fast a car goes of late: the corner ahead is taken at that pace, whatever the lap as a whole has cost."""

from __future__ import annotations

import pytest

from pitwall.engine.car import CarTrack
from pitwall.engine.trail import LEAST_S, least_slower
from pitwall.engine.whereabouts import TRAIL_S
from tests.unit.engine_stage import track

LAP_S = track().lap_map.lap_s


def seen(car: CarTrack, begin: float, phase: float, seconds: float, slower: float) -> tuple[float, float]:
    """It is seen every second for so long, at so many times the reference lap; when and where that ends."""
    for second in range(1, round(seconds) + 1):
        assert car.sight(begin + second, phase + second / (slower * LAP_S))
    return begin + seconds, phase + seconds / (slower * LAP_S)


def out_lap() -> CarTrack:
    """A car that has just left the pits."""
    car = track()
    car.leave(0.0)
    return car


def test_a_car_that_stood_goes_as_fast_as_it_goes_now() -> None:
    """Twenty seconds of standing make the lap a slow one, and no corner ahead of it any slower."""
    car = out_lap()
    seen(car, 20.0, car.seen_phase, TRAIL_S, 1.2)
    assert least_slower(car) == pytest.approx(1.2, rel=0.01)


def test_of_two_parts_the_quicker_one_counts() -> None:
    """A car that eases off may go on: what was quick a moment ago is relied on until it is old."""
    car = out_lap()
    t, phase = seen(car, 0.0, car.seen_phase, 5.0, 1.1)
    t, phase = seen(car, t, phase, 5.0, 1.6)
    assert least_slower(car) == pytest.approx(1.1, rel=0.05)
    t, phase = seen(car, t, phase, TRAIL_S, 1.6)
    assert least_slower(car) == pytest.approx(1.6, rel=0.05)


def test_a_moment_shows_nothing() -> None:
    """Two positions close together are a metre or two off one another for no reason."""
    car = out_lap()
    seen(car, 0.0, car.seen_phase, round(LEAST_S - 1.0), 1.2)
    assert least_slower(car) is None


def test_the_trail_goes_on_over_the_line() -> None:
    """A lap that has just begun goes as fast as the car came over the line."""
    car = out_lap()
    t, phase = seen(car, 0.0, car.seen_phase, 3.0, 1.3)
    t, phase = seen(car, 1.3 * LAP_S * 0.9, 0.9, 4.0, 1.3)
    line = t + (1.0 - phase) * 1.3 * LAP_S
    car.cross("line", line, False)
    assert car.sight(line + 1.0, 1.0 / (1.3 * LAP_S))
    assert least_slower(car) == pytest.approx(1.3, rel=0.01)


def test_loops_alone_say_no_more_than_the_lap() -> None:
    """Without positions nothing is known of the last seconds, however many loops were passed."""
    car = out_lap()
    for loop, phase in sorted(car.lap_map.loops.items(), key=lambda one: one[1]):
        if phase > car.seen_phase:
            car.cross(loop, 1.2 * phase * LAP_S, False)
    assert car.seen_phase > 0.5
    assert least_slower(car) is None


# -- where it is in the next seconds ---------------------------------------------------------------------------------


def whole_laps(car: CarTrack, begin: float, laps: int = 3) -> float:
    """So many timed laps at the reference pace, loops and line; when the last one ended."""
    loops = sorted((phase, loop) for loop, phase in car.lap_map.loops.items() if phase > 0.0)
    for number in range(laps):
        for phase, loop in [*loops, (1.0, "line")]:
            car.cross(loop, begin + (number + phase) * LAP_S, False)
    return begin + laps * LAP_S


@pytest.mark.parametrize("slower", [1.0, 1.5])
def test_the_next_seconds_are_driven_as_the_last_were(slower: float) -> None:
    """A cool-down lap by the plan: the car is where its positions put it, whether or not its driver has eased off, and
    so it stays for ten seconds; a place behind the car lies behind it."""
    car = out_lap()
    line = whole_laps(car, 0.0)
    assert car.move("judged_cool")
    t, phase = seen(car, line, 0.0, 6.0, slower)
    for ahead in (1.0, 5.0, 9.0):
        place = phase + ahead / (slower * LAP_S)
        assert car.arrival(place) == pytest.approx(t + ahead, abs=0.35)
        assert car.going_on()(place) == pytest.approx(car.arrival(place))
    assert car.going_on()(phase) == pytest.approx(t, abs=0.1)
    assert (car.arrival(1.0) or 0.0) > t + (1.0 - phase) * LAP_S - 0.5


def test_a_car_that_stood_is_not_expected_to_stand_on() -> None:
    """For a start, or in a spin: the seconds after it are those of the lap."""
    car = out_lap()
    line = whole_laps(car, 0.0)
    t, phase = seen(car, line, 0.0, 8.0, 30.0)
    assert (car.arrival(phase + 0.1) or 0.0) < t + 0.1 * 3.0 * LAP_S


def test_passages_far_apart_say_nothing_of_the_next_seconds() -> None:
    """Two short stretches in ten seconds: the lap as a whole decides, as if the car had been seen once."""
    car, once = out_lap(), out_lap()
    line = whole_laps(car, 0.0)
    assert whole_laps(once, 0.0) == line
    places = [(line + second, second / (1.3 * LAP_S)) for second in (4.0, 9.0)]
    for t, phase in places:
        assert car.sight(t, phase)
    assert once.sight(*places[-1])
    assert car.arrival(0.5) == pytest.approx(once.arrival(0.5))


def test_an_out_lap_in_a_hurry_is_reckoned_at_its_own_pace() -> None:
    """Out-laps took a third longer before; this one goes at the pace, and at the second loop the car is there."""
    car = out_lap()
    for _ in range(3):
        car.pace.learn_lap("timed", LAP_S, 0.0, {})
        car.pace.learn_lap("out", 1.33 * LAP_S, 0.0, {})
    first, second = sorted((phase, loop) for loop, phase in car.lap_map.loops.items() if phase > 0.0)[:2]
    t = (first[0] - car.seen_phase) * LAP_S
    car.cross(first[1], t, False)
    assert car.arrival(second[0]) == pytest.approx(t + (second[0] - first[0]) * LAP_S, abs=0.6)
