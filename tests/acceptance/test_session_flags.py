"""Race control stops, slows and ends the session: what is withdrawn, what stays owed, and what is said at once."""

from __future__ import annotations

import pytest

from pitwall.engine.transitions import CALL_REST
from pitwall.model.outputs import DeskState, PlanState
from tests.acceptance.script import Script, between
from tests.acceptance.script_car import Car
from tests.acceptance.script_patterns import (
    any_alert,
    clock,
    command,
    forecast_asked,
    has,
    item,
    one_of,
    prompt,
    refused,
    run,
    status,
)
from tests.acceptance.script_plans import HOLD, MORE, STOP, WORK, session

COMPARE = {
    "run": "compare",
    "want": "must",
    "laps": "out, 3 timed, in",
    "shorten_to": 3,
    "after_garage_s": STOP,
    "items": [{"do": "position_compare", "on": {"timed": 2}, "with": {"switch": "diff_exit", "position": 6}}],
}
COOLS = {
    "run": "cools",
    "want": "must",
    "laps": "out, 1 timed, cool, 1 timed, cool, 1 timed, in",
    "after_garage_s": STOP,
    "items": [HOLD | {"on": {"cool": 1}}],
}
SHOWN = one_of("shown", "due")
NOT_BOX = one_of("procedure", "switch", "run", "pace", "question", "brief", "release")
NOT_SESSION = one_of("box", "procedure", "switch", "run", "pace", "question", "brief", "release")


def _red_in_the_second_timed_lap() -> tuple[Script, Car, float]:
    """The comparison's switch was called for the second timed lap; the red flag comes on it, and lasts five minutes."""
    play = session(COMPARE, MORE)
    car = play.car().leaves(60).lap(112).lap(91)
    red = car.starts[2] + 25
    car.comes_in(150)
    play.at(red).push(status("red"))
    play.at(red + 300).push(status("green", pit_exit="open"))
    return play, car, red


def test_red_withdraws_everything_but_session_calls() -> None:
    """At the red flag each call that stands is withdrawn with that reason, the red flag itself is due at once, and
    until the green nothing but session and safety calls is shown."""
    play = session(WORK, MORE)
    car = play.car().leaves(60)
    red = 60 + 15
    car.comes_in(150)
    play.at(red).push(status("red"))
    play.want(prompt(kind="procedure", state=SHOWN), between(60, red))
    play.want(prompt(kind="session", text=has("red flag"), state="due"), between(red, red + 0.01), times=1)
    play.want(prompt(kind="procedure", state="withdrawn", reason="red flag"), between(red, red + 0.01))
    play.never(prompt(kind=NOT_SESSION, state=SHOWN), between(red, red + 300))
    play.never(prompt(state="missed"))
    play.run(until=red + 300)
    standing = [history[-1] for history in play.calls().values()]
    assert [call.call for call in standing if call.state in ("shown", "due")] == []


def test_red_retimes_the_plan_and_asks_the_forecast() -> None:
    """At the red flag the plan is published anew and the forecaster asked at once; at the green it happens again."""
    play, car, red = _red_in_the_second_timed_lap()
    play.want(forecast_asked(), between(red, red + 0.01), times=1)
    play.want(run("compare", state="running"), between(red, red + 0.01))
    play.want(forecast_asked(), between(red + 300, red + 300.01), times=1)
    play.want(run("compare", state="next", reason="red flag"), between(car.t, car.t + 2))
    play.want(run("compare", state="next"), between(red + 300, red + 300.01))
    play.run(until=red + 310)


def test_put_backs_owed_at_a_red_are_read_at_the_next_release_check() -> None:
    """What an item changed and no telemetry shows to be back is owed while the car stands, and the next switch check
    before release names it at its old position; a confirmed check pays it."""
    play, car, red = _red_in_the_second_timed_lap()
    check = prompt(kind="switch", lap="garage", state="due", text=has("diff exit 4"))
    play.want(prompt(kind="switch", text=has("diff exit"), state="due"), between(60, car.starts[2]))
    play.want(check, between(red + 300, red + 420))
    play.whenever(check, 3.0, lambda heard: [command("said", call=heard.call)] if heard.t > red else [])
    play.whenever(check, 5.0, lambda heard: [command("confirm", call=heard.call)] if heard.t > red else [])
    play.run(until=red + 430)
    asked_t = play.heard(check, between(red, red + 430))[0].t
    cards = {line.t: line.what.switches for line in play.lines if isinstance(line.what, DeskState)}
    owed = {t: next(card.owed for card in card_list if card.switch == "diff_exit") for t, card_list in cards.items()}
    assert not any(value for t, value in owed.items() if t < car.starts[1])
    assert all(value for t, value in owed.items() if car.t + 1 < t < asked_t)
    assert not any(value for t, value in owed.items() if t > asked_t + 6)


