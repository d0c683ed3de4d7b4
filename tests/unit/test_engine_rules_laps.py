"""Calls along a run: switches between laps, procedures at their places, the run's laps, and lap times; quiet rules."""

from __future__ import annotations

from typing import Any

import pytest

from pitwall.model.outputs import Ask
from tests.unit.engine_stage import CHECKS, LAP_S, MAIN, PIT_EXIT, Stage, plan, setup


def out(*items: dict[str, Any], laps: str = "out, 2 timed, in", **more: Any) -> Stage:
    """The car on its out-lap since 200 s, on a run with these items."""
    run = MAIN | {"laps": laps, "items": list(items)} | more.pop("run", {})
    return Stage(setup(plan(run, **more))).green().leave(200)


# -- switches -------------------------------------------------------------------------------------------------


def test_a_switch_is_called_before_the_lap_that_needs_it() -> None:
    """On the lap before, early enough to be said, heard and done before the line."""
    stage = out({"do": "flap_lap", "on": {"timed": 1}})
    stage.wait(300)
    call = stage.call("main-1-1-switch-0")
    assert call.spec.ask == Ask(action="set_switch", switch="flap", position="open")
    assert call.spec.text == "Before the line: flap open."
    assert call.spec.act_at_s == pytest.approx(325)
    assert call.spec.say_by_s + call.spec.spoken_s + stage.car.setup.calls.switch_reaction_s <= 325
    assert stage.prompts("main-1-1-switch-0")[0].t <= call.spec.say_from_s


def test_a_put_back_is_called_on_the_timed_lap_though_it_is_silent() -> None:
    """The change after a timed lap has nowhere else to go before the next timed lap: it is called on it."""
    stage = out({"do": "flap_lap", "on": {"timed": 1}})
    t = stage.drive(200, 125)
    stage.wait(t + 80)
    call = stage.call("main-1-2-switch-0")
    assert call.spec.ask.position == "closed"
    assert t < call.spec.say_by_s < t + LAP_S


def test_after_a_silent_lap_a_switch_waits_for_the_line_where_it_can() -> None:
    """From a timed lap to a cool-down lap nothing is pressing: the torque map is changed as the lap begins, behind the
    word that it is one."""
    stage = out(laps="out, 1 timed, cool, 1 timed, in")
    t = stage.drive(200, 125, 100)
    stage.wait(t + 2)
    assert stage.call("main-1-2-run-cool").state == "due"
    stage.wait(t + 8)
    call = stage.call("main-1-2-switch-0")
    assert (call.state, call.spec.ask.switch, call.spec.ask.position) == ("due", "torque_map", 1)
    assert t + 2 < call.spec.say_from_s <= t + 8


def test_a_step_is_said_as_steps() -> None:
    """A bias is told by its steps and where they lead."""
    stage = out({"do": "bias_step", "on": {"timed": 1}, "with": {"switch": "brake_bias", "by": -1.0}}).wait(300)
    assert stage.call("main-1-1-switch-0").spec.text == "Before the line: bias two down, makes 54."


def test_telemetry_ends_a_switch_call() -> None:
    """The position shows up while the call is due: it is done, and whoever said it need not press a key."""
    items = [{"do": "set_one", "on": {"timed": 1}, "with": {"switch": "torque_map", "position": 4}}]
    stage = out(*items)
    stage.wait(300)
    call = stage.call("main-1-1-switch-0")
    stage.wait(call.spec.say_from_s + 1)
    assert call.state == "due"
    stage.switch(stage.now, "torque_map", 4)
    assert (call.state, call.reason) == ("done", "telemetry shows the position")


def test_a_switch_that_telemetry_shows_off_is_named_though_nothing_was_planned() -> None:
    """Knocked on the out-lap: the next timed lap needs it back, so it is called before the line."""
    stage = out()
    stage.cross(250, "1")
    stage.switch(260, "torque_map", 4)
    stage.wait(300)
    call = stage.call("main-1-1-switch-0")
    assert (call.spec.ask.switch, call.spec.ask.position) == ("torque_map", 2)


def test_a_dropped_item_takes_its_switch_calls_along() -> None:
    """Neither the change nor the put-back is called once the item is gone."""
    stage = out({"do": "flap_lap", "on": {"timed": 2}})
    stage.wait(210)
    stage.command("drop", run="main", item="flap_lap")
    t = stage.drive(200.5, 125, 100, 100)
    stage.wait(t + 5)
    assert all(call.spec.ask.switch != "flap" or call.state == "withdrawn" for call in stage.car.book.calls.values())


# -- procedures -----------------------------------------------------------------------------------------------


def test_a_procedure_is_called_in_time_for_its_place() -> None:
    """The hold after the bridge on the out-lap: the sentence ends and the driver has reacted when the car is there."""
    stage = out({"do": "hold", "on": "out", "after": "bridge", "with": {"seconds": 5}})
    stage.cross(200 + 125 * (0.3 - PIT_EXIT) / (1 - PIT_EXIT), "1")
    call = stage.call("hold-0-1-0-0")
    bridge = 200 + 125 * (0.5 - PIT_EXIT) / (1 - PIT_EXIT)
    assert call.spec.act_at_s == pytest.approx(bridge)
    assert call.spec.say_by_s + call.spec.spoken_s + 3 <= bridge + 1e-6
    assert call.spec.text == "After bridge: hold, count five."
    assert call.spec.caution == "Slow on a straight"
    assert call.spec.place == "bridge"


