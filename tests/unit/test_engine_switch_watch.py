"""Alerts about switches: wrong on a timed lap, knocked in mid-lap, moved and never shown to be back."""

from __future__ import annotations

from typing import Any

import pytest

from pitwall.engine.alerts.book import AlertBook
from pitwall.engine.switch_watch import AHEAD_S, AWAITED_S, NOBODY_ANSWERS, look_at_switches
from pitwall.model.events import SwitchReported
from pitwall.model.outputs import Alert, Prompt
from tests.unit.engine_stage import MAIN, Stage, plan, setup

FLAP = {"do": "flap_lap", "on": {"timed": 1}}
FLAP_RUN = MAIN | {"laps": "out, 3 timed, in", "items": [FLAP]}
COOL_RUN = MAIN | {"laps": "out, 1 timed, cool, 1 timed, in"}


def alerts(stage: Stage, kind: str) -> list[tuple[str, float, bool]]:
    """Alerts of this kind as they were told: the switch, when, on or off."""
    made = [one for one in stage.made(Alert) if one.kind == kind]
    return [(one.id.rpartition("-")[2], one.t, one.active) for one in made]


def call_id(stage: Stage, position: str, switch: str = "flap") -> str:
    """The latest call that asks for this position."""
    asked = [(call.id, {**call.spec.ask.positions, call.spec.ask.switch: call.spec.ask.position})
             for call in stage.car.book.calls.values()]
    return [name for name, positions in asked if positions.get(switch) == position][-1]


def with_the_flap_open(**more: Any) -> tuple[Stage, float]:
    """On timed lap 1, for which the flap was opened and read back; returns when that lap began."""
    stage = Stage(setup(plan(FLAP_RUN, **more))).green()
    stage.leave(200)
    stage.cross(250, "1")
    stage.wait(318)
    stage.command("confirm", call=call_id(stage, "open"))
    stage.cross(290, "2")
    stage.cross(325)
    return stage, 325


# -- measured ----------------------------------------------------------------------------------------------------------


def test_a_timed_lap_begun_with_a_wrong_switch() -> None:
    """Telemetry shows it off: told as the crossing arrives, with where it stands and where it should; over as soon as
    telemetry shows it put right."""
    stage = Stage(setup(plan(MAIN))).green().leave(200)
    stage.switch(300, "torque_map", 4)
    stage.lap(300.5, 24.5, from_exit=True)
    (alert,) = [one for one in stage.made(Alert) if one.kind == "switch_wrong"]
    assert (alert.text, alert.t) == ("torque stands at 4, this timed lap needs 2", 325)
    stage.switch(350, "torque_map", 2)
    assert alerts(stage, "switch_wrong") == [("torque_map", 325, True), ("torque_map", 350, False)]


def test_a_position_that_arrives_after_the_line_is_told_as_it_arrives() -> None:
    """Telemetry may be slower than the timing: the lap had begun wrong all the same."""
    stage = Stage(setup(plan(MAIN))).green()
    stage.drive(200, 125)
    stage.switch(326.5, "torque_map", 4)
    assert alerts(stage, "switch_wrong") == [("torque_map", 326.5, True)]


@pytest.mark.parametrize(("late_s", "stands"), [(0.4, 2), (4.0, 2), (20.0, 4), (200.0, 4)])
def test_a_report_that_a_later_one_overtook_tells_no_more_where_the_switch_stands(late_s: float, stands: int) -> None:
    """Knocked and put back within a second, and the first report comes last: nothing is wrong. Older than the one
    before by a quarter of a minute or more, it is the telemetry whose clock was put back."""
    stage = Stage(setup(plan(MAIN))).green()
    stage.drive(200, 125)
    stage.switch(371.2, "torque_map", 2)
    stage.give(SwitchReported(id="overtaken", t=371.2 - late_s, car="41", switch="torque_map", position=4))
    assert stage.car.switches.stands("torque_map") == stands
    assert bool(alerts(stage, "switch_wrong")) is (stands != 2)