def test_the_run_broken_off_by_a_red_is_resumed_after_it() -> None:
    """When the exit opens again the same run is fired up and released, with the laps that are left, and comes to its
    end."""
    play, _, red = _red_in_the_second_timed_lap()
    green = red + 300
    leave = prompt(kind="release", run="compare", short="Leave when clear", state="due")
    play.want(prompt(kind="release", run="compare", short="Fire up", state="due"), between(green, green + 60))
    play.want(leave, between(green, green + 90))
    car = play.car().leaves(green + 100).lap(112).lap(91).lap(91).comes_in(106)
    play.want(
        prompt(kind="switch", text=has("diff exit"), lap="timed lap 2", state="due"), between(green, car.starts[1])
    )
    play.want(prompt(kind="box", run="compare", state="due"), between(car.starts[3], car.t))
    play.want(run("compare", state="done", timed_done=3), between(car.t, car.t + 2))
    play.never(prompt(state="missed"))
    play.run(until=car.t + 5)


def test_red_before_the_release_holds_the_garage_calls_back() -> None:
    """Red while the car waits: its garage calls go, nothing is called under red, and after the green fire-up and
    release come with time to do them."""
    play = session(MORE)
    play.at(-20).push(status("red"))
    play.at(200).push(status("green", pit_exit="open"))
    play.actions = [one for one in play.actions if one[0] != 0]
    play.never(prompt(kind="release", state=SHOWN), between(-20, 199.9))
    play.want(prompt(kind="release", short="Fire up", state="due"), between(200, 260))
    play.want(prompt(kind="release", short="Leave when clear", state="due"), between(200, 290))
    play.never(prompt(state="missed"))
    play.run(until=300)
    fire, leave = (
        play.heard(prompt(kind="release", short=short, state="due"), between(200, 300))[0].t
        for short in ("Fire up", "Leave when clear")
    )
    assert fire <= leave


def _hold_on_a_cool_lap(sector: str) -> tuple[Script, Car]:
    """A hold after turn 4 is planned on the first cool-down lap; a yellow comes out in a sector as that lap begins, for
    the length of the lap."""
    play = session(COOLS)
    car = play.car().leaves(60).lap(112).lap(91)
    yellow = car.t + 4
    car.lap(135).lap(91).lap(135).lap(91).comes_in(106)
    play.at(yellow).push(status("yellow", sectors=(sector,)))
    play.at(car.starts[3] - 2).push(status("green", sectors=(sector,)))
    return play, car


def test_yellow_in_the_sector_of_a_hold_moves_it_to_the_next_lap_that_allows_it() -> None:
    """The hold's call is withdrawn for the yellow, the item moves to the second cool-down lap, and is called there."""
    play, car = _hold_on_a_cool_lap("4")
    first, second = between(car.starts[2] + 4, car.starts[3]), between(car.starts[4] - 25, car.starts[5])
    play.want(prompt(place="turn 4", state="withdrawn", reason=has("yellow")), first)
    play.never(prompt(place="turn 4", state=SHOWN), between(car.starts[2] + 4.01, car.starts[3]))
    play.want(item("constant_speed_hold", reason=has("moved to cool-down lap 2")), first)
    play.want(prompt(place="turn 4", state="due"), second)
    play.want(item("constant_speed_hold", state=one_of("done", "probably_done")))
    play.never(prompt(state="missed"))
    play.run(until=car.t + 5)


def test_yellow_elsewhere_leaves_the_hold_alone() -> None:
    """A yellow in a sector far from the hold: its call comes on the planned lap, and is not withdrawn."""
    play, car = _hold_on_a_cool_lap("9")
    play.want(prompt(place="turn 4", state="due"), between(car.starts[2], car.starts[3]))
    play.never(prompt(kind="procedure", state="withdrawn"))
    play.never(prompt(place="turn 4", state=SHOWN), between(car.starts[3], car.t))
    play.run(until=car.t + 5)


@pytest.mark.parametrize("sector", ["4", "9"])
def test_a_yellow_and_its_end_are_told_with_their_sector(sector: str) -> None:
    """The driver on track hears where the yellow is in the next stretch to listen in, and soon that it is clear."""
    play, car = _hold_on_a_cool_lap(sector)
    out, clear = car.starts[2] + 4, car.starts[3] - 2
    play.want(prompt(kind="session", short=has(f"sector {sector} yellow"), state=SHOWN), between(out, out + 0.01))
    play.want(prompt(kind="session", short=has(f"sector {sector} yellow"), state="due"), between(out, out + 10.1))
    play.want(prompt(kind="session", short=has(f"sector {sector} clear"), state="due"), between(clear, clear + 20))
    play.never(any_alert())
    play.run(until=car.t + 5)


