"""The forecast of a session in windows: runs leave in the first window that they fit into, and lunch is nobody's."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from pitwall.forecast.futures import forecast
from pitwall.forecast.interruptions import draw_calendar
from pitwall.model.outputs import Activity, CarOutlook, RunOutlook
from pitwall.model.rules import Interruptions
from tests.unit.test_forecast_futures import ask, lap, run_of

MORNING, AFTERNOON = (0.0, 1000.0), (2000.0, 3000.0)
OUT, TIMED, IN, WORK = 110, 90, 105, 300  # seconds, as run_of has them without spread


def day(*activities: Activity, windows: tuple[tuple[float, float], ...] = (MORNING, AFTERNOON), **more: Any
        ) -> CarOutlook:
    """The outlook of one car in these windows, asked at the first green light; nothing by chance."""
    bound = more.pop("windows_of", {})
    wanted = ask(*activities, remaining=windows[0][1] - windows[0][0], **more)
    cars = tuple(car.model_copy(update={"windows": bound}) for car in wanted.snapshot.cars)
    snapshot = wanted.snapshot.model_copy(update={"windows": windows, "cars": cars})
    return forecast(wanted.model_copy(update={"snapshot": snapshot})).cars[0]


def of(found: CarOutlook, name: str) -> RunOutlook:
    """One run's outlook."""
    return next(run for run in found.runs if run.run == name)


def test_a_run_that_does_not_fit_before_lunch_is_done_after_it() -> None:
    """Two runs of 485 s with 300 s between: the second would be called in by the flag, so it leaves at the green."""
    found = day(*run_of("a", 3), *run_of("b", 3))
    assert of(found, "a").end_q50_s == OUT + 3 * TIMED + IN
    assert of(found, "b").end_q50_s == AFTERNOON[0] + OUT + 3 * TIMED + IN
    assert of(found, "b").chance == 1.0


def test_a_must_after_lunch_is_counted_against_the_afternoon() -> None:
    """What has no room in the afternoon has no chance, however long the morning was; and the last release is told
    against the flag of the afternoon."""
    short = (MORNING, (2000.0, 2250.0))
    fits, not_ = day(*run_of("a", 2), windows=((0, 100.0), (2000.0, 2250.0))), day(*run_of("a", 3), windows=short[1:])
    assert (of(fits, "a").chance, of(not_, "a").chance) == (1.0, 0.0)
    bound = day(*run_of("a", 3), windows_of={"a": 1})
    assert of(bound, "a").end_q50_s == AFTERNOON[0] + OUT + 3 * TIMED + IN
    assert of(bound, "a").last_release_s == pytest.approx(AFTERNOON[1] - OUT - 2 * TIMED, abs=2.1)


def test_a_run_whose_window_is_over_has_no_chance() -> None:
    """It is not moved into another window, and the others keep theirs."""
    found = day(*run_of("a", 1), *run_of("b", 1), windows_of={"a": -1})
    assert (of(found, "a").chance, of(found, "b").chance) == (0.0, 1.0)
    assert of(found, "a").last_release_s is None


def test_a_run_that_is_bound_to_the_morning_is_not_done_after_lunch() -> None:
    """Too late for its own window it does not fit, though the afternoon has all the time."""
    found = day(*run_of("a", 3, garage=600.0), *run_of("b", 3), windows_of={"b": 0})
    assert of(found, "b").chance == 0.0


def test_a_run_under_way_that_the_flag_cuts_goes_on_after_lunch() -> None:
    """Laps begun before the flag count; the next one follows in the afternoon, behind another out-lap."""
    laps = [lap("a", "timed", TIMED), lap("a", "timed", TIMED), lap("a", "timed", TIMED), lap("a", "in", IN)]
    found = day(*laps, t=850.0, on_track=True, windows=((0.0, 1000.0), AFTERNOON))
    # Begun at 850 and 940; the third is due at 1030, after the flag.
    out_again = of(found, "a").end_q50_s - AFTERNOON[0] - TIMED - IN
    assert 1.0 * TIMED < out_again < 1.5 * TIMED
    assert of(found, "a").chance == 1.0


def test_work_goes_on_through_lunch() -> None:
    """A car that came in shortly before the flag is ready at the green, not half an hour after it."""
    found = day(*run_of("a", 3, garage=900.0), *run_of("b", 1))
    assert of(found, "b").end_q50_s == AFTERNOON[0] + OUT + TIMED + IN


def test_spare_time_is_that_of_the_window_of_the_run() -> None:
    """Seconds in hand at the start of the decisive lap, to the flag of the afternoon."""
    found = day(*run_of("a", 3), windows_of={"a": 1})
    assert found.spare_q50_s == pytest.approx(AFTERNOON[1] - AFTERNOON[0] - OUT - 2 * TIMED)


def test_nothing_is_interrupted_at_lunch() -> None:
    """No red flag falls into the break or lasts through it; with a clock that stops, its window ends the later."""
    often = Interruptions(red_per_hour=20, red_length_s=(100, 300, 900), slow_per_hour=0)
    for red_clock in ("runs", "stops"):
        asked = ask(*run_of("a", 1), interruptions=often, red_clock=red_clock).snapshot
        calendar = draw_calendar(np.random.default_rng(1), asked.model_copy(update={"windows": (MORNING, AFTERNOON)}))
        starts, ends = calendar.red.starts, calendar.red.ends
        there = np.isfinite(starts) & (calendar.red.lengths > 1e-6)
        assert there.any()
        assert not (there & (starts >= MORNING[1]) & (starts < AFTERNOON[0] - 0.01)).any()
        assert not (there & (starts < MORNING[1]) & (ends > AFTERNOON[0])).any()
        later = (calendar.windows[0][1] > MORNING[1]).any()
        assert bool(later) == (red_clock == "stops")


def test_one_window_is_a_session_in_one_piece() -> None:
    """The same runs in one window of an hour and in a session of an hour: the same chances and ends, by the sums."""
    runs = (*run_of("a", 3), *run_of("b", 4))
    assert day(*runs, windows=((0.0, 3600.0),)).runs == forecast(ask(*runs, remaining=3600.0)).cars[0].runs