@pytest.mark.parametrize(("second_s", "stands"), [(1.0, 4), (-0.5, 2)])
def test_two_reports_in_a_row_that_go_on_are_of_a_clock_that_was_put_back(second_s: float, stands: int) -> None:
    """By three seconds only: the first one may have been overtaken, and the second stands. Where the second is older
    than the first as well, both were."""
    stage = Stage(setup(plan(MAIN))).green()
    stage.drive(200, 125)
    stage.switch(371.2, "torque_map", 2)
    for number, t in enumerate((368.2, 368.2 + second_s)):
        stage.give(SwitchReported(id=f"behind-{number}", t=t, car="41", switch="torque_map", position=4))
    assert stage.car.switches.stands("torque_map") == stands
    assert bool(alerts(stage, "switch_wrong")) is (stands != 2)


def test_a_switch_knocked_on_a_timed_lap_is_told_at_once() -> None:
    """In the middle of the lap, with the telemetry and not at the next look around; put back it is over."""
    stage = Stage(setup(plan(MAIN))).green()
    stage.drive(200, 125)
    stage.switch(371.2, "torque_map", 1)
    stage.switch(378.7, "torque_map", 2)
    assert alerts(stage, "switch_wrong") == [("torque_map", 371.2, True), ("torque_map", 378.7, False)]


def test_the_lap_that_had_begun_as_the_flag_fell_is_watched_to_its_end() -> None:
    """It counts like any other: a knock on it is told. The lap behind it is the in-lap, however quick it is driven."""
    stage = Stage(setup(plan(MAIN))).green()
    t = stage.drive(200, 125)
    stage.status(t + 20, "finished")
    stage.switch(t + 30, "torque_map", 1)
    assert alerts(stage, "switch_wrong") == [("torque_map", t + 30, True)]
    stage.switch(t + 40, "torque_map", 2)
    line = stage.lap(t, 100)
    stage.switch(line + 20, "torque_map", 1)
    stage.cross(line + 30, "1")
    stage.wait(line + 60)
    assert [one[1:] for one in alerts(stage, "switch_wrong")] == [(t + 30, True), (t + 40, False)]


def test_a_switch_knocked_on_a_cool_down_lap_spoils_nothing() -> None:
    """Until the line of the timed lap that follows, if it stands there still."""
    stage = Stage(setup(plan(COOL_RUN))).green()
    t = stage.drive(200, 125, 100)
    stage.switch(t + 40, "torque_map", 4)
    stage.wait(t + 60)
    assert alerts(stage, "switch_wrong") == []
    stage.lap(t, 150)
    assert [(name, on) for name, _, on in alerts(stage, "switch_wrong")] == [("torque_map", True)]


@pytest.mark.parametrize("told", [True, False])
def test_what_this_laps_call_asked_for_the_next_is_no_accident(told: bool) -> None:
    """Before the line of the next timed lap the driver sets what he was told to; where the call was left out the same
    change is an accident."""
    other = {"do": "set_one", "on": {"timed": 2}, "with": {"switch": "torque_map", "position": 1}}
    stage = Stage(setup(plan(MAIN | {"items": [other]}, quiet={"timed": "all"}))).green()
    t = stage.drive(200, 125)
    stage.cross(t + 30, "1")
    stage.wait(t + 60)
    stage.cross(t + 70, "2")
    stage.command("said" if told else "skip", call=stage.call("2-switch-0").id)
    stage.switch(t + 90, "torque_map", 1)
    assert alerts(stage, "switch_wrong") == ([] if told else [("torque_map", t + 90, True)])


def test_the_line_is_not_waited_for_where_no_crossing_comes() -> None:
    """By the prediction the timed lap has begun: the alert does not hang on a loop that is late or dead."""
    stage = Stage(setup(plan(MAIN))).green()
    stage.leave(200)
    stage.switch(210, "torque_map", 4)
    stage.cross(250, "1")
    stage.cross(290, "2")
    line = stage.car.legs[0].end_s
    stage.wait(line + 4)
    (_, at, on), = alerts(stage, "switch_wrong")
    assert on
    assert line < at <= line + 3


