"""One-way radios and pit boards: the same calls, carried otherwise."""

from __future__ import annotations

import random
from dataclasses import replace
from typing import Any

import pytest

from pitwall.app.scenarios import load_rehearsal
from pitwall.app.wiring import Evidence, rehearse_instant
from pitwall.engine.call import Call, CallSpec
from pitwall.engine.media import NO_PASS, TOO_LONG, Pass, _shared, convey
from pitwall.engine.switch_watch import SHOWN_NEXT
from pitwall.engine.view import situation
from pitwall.engine.watch import BOX_AT_THE_PASS
from pitwall.model.events import ChannelReported
from pitwall.model.outputs import Alert, Answered, Ask, Prompt
from pitwall.model.procedure import Procedure
from pitwall.model.record import altered
from pitwall.radio.board import HANG_S, LINE_CHARACTERS, MOST_LINES, READY_BEFORE_S
from tests.unit.engine_stage import CAR, MAIN, PROCEDURES, SWITCHES, Stage, car_file, effect, plan, setup

BOARD_HOLD = Procedure.model_validate(
    {
        "procedure": 1, "name": "slow_lap", "purpose": "test", "laps": ["cool", "in", "out"], "place": "needed",
        "steps": [{"say": "After {after}: coast, count six.", "short": "{after}: coast", "reaction_s": 3}],
    }
)  # fmt: skip
LONG = BOARD_HOLD.model_copy(update={"name": "long", "steps": (BOARD_HOLD.steps[0].model_copy(update={
    "short": "{after}: coast gently with everything else as usual"}),)})  # fmt: skip
ASKED = Procedure.model_validate({
    "procedure": 1, "name": "asked", "purpose": "test", "laps": ["out", "in", "installation"],
    "steps": [{"say": "Any alarm?", "short": "Alarms?", "kind": "question", "where": "lap_start", "offset_s": 30,
               "reaction_s": 2}], "done_when": ["driver"],
})  # fmt: skip
LIBRARY = {**PROCEDURES, "slow_lap": BOARD_HOLD, "long": LONG, "asked": ASKED}


def stage(medium: str, *items: dict[str, Any], laps: str = "out, 1 timed, cool, in") -> Stage:
    """A run with these items, on this medium."""
    run = {**MAIN, "laps": laps, "items": list(items)}
    return Stage(setup(plan(run, medium=medium), procedures=LIBRARY)).green()


def of_kind(made: Stage, kind: str) -> list[Call]:
    """Calls of a kind."""
    return [call for call in made.car.book.calls.values() if call.spec.kind == kind]


def test_a_one_way_radio_carries_the_same_calls_and_expects_no_answer() -> None:
    """Same keys, words and windows as on a two-way radio; on track each says that nothing is read back."""
    calls = {}
    for medium in ("two_way", "one_way"):
        made = stage(medium, {"do": "slow_lap", "on": "cool", "after": "bridge"})
        made.wait(made.drive(200, 125, 100) + 20)
        calls[medium] = {call.id: call.spec for call in made.car.book.calls.values()}
    assert {key: (spec.text, spec.say_by_s) for key, spec in calls["one_way"].items()} == {
        key: (spec.text, spec.say_by_s) for key, spec in calls["two_way"].items()}  # fmt: skip
    assert {spec.medium for key, spec in calls["one_way"].items() if spec.lap != "garage"} == {"one_way"}
    assert {spec.medium for spec in calls["two_way"].values()} == {"two_way"}


def test_a_board_is_ready_twenty_seconds_before_the_pass_and_acted_on_in_the_lap_after_it() -> None:
    """The box call hangs before the line that begins the in-lap: short lines, no time to say it, no readback."""
    made = stage("board")
    t = made.drive(200, 125, 100)
    box = of_kind(made, "box")
    assert len(box) == 1
    spec = box[0].spec
    begins = next(leg.start_s for leg in made.car.legs if leg.kind == "in")
    assert begins > t
    assert spec.say_by_s == pytest.approx(begins - READY_BEFORE_S)
    assert (spec.medium, spec.board, spec.text, spec.spoken_s) == ("board", ("BOX",), "BOX", 0.0)
    assert spec.act_at_s is not None
    assert begins < spec.act_at_s < begins + 118
    assert spec.late_text is not None
    assert "pit wall" in spec.late_text


def test_what_is_for_a_place_hangs_at_the_line_before_it() -> None:
    """An item at the bridge on the cool-down lap: shown as the car passes the line that begins it."""
    made = stage("board", {"do": "slow_lap", "on": "cool", "after": "bridge"})
    made.drive(200, 125)
    made.wait(340)
    spec = made.call("slow_lap").spec
    begins = next(leg.start_s for leg in made.car.legs if leg.kind == "cool")
    assert spec.board == ("BRIDGE", "COAST")
    assert spec.say_by_s == pytest.approx(begins - READY_BEFORE_S)


