"""Switch calls that follow what stands and what was answered: on the running lap, and in the check list."""

from __future__ import annotations

from typing import Any

import pytest

from pitwall.engine.call import Call
from pitwall.engine.calls import SETTLED
from pitwall.engine.rules.release import GROUP
from pitwall.engine.run_state import ItemState, RunState
from pitwall.engine.switches import ANSWERS_ENTERED
from pitwall.model.car import Car
from pitwall.model.outputs import Alert
from tests.unit.engine_stage import MAIN, SWITCHES, Stage, car_file, plan, setup

FLAP = {"do": "flap_lap", "on": {"timed": 2}}
MANY = [{"switch": f"s{number}", "kind": "toggle", "word": f"switch {number}", "positions": ["off", "on"],
         "default": "off"} for number in range(6)]  # fmt: skip


def measured(name: str) -> Car:
    """The car of these tests with telemetry for one more switch."""
    return car_file(switches=[one | {"measured": True} if one["switch"] == name else one for one in SWITCHES])


def asking(stage: Stage, switch: str, position: Any, part: str = "") -> list[Call]:
    """Calls that ask for this position, in the order in which they were made."""
    return [call for name, call in stage.car.book.calls.items() if part in name
            and {**call.spec.ask.positions, call.spec.ask.switch: call.spec.ask.position}.get(switch) == position]


@pytest.mark.parametrize(("lap", "on_it"), [(1, True), (2, False)])
def test_on_a_timed_lap_only_what_the_next_timed_lap_needs_back_is_told(lap: int, on_it: bool) -> None:
    """Of two timed laps one has another map. What the in-lap wants back waits for the line, though this driver wants
    switch calls on timed laps: who acts at once would move the switch in the middle of the lap that is compared."""
    other = {"do": "set_one", "on": {"timed": lap}, "with": {"switch": "torque_map", "position": 1}}
    stage = Stage(setup(plan(MAIN | {"items": [other]}, quiet={"timed": "all"}))).green()
    t = stage.drive(200, *(125, 100)[:lap])
    stage.switch(t - 5, "torque_map", 1)
    stage.cross(t + 30, "1")
    stage.cross(t + 70, "2")
    stage.wait(t + 95)

    def told() -> bool:
        return any(call.due_t is not None for call in asking(stage, "torque_map", 2, f"{lap + 1}-switch"))

    assert told() is on_it
    stage.cross(t + 100)
    stage.wait(t + 125)
    assert told()


def test_a_switch_changed_for_an_item_that_is_no_more_is_called_back() -> None:
    """The flap is open, read back, and then the item is dropped on the lap itself: before the next line it is called
    back, though no lap of the plan has it open any more."""
    stage = Stage(setup(plan(MAIN | {"laps": "out, 3 timed, in", "items": [FLAP]}))).green()
    t = stage.drive(200, 125)
    stage.cross(t + 30, "1")
    stage.cross(t + 70, "2")
    stage.wait(t + 95)
    (opening,) = asking(stage, "flap", "open")
    stage.command("confirm", call=opening.id)
    stage.cross(t + 100)
    stage.command("drop", run="main", item="flap_lap")
    stage.cross(t + 130, "1")
    stage.cross(t + 170, "2")
    stage.wait(t + 175)
    closing = asking(stage, "flap", "closed", "main-1-3-switch")
    assert [call.state for call in closing if call.open] != []
    assert closing[-1].spec.say_by_s < t + 200


def opened(*more: dict[str, Any]) -> tuple[Stage, Call]:
    """On the out-lap the flap was opened for the first timed lap and the driver read it back; the line is 20 s ahead.
    Nothing measures the flap."""
    items = [FLAP | {"on": {"timed": 1}}, *more]
    stage = Stage(setup(plan(MAIN | {"laps": "out, 3 timed, in", "items": items}))).green()
    stage.leave(200)
    stage.cross(232, "1")
    stage.cross(285, "2")
    stage.wait(290)
    opening = asking(stage, "flap", "open")[-1]
    stage.command("said", call=opening.id)
    stage.command("confirm", call=opening.id)
    stage.wait(295)
    return stage, opening