def test_under_red_wrong_switches_are_held_back() -> None:
    """Nobody is told of a switch on a lap that does not count; the drop is on record."""
    book = AlertBook()
    stage = Stage(setup(plan(MAIN))).green().leave(200)
    stage.switch(300, "torque_map", 4)
    stage.lap(300.5, 24.5, from_exit=True)
    outputs = look_at_switches(stage.car, book, "red", 326)
    assert [type(one).__name__ for one in outputs] == ["HeldBack"]


# -- several at once ---------------------------------------------------------------------------------------------------


def two_measured() -> tuple[Stage, float]:
    """On a timed lap that began with torque and bias out of place, told as the line was crossed."""
    stage = Stage(setup(plan(MAIN))).green().leave(200)
    stage.switch(300, "torque_map", 4)
    stage.switch(300.2, "brake_bias", 58)
    stage.lap(300.5, 24.5, from_exit=True)
    return stage, 325


def listed(stage: Stage) -> list[tuple[str, float, bool, list[str]]]:
    """Alerts of wrong switches as they were told: what it goes by, when, noted, the switches; none: over."""
    made = [one for one in stage.made(Alert) if one.kind == "switch_wrong"]
    return [(one.id.removeprefix("switch-wrong-41-"), one.t, one.acknowledged,
             sorted(one.switches) if one.active else []) for one in made]


def test_switches_found_at_one_line_are_one_alert_with_each_remedy() -> None:
    """One look, one sentence to the driver. One put right is told at once, noted or not, and the rest stands; with the
    last one it is over."""
    stage, line = two_measured()
    (told,) = [one for one in stage.made(Alert) if one.kind == "switch_wrong"]
    assert told.t == line
    assert told.text == "bias stands at 58, this timed lap needs 55; torque stands at 4, this timed lap needs 2"
    stage.command("acknowledge", line + 5, alert=told.id)
    stage.switch(line + 10, "brake_bias", 55)
    stage.switch(line + 20, "torque_map", 2)
    both, one = ["brake_bias", "torque_map"], ["torque_map"]
    assert listed(stage) == [("brake_bias", line, False, both), ("brake_bias", line + 5, True, both),
                             ("brake_bias", line + 10, True, one), ("brake_bias", line + 20, True, [])]


def test_one_that_is_found_later_is_news() -> None:
    """An alert of its own: noted is what was known then. One that was put right and is out of place again is news as
    well, though the other of its alert still stands."""
    stage, line = two_measured()
    stage.command("acknowledge", line + 5, alert="switch-wrong-41-brake_bias")
    stage.switch(line + 8, "brake_bias", 55)
    stage.switch(line + 20, "brake_bias", 58)
    assert listed(stage)[2:] == [("brake_bias", line + 8, True, ["torque_map"]),
                                 ("brake_bias-2", line + 20, False, ["brake_bias"])]


def test_a_shelf_hides_what_was_known_and_nothing_more() -> None:
    """The two that were shelved stay away, also once one of them is put right; a third one is told."""
    stage, line = two_measured()
    stage.command("shelve", line + 5, alert="switch-wrong-41-brake_bias")
    stage.switch(line + 8, "brake_bias", 55)
    stage.wait(line + 30)
    assert [on for _, _, _, on in listed(stage)][1:] == [[]]
    stage.switch(line + 40, "flap", "open")
    assert listed(stage)[2:] == [("flap", line + 40, False, ["flap"])]


def test_doubts_about_several_switches_are_one_alert() -> None:
    """Three that hang on one call are one question to the driver; each keeps its words."""
    book = AlertBook()
    doubts = {"flap": "flap: nothing shows that it is at closed", "push": "push: nothing shows that it is at none"}
    (told,) = book.found("switch_unverified", "41", doubts, 10, "green")
    assert isinstance(told, Alert)
    assert (told.text, told.switches) == ("; ".join(doubts.values()), doubts)
    assert book.switch_words("switch_unverified", "41", "push") == doubts["push"]
    assert book.found("switch_unverified", "41", doubts, 12, "green") == []
    (over,) = book.found("switch_unverified", "41", {}, 14, "green")
    assert isinstance(over, Alert)
    assert not over.active
    assert book.switch_words("switch_unverified", "41", "push") is None