def test_a_slower_car_is_called_later() -> None:
    """The call follows the car: ten seconds lost at loop 1 move it, and the prompt is told anew."""
    stage = out({"do": "hold", "on": "out", "after": "bridge"})
    stage.wait(205)
    before = stage.call("hold-0-1-0-0").spec.say_by_s
    stage.cross(243, "1")
    assert stage.call("hold-0-1-0-0").spec.say_by_s > before + 5


def test_an_item_is_done_as_far_as_its_call_shows() -> None:
    """Confirmed, or said with nothing against it for a minute: done. Without a word: probably, once the lap is over.
    Skipped: not done."""
    for command, state in (("confirm", "done"), ("said", "done"), (None, "probably_done"), ("skip", "not_done")):
        stage = out({"do": "hold", "on": "out", "after": "bridge"})
        call = stage.call("hold-0-1-0-0")
        stage.wait(call.spec.say_by_s - 0.5)
        if command is not None:
            stage.command(command, call=call.id)
        stage.lap(200, 125, from_exit=True)
        assert stage.car.progress.runs[0].items[0].state == state, command


def test_a_call_made_on_each_lap_that_the_item_names() -> None:
    """Once on the out-lap and once on the in-lap, each a call of its own."""
    stage = out({"do": "hold", "on": ["out", "in"], "after": "bridge"})
    stage.home(stage.drive(200, 125, 100, 100))
    names = [name for name in stage.car.book.calls if "hold" in name]
    assert names == ["41-main-1-hold-0-1-0-0", "41-main-1-hold-3-1-0-0"]


def test_a_procedure_of_the_pit_lane_is_called_before_the_entry() -> None:
    """On the in-lap, in time for the pit entry."""
    stage = out({"do": "limiter_pass", "on": "in"})
    t = stage.drive(200, 125, 100, 100)
    stage.home(t)
    call = stage.call("limiter_pass-3-1-0-0")
    assert call.spec.place == "pit entry"
    assert t < call.spec.say_from_s < t + 118 * 0.95


def test_what_is_done_in_the_lane_is_called_as_the_car_comes_in() -> None:
    """On the in-lap just after the pit entry; on the out-lap before the release, never on the track between."""
    stage = out({"do": "lane_stop", "on": "in"})
    t = stage.drive(200, 125, 100, 100)
    stage.wait(t + 20)
    call = stage.call("lane_stop-3-1-0-0")
    assert call.spec.act_at_s == pytest.approx(t + 118 * 0.95 + 5)
    assert not out({"do": "lane_stop", "on": "out"}).wait(240).prompts("lane_stop-0-2")


def test_a_practice_start_is_called_on_the_way_to_the_pit_exit() -> None:
    """Before the release, so that the driver knows when he gets there."""
    run = MAIN | {"items": [{"do": "standing_start", "on": "out"}], "release": {"not_before": 400}}
    stage = Stage(setup(plan(run))).green().wait(399)
    call = stage.call("standing_start-0-1-0-0")
    assert call.spec.say_by_s + call.spec.spoken_s + 4 <= 400


def test_an_installation_lap_has_its_items_on_one_lap() -> None:
    """Out and straight in: what sits on either half is called on the one lap there is."""
    items = [{"do": "radio_check", "on": "out"}, {"do": "hold", "on": "in", "after": "bridge"}]
    stage = Stage(setup(plan(CHECKS | {"items": items}, MAIN))).green().leave(200)
    stage.home(200, 140, from_exit=True)
    assert {"41-checks-1-radio_check-0-1-0-0", "41-checks-2-hold-1-1-0-0"} <= set(stage.car.book.calls)
    assert [item.state for item in stage.car.progress.runs[0].items] == ["probably_done", "probably_done"]


@pytest.mark.parametrize(("scope", "called"), [(("1",), True), (("2",), False), (("north",), False), ("all", False)])
def test_a_yellow_silences_procedures_where_it_holds_or_may_hold(scope: Any, called: bool) -> None:
    """In another sector the hold is called; in its own, everywhere, or in a sector nobody knows, it is not."""
    stage = out({"do": "hold", "on": "out", "after": "bridge"})
    stage.status(205, "yellow", scope=scope)
    stage.wait(255)
    assert bool(stage.prompts("hold-0-1-0-0", "due")) == called


# -- the run and its laps -------------------------------------------------------------------------------------


def test_the_run_is_read_out_on_the_out_lap() -> None:
    """How many timed laps, said once while there is time to talk."""
    for laps, between in (("out, 3 timed, in", ""), ("out, 2 timed, cool, 1 timed, in", " with one cool-down lap")):
        call = out(laps=laps).wait(225).call("run-laps")
        assert call.spec.text == f"Three timed laps{between}, then the in-lap."
        assert call.state == "due"


