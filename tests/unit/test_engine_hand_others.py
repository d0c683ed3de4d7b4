"""What a hand entered for one car, and the laps of another that went by it."""

from __future__ import annotations

from typing import Any

import pytest

from pitwall.model.outputs import LapJudged, Refused
from tests.unit.engine_stage import MAIN, SPARE, Stage, effect, plan, setup

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


# -- taking back after a command that was refused ----------------------------------------------------------------------


def shortened() -> Stage:
    """Ann shortens the run, then calls the car in, which stands in its garage: refused."""
    stage = Stage(setup(plan(LONG, SPARE))).green()
    stage.wait(20)
    effect(stage.command("shorten", by="ann", run="long"))
    stage.wait(40)
    assert isinstance(stage.command("box", by="ann"), Refused)
    return stage


def laps(stage: Stage) -> int:
    return stage.car.progress.runs[0].timed_wanted


def test_an_undo_after_a_refused_command_takes_nothing_older_back() -> None:
    """Who presses it means the box that was refused: nothing was done of it, and the shortened run stays as it is. The
    answer says so and names what a second press takes back; that one does."""
    stage = shortened()
    first = stage.command("undo", by="ann")
    assert isinstance(first, Refused)
    assert first.reason == ("nothing is taken back: box, given last by ann, did nothing; 'undo' once "
                            "more takes back what was entered before it: shorten, 0:20 ago")
    assert laps(stage) == 5
    assert effect(stage.command("undo", by="ann")).startswith("taken back: shorten")
    assert laps(stage) == 6


def test_what_was_refused_long_ago_or_to_another_hand_is_in_nobodys_way() -> None:
    """Bo never gave a box; and to name what is meant takes it back at once."""
    stage = shortened()
    effect(stage.command("quiet", by="bo"))
    assert effect(stage.command("undo", by="bo")).startswith("taken back: quiet")
    assert effect(stage.command("undo", by="ann", of="shorten")).startswith("taken back: shorten")


def test_after_another_command_that_was_taken_an_undo_means_that_one() -> None:
    """The refusal is history as soon as the same hand has something done."""
    stage = shortened()
    effect(stage.command("quiet", by="ann"))
    assert effect(stage.command("undo", by="ann")).startswith("taken back: quiet")
    assert effect(stage.command("undo", by="ann")).startswith("taken back: shorten")


def test_after_a_command_that_had_nothing_to_do_an_undo_means_that_one_too() -> None:
    """Called in on its in-lap a car is called in already: the fuel that was entered before stands."""
    stage = Stage(setup(plan(MAIN | {"laps": "out, 1 timed, in"}))).green()
    begin = stage.drive(200, 125)
    effect(stage.command("set_fuel", begin + 60, fuel_kg=20))
    assert "already" in effect(stage.command("box", begin + 98))
    undone = stage.command("undo", begin + 98.5)
    assert isinstance(undone, Refused)
    assert "box, given last by desk, did nothing" in undone.reason
    assert "fuel" in effect(stage.command("undo", begin + 99))