def test_a_change_before_the_line_is_shown_a_lap_earlier() -> None:
    """The second timed lap is a comparison: its switch is shown as the first one begins, for the line at its end."""
    made = stage("board", {"do": "flap_lap", "on": {"timed": 2}}, laps="out, 2 timed, in")
    made.leave(200).wait(290)
    starts = {leg.index: leg.start_s for leg in made.car.legs}
    spec = made.call("main-1-2-switch-0").spec
    assert spec.say_by_s == pytest.approx(starts[1] - READY_BEFORE_S)
    assert spec.act_at_s == pytest.approx(starts[2])


def test_a_cool_down_lap_before_a_timed_one_is_shown_what_the_timed_lap_needs_and_nothing_of_its_own() -> None:
    """One pass cannot ask for a cool-down setting and for its put-back: the setting is left out, and what the timed lap
    after it compares goes up beside "cool down"."""
    made = stage("board", {"do": "flap_lap", "on": {"timed": 2}}, laps="out, 1 timed, cool, 1 timed, in")
    t = made.drive(200, 125)
    made.wait(made.car.legs[0].end_s - READY_BEFORE_S - 1)
    starts = {leg.index: leg.start_s for leg in made.car.legs}
    (spec,) = [call.spec for call in of_kind(made, "switch")
               if call.spec.medium == "board" and call.spec.say_by_s < starts[3]]
    assert (spec.asked, spec.board, spec.against) == ({"flap": "open"}, ("FLAP OPEN",), None)
    assert spec.say_by_s == pytest.approx(starts[2] - READY_BEFORE_S)
    made.command("said", call=f"{CAR}-{spec.key}")
    t = made.lap(t, 100)
    made.wait(t + 30)
    assert {call.spec.board for call in of_kind(made, "switch") if call.open} <= {("FLAP", "CLOSED")}, "for the in-lap"


def test_an_item_whose_switch_hung_as_the_cool_down_lap_began_is_called() -> None:
    """Its own words find no place beside "cool down": the switch was shown for it, and its lap is driven so."""
    made = stage("board", {"do": "flap_lap", "on": {"timed": 2}}, laps="out, 1 timed, cool, 1 timed, in")
    made.drive(200, 125)
    made.wait(made.car.legs[0].end_s - READY_BEFORE_S - 1)
    made.command("said", call=made.call("main-1-2-switch-0").id)
    (item,) = made.car.progress.current.items if made.car.progress.current is not None else ()
    assert (item.state, item.leg, item.reason) == ("called", 3, "its switch was changed for it")
    (cool,) = of_kind(made, "run")[1:2]
    assert (cool.spec.board, cool.spec.against) == (("COOL LAP",), None)
    assert cool.spec.say_by_s == pytest.approx(made.car.legs[0].end_s - READY_BEFORE_S), "at its own line"


def test_a_cool_down_lap_before_another_keeps_its_settings_and_the_second_shows_the_put_back() -> None:
    """Two cool-down laps have two passes: the first asks, the second puts back."""
    made = stage("board", laps="out, 1 timed, 2 cool, 1 timed, in")
    t = made.lap(made.drive(200, 125), 100)
    starts = {leg.index: leg.start_s for leg in made.car.legs}
    assert made.call("main-1-2-switch-0").spec.board == ("TRQ 1",)
    made.wait(t + 20)
    back = made.call("main-1-3-switch-0").spec
    assert (back.board, back.say_by_s) == (("TRQ 2",), pytest.approx(starts[3] - READY_BEFORE_S, abs=2))


def test_a_wrong_switch_that_no_board_showed_is_shown_at_the_line_of_the_lap_that_needs_it() -> None:
    """It came off its place with no pass left before the next timed lap: its own line shows it, in time to hang it; on
    the timed lap after that likewise, for as long as it stands wrong."""
    made = stage("board", laps="out, 2 timed, in")
    t = made.drive(200, 125)
    made.wait(t + 10)
    made.switch(made.now, "torque_map", 4)
    made.wait(t + 25)
    (call,) = [one for one in of_kind(made, "switch") if one.spec.medium == "board" and one.open]
    begins = next(leg.start_s for leg in made.car.legs if leg.index == 2)
    assert (call.spec.board, call.spec.against) == (("TRQ 2",), None)
    assert call.spec.say_by_s == pytest.approx(begins - READY_BEFORE_S)
    wrong = [one for one in made.session.alerts.active.values() if one.kind == "switch_wrong"]
    assert [one.help for one in wrong] == [SHOWN_NEXT]
    made.switch(made.now, "torque_map", 2)
    made.wait(made.now + 2)
    assert not [one for one in of_kind(made, "switch") if one.spec.medium == "board" and one.open]


