"""A timed lap that is driven where the plan has the in-lap or a cool-down lap: its switches, and its items."""

from __future__ import annotations

from typing import Any

import pytest

from pitwall.engine.offered_again import FEW_KEYS
from tests.unit.engine_stage import MAIN, SWITCHES, Stage, car_file, plan, setup
from tests.unit.test_engine_switch_watch import alerts, call_id

IN_AT_ONE = [SWITCHES[0] | {"defaults": [{"position": 1, "lap": "in"}]}, *SWITCHES[1:]]
FLAP_LAST = MAIN | {"items": [{"do": "flap_lap", "on": {"timed": 2}}]}
STEPS = MAIN | {"laps": "out, 1 timed, cool, 2 timed, in",
                "items": [{"do": "bias_step", "on": {"timed": 2}, "with": {"switch": "brake_bias", "by": -2.0}}]}


def on_the_in_lap(run: dict[str, Any] | None = None, **car: Any) -> tuple[Stage, float]:
    """Both timed laps are done, and the in-lap has begun; returns when."""
    stage = Stage(setup(plan(run or MAIN), cars={"41": car_file(**car)})).green()
    return stage, stage.drive(200, 125, 100, 100)


def test_a_car_that_stays_out_at_the_pace_needs_its_switches_from_the_line() -> None:
    """It was set for the in-lap as told, and nobody told the driver to come in: with the line instead of the pit entry
    it is a timed lap, and the alert says what that needs. As soon as he is told to box it is an in-lap again."""
    stage, t = on_the_in_lap(switches=IN_AT_ONE)
    stage.cross(t + 30, "1")
    stage.switch(t + 40, "torque_map", 1)
    stage.cross(t + 70, "2")
    assert alerts(stage, "switch_wrong") == []
    stage.cross(t + 100)
    assert alerts(stage, "switch_wrong") == [("torque_map", t + 100, True)]
    (told,) = [one for one in stage.session.alerts.active.values() if one.kind == "switch_wrong"]
    assert told.text == "torque stands at 1, this lap is driven as a timed one, which needs 2"
    stage.wait(t + 110)
    stage.command("said", call=stage.call("box-1-1").id)
    stage.wait(t + 120)
    assert [on for _, _, on in alerts(stage, "switch_wrong")] == [True, False]


@pytest.mark.parametrize("pace_s", [100, 130])
def test_a_driver_who_was_told_to_box_and_missed_the_entry_is_judged_by_his_pace(pace_s: int) -> None:
    """At the line nobody knows what he does next. At the first loop it shows: at the pace it is a timed lap."""
    stage, t = on_the_in_lap(switches=IN_AT_ONE)
    stage.switch(t + 20, "torque_map", 1)
    stage.cross(t + 30, "1")
    stage.command("said", call=stage.call("box-1-0").id)
    stage.cross(t + 70, "2")
    stage.cross(t + 100)
    stage.wait(t + 115)
    assert alerts(stage, "switch_wrong") == []
    loop = t + 100 + 0.3 * pace_s
    stage.cross(loop, "1")
    assert alerts(stage, "switch_wrong") == ([("torque_map", loop, True)] if pace_s == 100 else [])


@pytest.mark.parametrize("told", ["nothing", "the box call", "the flap", "no key"])
def test_on_the_in_lap_only_what_nobody_wants_so_and_nobody_calls_is_told(told: str) -> None:
    """The flap is open from the last timed lap, the call to close it was not made, and the in-lap is driven at the
    pace: that lap needs it closed. Not so once he was told to box, and not while that call may still come. Of an
    engineer who presses no keys nobody knows what he told: the box call was due."""
    stage = Stage(setup(plan(FLAP_LAST))).green()
    stage.car.book.keys = 0 if told == "no key" else FEW_KEYS
    t = stage.drive(200, 125, 100)
    stage.switch(t - 5, "flap", "open")
    t = stage.lap(t, 100)
    stage.wait(t + 26)
    if told == "the box call":
        stage.command("said", call=stage.call("box-1-0").id)
    if told == "the flap":
        stage.command("said", call=call_id(stage, "closed"))
    stage.cross(t + 30, "1")
    assert alerts(stage, "switch_wrong") == []
    if told != "the flap":
        stage.wait(t + 60)
        found = alerts(stage, "switch_wrong")
        assert [(name, up) for name, _, up in found] == ([("flap", True)] if told == "nothing" else [])
        assert all(t + 50 < since < t + 53 for _, since, _ in found)  # as the call to close it comes no more


