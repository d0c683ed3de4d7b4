"""A box command taken back: the calls that it ended come back, and a driver who heard it is told to stay out."""

from __future__ import annotations

import pytest

from pitwall.engine.calls import CALLED_IN
from tests.unit.engine_stage import MAIN, Stage, effect, plan, setup

COOL = MAIN | {"laps": "out, 1 timed, cool, 2 timed, in", "items": [{"do": "comment", "on": "in"}]}
ITEMS = [{"do": "flap_lap", "on": {"timed": 2}}, {"do": "comment", "on": "in"}]
FLAP = MAIN | {"laps": "out, 4 timed, in", "items": ITEMS}


def on_a_timed_lap(run: dict[str, object], **more: object) -> tuple[Stage, float]:
    """A car that has just begun its first timed lap; returns the stage and when."""
    stage = Stage(setup(plan(run, **more))).green()
    return stage, stage.drive(200, 125)


def open_calls(stage: Stage) -> set[str]:
    """What is still to be said, by its key."""
    return {call.spec.key for call in stage.car.book.calls.values() if call.open}


@pytest.mark.parametrize(("medium", "key", "t"), [
    ("two_way", "main-1-2-run-cool", 80), ("board", "main-1-2-run-cool", 72),
])  # fmt: skip
def test_calls_that_a_box_command_ended_come_back_with_it_taken_back(medium: str, key: str, t: float) -> None:
    """What the next lap needs was withdrawn, and says why; nobody missed it, and half a second later all stands."""
    stage, begin = on_a_timed_lap(COOL, medium=medium)
    stage.cross(begin + 30, "1")
    stage.cross(begin + 70, "2")
    stage.wait(begin + t)
    before = open_calls(stage)
    assert key in before
    assert effect(stage.command("box", begin + t)).startswith("main: ")
    ended = [call for call in stage.car.book.calls.values()
             if call.spec.key in before and not call.open and call.spec.kind not in ("question", "box")]
    assert {(call.state, call.reason) for call in ended} == {("withdrawn", CALLED_IN)}
    assert key in {call.spec.key for call in ended}
    stage.command("undo", begin + t + 0.5)
    assert open_calls(stage) == before


def test_an_item_keeps_its_lap_through_a_box_command_taken_back() -> None:
    """Its call was withdrawn with the lap; the lap is driven after all, and its item with it."""
    stage, begin = on_a_timed_lap(FLAP)
    stage.wait(begin + 85)
    stage.command("box", begin + 85)
    stage.command("undo", begin + 88)
    stage.wait(begin + 95)
    run = stage.car.progress.current
    assert run is not None
    assert [(item.leg, item.state) for item in run.items if item.item.do == "flap_lap"] == [(2, "planned")]


def boxed_and_taken_back(*, key: str | None, late_key: bool = False) -> tuple[Stage, str, float]:
    """Called in on the first of four timed laps and let go six seconds later; returns the stage, what the undo was told
    and when. ``key``: what was pressed in between, or, with ``late_key``, a moment after."""
    stage, begin = on_a_timed_lap(FLAP)
    stage.cross(begin + 30, "1")
    stage.command("box", begin + 40)
    stage.wait(begin + 43)
    assert stage.call("main-box-1-0").state == "due"
    if key and not late_key:
        stage.command(key, begin + 44, call="41-main-box-1-0")
    told = effect(stage.command("undo", begin + 46, by="desk"))
    if key and late_key:
        stage.command(key, begin + 47, call="41-main-box-1-0")
    return stage, told, begin


@pytest.mark.parametrize(("key", "late_key"), [("said", False), ("confirm", False), ("said", True), (None, False)])
def test_a_driver_who_heard_box_is_told_to_stay_out(key: str | None, late_key: bool) -> None:
    """At once, and the answer says so: nobody knows that it was not said, where it stood there for seconds."""
    stage, told, _ = boxed_and_taken_back(key=key, late_key=late_key)
    assert told == ("taken back: box; car 41 is as before; 'Box this lap' may be on the air: "
                    "tell the driver to stay out")
    call = stage.call("main-stay-out-1-1")
    assert (call.state, call.spec.ask.action, call.spec.text) == ("due", "stay_out", "Stay out, stay out.")
    assert call.spec.kind == "box"
    assert stage.car.book.due_first() is call


def test_nobody_is_told_to_stay_out_who_was_never_called_in() -> None:
    """Taken back at once: no word can have been said."""
    stage, begin = on_a_timed_lap(FLAP)
    stage.command("box", begin + 40)
    assert effect(stage.command("undo", begin + 40.5)) == "taken back: box; car 41 is as before"
    stage.wait(begin + 60)
    assert not stage.has_call("stay-out")


def told_to_stay_out() -> tuple[Stage, float]:
    """Called in, let go, told so, and over the line; returns the stage and when the lap before began."""
    stage, _, begin = boxed_and_taken_back(key="said")
    stage.command("said", begin + 48, call="41-main-stay-out-1-1")
    stage.cross(begin + 70, "2")
    stage.cross(begin + 100)
    return stage, begin


def test_stay_out_is_said_once() -> None:
    """Said, it is over; and on the next lap nobody comes back to it."""
    stage, begin = told_to_stay_out()
    stage.wait(begin + 190)
    assert [call.id for call in stage.car.book.calls.values() if "stay-out" in call.id] == ["41-main-stay-out-1-1"]