def test_what_belongs_to_the_out_lap_is_told_in_the_garage() -> None:
    """Face to face, in full words, before leaving."""
    made = stage("board", {"do": "slow_lap", "on": "out", "after": "bridge"})
    made.wait(20)
    spec = made.call("slow_lap").spec
    leaves = made.car.legs[0].start_s
    assert (spec.text, spec.medium) == ("After bridge: coast, count six.", "two_way")
    assert spec.say_from_s <= spec.say_by_s <= leaves - 10
    assert spec.room is None  # people stand beside one another: no listening stretch cuts its words short


def test_what_begins_the_lap_after_the_out_lap_is_told_in_the_garage() -> None:
    """No board comes before that lap: told before leaving, and done there, not lap after lap later on."""
    made = stage("board", {"do": "flap_lap", "on": {"timed": 1}}, laps="out, 3 timed, in")
    made.wait(20)
    call = made.call("flap_lap")
    assert (call.spec.text, call.spec.medium, call.spec.against) == ("On the lap after the out-lap: Flap open.",
                                                                     "two_way", None)
    assert call.spec.say_by_s <= made.car.legs[0].start_s - 10
    made.wait(100)
    made.command("said", 100, call=call.id)
    made.drive(200, 125, 100)
    assert [item.leg for run in made.car.progress.runs for item in run.items] == [1]
    assert [one.id for one in made.car.book.calls.values() if "flap_lap" in one.id] == [call.id]


def test_nothing_is_asked_of_a_car_that_has_only_a_board() -> None:
    """A question of the out-lap has no answer before it, and on it nobody can answer: it is never due, in the garage or
    on track, and its item is not done."""
    checks = {"run": "checks", "want": "must", "laps": "out-in", "after_garage_s": 300,
              "items": [{"do": "asked", "on": "out"}, {"do": "asked", "on": "in"}]}  # fmt: skip
    made = Stage(setup(plan(checks, medium="board"), procedures=LIBRARY)).green().wait(100)
    made.leave(200).wait(310)
    made.home(320)
    assert of_kind(made, "question") == []
    assert {item.state for run in made.car.progress.runs for item in run.items} == {"not_done"}


def test_what_no_board_can_show_is_no_voice_prompt() -> None:
    """On the in-lap no pass comes: a lap time is then not told at all, and what else cannot be shown is no sentence to
    speak, and takes no time on a radio that the car has not."""
    made = stage("board", laps="out, 1 timed, in")
    t = made.lap(made.drive(200, 125), 100)
    made.wait(t + 20)
    made.status(made.now, "finished")
    made.wait(made.now + 8)
    on_track = [call.spec for call in made.car.book.calls.values() if call.spec.lap != "garage" and call.spec.leg != 0
                and call.spec.place != "garage" and call.spec.say_from_s > 205]
    assert {spec.medium for spec in on_track} == {"board"}
    assert {spec.spoken_s for spec in on_track} == {0.0}
    assert "pace" not in {spec.kind for spec in on_track if spec.against is not None}


@pytest.mark.parametrize(("laps", "lines"), [
    ("out, 2 timed, cool, 2 timed, in", ("2 TIMED", "COOL", "2 TIMED")),
    ("out, 1 timed, cool, 1 timed, in", ("1 TIMED", "COOL", "1 TIMED")),
    ("out, 1 timed, cool, 1 timed, cool, 1 timed, in", ("3 TIMED", "2 COOL")),
    ("out, 3 timed, 2 cool, in", ("3 TIMED", "2 COOL")),
    ("out, 3 timed, in", ("3 TIMED", "LAPS")),
])  # fmt: skip
def test_the_board_of_the_out_lap_says_where_the_cool_down_lap_is(laps: str, lines: tuple[str, ...]) -> None:
    """Two timed laps, a cool-down lap and two more are no four timed laps."""
    made = stage("board", laps=laps)
    made.leave(200).wait(290)
    assert made.call("main-1-0-run-laps").spec.board == lines


def test_a_flag_is_shown_at_the_next_pass() -> None:
    """No radio: the yellow of a moment ago hangs as soon as the car comes by, in haste if need be."""
    made = stage("board")
    made.drive(200, 125)
    made.status(340, "yellow")
    (call,) = of_kind(made, "session")
    line = made.car.legs[0].end_s
    assert call.state == "due"
    assert call.spec.say_by_s == pytest.approx(line - READY_BEFORE_S)
    assert call.spec.board == ("YELLOW",)


def test_what_does_not_fit_is_told_to_the_engineer() -> None:
    """More than three short lines: the short form stands there as it is, with a caution."""
    made = stage("board", {"do": "long", "on": "cool", "after": "bridge"})
    made.drive(200, 125)
    made.wait(340)
    spec = made.call("long").spec
    assert spec.board == ()
    assert (spec.caution or "").startswith(TOO_LONG)