@pytest.mark.parametrize("by", ["drop", "skip", "amend"])
def test_a_put_back_is_called_before_the_line_when_its_item_is_taken_out_after_the_change(by: str) -> None:
    """The flap stands open and the item is taken out while the lap before it still runs: the same line must not be
    crossed with it open, so the driver is told to close it, once."""
    stage, opening = opened()
    if by == "amend":
        stage.command("amend", text="no time", changes=[{"do": "drop_item", "run": "main", "item": "flap_lap"}])
    elif by == "drop":
        stage.command("drop", run="main", item="flap_lap")
    else:
        stage.command("skip", call=stage.call("flap_lap").id)
    stage.wait(301)
    (closing,) = asking(stage, "flap", "closed", "main-1-1-switch")
    assert closing.open
    assert opening.state == "done"
    assert closing.spec.act_at_s == pytest.approx(stage.car.legs[1].start_s)
    stage.command("confirm", call=closing.id)
    stage.cross(325)
    stage.wait(330)
    assert stage.car.switches.stands("flap") == "closed"
    assert not any(call.open for call in asking(stage, "flap", "closed"))


def test_a_switch_that_telemetry_shows_in_place_moves_no_other_one_out_of_its_call() -> None:
    """Three changes are two calls. The first is said, and telemetry shows one of its two: the third switch still has
    its own call, and is not taken for told."""
    wants = {"flap": "open", "brake_bias": 57, "torque_map": 3}
    items = [{"do": "set_one", "arguments": {"switch": name, "position": to}, "on": {"timed": 1}}
             for name, to in wants.items()]
    stage = Stage(setup(plan(MAIN | {"laps": "out, 3 timed, in", "items": items}),
                        cars={"41": measured("brake_bias")})).green()
    stage.leave(200)
    stage.cross(232, "1")
    stage.cross(285, "2")
    stage.wait(288)
    first = stage.call("main-1-1-switch-0")
    assert first.spec.asked == {"brake_bias": 57, "flap": "open"}
    stage.command("said", call=first.id)
    stage.switch(289, "brake_bias", 57)
    stage.wait(294)
    assert [call.spec.asked for call in stage.car.book.live.values() if call.spec.kind == "switch"
            and "main-1-1-switch" in call.id] == [{"torque_map": 3}]


def test_a_change_that_the_driver_has_not_answered_is_asked_for_once_more() -> None:
    """Nothing measures the flap, and here answers are entered: no answer in eight seconds is no answer, so the call is
    made again while there is time, once; answered, there is nothing in doubt and no alert."""
    stage = Stage(setup(plan(MAIN | {"laps": "out, 3 timed, in", "items": [FLAP | {"on": {"timed": 1}}]}))).green()
    stage.car.switches.confirms = ANSWERS_ENTERED
    for check in [one.id for one in stage.car.book.calls.values() if one.spec.ask.action == "check_switches"]:
        stage.command("said", call=check)
        stage.command("confirm", call=check)
    stage.leave(200)
    stage.cross(232, "1")
    stage.wait(262)
    opening = asking(stage, "flap", "open")[-1]
    stage.command("said", call=opening.id)
    stage.wait(268)
    assert len(asking(stage, "flap", "open")) == 1
    stage.cross(285, "2")
    stage.wait(290)
    again = asking(stage, "flap", "open")[-1]
    assert (again.id, again.open) == (f"{opening.id}~2", True)
    stage.command("said", call=again.id)
    stage.wait(303)
    assert len(asking(stage, "flap", "open")) == 2
    stage.command("confirm", call=again.id)
    stage.wait(320)
    assert not [alert for alert in stage.made(Alert) if alert.kind == "switch_unverified"]


def test_only_what_was_taken_out_is_told_again() -> None:
    """Two switches were changed in one breath, the item of one of them is taken out: the put-back names that one."""
    stage, _ = opened({"do": "set_one", "arguments": {"switch": "brake_bias", "position": 57}, "on": {"timed": 1}})
    stage.command("drop", run="main", item="flap_lap")
    stage.wait(301)
    (closing,) = asking(stage, "flap", "closed", "main-1-1-switch")
    assert closing.open
    assert closing.spec.asked["flap"] == "closed"


