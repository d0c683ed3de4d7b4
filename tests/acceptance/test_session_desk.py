"""What the desk asks for: one answer to each command, from however many seats, and the effect that was asked for."""

from __future__ import annotations

from collections import Counter
from typing import Any

import pytest

from pitwall.model.events import CommandGiven
from pitwall.model.outputs import Answered, PlanState, Refused
from tests.acceptance.script import Script, between
from tests.acceptance.script_car import Car
from tests.acceptance.script_patterns import (
    alert,
    answered,
    any_alert,
    command,
    desk,
    forecast_asked,
    has,
    item,
    one_of,
    prompt,
    refused,
    run,
    switch,
)
from tests.acceptance.script_plans import CHECKS, HOLD, MORE, WORK, press_every_key, session

SHOWN = one_of("shown", "due")
LEAVE = "Leave when clear"


def _on_the_first_timed_lap(**more: Any) -> tuple[Script, Car]:
    """Car 41 on the first of the work run's timed laps, which began at 172 s."""
    play = session(WORK, MORE, **more)
    return play, play.car().leaves(60).lap(112)


def test_box_brings_the_car_in_on_this_lap() -> None:
    """The engineer calls the car in: box is due at once, the other calls of the run are withdrawn, and when the car
    is in the run is over with what it has."""
    play, car = _on_the_first_timed_lap()
    asked = car.t + 20
    play.at(asked).push(command("box", id="in-now"))
    car.comes_in(100)
    play.want(answered("in-now", effect=has("box this lap")), times=1)
    play.want(prompt(kind="box", state="due", text=has("box")), between(asked, asked + 15))
    play.want(prompt(kind="box", state="done"), between(car.t, car.t + 0.01))
    play.want(forecast_asked(), between(asked, asked + 0.01))
    play.never(prompt(kind=one_of("run", "procedure"), state="due"), between(asked + 0.1, car.t))
    play.never(prompt(state="missed"))
    play.run(until=car.t + 2)


def test_box_shortly_before_the_last_place_is_the_second_call_only() -> None:
    """Called in a few seconds before the last place: one box prompt, due at once or, where the driver listens a moment
    later, then; the first call's time is over, and that is no missed call."""
    play, car = _on_the_first_timed_lap()
    last = car.at("last chance", 91)
    play.at(last - 12).push(command("box"))
    car.comes_in(91)
    play.want(prompt(kind="box", state="due", short="Box, box"), between(last - 12, last - 10), times=1)
    play.never(prompt(kind="box", short="Box this lap"))
    play.never(prompt(state="missed"))
    play.run(until=car.t + 2)


def test_box_after_the_last_place_says_too_late_and_is_called_a_lap_later() -> None:
    """Called in when the entry can no longer be taken: the prompt says to keep silent, and box comes on the next
    lap."""
    play, car = _on_the_first_timed_lap()
    last = car.at("last chance", 91)
    play.at(last + 1).push(command("box"))
    car.lap(91)
    next_lap = car.t
    car.comes_in(106)
    play.want(prompt(kind="box", text=has("say nothing until the car is past it")), between(last + 1, last + 1.1))
    play.never(prompt(kind="box", state="due"), between(last, next_lap - 0.01))
    play.want(prompt(kind="box", state="due", short="Box this lap"), between(next_lap, next_lap + 15))
    play.run(until=car.t + 2)