def test_what_comes_before_the_first_pass_is_shown_at_it() -> None:
    """A switch comes off its place on the out-lap, with no board before the line: the first pass shows it."""
    made = stage("board")
    made.leave(200)
    made.switch(210, "torque_map", 4)
    made.wait(216)
    spec = made.call("main-1-1-switch-0").spec
    assert (spec.board, spec.against) == (("TRQ 2",), None)
    assert spec.say_by_s == pytest.approx(made.car.legs[0].end_s - READY_BEFORE_S)


def test_the_three_lines_of_a_pass_go_to_the_most_important() -> None:
    """Box first; a pace that finds no room says which board is full, and is not dropped in silence."""
    made = stage("board")
    made.drive(200, 125)
    specs = [
        CallSpec("pace", "pace", "Lap time 1:27.4.", "1:27.4 best 1:26.9", 0, 9, 2, 0),
        CallSpec("box", "box", "Box this lap", "Box this lap", 0, 9, 2, 0),
        CallSpec("switch", "switch", "Torque 3.", "Torque three", 0, 9, 2, 0),
    ]
    at = situation(made.car, made.session.clock, made.now)
    found = {one.key: one for one in _shared(at, [(Pass(5, 400), spec) for spec in specs])}
    shown = [one for one in found.values() if one.against is None]
    assert {one.key for one in shown} == {"box", "switch"}
    assert sum(len(one.board) for one in shown) <= MOST_LINES
    assert all(len(line) <= LINE_CHARACTERS for one in shown for line in one.board)
    assert found["pace"].against == "the board is full: BOX THIS / LAP; TRQ 3"


@pytest.mark.parametrize("medium", ["board", "one_way"])
@pytest.mark.parametrize("seed", range(4))
def test_whatever_the_feed_does_a_pass_never_holds_more_than_three_lines(medium: str, seed: int) -> None:
    """Random laps, losses and statuses: windows stay in order, no pass is over-full, nothing is read back."""
    rng = random.Random(seed)
    slow, flap = {"do": "slow_lap", "on": ["out", "cool"], "after": "bridge"}, {"do": "flap_lap", "on": "timed"}
    made = stage(medium, slow, flap, laps="out, 1 timed, cool, 1 timed, in")
    made.leave(200)
    t = 200.0
    for _ in range(6):
        lap_s = rng.uniform(95, 160)
        for loop, share in (("1", 0.3), ("2", 0.7), ("line", 1.0)):
            if rng.random() < 0.9:
                made.cross(t + lap_s * share, loop)
            if rng.random() < 0.1:
                made.status(made.now, rng.choice(["yellow", "green", "slow"]))
            taken: dict[float, int] = {}
            for call in made.car.book.outstanding():
                assert call.spec.say_from_s <= call.spec.say_by_s + 1e-9
                assert call.spec.medium in (medium, "two_way")
                if call.spec.board and call.spec.against is None and call.spec.latest_s is not None:
                    at = round(call.spec.latest_s, 1)
                    taken[at] = taken.get(at, 0) + len(call.spec.board)
            assert all(lines <= MOST_LINES for lines in taken.values()), taken
        t += lap_s


def test_switches_go_up_in_twos_each_from_a_line_of_its_own() -> None:
    """Three changes at one line: the two that the first board holds, then the third; a figure never stands with another
    switch, and each board asks for what it shows."""
    made = stage("board")
    made.drive(200, 125)
    at = situation(made.car, made.session.clock, made.now)
    positions: dict[str, Any] = {"brake_bias": 54.0, "flap": "open", "torque_map": 3}
    ask = Ask(action="set_switch", positions=positions)
    spec = CallSpec("s", "switch", "x", "bias two down, flap open, torque 3", 350, 360, 2, 0, ask=ask, leg=2,
                    place="line", act_at_s=at.legs[1].start_s + 1)  # fmt: skip
    found = list(convey(at, [spec]))
    assert [(one.key, one.board, one.ask.positions, one.ask.switch) for one in found] == [
        ("s", ("BIAS 2", "DOWN", "FLAP OPEN"), {"brake_bias": 54.0, "flap": "open"}, None),
        ("s-1", ("TRQ 3",), {}, "torque_map"),
    ]
    assert [one.against for one in found] == [None, "the board is full: BIAS 2 / DOWN / FLAP OPEN"]


def test_what_must_have_changed_by_the_first_line_is_told_in_the_garage() -> None:
    """Before leaving, face to face; on track it is not asked for again."""
    defaults = [{"position": 2, "lap": "out"}]
    switches = [one | ({"default": 3, "defaults": defaults} if one["switch"] == "torque_map" else {})
                for one in SWITCHES]  # fmt: skip
    run = {**MAIN, "laps": "out, 2 timed, in"}
    made = Stage(setup(plan(run, medium="board"), cars={CAR: car_file(switches=switches)})).green().wait(20)
    spec = made.call("main-1-1-switch-0").spec
    assert (spec.text, spec.lap, spec.medium) == ("On the out-lap, before the line: torque 3.", "garage", "two_way")
    made.wait(spec.say_from_s + 2)
    made.command("said", call=made.call("main-1-1-switch-0").id)
    made.leave(300)
    made.wait(330)
    (call,) = [call for call in made.car.book.calls.values() if "1-1-switch" in call.id]
    assert call.state in ("said", "done")


