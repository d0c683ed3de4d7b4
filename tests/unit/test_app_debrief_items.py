"""What a debrief says of items: comments asked for, halves of an out-and-in run, and what nobody confirmed."""

from __future__ import annotations

from typing import Any

import pytest

from pitwall.app.debriefing import debrief
from pitwall.debrief.model import CarDebrief
from pitwall.engine.calls import SETTLED
from pitwall.model.outputs import Prompt
from pitwall.model.procedure import Procedure
from tests.unit.engine_stage import CAR, CHECKS, MAIN, PROCEDURES, plan, setup
from tests.unit.test_app_next_plan import BOTH, Kept

ASKS = Procedure.model_validate({
    "procedure": 1, "purpose": "test", "name": "comment", "laps": ["cool", "in"], "done_when": ["comment", "driver"],
    "data_window": "none",
    "steps": [{"say": "Comment please.", "short": "Comment", "kind": "question", "where": "lap_start", "offset_s": 14,
               "reaction_s": 2}]})  # fmt: skip
HALVES = Procedure.model_validate({
    "procedure": 1, "purpose": "test", "name": "look", "laps": ["out", "in", "installation"],
    "steps": [{"say": "Anything on the pedals?", "short": "Pedals?", "where": "lap_start", "offset_s": 30}]})
TALKATIVE = MAIN | {"items": [{"do": "comment", "on": "in", "want": "must"}]}


def staged(*runs: dict[str, Any]) -> Kept:
    """The green light with these runs, and procedures that ask."""
    known = PROCEDURES | {"comment": ASKS, "look": HALVES}
    return Kept(setup(plan(*runs), regulations=BOTH).model_copy(update={"procedures": known})).green()


def car_of(made: Kept) -> CarDebrief:
    """The debrief of the car after the session was closed."""
    return debrief(made.close().facts, "test").cars[0]


def asked(made: Kept) -> float:
    """Out, two timed laps and in; on the in-lap the driver is asked and the key of the call is pressed."""
    t = made.leave(200).lap(200, 125, from_exit=True)
    for seconds in (100, 100):
        t = made.lap(t, seconds)
    made.wait(t + 15)
    told = [one for one in made.outputs if isinstance(one, Prompt) and (one.ask.item or "").endswith("comment-3")]
    assert told, "the question is due on the in-lap"
    made.command("said", call=told[-1].call)
    return made.home(t)


@pytest.mark.parametrize("noted", [True, False])
def test_a_question_for_a_comment_is_done_once_a_comment_is_noted(noted: bool) -> None:
    """Said is not answered: without a comment of that run the item is probably done at most, and says why."""
    made = staged(TALKATIVE)
    end = asked(made)
    if noted:
        made.wait(end + 5)
        made.command("comment", text="it understeers")
    made.wait(end + 200)
    item = car_of(made).items[0]
    if noted:
        assert (item.outcome, item.reason) == ("done", "comment 1 was noted")
    else:
        assert item.outcome == "probably_done"
        assert "no comment of this run was noted" in item.reason
        assert SETTLED not in item.reason


def test_a_comment_of_before_the_question_is_no_answer() -> None:
    """What the driver said on his first timed lap was not said because he was asked on the way in."""
    made = staged(TALKATIVE)
    made.leave(200)
    made.wait(210)
    made.command("comment", text="cold tyres")
    t = made.lap(200, 125, from_exit=True)
    for seconds in (100, 100):
        t = made.lap(t, seconds)
    made.home(t)
    assert car_of(made).items[0].outcome != "done"


def test_halves_of_an_out_and_in_run_have_their_own_lap() -> None:
    """A car that stayed out and came in a lap later: the in-lap's check has that lap's window."""
    made = staged(CHECKS | {"items": [{"do": "look", "on": "out"}, {"do": "look", "on": "in"}]})
    t = made.leave(200).lap(200, 125, from_exit=True)
    made.home(t, 140)
    car = car_of(made)
    laps = {lap.number: lap for lap in car.laps if lap.run == "checks"}
    assert [lap.kind for lap in laps.values()] == ["out", "in"]
    assert car.car == CAR
    windows = {window.item: laps[window.lap_number].kind for window in car.data_windows}
    assert windows == dict(zip((item.item for item in car.items), ("out", "in"), strict=True))


def test_the_window_of_what_nobody_confirmed_says_so() -> None:
    """Its times are as sure as the loops; whether anything was done between them is not."""
    made = staged(CHECKS | {"items": [{"do": "look", "on": "in"}]})
    made.home(made.leave(200).now, 140, from_exit=True)
    car = car_of(made)
    assert {item.outcome for item in car.items} == {"probably_done"}
    assert [window.evidence_text.startswith("if it was done: ") for window in car.data_windows] == [True]


def test_what_was_answered_on_the_out_lap_has_its_data_there() -> None:
    """The check for the in-lap of an out-and-in run was said and answered at once; then the car stayed out. Its time
    and its data lie on the same lap, and the run says that the car stayed out."""
    made = staged(CHECKS | {"items": [{"do": "look", "on": "in"}]})
    made.leave(200).wait(216)
    call = made.call("look").id
    made.command("said", call=call)
    made.wait(240)
    made.command("confirm", call=call)
    t = made.lap(200, 125, from_exit=True)
    made.home(t, 140)
    car = car_of(made)
    (item,), (window,) = car.items, car.data_windows
    lap = next(lap for lap in car.laps if lap.number == window.lap_number)
    assert item.outcome == "done"
    assert item.t is not None
    assert lap.start_s <= item.t < lap.end_s
    assert (lap.kind, window.lap) == ("out", "in-lap, done on the out-lap")
    assert car.runs[0].reason == "the car stayed out 1 lap beyond the in-lap"


def test_a_car_that_came_straight_in_stayed_out_for_no_lap() -> None:
    """Out and in is one lap."""
    made = staged(CHECKS)
    made.home(made.leave(200).now, 140, from_exit=True)
    assert car_of(made).runs[0].reason == ""
