"""A run as it was planned, from garage to garage: what is called, when, and what becomes of it."""

from __future__ import annotations

import pytest

from pitwall.engine.transitions import CALL_REST
from pitwall.model.outputs import PlanState
from tests.acceptance.script import Script, between
from tests.acceptance.script_car import Car
from tests.acceptance.script_patterns import (
    answered,
    any_alert,
    before,
    command,
    forecast,
    has,
    item,
    lap,
    one_of,
    prompt,
    refused,
    run,
)
from tests.acceptance.script_plans import CHECKS, MORE, WORK, press_every_key, session

LEFT = 380.0


def _drive(play: Script) -> Car:
    """The installation lap and the work run, as planned, at a usual pace."""
    play.car().leaves(20).comes_in(125)
    car = play.car().leaves(LEFT)
    car.lap(112).lap(91).lap(90.5).lap(135).lap(90).comes_in(106)
    return car


def test_garage_calls_come_before_the_car_leaves() -> None:
    """Brief, switch check, fire-up and release are due in this order before each leaving, and the leaving ends them."""
    play = session(CHECKS, WORK)
    car = _drive(play)
    play.want(prompt(kind="brief", run="checks", state="due"), between(-300, -60))
    play.want(prompt(kind="switch", lap="garage", run="checks", state="due"), between(-200, -60))
    play.want(prompt(kind="release", short="Fire up", state="due"), between(-90, 20))
    play.want(prompt(kind="release", short="Leave when clear", run="checks", state="due"), between(0, 19))
    play.want(prompt(kind="release", run="checks", state="done", reason="the car left"), between(20, 20.01), times=2)
    came_in = 20 + (125 * 0.97)
    play.want(prompt(kind="brief", run="work", state="due"), between(came_in, LEFT))
    play.want(prompt(kind="release", short="Leave when clear", run="work", state="due"), between(came_in, LEFT))
    play.never(prompt(kind=one_of("brief", "release"), run="work", state=one_of("shown", "due")), between(LEFT, car.t))
    play.run(until=car.t + 30)


def test_calls_of_the_out_lap_end_before_their_place() -> None:
    """The hold is called so that its words end, with time to react, before turn 4; the laps of the run are told; what
    the first timed lap needs is called before the line."""
    play = session(CHECKS, WORK)
    car = play.car().leaves(LEFT)
    turn_4 = car.at("turn 4", 112)
    car.lap(112).lap(91)
    play.car().leaves(20).comes_in(125)
    play.want(prompt(kind="procedure", run="work", place="turn 4", state="due"), between(LEFT, turn_4 - 5))
    play.want(prompt(kind="switch", run="work", lap="timed lap 1", state="due"), between(LEFT, LEFT + 109))
    laps = has("two timed, cool, one timed")
    play.want(prompt(kind="run", run="work", text=laps, state="due"), between(LEFT, LEFT + 109))
    play.run(until=car.t)
    for call in play.prompts(prompt(place="turn 4", state="due"), between(LEFT, turn_4)):
        assert call.say_by_s + call.spoken_s + 2.0 < turn_4, play.timeline(between(LEFT, turn_4))


def test_box_is_called_at_the_start_of_the_in_lap_and_again_before_the_last_place() -> None:
    """Two box calls on the in-lap and none before it; the second is shown 10 s or more, and less than a lap, before the
    last place from which the pit entry can be taken; coming in settles both."""
    play = session(CHECKS, WORK)
    car = play.car()
    play.car().leaves(20).comes_in(125)
    car.leaves(LEFT).lap(112).lap(91).lap(90.5).lap(135).lap(90)
    in_lap, last = car.t, car.at("last chance", 106)
    car.comes_in(106)
    play.never(prompt(kind="box", run="work", state=one_of("shown", "due")), between(LEFT, in_lap - 25))
    play.want(prompt(kind="box", run="work", state="due"), between(in_lap, in_lap + 15))
    play.want(prompt(kind="box", run="work", state="shown", say_by_s=before(last)), between(in_lap, last - 10))
    play.want(prompt(kind="box", run="work", state="done", reason="the car came in"), between(car.t, car.t + 0.01), 2)
    play.run(until=car.t + 5)


def test_laps_and_runs_are_followed() -> None:
    """Each lap gets its kind at the line or the pit entry, and the plan shows both runs done in full."""
    play = session(CHECKS, WORK)
    car = _drive(play)
    kinds = ("out", "timed", "timed", "cool", "timed")
    for kind, begun, ended in zip(kinds, car.starts, car.starts[1:], strict=False):
        play.want(lap(kind=kind, at="line", start_s=begun), between(ended, ended + 0.01), times=1)
    play.want(lap(kind="in", at="pit"), between(car.t, car.t + 0.01), times=1)
    play.want(lap(kind="installation", at="pit"), times=1)
    play.want(run("checks", state="done"), between(20, 160))
    play.want(run("work", state="running"), between(LEFT, car.t))
    play.want(run("work", state="done", timed_done=3), between(car.t, car.t + 2))
    play.want(item("constant_speed_hold", state=one_of("done", "probably_done")))
    play.want(item("switch_compare", state=one_of("done", "probably_done")))
    play.want(forecast())
    play.run(until=car.t + 5)


@pytest.mark.parametrize("keys", [False, True], ids=["no key", "every key"])
def test_a_clean_run_ends_with_every_call_at_rest_and_no_alert(keys: bool) -> None:
    """Whether the engineer presses every key or none: nothing is missed, nothing alarms, nothing stays open."""
    play = session(CHECKS, WORK)
    if keys:
        press_every_key(play)
    car = _drive(play)
    play.never(prompt(state=one_of("missed", "late")))
    play.never(any_alert())
    play.run(until=car.t + 120)
    left = {name: history[-1].state for name, history in play.calls().items()}
    assert len(left) > 15
    assert set(left.values()) <= set(CALL_REST), left


def test_every_key_is_answered_and_moves_its_call() -> None:
    """Each "said" gets one answer, no refusal, and its call is said or already settled by what telemetry shows."""
    play = session(CHECKS, WORK)
    press_every_key(play)
    car = _drive(play)
    play.never(refused())
    play.never(prompt(state="unconfirmed"))
    play.run(until=car.t + 5)
    given = [line.what for line in play.lines if line.sent and getattr(line.what, "command", "") == "said"]
    assert len(given) > 15
    for fact in given:
        assert len(play.heard(answered(fact.id))) == 1  # type: ignore[union-attr]  # commands have ids


def test_a_bare_said_means_the_call_that_is_due() -> None:
    """One key, no call named: the call now due is said; pressed a second time with nothing due it is refused."""
    play = session(CHECKS)
    play.at(-239).push(command("said", id="first")).push(command("said", id="second"))
    play.want(prompt(kind="brief", state="said", because="first"), between(-239, -238.9))
    play.want(answered("first"), times=1)
    play.want(refused("second", reason=has("no call is due")), times=1)
    play.run(until=-200)


def test_the_last_run_leaves_nothing_to_call() -> None:
    """With the plan done the desk shows no run, no release is called, and the plan says so."""
    play = session(CHECKS, MORE)
    play.car().leaves(20).comes_in(125)
    car = play.car().leaves(400).lap(112).lap(91).lap(90).comes_in(106)
    play.never(prompt(kind=one_of("brief", "release", "switch")), between(car.t + 1, car.t + 600))
    play.run(until=car.t + 600)
    plans = [line.what for line in play.lines if isinstance(line.what, PlanState)]
    assert [one.state for one in plans[-1].runs] == ["done", "done"]