def test_a_car_that_stays_out_is_shown_the_box_at_its_next_pass() -> None:
    """The board hung, and the driver went on: that lap is lost, and the board for the pass after it is asked for while
    the car is still on it, in time to put it together; the car that comes in then needs no other."""
    made = stage("board", laps="out, 1 timed, in")
    t = made.drive(200, 125)
    made.wait(made.car.legs[0].end_s - READY_BEFORE_S - 1)
    made.command("said", call=made.call("box-1-0-again").id)
    t = made.lap(made.lap(t, 100), 100)
    begins = made.car.legs[0].end_s
    assert made.car.legs[0].start_s == pytest.approx(t)
    spec = made.call("box-1-2-again").spec
    assert (spec.board, spec.say_by_s) == (("BOX",), pytest.approx(begins - READY_BEFORE_S))
    assert spec.lead_s >= made.car.setup.calls.lead_s
    assert spec.act_at_s is not None
    assert begins + 60 < spec.act_at_s < begins + 130
    made.wait(spec.say_by_s - 1)
    made.command("said", call=made.call("box-1-2-again").id)
    t = made.lap(t, 100)
    made.home(t)
    assert made.call("box-1-2-again").state == "done"
    assert not made.has_call("box-1-3")


def test_a_box_board_that_nobody_hung_is_not_done_by_coming_in_laps_later() -> None:
    """The first board never hung and the car went on; the second brought it in. That says nothing of the first."""
    made = stage("board", laps="out, 1 timed, in")
    t = made.lap(made.lap(made.drive(200, 125), 100), 100)
    made.wait(made.call("box-1-2-again").spec.say_by_s - 1)
    made.command("said", call=made.call("box-1-2-again").id)
    made.home(made.lap(t, 100))
    states = {call.spec.key: call.state for call in of_kind(made, "box")}
    assert states["main-box-1-2-again"] == "done"
    assert "done" not in {state for key, state in states.items() if key != "main-box-1-2-again"}


def test_a_box_board_that_hung_in_time_is_not_asked_for_again_on_the_in_lap() -> None:
    """One board, one prompt: while the driver does as it says nothing else is asked of the crew."""
    made = stage("board", laps="out, 1 timed, in")
    t = made.drive(200, 125)
    made.wait(made.car.legs[0].end_s - READY_BEFORE_S - 1)
    made.command("said", call=made.call("box-1-0-again").id)
    made.home(made.lap(t, 100))
    assert {call.spec.key for call in of_kind(made, "box")} == {"main-box-1-0-again"}


def test_a_box_command_says_when_its_board_can_hang() -> None:
    """On the lap nobody can be shown anything any more: the answer says so, and the box call is for the next pass."""
    made = stage("board", laps="out, 5 timed, in")
    made.wait(made.drive(200, 125, 100) + 40)
    answered = made.command("box")
    assert isinstance(answered, Answered)
    assert answered.effect == ("main: no board can be shown for this lap any more: the box moves one lap, its board "
                               "hangs at the next pass")
    spec = made.call("box-1-1-again").spec
    assert spec.board == ("BOX",)
    assert made.now < spec.say_by_s < made.car.legs[0].end_s


def test_an_installation_lap_is_boxed_in_the_garage() -> None:
    """No board is passed before the pit entry: the driver is told before leaving, face to face, and once; one who goes
    on all the same is shown the board at the next pass."""
    checks = {"run": "checks", "want": "must", "laps": "out, in", "after_garage_s": 300}
    made = Stage(setup(plan(checks, medium="board"))).green().wait(30)
    (call,) = of_kind(made, "box")
    assert (call.spec.lap, call.spec.medium) == ("garage", "two_way")
    made.command("said", call=call.id)
    made.leave(200)
    made.wait(300)
    assert of_kind(made, "box") == [call]
    t = made.lap(200, 125, from_exit=True)
    made.wait(t + 1)
    boards = [one for one in of_kind(made, "box") if one.spec.medium == "board" and one.open]
    assert [one.spec.say_by_s for one in boards] == [pytest.approx(made.car.legs[0].end_s - READY_BEFORE_S)]


