"""A flag that was entered by hand and taken back: what it did to the laps of cars that are not ours is undone, too."""

from __future__ import annotations

import pytest

from pitwall.model.outputs import LapJudged
from tests.unit.engine_stage import Stage, effect, plan, setup


def driven(*laps: float) -> Stage:
    """Our car and another one on track, the other ten seconds behind, each with so many laps."""
    stage = Stage(setup(plan())).green()
    for car, t in (("41", 100.0), ("7", 110.0)):
        stage.pit(t, "exit", car)
    for number in range(len(laps) + 1):
        for car, t in (("41", 225.0), ("7", 235.0)):
            stage.cross(t + sum(laps[:number]), car=car)
    return stage


def laps_of(stage: Stage, car: str) -> list[tuple[str, bool, tuple[str, ...]]]:
    """Kind, whether a flag touched it, and where, of each lap and the running one."""
    track = stage.session.field.tracks[car]
    assert track.lap is not None
    return [(lap.kind, lap.disturbed, lap.slow_at) for lap in (*track.laps, track.lap)]


@pytest.mark.parametrize("status", ["red", "slow"])
def test_a_wrong_flag_that_is_taken_back_leaves_no_lap_of_another_car_flagged(status: str) -> None:
    """One lap ended under it and the next began there: both are timed again, and the field is as quick as it is."""
    stage = driven(100, 100)
    stage.wait(500)
    effect(stage.command("status", status=status))
    for t, car in ((525, "41"), (534, "7")):
        stage.cross(t, car=car)
    assert laps_of(stage, "7")[-2:] == [("cool", True, ()), ("timed", True, ("line",))]
    before = len(stage.made(LapJudged))
    effect(stage.command("undo", 560.0))
    assert laps_of(stage, "7")[-2:] == [("timed", False, ()), ("timed", False, ())]
    assert laps_of(stage, "7") == laps_of(stage, "41")
    told = [(one.car, one.kind) for one in stage.made(LapJudged)[before:]]
    assert ("7", "timed") in told
    assert stage.session.field.pace.best(560) == pytest.approx(99)
    stage.cross(633, car="7")
    assert laps_of(stage, "7")[-2] == ("timed", False, ())


def test_a_flag_that_really_flew_keeps_its_laps() -> None:
    """Red by the feed, and a second one by hand much later that is taken back: the first lap stays one under red."""
    stage = driven(100, 100)
    stage.status(440, "red")
    stage.status(480, "green")
    for t, car in ((550, "41"), (560, "7")):
        stage.cross(t, car=car)
    stage.wait(600)
    effect(stage.command("status", status="red"))
    for t, car in ((650, "41"), (660, "7")):
        stage.cross(t, car=car)
    effect(stage.command("undo", 670.0))
    assert [(kind, flagged) for kind, flagged, _ in laps_of(stage, "7")[-3:]] == [
        ("cool", True), ("timed", False), ("timed", False)]


def test_a_yellow_that_is_taken_back_excuses_no_lap() -> None:
    """Of a lap that lost time there nobody says any more that a yellow did it; one that flew before still does."""
    stage = driven(100, 100)
    yellows = stage.session.field.yellows
    stage.status(430, "yellow", scope=("2",))
    stage.cross(525)
    stage.status(530, "green", scope=("2",))
    stage.cross(535, car="7")
    stage.wait(600)
    effect(stage.command("status", status="yellow"))
    stage.cross(625)
    stage.cross(635, car="7")
    assert yellows.touched(610, 630)
    effect(stage.command("undo", 640.0))
    assert not yellows.touched(600, 640)
    assert yellows.touched(500, 528)
