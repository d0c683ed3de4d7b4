"""Garage calls: brief, switch check, fire-up and release, counted back from the moment the car is to leave."""

from __future__ import annotations

import pytest

from pitwall.engine.calling_again import REOPEN_LEAD_S
from pitwall.engine.offered_again import ANSWERS_S, NOT_YET_S
from pitwall.engine.rules.release import GROUP, LAST_CHECK_S, STAYS_OPEN_S
from pitwall.engine.switches import ANSWERS_ENTERED
from pitwall.model.outputs import DeskState
from pitwall.model.procedure import Procedure
from pitwall.model.record import altered
from pitwall.model.setup import CallTiming
from tests.unit.engine_stage import CHECKS, MAIN, PROCEDURES, Stage, plan, setup, shipped

FIRST = MAIN | {"release": {"not_before": 400, "gap_ahead_s": 8}}


def waiting(*runs: dict[str, object], begin: float = -600.0) -> Stage:
    """The car in its garage before the session, leaving first at 400 s."""
    return Stage(setup(plan(*(runs or (FIRST,)))), begin=begin)


def test_the_countdown_to_a_release() -> None:
    """Brief, check, fire-up and release come the set times before the release moment, each shown its lead ahead."""
    stage = waiting().green()
    timing = stage.car.setup.calls
    stage.wait(405)
    due = {call.split("-1-")[1]: [p.t for p in stage.prompts(call, "due")] for call in
           ("main-1-brief", "main-1-check-1", "main-1-fire-up", "main-1-leave")}  # fmt: skip
    assert due == {
        "brief": [400 - timing.brief_s], "check-1": [400 - timing.release_check_s],
        "fire-up": [400 - timing.fire_up_s], "leave": [400],
    }  # fmt: skip
    assert stage.prompts("main-1-brief", "shown")[0].t == 400 - timing.brief_s - timing.lead_s
    leave = stage.call("main-1-leave")
    assert "8 seconds to the car ahead" in leave.spec.text
    assert "release controller" in (leave.spec.caution or "")


def test_leaving_settles_the_garage_calls() -> None:
    """What led to the leaving is done; what was only shown is taken back; a due one without a word is unconfirmed."""
    stage = waiting().green()
    stage.leave(402)
    states = {name.removeprefix("41-main-1-"): call.state for name, call in stage.car.book.calls.items()
              if "-1-" in name and call.spec.lap == "garage"}  # fmt: skip
    assert states["leave"] == states["fire-up"] == "done"
    assert states["brief"] == "unconfirmed"
    early = waiting().green()
    early.leave(330)
    assert early.call("main-1-fire-up").state in ("withdrawn", "done")
    assert not early.car.book.live or all(call.spec.lap != "garage" for call in early.car.book.live.values())


def test_the_brief_says_what_the_run_is() -> None:
    """Laps by kind and items by name, in words."""
    items = [{"do": "comment", "on": "in"}, {"do": "hold", "on": "out", "after": "bridge"}]
    stage = waiting(FIRST | {"laps": "out, 2 timed, cool, 1 timed, in", "items": items}).green().wait(250)
    text = stage.call("brief").spec.text
    assert text == "Next run is main: three timed laps with one cool-down lap. Items: comment, hold."
    stage = waiting(CHECKS | {"release": {"not_before": 400}}).green().wait(250)
    assert stage.call("brief").spec.text == "Next run is checks: out and straight back in."


def test_the_brief_names_the_cool_down_lap_once() -> None:
    """The laps tell of it: the item that says it on track is not told beside them."""
    cooling = Procedure.model_validate({
        "procedure": 1, "name": "cool_down_lap", "purpose": "test", "laps": ["cool"],
        "steps": [{"say": "Cool-down lap.", "short": "Cool down", "where": "lap_start"}],
    })  # fmt: skip
    items = [{"do": "cool_down_lap", "on": "cool"}, {"do": "hold", "on": "out", "after": "bridge"}]
    made = plan(FIRST | {"laps": "out, 1 timed, cool, 1 timed, in", "items": items})
    stage = Stage(setup(made, procedures=PROCEDURES | {"cool_down_lap": cooling})).green().wait(250)
    assert stage.call("brief").spec.text == "Next run is main: two timed laps with one cool-down lap. Items: hold."


