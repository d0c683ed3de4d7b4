"""What a hand entered for one car, and the laps of another that went by it."""

from __future__ import annotations

from typing import Any

import pytest

from pitwall.model.outputs import LapJudged
from tests.unit.engine_stage import SPARE, Stage, effect, plan, setup

LONG: dict[str, Any] = {"run": "long", "want": "must", "laps": "out, 6 timed, in", "fuel_kg": 20}


def two_cars() -> Stage:
    """Two cars on their out-laps and two timed laps of 100 s each, the second a minute behind the first."""
    stage = Stage(setup(plan(LONG, SPARE), plan(LONG, SPARE, car="58"))).green().leave(100).leave(160, "58")
    for t, car in ((225, "41"), (285, "58"), (325, "41"), (385, "58"), (425, "41"), (485, "58")):
        stage.cross(t, car=car)
    return stage


@pytest.mark.parametrize("slip_s", [505.0, 509.0])
def test_a_slip_that_is_taken_back_judges_no_lap_of_another_car(slip_s: float) -> None:
    """A line that was pressed by mistake makes a lap much too quick, and a lap of the other car as usual is then no
    timed one; once it is undone that lap is timed again, and said to be."""
    stage = two_cars()
    effect(stage.command("cross", slip_s))
    stage.cross(585, car="58")
    other = stage.session.team["58"]
    assert [lap.kind for lap in other.track.laps] == ["out", "timed", "timed", "cool"]
    effect(stage.command("undo", 600.0))
    assert [lap.kind for lap in other.track.laps] == ["out", "timed", "timed", "timed"]
    assert other.progress.current is not None
    assert other.progress.current.timed_done == 3
    last = [one for one in stage.made(LapJudged) if one.car == "58"][-1]
    assert (last.kind, last.lap_time_s) == ("timed", 100.0)


def test_a_usual_line_that_is_taken_back_leaves_the_others_alone() -> None:
    """Its lap made nobody's lap slow, so nothing is thought over and nothing said of the other car."""
    stage = two_cars()
    effect(stage.command("cross", 527.0))
    stage.cross(585, car="58")
    before = list(stage.made(LapJudged))
    effect(stage.command("undo", 600.0))
    assert [one for one in stage.made(LapJudged)[len(before) :] if one.car == "58"] == []
    assert [lap.kind for lap in stage.session.team["58"].track.laps] == ["out", "timed", "timed", "timed"]