def test_what_joins_an_alert_that_comes_and_goes_is_news() -> None:
    """Such an alert is kept until it has been quiet for a minute, noted or not; what comes with it then is not."""
    book, off = AlertBook(), {"flap": "flap stands at open, this timed lap needs closed"}
    for t in (0, 10, 20):
        book.found("switch_wrong", "41", off, t, "green")
        book.found("switch_wrong", "41", {}, t + 5, "green")
    assert book.acknowledge("switch-wrong-41-flap", 26, "hand")
    off["push"] = "push stands at on, this timed lap needs none"
    (told,) = book.found("switch_wrong", "41", off, 30, "green")
    assert isinstance(told, Alert)
    assert (told.active, told.acknowledged, sorted(told.switches)) == (True, False, ["flap", "push"])


def found(book: AlertBook, t: float, *switches: str) -> list[tuple[str, list[str]]]:
    """What is told when these are found wrong: the alert's detail, and what it lists; nothing where it is over."""
    told = book.found("switch_wrong", "41", {name: f"{name} is off" for name in switches}, t, "green")
    return [(one.id.removeprefix("switch-wrong-41-"), list(one.switches) if one.active else [])
            for one in told if isinstance(one, Alert)]


def test_what_nobody_shelved_is_told_though_it_is_found_with_what_was() -> None:
    """The flap was shelved and put right. It is out of place again, and the push button with it: only the flap stays
    away, until its shelf is over."""
    for both in (("flap", "push"), ("push", "flap")):
        book = AlertBook()
        found(book, 10, "flap")
        book.shelve("switch-wrong-41-flap", 12, 600, "hand")
        assert found(book, 20) == []
        assert found(book, 100, *both) == [("push", ["push"])]
        assert found(book, 611, *both) == []
        assert found(book, 612, *both) == [("flap", ["flap"])]


def test_every_switch_of_a_shelved_alert_is_shelved() -> None:
    """Also the one that is put right and wrong again while the others stay as they were."""
    book = AlertBook()
    assert found(book, 10, "flap", "push") == [("flap", ["flap", "push"])]
    book.shelve("switch-wrong-41-flap", 12, 600, "hand")
    for t, off in ((20, ("push",)), (30, ("flap", "push")), (40, ("flap",)), (50, ("push", "flap"))):
        assert found(book, t, *off) == []


def test_a_switch_that_was_put_right_before_its_alert_was_shelved_is_not() -> None:
    """Whoever shelved it saw the other one only."""
    book = AlertBook()
    found(book, 10, "flap", "push")
    assert found(book, 11, "push") == [("flap", ["push"])]
    book.shelve("switch-wrong-41-flap", 12, 600, "hand")
    assert found(book, 20, "push", "flap") == [("flap-2", ["flap"])]


def test_an_alert_that_comes_and_goes_is_not_told_a_second_time_under_another_name() -> None:
    """The flap chatters beside the push button, and is kept; the push button is put right meanwhile."""
    book = AlertBook()
    found(book, 0, "flap", "push")
    for t in range(1, 10, 2):
        found(book, t, "push")
        found(book, t + 1, "flap", "push")
    assert found(book, 11) == [("flap", [])]
    found(book, 12, "flap")
    assert [list(one.switches) for one in book.active.values()] == [["flap"]]
    assert list(book.active) == ["switch-wrong-41-flap-2"]


# -- not measured ------------------------------------------------------------------------------------------------------