def test_the_first_check_reads_every_switch_in_groups() -> None:
    """Groups of four, one after the other, all switches but momentary ones and presets."""
    stage = waiting().green().wait(260)
    groups = [call for name, call in stage.car.book.calls.items() if "-check-" in name]
    names = [name for call in groups for name in call.spec.ask.positions]
    assert all(len(call.spec.ask.positions) <= GROUP for call in groups)
    assert sorted(names) == ["brake_bias", "display", "flap", "start_map", "torque_map"]
    begins = [call.spec.say_from_s for call in groups]
    assert begins == sorted(set(begins))
    assert groups[0].spec.text == "Switch check: bias 55, display drive, flap closed, start map 1."


@pytest.mark.parametrize("answered", [True, False])
def test_a_group_without_an_answer_is_read_once_more_as_soon_as_no_answer_can_come(answered: bool) -> None:
    """Where the driver's answers are entered: eight seconds after it was said, while there is time before the release
    for it; and not a third time."""
    stage = waiting().green()
    for number in (1, 2):
        stage.wait(400 - stage.car.setup.calls.release_check_s + 12 * number - 4)
        call = stage.call(f"main-1-check-{number}")
        stage.command("said", call=call.id)
        if number == 1 or answered:
            stage.command("confirm", stage.now + 1, call=call.id)
    said = stage.call("main-1-check-2").said_t
    assert said is not None
    stage.wait(400)
    again = [prompt.t - said for prompt in stage.prompts("main-1-check-2~", "due")]
    assert [ANSWERS_S < one <= ANSWERS_S + 3.0 for one in again] == ([] if answered else [True])


def test_a_group_read_once_more_is_open_until_the_driver_has_other_things_to_do() -> None:
    """The window in which it was to be read first is over by then: a second reading that closes as it opens is none."""
    stage = waiting().green()
    stage.car.switches.confirms = ANSWERS_ENTERED
    stage.wait(400 - stage.car.setup.calls.release_check_s + 22)
    first = stage.call("main-1-check-1")
    over_s = first.spec.say_by_s
    assert over_s < 300
    stage.command("said", call=first.id)
    stage.wait(300)
    (again,) = stage.prompts("main-1-check-1~2", "due")
    assert over_s - 5 < again.t < over_s
    assert again.say_by_s == 400 - LAST_CHECK_S
    assert stage.call("main-1-check-1~2").state == "due"


def _told_and_left(stage: Stage, number: int, *off: str) -> None:
    """The check list up to this group is said, and telemetry shows what the driver set of it: all but ``off``."""
    for group in range(1, number + 1):
        stage.wait(400 - stage.car.setup.calls.release_check_s + 12 * group - 4)
        stage.command("said", call=stage.call(f"main-1-check-{group}").id)
        for name, position in stage.call(f"main-1-check-{group}").spec.ask.positions.items():
            if name not in off:
                stage.switch(stage.now + 2, name, position)


def test_what_telemetry_shows_left_by_the_check_is_told_by_itself_in_the_garage() -> None:
    """The driver heard four switches and moved three: no lap is begun to tell him of the fourth."""
    stage = waiting().green()
    stage.switch(100, "flap", "open")
    _told_and_left(stage, 1, "flap")
    said = stage.call("main-1-check-1").said_t
    assert said is not None
    stage.wait(said + NOT_YET_S + 6)
    assert not stage.prompts("check-left"), "the rest of the list comes first"
    stage.command("said", call=stage.call("main-1-check-2").id)
    stage.wait(stage.now + 6)
    (shown,) = stage.prompts("check-left", "due")
    assert shown.text == "Switch check: flap closed."
    stage.command("said", call=shown.call)
    stage.switch(stage.now + 2, "flap", "closed")
    assert (stage.call("check-left").state, stage.call("check-left").reason) == ("done", "telemetry shows the position")


