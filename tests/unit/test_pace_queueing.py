"""Out-laps one behind the other: the car that follows reaches the line after the one ahead, unless cars do overtake."""

from __future__ import annotations

import numpy as np
import pytest

from pitwall.pace.queueing import CLEAR_S, FOLLOWS_S, STALE_S, OutLapQueue
from pitwall.pace.weighing import MIDDLE
from tests.unit.pace_stage import LEFT, Cars

LINE = np.linspace(95.0, 105.0, 7) + 100.0


def test_a_gap_becomes_half_of_what_it_is_and_what_drivers_want() -> None:
    """Seven seconds behind stays seven; right behind it opens half-way, three times as far back it closes half-way."""
    queue = OutLapQueue()
    queue.passes("a", (100.0,), LINE)
    for gap in (0.0, CLEAR_S, 2.0 * CLEAR_S):
        behind = queue.behind("b", 0, 100.0 + gap)
        assert behind == pytest.approx(LINE + 0.5 * (gap + CLEAR_S))


def test_who_follows_nobody_is_on_its_own() -> None:
    """Nobody is out; the car itself; one too far ahead, one that is not there yet, one whose lap is over or stale."""
    queue = OutLapQueue()
    assert queue.behind("b", 0, 100.0) is None
    queue.passes("a", (100.0,), LINE)
    assert queue.behind("a", 0, 101.0) is None
    assert queue.behind("b", 0, 100.1 + FOLLOWS_S) is None
    assert queue.behind("b", 0, 99.9) is None
    assert queue.behind("b", 1, 110.0) is None
    queue.over("a")
    assert queue.behind("b", 0, 101.0) is None
    queue.passes("a", (100.0,), LINE)
    queue.passes("c", (101.0 + STALE_S,), LINE)
    assert queue.behind("b", 0, 101.0) is None


def test_the_nearest_car_ahead_is_the_one_that_counts() -> None:
    """Of two ahead it is the one that passed here last, whoever left the pits first."""
    queue = OutLapQueue()
    queue.passes("a", (90.0, 132.0), LINE)
    queue.passes("b", (95.0, 130.0), LINE + 50.0)
    behind = queue.behind("c", 1, 134.0)
    assert behind == pytest.approx(LINE + 0.5 * (2.0 + CLEAR_S))


def out_laps(overtaking: bool) -> tuple[Cars, float, float]:
    """Two cars leave four seconds apart, run after run: the first crawls, the second arrives eight seconds behind it or
    drives its own lap. At the last exit: medians of when the first and the second reach the line."""
    cars, medians = Cars("a", "b"), []
    for run in range(8):
        begin = LEFT + 1000.0 * run
        for at, name in enumerate(cars.tracks):
            cars.tracks[name].leave(begin + 4.0 * at)
            cars.now[name] = begin + 4.0 * at
            made = cars.tracks[name].outlook()
            assert made is not None
            medians.append(float(made.line[MIDDLE]))
        second = 120.0 if overtaking else 154.0
        cars.lap("a", 50.0, 60.0, 40.0)
        cars.lap("b", 40.0, 50.0, second - 90.0)
        for name in cars.tracks:
            cars.lap(name, 30.0, 40.0, 30.0)
            cars.lap(name, 33.0, 44.0)
            cars.tracks[name].come_in(cars.now[name] + 28.0)
    return cars, medians[-2], medians[-1]


def test_who_follows_a_slow_car_arrives_behind_it() -> None:
    """Where nobody overtook, the second is expected a gap behind the first."""
    _, first, second = out_laps(overtaking=False)
    assert first + 3.0 < second < first + 10.0


def test_where_cars_overtake_the_one_ahead_says_nothing() -> None:
    """Where the second passed the first each time, that is expected again: the queue's record is poor."""
    cars, first, second = out_laps(overtaking=True)
    assert second < first - 5.0
    belief = cars.field.belief
    assert belief is not None
    assert belief.from_pits.queues[0].weights()[1] < 0.1