def test_two_seats_give_the_same_command() -> None:
    """Box from the pit wall and from the garage: the first does it, the second hears that it holds already; box is
    called as once. The same for a call that both say."""
    play, car = _on_the_first_timed_lap()
    asked = car.t + 20
    play.at(asked).push(command("box", by="wall", id="wall"), command("box", by="garage", id="garage"))
    play.at(asked + 11).push(
        command("said", by="wall", id="wall-said"), command("skip", by="x", call="nothing", id="no")
    )
    car.comes_in(100)
    first = prompt(kind="box", short="Box this lap", state="due")
    play.whenever(first, 2.0, lambda heard: [command("said", call=heard.call, by="wall", id="one")])
    play.whenever(first, 2.0, lambda heard: [command("said", call=heard.call, by="garage", id="two")])
    play.want(answered("wall"), times=1)
    play.want(answered("garage", effect=has("already")), times=1)
    play.want(answered("one", effect=has("said")), times=1)
    play.want(answered("two", effect=has("already, by wall")), times=1)
    play.want(refused("no", reason=has("no call 'nothing'")), times=1)
    play.run(until=car.t + 2)
    calls = {one.call for one in play.prompts(first)}
    assert len(calls) == 1


def test_every_command_is_answered_exactly_once() -> None:
    """Each command there is, sensible at its moment or not, under red or in the garage, for our car or another: one
    answer or one refusal with its id, and always with words."""
    play, car = _on_the_first_timed_lap(duration_s=900)
    car.lap(91).lap(90).lap(135).lap(90).comes_in(106)
    names = list(CommandGiven.model_fields["command"].annotation.__args__)  # type: ignore[union-attr]  # a union of Literals
    plain = [name for group in names for name in group.__args__]
    forms: list[dict[str, Any]] = [
        {},
        {"call": "41-work-1-brief"},
        {"call": "no-such-call"},
        {"run": "more"},
        {"run": "nothing"},
        {"laps": 2},
        {"item": "switch_compare"},
        {"alert": "overrun-41"},
        {"text": "rear loose on entry"},
        {"car": "58"},
        {"car": "7"},
    ]
    for number, t in enumerate((-250.0, -10.0, 100.0, 250.0, 400.0, 600.0, 760.0, 905.0)):
        for one, form in enumerate(forms):
            for name in plain:
                play.at(t + 0.01 * one).push(command(name, id=f"{name}-{number}-{one}", **form))
    play.run(until=940)
    given = [line.what.id for line in play.lines if line.sent and isinstance(line.what, CommandGiven)]
    answers = Counter(line.what.because for line in play.lines if isinstance(line.what, Answered | Refused))
    assert len(given) == len(plain) * len(forms) * 8
    assert {name: answers[name] for name in given if answers[name] != 1} == {}
    assert all(line.what.effect for line in play.lines if isinstance(line.what, Answered))
    assert all(line.what.reason for line in play.lines if isinstance(line.what, Refused))


def test_a_command_that_is_repeated_by_the_wire_is_taken_once() -> None:
    """The same message again, under the same id: one answer, one effect."""
    play, car = _on_the_first_timed_lap()
    play.at(car.t + 20).push(command("extend", id="once"), command("extend", id="once"))
    play.at(car.t + 30).push(command("extend", id="once"))
    play.want(answered("once"), times=1)
    play.want(run("work", timed_wanted=4), between(car.t + 20, car.t + 60))
    play.never(run("work", timed_wanted=5))
    play.run(until=car.t + 60)


def test_keep_in_and_let_go() -> None:
    """A car that is kept in is not called to leave however long; let go, it is fired up and released with time to do
    it."""
    play = session(CHECKS)
    play.at(-30).push(command("keep_in", id="keep"))
    play.at(-20).push(command("keep_in", id="keep-again"))
    play.at(300).push(command("let_go", id="go"))
    play.want(answered("keep", effect=has("kept in")), times=1)
    play.want(answered("keep-again", effect=has("already")), times=1)
    play.want(prompt(kind="release", state="withdrawn", reason="kept in"), between(-30, -29.9))
    play.never(prompt(kind="release", state=SHOWN), between(-30, 299.9))
    play.want(desk(kept_in=True), between(-30, 300))
    play.want(prompt(kind="release", short="Fire up", state="due"), between(300, 360))
    play.want(prompt(kind="release", short=LEAVE, state="due"), between(315, 390))
    play.never(prompt(state="missed"))
    play.run(until=400)