@pytest.mark.parametrize(("laps", "short"), [
    ("out, 1 timed, cool, 1 timed, in", "One timed, cool, one timed"),
    ("out, 2 timed, in", "Two timed laps"),
])  # fmt: skip
def test_in_short_too_the_run_has_its_cool_down_lap(laps: str, short: str) -> None:
    """"Two timed laps" is two in a row for whoever hears it (common practice, no source)."""
    assert out(laps=laps).wait(225).call("run-laps").spec.short == short


def test_a_cool_lap_is_announced_and_so_is_the_push_after_it() -> None:
    """Cool-down as its lap begins, "push" before the line that ends it; both settled by what the driver did."""
    stage = out(laps="out, 1 timed, cool, 1 timed, in")
    t = stage.drive(200, 125, 100)
    cool = stage.wait(t + 1).call("run-cool")
    stage.wait(max(t + 3, cool.spec.say_from_s + 0.1))
    assert (cool.state, cool.spec.ask.lap_kind) == ("due", "cool")
    assert cool.spec.say_from_s >= t
    assert cool.spec.soon_over, "later the driver has pushed through half a lap"
    t = stage.lap(t, 150)
    push = stage.call("run-timed")
    assert not push.spec.soon_over
    assert push.spec.say_by_s + push.spec.spoken_s <= t
    stage.lap(t, 100)
    assert (cool.state, push.state) == ("done", "done")


def test_the_push_for_a_lap_that_is_driven_again_is_told_again() -> None:
    """It was told before the lap that a slow period then spoilt: before the lap begins again it is a new call."""
    stage = out(laps="out, 1 timed, cool, 1 timed, in")
    t = stage.drive(200, 125, 100, 150)
    first = stage.call("run-timed")
    stage.status(t + 5, "slow")
    stage.cross(t + 40, "1")
    stage.status(t + 50, "green")
    stage.cross(t + 80, "2")
    again = stage.call("run-timed")
    assert again.id != first.id
    assert again.spec.leg == first.spec.leg == 3
    for _ in range(3):  # its place moves as the lap goes on
        stage.wait(again.spec.say_from_s + 0.5)
    assert again.state == "due"


def test_a_lap_time_is_said_where_it_may_be() -> None:
    """Not on a timed lap; on the cool-down lap after it, early; never if the lap was none."""
    stage = out(laps="out, 2 timed, cool, 1 timed, in")
    t = stage.drive(200, 125, 100, 98.4)
    stage.wait(t + 15)
    assert stage.call("pace-3").spec.text == "Lap time 1:38.4."
    assert stage.call("pace-3").state == "due"
    assert not stage.has_call("pace-2")


def test_a_car_that_stays_out_uncalled_is_on_the_next_long_enough_run() -> None:
    """Nobody called it in and it drives on: it is taken to be on the later run, laps and calls with it."""
    runs = (MAIN | {"laps": "out, 1 timed, in"}, MAIN | {"run": "long", "laps": "out, 6 timed, in"})
    for said, run in ((False, "long"), (True, "main")):
        stage = Stage(setup(plan(*runs))).green()
        t = stage.drive(200, 125, 100)
        if said:
            stage.wait(t + 2)
            stage.command("said", call=stage.call("main-box-1-0").id)
        for _ in range(3):
            t = stage.lap(t, 100)
        assert stage.car.progress.current is stage.car.progress.find(run)
        assert stage.car.track.lap is not None
        assert stage.car.track.lap.run == run or said


# -- quiet ----------------------------------------------------------------------------------------------------


def test_on_a_timed_lap_only_what_the_quiet_rule_allows_is_due() -> None:
    """By default session, safety and box; a switch only where it has nowhere else to go."""
    stage = out({"do": "comment", "on": "in"}, laps="out, 3 timed, in")
    t = stage.drive(200, 125, 100, 100)
    begin = 325.0
    kinds = {call.spec.kind for call in stage.car.book.calls.values()
             if call.due_t is not None and begin + 1 < call.due_t < t - 1}  # fmt: skip
    assert kinds == set()


def test_a_driver_may_want_more_on_a_timed_lap() -> None:
    """With a profile that allows it lap times are said on timed laps, too."""
    stage = out(laps="out, 3 timed, in", quiet={"timed": ["box", "pace"]})
    t = stage.drive(200, 125, 100)
    stage.wait(t + 15)
    assert stage.call("pace-2").state == "due"


def test_quiet_from_the_desk_mutes_until_it_is_lifted() -> None:
    """Everything but session, safety and box falls silent; again the command, and calls come back."""
    stage = out({"do": "hold", "on": ["out", "in"], "after": "bridge"}, laps="out, 1 timed, in")
    stage.command("quiet", 230)
    assert {call.spec.kind for call in stage.car.book.calls.values() if call.open} <= {"box", "session"}
    t = stage.drive(200.5, 125, 100)
    stage.wait(t + 2)
    assert stage.call("main-box-1-0").state == "due"
    stage.command("quiet", t + 3)
    stage.wait(t + 20)
    assert any(call.open and call.spec.kind == "procedure" for call in stage.car.book.calls.values())