@pytest.mark.parametrize("shown", [True, False])
def test_who_is_shown_the_board_comes_in(shown: bool) -> None:
    """A box board hangs before the line of the lap on which it is acted: its in-lap, quick as it begins, is no timed
    one, and the flap that is still open there is told nobody. Without a board it is."""
    stage = Stage(setup(plan(FLAP_LAST, medium="board"))).green()
    stage.car.book.keys = FEW_KEYS
    t = stage.drive(200, 125, 100)
    stage.switch(t - 5, "flap", "open")
    stage.cross(t + 30, "1")
    stage.cross(t + 70, "2")
    stage.wait(t + 79)
    if shown:
        stage.command("said", call=stage.call("box-1-0-again").id)
    stage.cross(t + 100)
    stage.cross(t + 130, "1")
    stage.wait(t + 160)
    assert bool(alerts(stage, "switch_wrong")) is not shown


def test_an_in_lap_that_goes_in_is_quiet() -> None:
    """Set for the in-lap, quick up to the second loop, into the pits: nobody was wrong."""
    stage, t = on_the_in_lap(switches=IN_AT_ONE)
    stage.switch(t + 20, "torque_map", 1)
    stage.cross(t + 30, "1")
    stage.cross(t + 70, "2")
    stage.pit(t + 95, "entry")
    stage.wait(t + 130)
    assert alerts(stage, "switch_wrong") == alerts(stage, "switch_unverified") == []


def test_a_lap_spoilt_by_a_red_flag_is_no_timed_lap() -> None:
    """The car stays out at the pace, and the red flag falls: nobody needs a switch anywhere."""
    stage, t = on_the_in_lap(switches=IN_AT_ONE)
    stage.switch(t + 20, "torque_map", 1)
    t = stage.lap(t, 100)
    assert len(alerts(stage, "switch_wrong")) == 1
    stage.status(t + 10, "red")
    stage.wait(t + 20)
    assert [on for _, _, on in alerts(stage, "switch_wrong")] == [True, False]


def with_the_cool_down_lap_driven_timed() -> tuple[Stage, float]:
    """Told of the step for the next lap on a cool-down lap that turns out to be a timed one; returns when it ended."""
    stage = Stage(setup(plan(STEPS))).green()
    t = stage.drive(200, 125, 100)
    stage.cross(t + 30, "1")
    stage.wait(t + 45)
    stage.cross(t + 70, "2")
    stage.command("confirm", call=call_id(stage, 53, "brake_bias"))
    stage.switch(t + 80, "brake_bias", 53)
    stage.cross(t + 100)
    return stage, t + 100


def test_what_was_told_for_the_lap_after_a_skipped_cool_down_lap_is_done_on_it() -> None:
    """The lap in place of the cool-down lap counts as the one whose item was told for its end: the item is done on the
    lap that begins there, its switch stands right, and it is put back after it."""
    stage, t = with_the_cool_down_lap_driven_timed()
    run = stage.car.progress.current
    assert run is not None
    (item,) = run.items
    assert (run.timed_done, run.pointer, item.leg, item.state) == (2, 4, 4, "called")
    stage.cross(t + 30, "1")
    assert alerts(stage, "switch_wrong") == []
    stage.cross(t + 70, "2")
    stage.cross(t + 100)
    assert item.state == "probably_done"
    assert stage.call("5-switch-0").spec.asked == {"brake_bias": 55}


def test_where_no_lap_is_left_for_it_the_item_is_not_done() -> None:
    """The last timed lap was driven in place of the cool-down lap before it: the item that it was to have had no lap
    of its own."""
    stage = Stage(setup(plan(STEPS | {"laps": "out, 1 timed, cool, 1 timed, in"}))).green()
    stage.drive(200, 125, 100, 100)
    run = stage.car.progress.current
    assert run is not None
    assert (run.pointer, run.items[0].state) == (4, "not_done")
    assert run.items[0].reason == "its timed lap was driven in place of the cool-down lap, before it was told"
