"""Laps as the session follows them: what a slow period and a silence make of a lap that began at the line."""

from __future__ import annotations

from pitwall.model.outputs import LapJudged
from tests.unit.engine_stage import MAIN, Stage, plan, setup


def kinds_at_the_line(stage: Stage) -> list[str]:
    """Kinds of the laps that ended at the line, as published."""
    return [lap.kind for lap in stage.made(LapJudged) if lap.at == "line"]


def test_a_lap_that_began_slow_is_no_timed_lap() -> None:
    """The slow period ends before the first loop of the lap, and the lap is quick: it is not timed all the same, while
    the lap after it is."""
    stage = Stage(setup()).green()
    t = stage.drive(100, 120, 100)
    stage.status(t + 10, "slow")
    begun = t + 130
    for loop, share in (("1", 0.3), ("2", 0.7), ("line", 1.0)):
        stage.cross(t + 130 * share, loop)
    stage.status(begun + 9, "green")
    t = stage.lap(begun, 105)
    stage.lap(t, 100)
    assert kinds_at_the_line(stage) == ["out", "timed", "cool", "cool", "timed"]


def test_a_car_seen_again_on_its_lap_is_on_no_out_lap() -> None:
    """Unseen for longer than a car may be, then seen at a loop of a lap that began at the line: a cool-down lap is
    believed at once, and not an out-lap until the line."""
    stage = Stage(setup()).green()
    t = stage.drive(100, 120, 100)
    stage.wait(t + 200)
    assert stage.car.track.state == "stopped"
    stage.cross(t + 230, "1")
    assert [lap.kind for lap in stage.made(LapJudged)][-1] == "cool"
    assert stage.car.track.state == "cool"
    stage.cross(t + 270, "2")
    stage.cross(t + 300, "line")
    assert kinds_at_the_line(stage) == ["out", "timed", "cool"]


def test_a_cool_down_lap_that_began_at_the_pace_leaves_the_second_timed_lap_to_be_driven() -> None:
    """The driver is told to cool down as the lap begins and loses a tenth of it: the run still wants its second timed
    lap, and the car is not called in before it."""
    run = MAIN | {"laps": "out, 1 timed, cool, 1 timed, in"}
    stage = Stage(setup(plan(run))).green()
    t = stage.drive(100, 120, 100, 111)
    assert kinds_at_the_line(stage) == ["out", "timed", "cool"]
    current = stage.car.progress.current
    assert current is not None
    assert (current.timed_done, current.expected_kind) == (1, "timed")
    stage.lap(t, 100)
    assert (current.timed_done, current.expected_kind) == (2, "in")