def test_a_put_back_that_was_skipped_is_called_again_on_the_next_lap() -> None:
    """The flap is believed open on a lap that wants it closed: the lap after must not begin so, too."""
    item = FLAP | {"on": {"timed": 1}}
    stage = Stage(setup(plan(MAIN | {"laps": "out, 3 timed, in", "items": [item]}))).green()
    stage.leave(200)
    stage.cross(250, "1")
    stage.wait(318)
    stage.command("confirm", call=asking(stage, "flap", "open")[-1].id)
    t = stage.cross(290, "2") and 325
    stage.cross(t)
    stage.cross(t + 30, "1")
    stage.cross(t + 70, "2")
    stage.command("skip", call=asking(stage, "flap", "closed")[-1].id)
    stage.cross(t + 100)
    stage.cross(t + 130, "1")
    stage.cross(t + 170, "2")
    stage.wait(t + 175)
    assert [call.open for call in asking(stage, "flap", "closed", "main-1-3-switch")] == [True]


def test_a_call_that_time_settles_does_not_undo_a_later_one() -> None:
    """Opened without an answer, closed with one: a minute on the first is taken as done, and the flap stays closed."""
    item = FLAP | {"on": {"timed": 1}}
    stage = Stage(setup(plan(MAIN | {"laps": "out, 3 timed, in", "items": [item]}))).green()
    stage.leave(200)
    stage.cross(250, "1")
    stage.wait(318)
    (opening,) = asking(stage, "flap", "open")
    stage.command("said", call=opening.id)
    stage.cross(290, "2")
    stage.cross(325)
    stage.car.switches.told({"flap": "closed"}, True, 340)
    stage.wait(500)
    assert (opening.state, opening.reason) == ("done", SETTLED)
    assert (stage.car.switches.stands("flap"), stage.car.switches.in_doubt()) == ("closed", [])


def test_a_change_for_the_running_lap_that_telemetry_does_not_show_is_asked_for_once_more() -> None:
    """Said and read back as the cool-down lap began, and not done: in the first third of the lap it is said again."""
    stage = Stage(setup(plan(MAIN | {"laps": "out, 1 timed, cool, 1 timed, in"}))).green()
    stage.switch(10, "torque_map", 2)
    t = stage.drive(200, 125, 100)
    stage.wait(t + 4)
    (call,) = asking(stage, "torque_map", 1)
    stage.command("confirm", call=call.id)
    stage.wait(t + 24)
    again = asking(stage, "torque_map", 1)
    assert [one.state for one in again] == ["done", "due"]
    stage.switch(t + 25, "torque_map", 1)
    assert again[-1].state == "done"


SET_ONE = {"do": "set_one", "on": {"cool": 1}, "with": {"switch": "torque_map", "position": 4}}


@pytest.mark.parametrize(("laps", "items", "position", "part"), [
    ("out, 1 timed, cool, 1 timed, in", [], 1, 1 / 3), ("out, 1 timed, cool, in", [], 1, 1 / 2),
    ("out, 1 timed, cool, 1 timed, in", [SET_ONE], 4, 1 / 2),
])  # fmt: skip
def test_what_the_next_timed_lap_needs_back_is_told_in_the_first_third_or_not_at_all(
    laps: str, items: list[Any], position: int, part: float
) -> None:
    """Half a lap of another torque map is of little use, and the put-back needs the channel. Not so before the in-lap,
    and not for what an item of the cool-down lap asks for."""
    stage = Stage(setup(plan(MAIN | {"laps": laps, "items": items}))).green()
    stage.switch(10, "torque_map", 2)
    t = stage.drive(200, 125, 100)
    stage.wait(t + 1)
    (call,) = asking(stage, "torque_map", position)
    (leg,) = [one for one in stage.car.legs if one.index == 2]
    assert call.spec.room is not None
    assert call.spec.room.end_by_s == pytest.approx(leg.start_s + part * (leg.end_s - leg.start_s), abs=0.01)
    assert call.spec.early_or_not == (part < 0.5), "no news waits for it, and nobody says it in a corner"


