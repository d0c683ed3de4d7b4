"""Arrivals under a slow period: while it holds, and when the track is green again."""

from __future__ import annotations

import pytest

from pitwall.engine.car import CarTrack
from pitwall.pace.outlook import Outlook
from pitwall.pace.weighing import HIGH, LOW, MIDDLE
from tests.unit.pace_stage import driven_field, rising


def outlook(track: CarTrack) -> Outlook:
    """The outlook of a car on track."""
    made = track.outlook()
    assert made is not None
    return made


def test_a_lap_at_the_pace_under_a_slow_period_arrives_late_and_nobody_knows_how_late() -> None:
    """A slow period has begun as the car passes the loop at its usual pace: the rest takes a third longer or so."""
    cars = driven_field()
    cars.laps("car-0", 1.25)
    now = cars.lap("car-0", 30.0, slow=True)
    line = outlook(cars.tracks["car-0"]).line
    assert now + 80.0 < float(line[MIDDLE]) < now + 110.0
    assert line[HIGH] - line[LOW] > 15.0
    assert rising(list(line))


def test_when_the_track_is_green_again_the_rest_is_driven_at_the_pace() -> None:
    """What the car lost while it had to go slowly is not held against the rest of its lap; the lap does not count."""
    cars = driven_field()
    cars.laps("car-0", 1.25)
    cars.lap("car-0", 42.0, slow=True)
    track = cars.tracks["car-0"]
    cars.now["car-0"] += 52.0
    track.cross("2", cars.now["car-0"], False)
    cars.judge("car-0")
    made = outlook(track)
    assert float(made.line[MIDDLE]) == pytest.approx(cars.now["car-0"] + 30.0, abs=1.0)
    assert made.kinds[0] < 0.2


def test_a_lap_that_began_slow_goes_on_at_the_pace_once_it_is_green() -> None:
    """The line was passed under a slow period, the first loop under green: the rest is a quick one."""
    cars = driven_field()
    cars.laps("car-0", 1.25, 1.0)
    cars.lap("car-0", 30.0, 40.0)
    track = cars.tracks["car-0"]
    cars.now["car-0"] += 40.0
    track.cross("line", cars.now["car-0"], True)
    cars.now["car-0"] += 36.0
    track.cross("1", cars.now["car-0"], False)
    cars.judge("car-0")
    assert float(outlook(track).line[MIDDLE]) == pytest.approx(cars.now["car-0"] + 70.0, abs=2.0)


def test_laps_that_a_slow_period_spoilt_teach_no_weights() -> None:
    """How well each rule forecasts at a loop is judged by laps as they usually are."""
    cars = driven_field()
    belief = cars.field.belief
    assert belief is not None
    cars.laps("car-0", 1.25)
    before = [record.weights() for record in belief.from_line.records]
    cars.lap("car-0", 45.0, slow=True)
    cars.lap("car-0", 0.0)  # the loop again, at once: ignored
    track = cars.tracks["car-0"]
    for loop, seconds in (("2", 60.0), ("line", 45.0)):
        cars.now["car-0"] += seconds
        track.cross(loop, cars.now["car-0"], True)
        cars.judge("car-0")
    after = [record.weights() for record in belief.from_line.records]
    assert after[2:] == before[2:]