def test_a_put_back_that_was_left_out_is_unverified_before_the_line() -> None:
    """The flap is believed open and nobody called for it to be closed: told while there is time to ask, and until the
    driver's word shows it."""
    stage, t = with_the_flap_open()
    stage.cross(t + 30, "1")
    stage.cross(t + 70, "2")
    stage.command("skip", call=call_id(stage, "closed"))
    line = stage.car.legs[0].end_s
    stage.wait(line - 1)
    (raised,) = [one for one in stage.made(Alert) if one.kind == "switch_unverified"]
    assert raised.text == "flap: nothing shows that it is at closed"
    assert line - AHEAD_S <= raised.t <= line - AWAITED_S
    stage.cross(line)
    stage.wait(line + 20)
    assert [on for _, _, on in alerts(stage, "switch_unverified")] == [True], "once, over the line"
    stage.car.switches.said("flap", "closed", sure=True)
    stage.wait(line + 26)
    assert [on for _, _, on in alerts(stage, "switch_unverified")] == [True, False]


@pytest.mark.parametrize("answered", [True, False])
def test_a_put_back_without_an_answer_is_unverified_before_the_line(answered: bool) -> None:
    """Said is not done: only the driver's answer shows it, and with the answer there is no alert at all."""
    stage, t = with_the_flap_open()
    stage.cross(t + 30, "1")
    stage.cross(t + 70, "2")
    closing = call_id(stage, "closed")
    stage.command("said", call=closing)
    if answered:
        stage.command("confirm", call=closing)
    line = stage.car.legs[0].end_s
    stage.wait(line - 0.5)
    assert [(name, on) for name, _, on in alerts(stage, "switch_unverified")] == ([] if answered else [("flap", True)])
    if not answered:
        stage.command("confirm", call=closing)
        stage.cross(line)
        assert alerts(stage, "switch_unverified")[-1][2] is False


def test_what_the_driver_is_about_to_be_asked_again_is_told_once() -> None:
    """Between the time for an answer and the moment at which the call is made once more nothing is told: a doubt that
    came, went with the call, and came again was told twice."""
    stage, t = with_the_flap_open()
    stage.cross(t + 30, "1")
    stage.cross(t + 70, "2")
    closing, line = call_id(stage, "closed"), stage.car.legs[0].end_s
    stage.wait(line - 20)
    stage.command("said", call=closing)
    stage.wait(line - 0.5)
    assert call_id(stage, "closed") == f"{closing}~2"
    ((name, told_t, on),) = alerts(stage, "switch_unverified")
    assert (name, on) == ("flap", True)
    assert line - AWAITED_S <= told_t < line - AWAITED_S + 1


def test_what_nobody_moved_is_not_asked_about() -> None:
    """No key is pressed all afternoon and nothing has telemetry: as no switch was to be moved, there is no alert."""
    stage = Stage(setup(plan(MAIN, MAIN | {"run": "more"}))).green()
    t = stage.home(stage.drive(200, 125, 100, 100))
    stage.home(stage.drive(t + 400, 125, 100, 100))
    assert alerts(stage, "switch_unverified") == []


def test_what_the_lap_itself_wants_moved_is_not_held_against_it() -> None:
    """On the lap with the flap open the flap is open: the doubt is about the lap after it."""
    stage, t = with_the_flap_open()
    stage.wait(t + 60)
    assert alerts(stage, "switch_unverified") == []


def test_what_was_told_goes_on_over_a_lap_that_is_not_timed_and_ends_in_the_pits() -> None:
    """No alert is told twice for one doubt; in the garage the check list takes over."""
    stage, t = with_the_flap_open()
    stage.cross(t + 30, "1")
    stage.cross(t + 70, "2")
    stage.command("skip", call=call_id(stage, "closed"))
    stage.cross(t + 100)
    stage.command("box")
    stage.wait(t + 150)
    assert [on for _, _, on in alerts(stage, "switch_unverified")] == [True]
    stage.pit(t + 210, "entry")
    stage.wait(t + 220)
    assert [on for _, _, on in alerts(stage, "switch_unverified")] == [True, False]


def test_a_flood_holds_no_doubt_back_and_doubts_make_none() -> None:
    """Told a little later it would be told too late; and three switches of one call must not hide a silent car."""
    book = AlertBook()
    for number in range(12):
        book.hold("car_silent", str(number), "unseen", number, "green")
    (raised,) = book.hold("switch_unverified", "41", "unsure", 13, "green", "flap")
    assert isinstance(raised, Alert)
    calm = AlertBook()
    for number in range(12):
        calm.hold("switch_unverified", "41", "unsure", number, "green", f"s{number}")
    assert isinstance(calm.hold("car_silent", "58", "unseen", 13, "green")[0], Alert)