@pytest.mark.parametrize(("command", "sure"), [("said", False), ("confirm", True)])
def test_what_was_said_as_it_left_the_stack_was_said(command: str, sure: bool) -> None:
    """The engineer is in the middle of the sentence when the plan needs it no more: the driver moves the switch all the
    same, and pitwall must know where it stands."""
    stage = Stage(setup(plan(MAIN | {"laps": "out, 1 timed, cool, 1 timed, in"}))).green()
    t = stage.drive(200, 125, 100)
    stage.wait(t + 4)
    call = stage.call("main-1-2-switch-0")
    before = stage.car.switches.stands("torque_map")
    stage.status(t + 5, "red")
    assert (call.state, before) == ("withdrawn", 2)
    stage.command(command, t + 7, call=call.id)
    assert (call.state, stage.car.switches.stands("torque_map")) == ("withdrawn", 1)
    assert ("torque_map" in stage.car.switches.verified) == sure


def test_an_item_done_on_a_lap_that_was_put_in_is_not_wanted_again() -> None:
    """The lap with the flap open became a slow one: the flap was closed as called, the planned lap follows, and the
    item is behind it. What was not called on the slow lap is still to be done."""
    item = FLAP | {"on": {"timed": 1}}
    later = {"do": "bias_step", "on": {"timed": 1}, "with": {"switch": "brake_bias", "by": -2.0}}
    for called in (True, False):
        stage = Stage(setup(plan(MAIN | {"laps": "out, 3 timed, in", "items": [item, later]}))).green()
        t = stage.drive(200, 125)
        run = stage.car.progress.current
        assert run is not None
        for one in run.items:
            one.state = "called" if called else "planned"
        stage.lap(t, 150)
        assert (run.pointer, run.expected_kind) == (1, "timed"), "the slow lap did not count"
        wanted = stage.car.switches.wanted(run, 1)
        assert (wanted["flap"], wanted["brake_bias"]) == (("closed", 55) if called else ("open", 53))
        assert {one.state for one in run.items} == ({"probably_done"} if called else {"planned"})


def test_an_item_on_a_lap_that_a_slow_period_spoilt_is_done_again() -> None:
    """Its data are of no use: the flap stays open for the lap that is driven again, for which it is told anew."""
    stage = Stage(setup(plan(MAIN | {"laps": "out, 3 timed, in", "items": [FLAP | {"on": {"timed": 1}}]}))).green()
    t = stage.drive(200, 125)
    run = stage.car.progress.current
    assert run is not None
    (item,) = run.items
    item.state = "called"
    stage.status(t + 5, "slow")
    stage.status(t + 60, "green")
    stage.cross(t + 90, "2")
    assert stage.car.switches.wanted(run, 1, again=True)["flap"] == "open"
    stage.cross(t + 130)
    assert (run.pointer, item.state, item.leg, item.attempt) == (1, "called", 1, 1)
    assert stage.car.switches.wanted(run, 1)["flap"] == "open"
    stage.lap(t + 130, 100)
    assert item.state == "probably_done"
    assert stage.car.switches.wanted(run, 2)["flap"] == "closed"


BIAS_STEP = {"do": "bias_step", "on": {"timed": 1}, "with": {"switch": "brake_bias", "by": -2.0}}


def words_went_by(stage: Stage, t: float) -> tuple[RunState, ItemState]:
    """The words of the only item could not be said; returns its run and it."""
    (words,) = [call for call in stage.car.book.calls.values() if call.spec.item is not None]
    stage.car.signal(words, "passed", t, "it could not be said")
    stage.car.follow_items([words], t)
    run = stage.car.progress.current
    assert run is not None
    (item,) = run.items
    return run, item