def test_keep_in_is_refused_for_a_car_on_track() -> None:
    """A car on track cannot be kept in: the answer names the command that brings it in."""
    play, car = _on_the_first_timed_lap()
    play.at(car.t + 5).push(command("keep_in", id="keep"), command("let_go", id="go"))
    play.want(refused("keep", reason=has("'box' brings it in")), times=1)
    play.want(answered("go", effect=has("not kept in")), times=1)
    play.run(until=car.t + 10)


@pytest.mark.parametrize(("name", "by", "wanted"), [("extend", 2, 5), ("shorten", 1, 2)])
def test_extend_and_shorten_move_the_box(name: str, by: int, wanted: int) -> None:
    """More or fewer timed laps: the plan says so at once, the forecast is asked, and box comes on the lap after
    them."""
    play, car = _on_the_first_timed_lap()
    asked = car.t + 20
    play.at(asked).push(command(name, laps=by, id="change"))
    laps = [91.0, 90.0, 135.0, 90.0, 90.0, 90.0][: wanted + 1]  # two timed laps, the cool-down lap, then what is left
    for seconds in laps:
        car.lap(seconds)
    in_lap = car.t
    car.comes_in(106)
    play.want(answered("change", effect=has(f"{wanted} timed laps")), times=1)
    play.want(run("work", timed_wanted=wanted), between(asked, asked + 1))
    play.want(forecast_asked(), between(asked, asked + 0.01))
    play.never(prompt(kind="box", state=SHOWN), between(asked, in_lap - 25))
    play.want(prompt(kind="box", state="due"), between(in_lap, in_lap + 15))
    play.want(run("work", state="done"), between(car.t, car.t + 2))
    play.run(until=car.t + 2)


def test_quiet_leaves_session_and_box_calls_only_and_ends_with_the_same_key() -> None:
    """Quiet: calls that stand go, nothing but session, safety and box calls comes; again: all calls are back."""
    play, car = _on_the_first_timed_lap()
    car.lap(91).lap(90)
    cool = car.t
    car.lap(135).lap(90)
    in_lap = car.t
    car.comes_in(106)
    play.at(cool - 30).push(command("quiet", id="on"))
    play.at(in_lap + 0.5).push(command("quiet", id="off"))
    play.never(
        prompt(kind=one_of("switch", "run", "question", "pace", "procedure"), state=SHOWN),
        between(cool - 29, in_lap + 0.4),
    )
    play.want(desk(quiet=True), between(cool - 30, in_lap))
    play.want(prompt(kind="box", state="due"), between(in_lap, in_lap + 15))
    play.want(prompt(kind=one_of("switch", "pace"), state=SHOWN), between(in_lap + 0.5, in_lap + 30))
    play.run(until=car.t)


def test_a_skipped_call_is_not_asked_again_and_its_item_is_not_done() -> None:
    """The engineer skips the hold: the call rests, and the item says that it was not done and why."""
    play = session(WORK)
    play.car().leaves(60).lap(112).lap(91)
    hold = prompt(place="turn 4", state="due")
    play.whenever(hold, 1.0, lambda heard: [command("skip", call=heard.call, by="desk", id="skip-it")])
    play.want(answered("skip-it"), times=1)
    play.want(prompt(place="turn 4", state="skipped", because="skip-it"), times=1)
    play.want(item("constant_speed_hold", state="not_done", reason=has("skipped by desk")))
    play.run(until=240)


def test_a_deferred_procedure_comes_back_on_the_next_lap_that_allows_it() -> None:
    """Deferred on the first cool-down lap, the hold is called on the second."""
    cools = WORK | {"laps": "out, 1 timed, cool, 1 timed, cool, 1 timed, in", "items": [HOLD | {"on": {"cool": 1}}]}
    play = session(cools)
    car = play.car().leaves(60).lap(112).lap(91).lap(135).lap(91).lap(135)
    first, second = between(car.starts[2] - 25, car.starts[3]), between(car.starts[4] - 25, car.t)
    hold = prompt(place="turn 4", state="due")
    play.whenever(hold, 0.5, lambda heard: [command("defer", call=heard.call)] if heard.t < car.starts[3] else [])
    play.want(prompt(place="turn 4", state="withdrawn", reason=has("deferred")), first)
    play.want(hold, second)
    play.run(until=car.t)


