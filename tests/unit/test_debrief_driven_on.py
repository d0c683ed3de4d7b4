"""On which tyres and with how much fuel a run was driven, where that is not what its plan says."""

from __future__ import annotations

from pathlib import Path

import pytest

from pitwall.app.debriefing import debrief
from pitwall.app.next_plan import next_plan
from pitwall.debrief.contents_car import car_chapter
from pitwall.debrief.model import Debrief
from tests.unit.engine_stage import PIT_EXIT, plan, setup
from tests.unit.kept_stage import Kept
from tests.unit.test_app_next_plan import BOTH
from tests.unit.test_engine_stayed_out import HOLDS, LONG, SETS, stopped_after_one

FILLED = {"fuel_kg": 15 - 2.0 * (3 + 1 - PIT_EXIT)}
"""What is left of 15 kg after an out-lap and three timed laps."""


def stayed_out() -> Kept:
    """Left for the short run on B1, stayed out, and was taken for the long one, which wants B2 and 26 kg."""
    made = Kept(setup(plan(HOLDS, LONG, tyre_sets=SETS), regulations=BOTH)).green()
    made.home(made.drive(200, 125, *[100.0] * 8))
    return made.close()


def made_of(stage: Kept) -> Debrief:
    """The debrief of it."""
    return debrief(stage.facts, "x")


def test_a_run_has_the_tyres_and_the_fuel_of_its_laps() -> None:
    """Nobody changes tyres or fills a car on the track: run and laps say the same, and the plan's stand beside it."""
    (car,) = made_of(stayed_out()).cars
    runs = {run.run: run for run in car.runs}
    for run in runs.values():
        first = next(lap for lap in car.laps if lap.run == run.run)
        assert (run.tyres, run.fuel_kg) == (first.tyres, first.fuel_kg)
        assert {lap.tyres for lap in car.laps if lap.run == run.run} == {"B1"}
    assert (runs["long"].tyres, runs["long"].fuel_kg) == ("B1", pytest.approx(FILLED["fuel_kg"]))
    assert (runs["long"].planned_tyres, runs["long"].planned_fuel_kg) == ("B2", 26)
    assert (runs["holds"].planned_tyres, runs["holds"].planned_fuel_kg) == ("B1", 15)


def test_the_page_tells_both() -> None:
    """In the table of runs: what it was driven on, and what was planned; where they agree, only once."""
    made = made_of(stayed_out())
    text = str(car_chapter(made.cars[0], made.session))
    assert "B1\\n7 kg\\nplanned: B2, 26 kg" in text
    assert "B1\\n15 kg'" in text


def test_a_run_that_was_not_driven_has_those_of_its_plan() -> None:
    """Nothing is known but the plan."""
    made = Kept(setup(plan(HOLDS, LONG, tyre_sets=SETS), regulations=BOTH)).green()
    made.status(3600, "closed")
    runs = {run.run: (run.tyres, run.fuel_kg) for run in made_of(made).cars[0].runs}
    assert runs == {"holds": ("B1", 15), "long": ("B2", 26)}


def test_the_next_plan_asks_whether_such_a_run_counts(tmp_path: Path) -> None:
    """Eight laps on another set and with less in the tank: only the engineer knows what they are worth."""
    asked = next_plan(stayed_out().journal(tmp_path)).decide
    assert "long: it was driven on B1 with 7 kg, planned were B2 and 26 kg; is that worth what it was for" in asked
    assert not any(one.startswith("holds: it was driven") for one in asked)


def test_laps_of_a_run_that_was_left_for_once_more_count_on() -> None:
    """One timed lap, a red flag, and out again: no two laps of a run have the same number in it."""
    made = Kept(setup(plan(HOLDS, LONG, tyre_sets=SETS), regulations=BOTH)).green()
    t = stopped_after_one(made)
    made.home(made.drive(t + 200, 125, 100, 100))
    made.status(3600, "closed")
    (car,) = made_of(made).cars
    assert [(lap.kind, lap.lap_of_run) for lap in car.laps] == [
        ("out", 1), ("timed", 2), ("in", 3), ("out", 4), ("timed", 5), ("timed", 6), ("in", 7)]