def test_an_item_whose_switch_was_changed_is_not_tried_on_another_lap() -> None:
    """The bias is moved for the comparison on timed lap 1, and its own words go unsaid: the lap is driven with the bias
    so, and the next one wants it back."""
    for told in (True, False):
        stage = Stage(setup(plan(MAIN | {"laps": "out, 3 timed, in", "items": [BIAS_STEP]}))).green()
        stage.leave(200)
        stage.cross(250, "1")
        stage.wait(300)
        (change,) = asking(stage, "brake_bias", 53.0)
        stage.command("said" if told else "skip", call=change.id)
        run, item = words_went_by(stage, 310)
        assert (item.state, item.leg) == (("called", 1) if told else ("planned", 2))
        assert [stage.car.switches.wanted(run, leg)["brake_bias"] for leg in (1, 2)] == ([53, 55] if told else [55, 53])


@pytest.mark.parametrize(("ends", "state", "leg"), [("said", "called", 1), ("skip", "planned", 2)])
def test_an_item_whose_words_find_no_room_goes_with_the_change_of_its_switch(ends: str, state: str, leg: int) -> None:
    """Its words are given up first, for "bias 53" takes the channel: that change does what they ask for, and stays
    wanted for this lap. Only with it the item is moved to another."""
    stage = Stage(setup(plan(MAIN | {"laps": "out, 3 timed, in", "items": [BIAS_STEP]}))).green()
    stage.leave(200)
    stage.cross(250, "1")
    stage.wait(300)
    (change,) = asking(stage, "brake_bias", 53.0)
    run, item = words_went_by(stage, 300)
    assert (item.state, item.leg, item.reason) == ("planned", 1, "it could not be said")
    stage.wait(305)
    assert change.open
    stage.command(ends, call=change.id)
    assert (item.state, item.leg) == (state, leg)
    assert [stage.car.switches.wanted(run, one)["brake_bias"] for one in (1, 2)] == ([53, 55] if leg == 1 else [55, 53])


def test_an_item_whose_switch_telemetry_shows_changed_is_not_tried_on_another_lap() -> None:
    """The driver moved the bias before anybody pressed a key; its call is needed no more, the item's words go unsaid,
    and the lap is driven with the bias so all the same."""
    stage = Stage(setup(plan(MAIN | {"laps": "out, 3 timed, in", "items": [BIAS_STEP]}))).green()
    stage.leave(200)
    stage.cross(250, "1")
    (change,) = asking(stage, "brake_bias", 53.0)
    stage.wait(355)
    assert change.state == "shown"
    stage.switch(356, "brake_bias", 53.0)
    assert (change.state, change.reason) == ("withdrawn", "no longer needed")
    run, item = words_went_by(stage, 370)
    assert (item.state, item.leg) == ("called", 1)
    assert [stage.car.switches.wanted(run, leg)["brake_bias"] for leg in (1, 2)] == [53, 55]


def test_what_was_told_for_a_lap_that_was_not_begun_was_not_done() -> None:
    """The flap was opened before the line, and the car called in before it got there."""
    item = FLAP | {"on": {"timed": 2}}
    stage = Stage(setup(plan(MAIN | {"laps": "out, 2 timed, in", "items": [item], "shorten_to": 1}))).green()
    t = stage.drive(200, 125)
    stage.cross(t + 30, "1")
    stage.cross(t + 70, "2")
    stage.wait(t + 74)
    stage.command("confirm", call=asking(stage, "flap", "open")[-1].id)
    (found,) = stage.car.progress.runs[0].items
    assert found.state == "called"
    stage.pit(t + 95, "entry")
    assert found.state in ("planned", "not_done")


# -- the check list ----------------------------------------------------------------------------------------------------


def second_run(brief_answered: bool = False) -> tuple[Stage, float]:
    """Six switches are wanted otherwise on the second run; until its check list is read. ``brief_answered``: the answer
    to the first brief was entered."""
    switches = {one["switch"]: "on" for one in MANY}
    runs = (MAIN | {"laps": "out, 1 timed, in"}, MAIN | {"run": "second", "switches": switches})
    made = plan(*runs)
    car = car_file(switches=[*SWITCHES, *MANY])
    stage = Stage(setup(made, cars={"41": car})).green()
    if brief_answered:
        stage.command("confirm", call=stage.call("brief").id)
    t = stage.home(stage.drive(200, 125, 100))
    stage.wait(t + 30)
    release = stage.car.release_s
    assert release is not None
    stage.wait(release - stage.car.setup.calls.release_check_s + 2)
    return stage, release