def test_a_car_that_does_not_come_in_from_its_installation_lap_is_an_alert_and_no_missed_board() -> None:
    """Told in the garage to come straight back in, it crosses the line: that is urgent, with the remedy; no board was
    to hang there, so none was missed, and the one of the next pass brings it in and ends the alert."""
    checks = {"run": "checks", "want": "must", "laps": "out-in", "after_garage_s": 300}
    made = Stage(setup(plan(checks, medium="board"))).green().wait(30)
    made.command("said", call=made.call("straight-in").id)
    made.leave(200)
    t = made.lap(200, 125, from_exit=True)
    made.wait(t + 6)
    (alert,) = [one for one in made.session.alerts.active.values() if one.kind == "stayed_out"]
    assert (alert.priority, alert.text) == ("high", "Car 41 did not come in from its installation lap (checks)")
    assert alert.help == BOX_AT_THE_PASS
    made.wait(made.car.legs[0].end_s - READY_BEFORE_S - 1)
    (board,) = [one for one in of_kind(made, "box") if one.open]
    assert board.spec.board == ("BOX",)
    assert "missed" not in {one.state for one in of_kind(made, "box")}
    made.command("said", call=board.id)
    made.home(made.lap(t, 100))
    made.wait(made.now + 6)
    assert not [one for one in made.session.alerts.active.values() if one.kind == "stayed_out"]


def test_a_car_that_comes_straight_back_in_raises_no_alert() -> None:
    """Nor does one whose run has timed laps."""
    checks = {"run": "checks", "want": "must", "laps": "out-in", "after_garage_s": 300}
    for medium in ("two_way", "board"):
        made = Stage(setup(plan(checks, medium=medium))).green().wait(30)
        made.leave(200)
        made.wait(300)
        made.home(320)
        made.wait(330)
        assert "stayed_out" not in {one.kind for one in made.made(Alert)}
    driven = stage("two_way", laps="out, 1 timed, in")
    driven.wait(driven.drive(200, 125, 100) + 20)
    assert "stayed_out" not in {one.kind for one in driven.made(Alert)}


async def test_in_a_whole_rehearsed_session_every_must_say_call_that_can_be_shown_is_shown() -> None:
    """The demo hour with pit boards: each box call and switch change hangs before its pass, unless it became known when
    the car was at the pit wall already, no three lines were left, or no pass came before it; nothing is read back."""
    rehearsal = load_rehearsal("practice_hour", 11)
    plans = {car: one.model_copy(update={"medium": "board"}) for car, one in rehearsal.setup.plans.items()}
    kept: list[Evidence] = []
    boards = replace(rehearsal, setup=rehearsal.setup.model_copy(update={"plans": plans}))
    await rehearse_instant(boards, witness=kept.append)
    told: dict[str, list[Prompt]] = {}
    for call, prompts in kept[0].recorder.calls.items():
        shown = [out for out in prompts if out.kind in ("box", "switch") and out.medium == "board"]
        told |= {call: shown} if shown else {}
    assert len(told) >= 20
    hung = 0
    for prompts in told.values():
        last = next((one for one in reversed(prompts) if one.state in ("shown", "due")), prompts[-1])
        passes = last.say_by_s + READY_BEFORE_S
        known = prompts[0].t <= passes - HANG_S
        assert last.against is None or prompts[-1].state != "said"
        if last.against is not None or not known:
            continue
        hung += 1
        assert len(last.board) in (1, 2, 3)
        assert any(one.state == "due" and one.t <= passes - HANG_S for one in prompts) or last.state == "shown", last
        assert prompts[-1].state in ("said", "done", "withdrawn", "unconfirmed"), (prompts[-1].call, prompts[-1].state)
    assert hung >= 12


def test_what_hangs_keeps_its_lines_and_only_a_flag_or_the_box_takes_them() -> None:
    """Three switches of one pass, the first said: the next two do not move up into lines that are taken; a call for the
    lap after, such as "push", never hangs beside one for this lap; the box takes the whole board."""
    made = stage("board")
    made.drive(200, 125)
    at = situation(made.car, made.session.clock, made.now)
    number = made.car.track.lap_number + 1

    def switch(key: str, short: str) -> CallSpec:
        return CallSpec(key, "switch", short, short, 0, 9, 2, 0, ask=Ask(action="set_switch"), place="line")

    def found(*specs: CallSpec) -> dict[str, str | None]:
        shared = _shared(at, [(Pass(number, at.now + 60), spec) for spec in specs], made.car.book)
        return {one.key: one.against for one in shared}

    first, second = switch("a", "flap open"), switch("b", "bias two down")
    hung = next(iter(_shared(at, [(Pass(number, at.now + 60), first)])))
    made.car.book.latest["a"] = Call("41-a", CAR, hung, "said", said_t=at.now)
    third = switch("c", "torque 3, flap open")
    assert found(second, third) == {"b": None, "c": "the board is full: FLAP OPEN; BIAS 2 / DOWN"}
    item = CallSpec("i", "procedure", "Cool down.", "cool down", 0, 9, 2, 0)
    push = CallSpec("p", "run", "Push.", "Next lap: push", 0, 9, 2, 0)
    assert found(item, push)["p"] == "it would contradict the board: FLAP OPEN; COOL DOWN"
    box = CallSpec("x", "box", "Box", "Box, box", 0, 9, 2, 0)
    assert found(box, item, push)["x"] is None
    made.car.book.latest.clear()
    assert found(switch("d", "bias 2 down"), push) == {"d": None, "p": "the board is full: BIAS 2 / DOWN"}
    assert found(switch("d", "flap open"), push) == {"d": None, "p": None}, "a run and a switch stand side by side"
    cool = CallSpec("k", "run", "Cool down.", "Cool down, let others by", 0, 9, 2, 0, place="lap start", leg=2)
    both = found(switch("d", "bias 2 down"), cool, altered(push, leg=3))
    assert both == {"k": None, "d": None, "p": "it would contradict the board: COOL DOWN; BIAS 2 / DOWN"}