def test_what_is_left_of_a_check_list_that_nobody_heard_is_told_in_groups_as_well() -> None:
    """Five switches in one call are more than a driver keeps."""
    stage = waiting().green()
    off = {"brake_bias": 53, "display": "tyres", "flap": "open", "start_map": 2, "torque_map": 1}
    for name, position in off.items():
        stage.switch(100, name, position)
    _told_and_left(stage, 2, *off)
    stage.wait(stage.now + NOT_YET_S + 30)
    left = {one.call: one.text for one in stage.prompts("check-left", "due")}
    assert list(left.values()) == ["Switch check: bias 55, display drive, flap closed, start map 1.",
                                   "Switch check: torque 2."]


def test_a_switch_left_elsewhere_though_told_twice_is_not_told_without_end_and_said_to_stand_there() -> None:
    """Told twice more at the most; the calls that were said do not end as if nothing spoke against them."""
    stage = waiting().green()
    stage.switch(100, "flap", "open")
    _told_and_left(stage, 2, "flap")
    for t in range(int(stage.now), 398):
        stage.wait(t)
        for call in [one for name, one in stage.car.book.calls.items() if "check-left" in name and one.state == "due"]:
            stage.command("said", call=call.id)
    assert len({one.call for one in stage.prompts("check-left")}) == 2
    stage.drive(400, 125)
    stage.wait(stage.now + 70)
    assert stage.call("main-1-check-1").reason == "said, but telemetry shows flap at open"
    assert "nothing speaks" in (stage.call("main-1-check-2").reason or "") or stage.call("check-2").state == "done"


@pytest.mark.parametrize(("medium", "told"), [("board", []), ("two_way", ["Switch check: flap closed."])])
def test_what_was_moved_since_the_check_list_is_not_undone_where_more_is_told_in_the_garage(
    medium: str, told: list[str]
) -> None:
    """With a board the out-lap's changes are told before the car leaves, and some drivers make them at once; by radio
    nothing but the check list moves a switch there, so the driver misheard it."""
    stage = Stage(setup(altered(plan(FIRST), medium=medium)), begin=-600.0).green()
    _told_and_left(stage, 1)
    stage.switch(stage.now + 3, "flap", "open")
    stage.wait(stage.now + 30)
    assert [one.text for one in stage.prompts("check-left", "due")] == told


def test_what_may_be_moved_at_a_standstill_only_is_told_while_the_car_stands() -> None:
    """On track it could not be mended any more."""
    stage = waiting().green()
    stage.switch(100, "start_map", 2)
    _told_and_left(stage, 2, "start_map")
    stage.wait(stage.now + 12)
    assert [one.text for one in stage.prompts("check-left", "due")] == ["Switch check: start map 1."]


def test_what_belongs_in_the_lane_is_not_asked_for_otherwise_in_the_garage() -> None:
    """A limiter is on there and off on the lap: the driver works it at the entry and the exit, and no check list says
    "limiter off" of it, nor is it shown as wrong. On a lap it is."""
    made = Stage(shipped(), begin=-600.0)
    made.status(-590, "waiting")
    for name, position in (("pit_limiter", "on"), ("flap", "open")):
        made.switch(-500, name, position, car="41")
    made.wait(-30)
    read = {name for call in made.session.team["41"].book.calls.values() if call.spec.ask.action == "check_switches"
            for name in call.spec.ask.positions}
    assert "flap" in read
    assert "pit_limiter" not in read

    def off(name: str) -> bool:
        state = [one for one in made.made(DeskState) if one.car == "41"][-1]
        card = next(one for one in state.switches if one.switch == name)
        return card.wanted != card.measured

    assert off("flap")
    assert not off("pit_limiter")
    made.green().leave(5, car="41")
    made.wait(20)
    assert off("pit_limiter")