def groups(stage: Stage) -> list[Call]:
    """The groups of the second run's check list, further attempts included."""
    return [call for name, call in stage.car.book.calls.items() if "second-1-check" in name]


def test_the_groups_of_a_check_list_stay_while_it_is_read() -> None:
    """The first group is read and confirmed: the second one is still to be read, and with the same switches."""
    stage, release = second_run()
    first, second = groups(stage)
    assert [len(call.spec.ask.positions) for call in (first, second)] == [GROUP, 6 - GROUP]
    stage.command("confirm", call=first.id)
    stage.wait(second.spec.say_from_s + 1)
    assert (second.state, sorted(second.spec.ask.positions)) == ("due", ["s4", "s5"])
    stage.command("confirm", call=second.id)
    stage.wait(release)
    assert [call.state for call in groups(stage)] == ["done", "done"], "and nothing is read twice"


def test_a_group_without_an_answer_is_read_once_more_before_the_release() -> None:
    """Where answers are entered, a group that has none has been heard by nobody; after that its switches that were to
    move are in doubt."""
    stage, release = second_run()
    stage.car.switches.confirms = ANSWERS_ENTERED
    first, second = groups(stage)
    stage.command("said", call=first.id)
    stage.wait(second.spec.say_from_s + 1)
    stage.command("confirm", call=second.id)
    stage.wait(release - 1)
    again = [call for call in groups(stage) if call.again]
    assert [call.spec.key for call in again] == [first.spec.key]
    assert again[0].due_t is not None
    assert stage.car.switches.in_doubt() == ["s0", "s1", "s2", "s3"]


@pytest.mark.parametrize(("before", "entered", "again"), [(True, "brief", True), (False, "brief", False),
                                                          (True, "fire-up", False)])
def test_of_a_driver_whose_answers_to_two_briefs_were_entered_the_silence_counts(
    before: bool, entered: str, again: bool
) -> None:  # fmt: skip
    """No group of a check list was answered yet. That two briefs were shows that answers are entered here, and one may
    be a key that somebody tried; that the engine runs says the crew."""
    stage, release = second_run(before)
    stage.command("confirm", call=stage.call(entered).id)
    for call in groups(stage):
        stage.wait(call.spec.say_from_s + 1)
        stage.command("said", call=call.id)
    stage.wait(release - 1)
    assert any(call.again for call in groups(stage)) is again


def test_what_two_readings_brought_no_answer_about_is_read_but_once_before_the_next_leaving() -> None:
    """Everything was read before the first leaving, and once more where there was time. Before the second it is in
    doubt or still without an answer, so it is read; a time after that would fill the stop with it."""
    car = car_file(switches=[*SWITCHES, *MANY])
    runs = (MAIN | {"laps": "out, 1 timed, in"}, MAIN | {"run": "second"})
    stage = Stage(setup(plan(*runs), cars={"41": car})).green()
    stage.car.switches.confirms = ANSWERS_ENTERED
    for name in [name for name in stage.car.book.calls if "main-1-check" in name]:
        stage.command("said", call=name)
    stage.wait(stage.home(stage.drive(200, 125, 100)) + 30)
    release = stage.car.release_s
    assert release is not None
    while stage.now < release - 1:
        for call in [one for one in groups(stage) if one.state == "due"]:
            stage.command("said", call=call.id)
        stage.wait(stage.now + 2)
    assert len({call.spec.key for call in groups(stage)}) == len(groups(stage)) > 1
    assert "brake_bias" in stage.car.switches.in_doubt()


def test_where_no_answers_are_entered_nothing_is_read_twice() -> None:
    """An engineer who presses one key a call, and no other, is not asked everything again."""
    stage, release = second_run()
    for call in groups(stage):
        stage.wait(call.spec.say_from_s + 1)
        stage.command("said", call=call.id)
    stage.wait(release - 1)
    assert [call for call in groups(stage) if call.again] == []
