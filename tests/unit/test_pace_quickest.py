"""The quickest lap of a stretch of time."""

from __future__ import annotations

import math
from collections import deque

import numpy as np

from pitwall.pace.field_pace import FieldPace
from pitwall.pace.laptimes import CarPace
from pitwall.pace.quickest import Quickest


def test_it_is_the_least_of_the_laps_that_ended_then_in_whatever_order_they_came() -> None:
    """Against looking through all laps: both ends count, laps come in any order, and none is a valid answer."""
    rng = np.random.default_rng(1)
    laps = [(float(t), float(lap)) for t, lap in zip(rng.integers(0, 500, 80), rng.integers(80, 120, 80), strict=True)]
    quickest = Quickest(deque(laps[:40]))
    for t, lap in laps[40:]:
        quickest.learned(t, lap)
    for since, until in rng.integers(-10, 520, (200, 2)).tolist():
        expected = min((lap for t, lap in laps if since <= t <= until), default=None)
        assert quickest.between(since, until) == expected


def test_laps_that_were_taken_out_of_the_list_count_no_more() -> None:
    """A field or a car whose laps were taken back by hand holds another list: the next question goes by that."""
    field = FieldPace(90.0)
    car = CarPace({"1": 0.3, "2": 0.7}, field)
    car.learn_lap("timed", 80.0, 100.0, {})
    car.learn_lap("timed", 90.0, 200.0, {})
    assert (field.best(250.0), car.reference(250.0)) == (80.0, 80.0)
    field.quick, car.quick = deque([(200.0, 90.0)]), deque([(200.0, 90.0)])
    assert (field.best(250.0), car.reference(250.0)) == (90.0, 90.0)
    car.learn_lap("timed", 85.0, 300.0, {})
    assert (field.best(350.0), car.reference(350.0)) == (85.0, 85.0)
    assert field.best(math.inf) is None