def test_pit_exit_closed_under_green_holds_the_release_only() -> None:
    """The exit closes while the track stays green: a waiting car is not told to leave; when it opens, fire-up and
    release are due with time to do them."""
    play = session(MORE, starts_at=-300)
    play.at(-60).push(status(pit_exit="closed"))
    play.at(0).push(status(pit_exit="closed"))
    play.at(240).push(status(pit_exit="open"))
    play.actions.sort(key=lambda one: one[0])
    play.want(clock(status="green", pit_exit="closed"), between(1, 239))
    play.never(prompt(kind="release", short="Leave when clear", state="due"), between(0.01, 239.9))
    play.want(prompt(kind="release", short="Leave when clear", state="due"), between(240, 330))
    play.never(prompt(state="missed"))
    play.run(until=360)


def test_pit_exit_closed_leaves_a_car_on_track_alone() -> None:
    """The exit closes under green while the car runs: none of its calls is withdrawn, box comes as planned."""
    play = session(MORE)
    car = play.car().leaves(60).lap(112).lap(91)
    play.at(car.starts[1] + 20).push(status(pit_exit="closed"))
    car.lap(90)
    in_lap = car.t
    car.comes_in(106)
    play.never(prompt(state="withdrawn"), between(car.starts[1], in_lap))
    play.want(prompt(kind="box", state="due"), between(in_lap, in_lap + 15))
    play.run(until=car.t)


def _flag_on_the_second_timed_lap(told: bool) -> tuple[Script, Car]:
    """A run of four timed laps of which the flag leaves two; with or without a word from race control."""
    four = MORE | {"laps": "out, 4 timed, in"}
    play = session(four, duration_s=600)
    car = play.car().leaves(340).lap(112).lap(91).lap(91)
    if told:
        play.at(600).push(status("finished"))
        play.at(900).push(status("closed"))
    return play, car


def test_the_lap_that_the_flag_ends_is_announced() -> None:
    """Early on the lap that will run over the end the driver hears that the flag falls on it."""
    play, car = _flag_on_the_second_timed_lap(told=True)
    begun = car.starts[2]
    assert begun < 600 < car.starts[3]
    play.want(
        prompt(kind="session", short=has("flag this lap"), state="due"), between(begun, begun + 25)
    )
    play.never(prompt(kind="session", short=has("flag this lap")), between(0, begun - 0.1))
    play.run(until=601)


@pytest.mark.parametrize("told", [True, False], ids=["told by race control", "by time alone"])
def test_the_flag_falls(told: bool) -> None:
    """At the end, told by race control or by time alone: a timed lap that has begun is finished, the in-lap is called
    after it, the rest is withdrawn, and the car is followed home; nothing is missed."""
    play, car = _flag_on_the_second_timed_lap(told)
    car.comes_in(110)
    falls = between(600, 620 if told else 626)
    play.want(clock(status="finished"), between(600, 608))
    play.want(prompt(kind="session", short=has("Flag out"), state="due"), falls)
    # The lap that had begun may be finished; the one after it is the in-lap, and is called as any other.
    line = car.starts[3]
    play.never(prompt(kind=NOT_BOX, state=SHOWN), between(627, line - 0.1))
    play.want(prompt(kind="session", short=has("Chequered flag"), state="due"), between(line, line + 20))
    play.want(prompt(kind="box", state="due"), between(line, car.t), times=2)
    play.never(prompt(kind=NOT_BOX, state=SHOWN), between(line, car.t + 60))
    play.want(prompt(kind="session", short=has("Chequered flag"), state="unconfirmed", reason=has("the car came in")))
    play.never(prompt(state="missed"))
    play.run(until=car.t + 60)


def test_the_session_closes() -> None:
    """Closed: no call stays open, no alert active; what never began is skipped with its reason; a command is refused
    with a sentence, a comment still taken; then nothing wakes pitwall any more."""
    play, car = _flag_on_the_second_timed_lap(told=True)
    car.comes_in(110)
    play.at(940).push(command("box", id="too-late"), command("comment", text="car was fine", id="word"))
    play.want(refused("too-late", reason=has("session is closed")), times=1)
    play.never(prompt(state=one_of(*("shown", "due", "said"))), between(900.01, 2000))
    play.run(until=2000)
    assert {history[-1].state for history in play.calls().values()} <= set(CALL_REST)
    assert play.session.at_rest
    assert not play.session.alerts.active
    assert play.clock.next_t() is None
    assert play.events[-1].received_t < 945


def test_runs_that_never_began_are_skipped_at_the_close() -> None:
    """A plan longer than the session: at the close each run that never began says so."""
    play = session(WORK, MORE, duration_s=300)
    play.at(300).push(status("finished"))
    play.at(320).push(status("closed"))
    play.run(until=400)
    plans = [line.what for line in play.lines if isinstance(line.what, PlanState)]
    assert [(one.state, one.reason) for one in plans[-1].runs] == [("skipped", "the session ended")] * 2
    assert all(found.state in ("not_done", "dropped") for one in plans[-1].runs for found in one.items)