def test_a_later_check_reads_what_differs_only() -> None:
    """Second run: the one switch that stands elsewhere is named, the others are left in peace."""
    stage = waiting(MAIN | {"laps": "out, 1 timed, in"}, MAIN | {"run": "second", "switches": {"flap": "open"}})
    stage.green()
    t = stage.home(stage.drive(200, 125, 100))
    stage.wait(t + 200)
    asked = {}
    for name, call in stage.car.book.calls.items():
        if "second" in name and "check" in name:
            asked.update(call.spec.ask.positions)
    assert asked == {"flap": "open"}


def test_a_put_back_owed_is_read_out_at_the_next_check() -> None:
    """The flap was opened for a lap and the run cut by red before it was closed: the next check closes it."""
    items = [{"do": "flap_lap", "on": {"timed": 1}}]
    stage = waiting(MAIN | {"laps": "out, 2 timed, in", "items": items}).green()
    t = stage.drive(200, 125)
    opening = next(call for call in stage.car.book.calls.values() if call.spec.ask.position == "open")
    stage.command("confirm", call=opening.id)
    assert stage.car.switches.stands("flap") == "open"
    stage.status(t + 30, "red")
    stage.pit(t + 90, "entry")
    assert stage.car.switches.owed == {"flap": "closed"}
    desk = stage.wait(t + 95).made(DeskState)[-1]
    assert [card.switch for card in desk.switches if card.owed] == ["flap"]
    stage.status(t + 300, "green")
    stage.wait(t + 420)
    checks = [call for name, call in stage.car.book.calls.items() if "main-2-check" in name]
    assert checks
    assert checks[-1].spec.ask.positions["flap"] == "closed"


def test_a_short_stop_keeps_a_fair_window() -> None:
    """In and out again within two minutes: the brief is told as soon as its prompt had its lead, before the engine is
    fired up, and may be said for a while, not missed."""
    stage = waiting(MAIN | {"laps": "out, 1 timed, in", "after_garage_s": 90}, MAIN | {"run": "second"}).green()
    t = stage.home(stage.drive(200, 125, 100))
    stage.wait(t + 80)
    brief = stage.call("second-1-brief")
    assert brief.spec.say_from_s == pytest.approx(t + CallTiming().lead_s)
    assert brief.spec.say_by_s - brief.spec.say_from_s >= 20
    assert not [prompt for prompt in stage.prompts("second") if prompt.state == "missed"]


def test_kept_in_takes_the_calls_back_and_let_go_counts_anew() -> None:
    """No release is called while the car is kept in; afterwards from a fair moment on."""
    stage = waiting().green().wait(350)
    assert "kept in" in stage.command("keep_in").effect  # type: ignore[union-attr]  # an answer, not a refusal
    assert stage.call("main-1-fire-up").state == "withdrawn"
    assert stage.call("main-1-fire-up").reason == "kept in"
    stage.wait(500)
    assert not stage.prompts("leave", "due")
    stage.command("let_go", 500)
    stage.wait(565)
    assert stage.car.release_s == 500 + CallTiming().fire_up_s
    assert stage.call("leave").state == "due"


def test_a_closed_pit_exit_holds_the_release() -> None:
    """Under green with the exit closed: no fire-up and no release until it opens, or the time that was given."""
    stage = waiting().green()
    stage.status(10, pit_exit="closed", opens_at_s=600)
    stage.wait(450)
    assert not stage.prompts("main-1-leave")
    assert not stage.prompts("main-1-fire-up")
    assert stage.car.release_s == 600
    stage.status(560, pit_exit="open")
    stage.wait(700)
    assert stage.prompts("leave", "due")


