"""The last timed lap of a run is driven in place of the cool-down lap before it: no call for it, and what is told."""

from __future__ import annotations

from typing import Any

import pytest

from pitwall.engine.cool_lap_spent import EXTEND
from pitwall.model.outputs import Alert
from tests.unit.engine_stage import MAIN, Stage, effect, plan, setup
from tests.unit.test_engine_switch_watch import alerts, call_id

STEP = {"do": "bias_step", "on": {"timed": 2}, "with": {"switch": "brake_bias", "by": -2.0}}
LAST = MAIN | {"laps": "out, 1 timed, cool, 1 timed, in", "items": [STEP]}


def at_the_pace(
    run: dict[str, Any] | None = None, until: str = "1", said_s: float | None = 27, **more: Any
) -> tuple[Stage, float]:
    """The cool-down lap before the last timed lap is driven at the pace, up to this loop; returns when it began.
    ``said_s``: so long after the line the driver was told that it is one, three seconds before the first loop where
    nothing else is said; None: nobody says when."""
    stage = Stage(setup(plan(run or LAST), **more)).green()
    t = stage.drive(200, 125, 100)
    if said_s is not None:
        stage.wait(t + said_s)
        (call,) = [one for one in stage.car.book.asking("lap_kind") if one.spec.ask.lap_kind == "cool"]
        stage.command("said", call=call.id)
    for loop, seconds in (("1", 30), ("2", 70))[: 1 if until == "1" else 2]:
        stage.cross(t + seconds, loop)
    return stage, t


def told_since(stage: Stage, since: float) -> list[str]:
    """Calls of switches and of procedures that were due since then, in short, each thing of a call by itself."""
    return [part for one in stage.prompts(state="due") if one.t > since and one.kind in ("switch", "procedure")
            for part in one.short.split(", ")]


def not_as_told(stage: Stage) -> list[Alert]:
    """What was told of lost items."""
    return [one for one in stage.made(Alert) if one.kind == "not_as_told"]


def test_nothing_is_called_for_a_lap_that_is_spent() -> None:
    """Before the first loop the change and the words of the comparison lap are to come. Quick past its
    half the lap is the last timed one of the run: no switch is moved on it for a lap that nobody drives."""
    stage = Stage(setup(plan(LAST))).green()
    t = stage.drive(200, 125, 100)
    stage.wait(t + 5)
    assert any(call.spec.ask.positions.get("brake_bias") == 53 for call in stage.car.book.asking("set_switch"))
    stage.cross(t + 30, "1")
    stage.cross(t + 70, "2")
    stage.wait(t + 99)
    assert told_since(stage, t + 70) == []
    assert [leg.kind for leg in stage.car.legs] == ["timed", "in"]


def test_who_was_told_in_time_and_drives_on_is_known_at_the_first_loop() -> None:
    """The driver heard it three seconds into the lap, and is quick a quarter of a minute later: he drives on.
    The lap is spent, and nothing more is called for the timed lap that does not come; what is lost is told at once."""
    stage, t = at_the_pace(said_s=3)
    stage.wait(t + 65)
    assert told_since(stage, t + 30) == []
    assert [leg.kind for leg in stage.car.legs] == ["timed", "in"]
    assert [one.active for one in not_as_told(stage)] == [True]


def test_where_nobody_tells_the_driver_any_more_it_is_known_at_the_first_loop() -> None:
    """The call for the cool-down lap lapsed without a key: said at its last moment it would show by now."""
    stage, t = at_the_pace(said_s=None)
    stage.wait(t + 65)
    assert told_since(stage, t + 30) == []
    assert [one.active for one in not_as_told(stage)] == [True]


def test_who_slows_down_after_all_is_told_everything_for_the_lap_that_comes() -> None:
    """He heard late that it is a cool-down lap: with a quick first sector alone nothing is given up yet."""
    stage, t = at_the_pace()
    stage.wait(t + 60)
    stage.cross(t + 105, "2")
    stage.wait(t + 145)
    assert {"Comparison", "bias four down"} <= set(told_since(stage, t + 30))
    assert not_as_told(stage) == []