def test_a_box_call_cannot_be_deferred() -> None:
    """Deferring a box call is refused, and the refusal says what to do instead."""
    play, car = _on_the_first_timed_lap()
    play.at(car.t + 20).push(command("box"))
    box = prompt(kind="box", state="due", short="Box this lap")
    play.whenever(box, 1.0, lambda heard: [command("defer", call=heard.call, id="later")])
    play.want(refused("later", reason=has("skip it, or change the plan")), times=1)
    play.run(until=car.t + 60)


def test_said_and_confirmed_is_done() -> None:
    """The read-back came: the call that was said is done, by the word of the desk."""
    play = session(CHECKS)
    press_every_key(play)
    brief = prompt(kind="brief", state="said")
    play.whenever(brief, 4.0, lambda heard: [command("confirm", call=heard.call, id="read-back")])
    play.want(answered("read-back", effect=has("confirmed")), times=1)
    play.want(prompt(kind="brief", state="done", because="read-back"), times=1)
    play.run(until=-200)


def test_repeat_makes_a_said_call_due_again() -> None:
    """The driver did not hear: the call is due once more, under the same call id with a later revision."""
    play = session(CHECKS)
    press_every_key(play)
    play.at(-230).push(command("repeat", call="41-checks-1-brief", id="again"))
    play.want(answered("again", effect=has("due again")), times=1)
    play.want(prompt(call="41-checks-1-brief", state="due"), between(-230, -229.9), times=1)
    play.run(until=-220)
    revisions = [one.revision for one in play.prompts(prompt(call="41-checks-1-brief"))]
    assert revisions == sorted(set(revisions))


def test_an_alert_is_acknowledged_once() -> None:
    """A hand takes note of an alert: it is published as acknowledged; a second hand hears that it is."""
    play, car = _on_the_first_timed_lap()
    play.at(car.t - 1).push(switch("torque_map", 1))  # too late for a call
    known = "switch-wrong-41-torque_map"
    play.at(car.t + 5).push(command("acknowledge", alert=known, by="one", id="first"))
    play.at(car.t + 6).push(command("acknowledge", alert=known, by="two", id="second"))
    play.at(car.t + 7).push(command("acknowledge", alert="no-such-alert", id="third"))
    play.want(alert("switch_wrong", id=known, acknowledged=False), between(car.t, car.t + 0.01))
    play.want(answered("first", effect=has("acknowledged")), times=1)
    play.want(alert("switch_wrong", acknowledged=True, because="first"), between(car.t + 5, car.t + 5.01), times=1)
    play.want(answered("second", effect=has("already")), times=1)
    play.want(refused("third"), times=1)
    play.run(until=car.t + 10)


def test_an_engineer_who_never_presses_a_key_raises_no_alert_and_misses_nothing() -> None:
    """A whole plan without a key, the cars doing as planned: calls are unconfirmed or settled by what was seen; none is
    missed, no alert rises."""
    play = session(CHECKS, WORK, MORE)
    first = play.car().leaves(20).comes_in(125)
    second = play.car().leaves(first.t + 250).lap(112).lap(91).lap(90).lap(135).lap(90).comes_in(106)
    last = play.car().leaves(second.t + 250).lap(110).lap(90).lap(90).comes_in(106)
    play.never(prompt(state=one_of("missed", "late")))
    play.never(any_alert())
    play.run(until=last.t + 60)
    plans = [line.what for line in play.lines if isinstance(line.what, PlanState)]
    assert [one.state for one in plans[-1].runs] == ["done"] * 3