def test_a_red_flag_in_the_garage_takes_the_countdown_back() -> None:
    """Withdrawn with the flag as reason; after the reopening the countdown starts again."""
    stage = waiting().green().wait(345)
    stage.status(350, "red")
    assert stage.call("main-1-fire-up").reason == "red flag"
    stage.status(700, "green")
    stage.wait(765)
    assert stage.call("main-1-leave").state == "due"
    assert stage.car.release_s == 700 + CallTiming().fire_up_s


def test_a_car_that_was_fired_up_just_now_needs_no_time_for_it() -> None:
    """The exit closed for a few seconds with the engine running: the release is counted from a short lead."""
    stage = waiting().green().wait(345)
    stage.command("said", call=stage.call("main-1-fire-up").id)
    stage.status(390, pit_exit="closed")
    stage.status(400, pit_exit="open")
    stage.wait(401)
    assert stage.car.release_s == pytest.approx(400 + REOPEN_LEAD_S)


def test_a_car_that_did_not_leave_is_called_again_with_the_usual_lead() -> None:
    """Nothing presses any more: the prompt to fire up stands there its lead before it may be said, and so does the
    one to leave."""
    stage = waiting().green()
    stage.wait(stage.car.release_s + STAYS_OPEN_S + 60)
    (again,) = stage.prompts("fire-up-1", "shown")
    assert again.say_from_s - again.t == pytest.approx(CallTiming().lead_s, abs=0.5)
    release = stage.car.release_s
    assert release is not None
    stage.wait(release)
    leave = stage.prompts("leave-1", "shown")[0]
    assert leave.say_from_s - leave.t == pytest.approx(CallTiming().lead_s, abs=0.5)


def test_an_engine_that_runs_is_not_fired_up_again() -> None:
    """Work took longer and the engine was fired up late: the car is called again to leave, and that is all."""
    stage = waiting().green()
    release = stage.car.release_s
    assert release is not None
    stage.wait(release + STAYS_OPEN_S - 30)
    stage.command("said", call=stage.call("main-1-fire-up").id)
    stage.wait(release + STAYS_OPEN_S + 60)
    assert stage.prompts("leave-1", "shown")
    assert not stage.has_call("fire-up-1")


def test_the_brief_names_a_run_once() -> None:
    """A run that is called run-1 is not "run run 1"."""
    stage = Stage(setup(plan(MAIN | {"run": "run-1"}))).green().wait(20)
    assert stage.call("brief").spec.text.startswith("Next is run 1: two timed laps.")
    assert waiting().green().wait(20).call("brief").spec.text.startswith("Next run is main: ")


def test_a_car_that_does_not_leave_stays_called() -> None:
    """Work overran: the call to go stays open, and no false miss comes of it."""
    stage = waiting().green().wait(500)
    assert stage.call("main-1-leave").state == "due"
    stage.leave(520)
    assert stage.call("main-1-leave").state == "done"
    assert not [prompt for prompt in stage.prompts("main-1-") if prompt.state == "missed"]


def test_without_a_run_left_nothing_is_counted_down() -> None:
    """The plan is done: no brief, no release."""
    stage = waiting(MAIN | {"laps": "out, 1 timed, in"}).green()
    t = stage.home(stage.drive(200, 125, 100))
    before = len(stage.car.book.calls)
    stage.wait(t + 900)
    assert stage.car.release_s is None
    assert len(stage.car.book.calls) == before


def test_a_procedure_in_the_garage_comes_before_the_release() -> None:
    """A check that needs the car at rest is called on the way to the release, and named in its run."""
    stage = waiting(FIRST | {"items": [{"do": "bite_check", "on": "out"}]}).green().wait(399)
    call = stage.call("bite_check-0-1-0-0")
    assert call.spec.ask.procedure == "bite_check"
    assert call.spec.say_from_s < 400
    stage.command("confirm", call=call.id)
    assert stage.car.progress.runs[0].items[0].state == "done"