def test_a_lap_that_a_slow_period_spoilt_is_driven_again_with_its_own_switches() -> None:
    """The next lap is the same one once more: nobody is told to go to the positions of the cool-down lap that was to
    follow, and the cool-down lap's call comes a lap later."""
    stage = Stage(setup(plan(COOL_RUN))).green()
    t = stage.drive(200, 125)
    stage.status(t + 5, "slow")
    stage.cross(t + 40, "1")
    stage.status(t + 70, "green")
    stage.cross(t + 95, "2")
    assert [leg.kind for leg in stage.car.legs[1:4]] == ["timed", "cool", "timed"]
    again = stage.car.legs[1]
    assert (again.again, again.index, again.start_s) == (True, 1, stage.car.legs[0].end_s)
    assert not [call for call in stage.car.book.calls.values() if call.spec.asked.get("torque_map") == 1
                and call.told]
    stage.cross(t + 130)
    assert stage.car.progress.current is not None
    assert stage.car.progress.current.pointer == 1
    assert [leg.kind for leg in stage.car.legs[:3]] == ["timed", "cool", "timed"]


def told_and_then_spoilt() -> tuple[Stage, float]:
    """On timed lap 1, on which the cool-down lap's position was told before a slow period; returns when it began."""
    stage = Stage(setup(plan(COOL_RUN))).green()
    t = stage.drive(200, 125)
    stage.cross(t + 30, "1")
    stage.wait(t + 60)
    stage.command("said", call=stage.call("2-switch-0").id)
    stage.status(t + 72, "slow")
    stage.cross(t + 75, "2")
    return stage, t


def test_what_was_told_on_a_spoilt_lap_explains_no_wrong_switch_on_the_lap_driven_again() -> None:
    """Told before the slow period to go to the cool-down lap's position, the driver did; the lap is driven again, and
    its switch is wrong: an alert with the line. The call was this lap's by the plan, but was not made on it."""
    stage, t = told_and_then_spoilt()
    stage.switch(t + 85, "torque_map", 1)
    stage.status(t + 90, "green")
    stage.cross(t + 118)
    assert stage.car.progress.current is not None
    assert stage.car.progress.current.pointer == 1, "the spoilt lap did not count"
    assert alerts(stage, "switch_wrong") == [("torque_map", t + 118, True)]


def test_what_a_lap_driven_again_needs_is_told_before_its_line() -> None:
    """The driver went to the cool-down lap's position before the slow period ended: the way back is a call before the
    line, due while the spoilt lap lasts, not one that waits for the lap to begin."""
    stage, t = told_and_then_spoilt()
    stage.switch(t + 77, "torque_map", 1)
    stage.status(t + 78, "green")
    stage.wait(t + 112)
    (call,) = [one for one in stage.car.book.calls.values() if "-1r" in one.spec.key and one.spec.kind == "switch"]
    assert (call.spec.text[:16], call.spec.place, call.spec.waits) == ("Before the line:", "line", False)
    assert call.spec.asked == {"torque_map": 2}
    assert "due" in [one.state for one in stage.made(Prompt) if one.id.startswith(f"{call.id}.") and one.t < t + 112]


def test_nobody_is_told_to_ask_a_driver_who_only_sees_boards() -> None:
    """What helps there is the next pass of the pit wall and the garage."""
    run = {**MAIN, "laps": "out, 1 timed, cool, 1 timed, in"}
    stage = Stage(setup(plan(run, medium="board"))).green()
    stage.drive(200, 125, 100)
    stage.car.switches.told({"flap": "open"}, False, stage.now)
    stage.wait(stage.car.legs[0].end_s - 1)
    (raised,) = {one.help for one in stage.made(Alert) if one.kind == "switch_unverified"}
    assert raised == NOBODY_ANSWERS