def test_after_the_flag_a_board_that_cannot_be_shown_is_never_due_as_one_to_show() -> None:
    """The flag falls on the in-lap, with no pass of the pit wall to come: the call is advised against and is not taken
    as done when the car comes in; no box board is asked for after the pit entry."""
    made = stage("board", laps="out, 1 timed, in")
    t = made.lap(made.drive(200, 125), 100)
    made.wait(t + 5)
    made.status(made.now, "finished")
    made.wait(made.now + 8)
    (call,) = of_kind(made, "session")
    assert call.spec.against == NO_PASS
    assert all(one.spec.against is not None for one in made.car.book.outstanding() if one.spec.medium == "two_way")
    assert not made.has_call("box-1-1-again")
    made.home(t)
    assert (call.state, call.said_t) == ("withdrawn", None)


def test_what_the_in_lap_needs_hangs_with_the_box_and_is_believed_from_that_pass_on() -> None:
    """Nothing of the in-lap is shown as the timed lap before it begins, where a driver might act at once; and a board
    that hangs moves no switch before the car has passed it."""
    defaults = [{"position": 2, "lap": "in"}]
    switches = [one | ({"default": 3, "defaults": defaults} if one["switch"] == "torque_map" else {})
                for one in SWITCHES]  # fmt: skip
    run = {**MAIN, "laps": "out, 1 timed, in"}
    made = Stage(setup(plan(run, medium="board"), cars={CAR: car_file(switches=switches)})).green()
    t = made.drive(200, 125)
    made.wait(made.car.legs[0].end_s - READY_BEFORE_S - 1)
    call = made.call("main-1-2-switch-0")
    begins = next(leg.start_s for leg in made.car.legs if leg.kind == "in")
    assert (call.spec.board, call.spec.say_by_s) == (("TRQ 2",), pytest.approx(begins - READY_BEFORE_S))
    made.command("said", call=call.id)
    assert made.car.switches.believed["torque_map"] == 3
    t = made.lap(t, 100)
    made.wait(t + 1)
    assert made.car.switches.believed["torque_map"] == 2


def back_in(made: Stage, laps: str = "out-in") -> float:
    """The car drives its run and comes back; returns the pit entry."""
    t = 200.0
    made.leave(t)
    if laps != "out-in":
        t = made.lap(made.lap(t, 125, from_exit=True), 100)
    return made.home(t, from_exit=laps == "out-in")


@pytest.mark.parametrize(("laps", "on"), [("out-in", "in"), ("out-in", "out"), ("out, 1 timed, in", "out"),
                                          ("out, 1 timed, in", "in")])
def test_a_board_car_is_asked_in_the_garage_once_it_is_back(laps: str, on: str) -> None:
    """What nobody can ask on track is asked face to face as the car stands, and its answer makes the item done."""
    made = stage("board", {"do": "asked", "on": on, "want": "must"}, laps=laps)
    t = back_in(made, laps)
    made.wait(t + 60)
    assert not of_kind(made, "question"), "it still stands in the pit lane"
    made.wait(t + 95)
    (call,) = of_kind(made, "question")
    assert (call.spec.text, call.spec.place, call.spec.medium, call.state) == ("Any alarm?", "garage", "two_way", "due")
    effect(made.command("said", call=call.id))
    made.wait(made.now + 20)
    (item,) = made.car.progress.runs[0].items
    assert item.state == "called"
    effect(made.command("confirm", call=call.id))
    assert (item.state, item.reason) == ("done", "confirmed, desk")
    made.wait(made.now + 200)
    assert len(of_kind(made, "question")) == 1


def test_a_question_that_nobody_asks_stands_until_the_car_leaves() -> None:
    """It is told anew, and then it was not done: its lap was driven without a call for it."""
    made = stage("board", {"do": "asked", "on": "in"}, laps="out, 1 timed, in")
    t = back_in(made, "out, 1 timed, in")
    made.wait(t + 600)
    (call,) = of_kind(made, "question")
    assert call.state == "due"
    made.leave(made.now + 1)
    made.wait(made.now + 20)
    (item,) = made.car.progress.runs[0].items
    assert (item.state, item.reason) == ("not_done", "its lap was driven without a call for it")
    assert call.at_rest or call.state == "unconfirmed"