def test_a_quick_cool_down_lap_is_none_that_is_driven_on() -> None:
    """Told in time, the driver loses eight per cent from the first corner on: that is a cool-down lap at the line, and
    the switches of the timed lap behind it are called for."""
    stage = Stage(setup(plan(LAST))).green()
    t = stage.drive(200, 125, 100)
    stage.wait(t + 3)
    (call,) = [one for one in stage.car.book.asking("lap_kind") if one.spec.ask.lap_kind == "cool"]
    stage.command("said", call=call.id)
    stage.cross(t + 32.4, "1")
    stage.wait(t + 40)
    assert [leg.kind for leg in stage.car.legs][1:] == ["timed", "in"]
    stage.cross(t + 75.6, "2")
    stage.wait(t + 107)
    assert {"Comparison", "bias four down"} <= set(told_since(stage, t + 30))
    assert not_as_told(stage) == []
    stage.cross(t + 108)
    run = stage.car.progress.current
    assert run is not None
    assert (run.expected_kind, run.timed_done) == ("timed", 1)


def test_what_is_lost_with_it_is_told_while_one_more_lap_can_be_had() -> None:
    """Halfway round, when a driver would have slowed down, the desk hears what has no lap left, and what would do. At
    the line it is over: the run has its end, and the item its reason."""
    stage, t = at_the_pace()
    stage.wait(t + 45)
    assert not_as_told(stage) == []
    stage.cross(t + 70, "2")
    stage.wait(t + 76)
    (told,) = not_as_told(stage)
    assert told.text == ("Car 41: bias step of main has no lap left: the cool-down lap before it is driven as a timed "
                         "lap. One more timed lap would do: extend by one, and it is told for that")
    assert (told.active, told.help) == (True, EXTEND)
    stage.cross(t + 100)
    stage.wait(t + 106)
    assert [one.active for one in not_as_told(stage)] == [True, False]


def test_with_one_more_timed_lap_the_change_is_called_on_this_lap_for_the_next() -> None:
    """The desk extends: the alert is over, the change and the words come before the line, and the item is done on the
    lap that begins there."""
    stage, t = at_the_pace(until="2")
    stage.wait(t + 76)
    assert "3 timed laps" in effect(stage.command("extend"))
    stage.wait(t + 82)
    assert [one.active for one in not_as_told(stage)] == [True, False]
    stage.wait(t + 98)
    assert {"Comparison", "bias four down"} <= set(told_since(stage, t + 76))
    stage.cross(t + 100)
    run = stage.car.progress.current
    assert run is not None
    assert (run.expected_kind, run.items[0].leg, run.items[0].state) == ("timed", run.pointer, "called")


def test_where_the_flag_falls_before_another_lap_that_is_said() -> None:
    """The official clock takes the time for it away: nobody is sent to a lap that cannot begin."""
    stage, t = at_the_pace()
    stage.clock(t + 60, 25)
    stage.cross(t + 70, "2")
    stage.wait(t + 77)
    (told,) = not_as_told(stage)
    assert told.text.endswith("driven as a timed lap, and the flag falls before another")


@pytest.mark.parametrize("run", [
    LAST | {"want": "should", "items": [STEP | {"want": "could"}]},
    LAST | {"items": []},
    LAST | {"laps": "out, 1 timed, cool, 2 timed, in"},
])
def test_nothing_is_told_where_nothing_is_lost_or_a_timed_lap_follows(run: dict[str, Any]) -> None:
    """An item that is no must, none at all, or a timed lap behind it on which what is told now is done."""
    stage, t = at_the_pace(run, until="2")
    stage.wait(t + 99)
    assert not_as_told(stage) == []


def test_where_another_timed_lap_follows_the_change_is_called_for_it() -> None:
    """As before: what is told on this lap is done on the one that begins at its end."""
    stage, t = at_the_pace(LAST | {"laps": "out, 1 timed, cool, 2 timed, in"}, until="2")
    stage.wait(t + 99)
    assert {"Comparison", "bias four down"} <= set(told_since(stage, t + 30))


def test_a_switch_that_is_right_for_any_timed_lap_is_not_wrong_for_what_was_never_told() -> None:
    """The bias stands as every timed lap of the run has it; that the lap spent was to have it two lower is no reason to
    send the driver to the dial in the middle of it."""
    stage, t = at_the_pace(LAST | {"laps": "out, 1 timed, cool, 2 timed, in"})
    stage.command("skip", call=call_id(stage, 53, "brake_bias"))
    stage.switch(t + 40, "brake_bias", 55.5)
    stage.cross(t + 70, "2")
    stage.wait(t + 98)
    assert alerts(stage, "switch_wrong") == []