def test_too_late_for_the_entry_the_answer_says_that_he_may_come_in() -> None:
    """Said in the pit entry it would only confuse."""
    stage, begin = on_a_timed_lap(FLAP)
    stage.cross(begin + 30, "1")
    stage.cross(begin + 70, "2")
    stage.command("box", begin + 75)
    stage.command("said", begin + 80, call="41-main-box-1-0")
    told = effect(stage.command("undo", begin + 92))
    assert told.endswith("'Box, box' may be on the air: he may come in, and it is too late to tell him to stay out")
    assert not stage.has_call("stay-out")


def test_called_in_once_more_the_driver_is_told_once_more() -> None:
    """What was said of a lap that was no in-lap is no call for the one that is."""
    stage, begin = told_to_stay_out()
    t = stage.lap(stage.lap(stage.lap(begin + 100, 100), 100), 100)
    stage.wait(t + 2)
    assert stage.car.track.lap_kind == "in"
    call = stage.call("main-box-1-0")
    assert (call.id, call.state) == ("41-main-box-1-0~2", "due")
    stage.home(t)
    comment = [one for one in stage.prompts("comment") if one.state == "due"]
    assert comment, "the in-lap's question was not asked for the lap that never was"


def test_a_lap_more_lets_a_driver_who_was_called_in_go_on() -> None:
    """Whatever changed the plan: he heard box, and the lap is no in-lap any more."""
    stage = Stage(setup(plan(MAIN))).green()
    begin = stage.drive(200, 125, 100, 100)
    stage.wait(begin + 2)
    stage.command("said", begin + 3, call="41-main-box-1-0")
    told = effect(stage.command("extend", begin + 20))
    assert told == ("run main: now 3 timed laps; 'Box this lap' may be on the air: tell the driver to stay out")
    assert stage.call("stay-out").state == "due"
    begin = stage.lap(begin, 100)
    stage.wait(begin + 2)
    assert stage.call("main-box-1-0").id.endswith("~2")


def test_who_was_called_in_twice_of_one_leaving_is_told_to_stay_out_twice() -> None:
    """What was said of a lap long driven is no word on this one."""
    stage, begin = told_to_stay_out()
    t = stage.lap(begin + 100, 100)
    stage.cross(t + 30, "1")
    stage.command("box", t + 40)
    stage.wait(t + 43)
    stage.command("said", t + 44, call="41-main-box-1-0~2")
    assert effect(stage.command("undo", t + 46, by="desk")).endswith("tell the driver to stay out")
    call = stage.call("main-stay-out-1-1")
    assert (call.id, call.state, call.spec.lap_number) == ("41-main-stay-out-1-1~2", "due", stage.car.track.lap_number)
    stage.command("said", t + 47, call=call.id)
    stage.command("box", t + 48)
    stage.command("undo", t + 48.5, by="desk")
    assert [one.id for one in stage.car.book.calls.values() if "stay-out" in one.id][-1] == call.id


@pytest.mark.parametrize("extended", [97, 120])
def test_a_driver_who_was_called_in_just_before_his_in_lap_goes_on_as_well(extended: float) -> None:
    """The call waits for its lap, and somebody says it a moment before the line: the driver has it in his ear. A lap
    more then says so, and on the lap that is the in-lap after all he is called in once more."""
    stage = Stage(setup(plan(MAIN))).green()
    begin = stage.drive(200, 125, 100)
    stage.cross(begin + 30, "1")
    stage.cross(begin + 70, "2")
    stage.command("said", begin + 96, call="41-main-box-1-0")
    if extended < 100:
        stage.command("extend", begin + extended)
    assert not stage.has_call("stay-out")
    stage.cross(begin + 100)
    if extended > 100:
        assert effect(stage.command("extend", begin + extended)).endswith("tell the driver to stay out")
    stage.wait(max(begin + 100, begin + extended) + 1)
    assert stage.call("main-stay-out-1-1").state == "due"
    t = stage.lap(begin + 100, 100)
    stage.wait(t + 2)
    assert stage.car.track.lap_kind == "in"
    call = stage.call("main-box-1-0")
    assert (call.id, call.state) == ("41-main-box-1-0~2", "due")


def test_a_box_board_is_taken_in_before_the_car_passes() -> None:
    """No board is read between two passes: the answer says what can be done, and no call asks for more."""
    stage = Stage(setup(plan(FLAP, medium="board"))).green()
    begin = stage.drive(200, 125)
    stage.cross(begin + 30, "1")
    stage.command("box", begin + 40)
    stage.wait(begin + 60)
    box = next(call for call in stage.car.book.calls.values() if call.open and call.spec.ask.action == "box")
    stage.command("said", begin + 80, call=box.id)
    told = effect(stage.command("undo", begin + 85))
    assert told == "taken back: box; car 41 is as before; the box board hangs: take it in before the car passes"
    assert not stage.has_call("stay-out")


@pytest.mark.parametrize(("undone", "told"), [(50.0, True), (40.5, False)])
def test_a_red_flag_taken_back_that_may_be_on_the_air_is_followed_by_what_holds(undone: float, told: bool) -> None:
    """It stood there for seconds, and its key may come later: the driver is told that the track is green. Taken back at
    once nobody can have said it."""
    stage, begin = on_a_timed_lap(FLAP)
    stage.cross(begin + 30, "1")
    stage.command("status", begin + 40, status="red")
    stage.wait(begin + min(undone, 46.0))
    stage.command("undo", begin + undone)
    stage.wait(begin + undone + 1)
    green = [call for call in stage.car.book.calls.values() if call.spec.key.startswith("session-")
             and call.spec.ask.action == "resume"]
    assert [call.state for call in green] == (["due"] if told else [])