@pytest.mark.parametrize("keyed", [True, False])
def test_a_comment_answers_what_was_asked_in_the_garage(keyed: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    """With or without the key of the question: it is off the list, and probably done as on track. Whether the comment
    stands is the debrief's to see."""
    monkeypatch.setitem(LIBRARY, "asked", ASKED.model_copy(update={"done_when": ("comment", "driver")}))
    made = stage("board", {"do": "asked", "on": "in"}, laps="out, 1 timed, in")
    made.wait(back_in(made, "out, 1 timed, in") + 95)
    (call,) = of_kind(made, "question")
    if keyed:
        effect(made.command("said", call=call.id))
    effect(made.command("comment", made.now + 10, shorthand="us t4"))
    made.wait(made.now + 200)
    (item,) = made.car.progress.runs[0].items
    assert (call.state, item.state) == ("done", "probably_done")
    assert of_kind(made, "question") == [call]


@pytest.mark.parametrize("medium", ["one_way", "two_way"])
def test_a_car_with_a_radio_is_asked_on_track_alone(medium: str) -> None:
    """Its question was asked on the way in, or its window passed there."""
    made = stage(medium, {"do": "asked", "on": "in"}, laps="out, 1 timed, in")
    made.wait(back_in(made, "out, 1 timed, in") + 300)
    assert {call.spec.place for call in of_kind(made, "question")} == {"lap start"}


@pytest.mark.parametrize(("later", "stays"), [
    ({"status": "green"}, False), ({"status": "yellow", "scope": ("4",)}, True),
])  # fmt: skip
def test_later_news_of_the_same_takes_the_place_of_a_board_that_hangs(later: dict[str, Any], stays: bool) -> None:
    """RED FLAG was hung out and is over before the car passes: TRACK GREEN hangs in its place, and leaves a line to
    the calls that come after it. News of a sector stands beside it."""
    made = stage("board", laps="out, 3 timed, in")
    begin = made.drive(200, 125)
    made.wait(begin + 20)
    made.status(made.now, "red")
    first = made.call("session-1")
    made.command("said", made.now + 3, call=first.id)
    made.status(made.now + 5, later.get("status"), **{key: one for key, one in later.items() if key != "status"})
    news = made.call("session-2")
    assert news.spec.pass_number == first.spec.pass_number
    hung = made.car.book.latest
    at = situation(made.car, made.session.clock, made.now)
    room = altered(news.spec, key="x", kind="switch", short="brake", ask=Ask(action="none"))
    shown = [(Pass(news.spec.pass_number or 0, at.legs[0].end_s), spec) for spec in (news.spec, room)]
    assert hung[first.spec.key].state in ("said", "done")
    found = {spec.key: spec.against for spec in _shared(at, shown, made.car.book)}
    assert found[news.spec.key] is None
    assert (found["x"] is None) is not stays


@pytest.mark.parametrize("status", ["red", "slow", "yellow"])
def test_news_waits_on_the_desk_until_its_board_is_to_hang(status: str) -> None:
    """The flag comes just behind the pit wall, a lap before the next pass: until then whoever hangs the board has it
    before his eyes, and only then it may have hung without a key."""
    made = stage("board", laps="out, 3 timed, in")
    passed = made.drive(200, 125)
    made.status(passed + 5, status)
    passes = made.car.legs[0].end_s
    made.wait(passes - READY_BEFORE_S - 1)
    (news,) = of_kind(made, "session")
    assert (news.state, news.spec.pass_number) == ("due", made.car.track.lap_number + 1)
    made.wait(passes - HANG_S)
    assert news.state == "unconfirmed"
    made.cross(passes)
    made.wait(passes + 40)
    assert of_kind(made, "session") == [news]


@pytest.mark.parametrize(("keys", "again"), [(0, False), (3, True)])
def test_news_on_a_board_is_asked_for_anew_only_where_keys_tell_that_it_did_not_hang(keys: int, again: bool) -> None:
    """The radio desk hears the garage, and nobody ever speaks to a board: its silence says nothing. Who presses keys,
    and pressed none as the car passed, has not hung it."""
    made = stage("board", laps="out, 3 timed, in")
    made.handle(ChannelReported(id="talk", t=made.now, car=CAR, talking="nobody"))
    made.wait(30)
    for call in [one for one in made.car.book.calls.values() if one.open][:keys]:
        made.command("said", made.now, call=call.id)
    assert made.car.book.keys == keys
    passed = made.drive(200, 125)
    made.status(passed + 5, "slow")
    made.status(made.now + 20, "green")
    passes = made.car.legs[0].end_s
    made.cross(passes)
    made.wait(passes + 60)
    told = [call.spec.pass_number for call in of_kind(made, "session") if call.spec.key.endswith("-green")]
    assert (made.car.track.lap_number + 1 in told) is again
    assert again or told == [made.car.track.lap_number]
