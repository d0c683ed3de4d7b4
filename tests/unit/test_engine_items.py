"""What becomes of items: from their calls, their laps, and laps that went another way."""

from __future__ import annotations

from typing import Any

import pytest

from pitwall.engine import items
from pitwall.engine.call import Call, CallSpec
from pitwall.engine.calls import SETTLED
from pitwall.engine.progress import SESSION_ENDED, PlanProgress, RunState
from pitwall.model.procedure import Procedure
from tests.unit.engine_stage import MAIN, PROCEDURES, plan


def running(*rows: dict[str, Any], laps: str = "out, 2 timed, cool, 1 timed, in") -> tuple[PlanProgress, RunState]:
    """A run with these items, the car on its out-lap."""
    made = PlanProgress(plan(MAIN | {"laps": laps, "items": list(rows)}))
    state = made.leave(100)
    assert state is not None
    return made, state


def call(state: RunState, call_state: str, reason: str | None = None) -> Call:
    """A call that belongs to the first item, in this state."""
    spec = CallSpec("k", "procedure", "Text.", "Short", 1, 2, 1, 1, item=state.items[0].key)
    return Call("41-k", "41", spec, state=call_state, reason=reason)  # type: ignore[arg-type]  # one of the states


WARM_UP = {"do": "flap_lap", "on": "out"}
LIBRARY = {**PROCEDURES, "flap_lap": PROCEDURES["flap_lap"].model_copy(update={"data_window": "lap"})}
HOLD = {"do": "hold", "on": "out", "after": "bridge"}


@pytest.mark.parametrize(("call_state", "item_state"), [
    ("shown", "planned"), ("due", "planned"), ("said", "called"), ("late", "called"), ("unconfirmed", "called"),
    ("done", "done"), ("skipped", "not_done"),
])  # fmt: skip
def test_an_item_follows_its_call(call_state: str, item_state: str) -> None:
    """Made in whatever way: called. Shown to be done: done. Skipped: not done."""
    made, state = running(HOLD)
    items.call_moved(made.runs, call(state, call_state), PROCEDURES, 0, 50)
    assert state.items[0].state == item_state
    assert state.items[0].t == (50 if item_state != "planned" else None)


@pytest.mark.parametrize("drives", [True, False])
@pytest.mark.parametrize("why", [SETTLED, "confirmed, ann"])
def test_what_was_told_in_the_garage_is_done_on_its_lap(why: str, drives: bool) -> None:
    """A car on a pit board is told of its out-lap in the garage. A minute later nothing speaks against that, and it
    may be read back: done it is once the out-lap is driven, and not at all where the run never was."""
    made = PlanProgress(plan(MAIN | {"laps": "out, 2 timed, in", "items": [WARM_UP]}))
    state = made.runs[0]
    for call_state, reason in (("said", None), ("done", why)):
        items.call_moved(made.runs, call(state, call_state, reason), LIBRARY, 0, 50)
    assert (state.items[0].state, state.items[0].reason) == ("called", "said")
    if drives:
        made.leave(100)
        state.pointer = 1
        items.lap_over(state, 0, LIBRARY, 220)
        assert (state.items[0].state, state.items[0].reason, state.items[0].t) == ("done", why, 220)
    else:
        made.skip_what_cannot_be(4000)
        assert (state.state, state.items[0].state, state.items[0].reason) == ("skipped", "not_done", SESSION_ENDED)


def test_a_lost_call_moves_its_item_to_the_next_lap_that_allows_it() -> None:
    """Missed or withdrawn: tried again on the next lap of a kind that the item itself names, with the reason."""
    made, state = running({"do": "hold", "on": "cool", "after": "bridge"})
    items.call_moved(made.runs, call(state, "missed", "too late"), PROCEDURES, 3, 50)
    assert (state.items[0].leg, state.items[0].attempt, state.items[0].state) == (3, 0, "planned"), "no lap is left"
    made, state = running({"do": "flap_lap", "on": {"timed": 1}})
    items.call_moved(made.runs, call(state, "withdrawn", "yellow flag"), PROCEDURES, 1, 50)
    assert (state.items[0].leg, state.items[0].attempt) == (2, 1)
    assert state.items[0].reason == "moved to timed lap 2: yellow flag"


def test_an_item_whose_lap_passed_without_a_call_says_so() -> None:
    """Nobody called for it, and nothing is known of why: that is the reason, for there is always one."""
    _, state = running({"do": "flap_lap", "on": {"timed": 1}})
    state.pointer = 2
    items.lap_over(state, 1, PROCEDURES, 300)
    assert (state.items[0].state, state.items[0].reason) == ("not_done", "its lap was driven without a call for it")


def test_a_red_flag_moves_nothing() -> None:
    """The run is broken off anyway: its items stay where they are for the resumed run."""
    made, state = running({"do": "flap_lap", "on": {"timed": 1}})
    items.call_moved(made.runs, call(state, "withdrawn", "red flag"), PROCEDURES, 1, 50)
    assert (state.items[0].leg, state.items[0].attempt) == (1, 0)


def test_no_lap_holds_the_same_procedure_twice() -> None:
    """The next lap has the item already: the one after it is taken, and none where there is none."""
    _, state = running({"do": "flap_lap", "on": {"timed": [1, 2]}})
    first, second = state.items
    assert items.next_leg(state, first, PROCEDURES["flap_lap"], 1) == 4
    assert items.next_leg(state, second, PROCEDURES["flap_lap"], 4) is None


def test_an_item_without_laps_of_its_own_goes_where_its_procedure_may() -> None:
    """Named nowhere: the procedure's kinds decide."""
    _, state = running({"do": "comment"})
    assert items.next_leg(state, state.items[0], PROCEDURES["comment"], 0) == 3


def test_a_call_of_no_item_moves_none() -> None:
    """A box call, or an item that is no longer there."""
    made, state = running(HOLD)
    spec = CallSpec("box", "box", "Box.", "Box", 1, 2, 1, 1)
    items.call_moved(made.runs, Call("41-box", "41", spec, state="done"), PROCEDURES, 0, 50)
    assert state.items[0].state == "planned"
    assert items.find_item(made.runs, None) is None
    assert items.find_item(made.runs, state.items[0].key) == (state, state.items[0])


def test_a_lap_behind_the_car_settles_its_items() -> None:
    """Called: probably done. Not called: not done. Items of other laps wait."""
    _, state = running(HOLD, {"do": "radio_check", "on": "out"}, {"do": "comment", "on": "in"})
    state.items[0].signal("call", 50)
    items.lap_over(state, 0, PROCEDURES, 60)
    assert [item.state for item in state.items] == ["probably_done", "not_done", "planned"]


COOL = Procedure.model_validate({
    "procedure": 1, "name": "cool_lap", "purpose": "test", "laps": ["cool"], "data_window": "lap",
    "steps": [{"say": "Cool the tyres.", "short": "Cool", "where": "lap_start"}]})


@pytest.mark.parametrize("said", ["call", "confirm"])
def test_a_cool_down_lap_that_was_driven_timed_is_not_done(said: str) -> None:
    """Whoever said so: a whole cool-down lap is no data where a timed lap was driven in its place. Where another
    cool-down lap follows it is told anew for that one, and what was said of the first is void."""
    for laps, state_after, leg in (("out, 1 timed, cool, 1 timed, in", "not_done", 2),
                                   ("out, 1 timed, cool, 1 timed, cool, 1 timed, in", "planned", 4)):
        _, state = running({"do": "cool_lap", "on": {"cool": 1}}, laps=laps)
        item = state.items[0]
        item.signal("call", 50)
        item.signal(said, 55)
        state.pointer = 4
        items.lap_over(state, 2, {"cool_lap": COOL}, 60, "timed")
        assert (item.state, item.reason, item.leg) == (state_after, items.NO_COOL_LAP, leg)
        assert item.void_t == (60 if state_after == "planned" else None)


def test_a_cool_down_lap_that_was_driven_so_is_done() -> None:
    """And one right before the in-lap that was not: the pointer moves by one lap either way."""
    for driven, state_after in (("cool", "probably_done"), ("timed", "not_done")):
        _, state = running({"do": "cool_lap", "on": {"cool": 1}}, laps="out, 1 timed, cool, in")
        state.items[0].signal("call", 50)
        state.pointer = 3
        items.lap_over(state, 2, {"cool_lap": COOL}, 60, driven)  # type: ignore[arg-type]  # one of the kinds
        assert state.items[0].state == state_after


def test_a_run_that_is_over_settles_what_is_left() -> None:
    """Done early: what was not called has its lap's end as reason."""
    made, state = running({"do": "flap_lap", "on": {"timed": [2, 3]}}, laps="out, 3 timed, in")
    for kind in ("out", "timed", "timed"):
        made.lap_done(kind)
    state.items[0].signal("call", 300)
    made.come_in(400, red=False)
    items.run_over(state, PROCEDURES, 400)
    assert [(item.state, item.reason) for item in state.items] == [
        ("probably_done", None), ("not_done", "the run ended before its lap"),
    ]  # fmt: skip


@pytest.mark.parametrize("how", ["its switch was changed for it", "said", "late"])
def test_how_an_item_was_told_is_no_reason_that_it_was_not_done(how: str) -> None:
    """Told ahead of a lap that a red flag then kept from beginning: the run ended before its lap."""
    made, state = running({"do": "flap_lap", "on": {"timed": 4}}, laps="out, 4 timed, in")
    for kind in ("out", "timed", "timed"):
        made.lap_done(kind)
    state.items[0].signal("call", 300, how)
    made.come_in(400, red=False)
    items.run_over(state, PROCEDURES, 400)
    assert (state.items[0].state, state.items[0].reason) == ("not_done", "the run ended before its lap")


def test_a_lap_that_was_driven_is_not_told_as_one_that_never_came() -> None:
    """Nobody was called for it, so it was not done; but the run did not end before its lap."""
    made, state = running({"do": "flap_lap", "on": {"timed": 1}}, {"do": "limiter_pass", "on": "in"},
                          laps="out, 2 timed, in")
    for kind in ("out", "timed", "timed"):
        made.lap_done(kind)
    made.come_in(400, red=False)
    items.run_over(state, PROCEDURES, 400)
    assert state.state == "done"
    assert state.items[1].reason == "its lap was driven without a call for it"


def test_a_run_cut_short_keeps_what_can_still_be_done() -> None:
    """In on timed lap 2: its item and those of later laps stay; one whose lap went by moves on, or has no lap left."""
    made, state = running(
        {"do": "flap_lap", "on": {"timed": [2, 3]}}, {"do": "comment", "on": "in"},
        {"do": "set_one", "on": {"timed": 1}}, laps="out, 4 timed, in",
    )  # fmt: skip
    for kind in ("out", "timed"):
        made.lap_done(kind)
    state.items[0].signal("call", 250)
    made.come_in(300, red=True)
    items.run_over(state, PROCEDURES, 300)
    found = {item.key: (item.state, item.leg) for item in state.items}
    assert found == {
        "main-1-flap_lap-2": ("planned", 2), "main-1-flap_lap-3": ("planned", 3), "main-2-comment-5": ("planned", 5),
        "main-3-set_one-1": ("planned", 2),
    }  # fmt: skip


@pytest.mark.parametrize(("why", "again"), [
    ("held back: car 33 is about 3 s behind there, 4 s are needed", True),
    ("its lap was driven without a call for it", True),
    ("skipped by engineer", False), ("broken off: yellow flag at its place", False),
])  # fmt: skip
def test_what_nobody_was_told_on_the_first_out_lap_is_to_be_done_on_the_second(why: str, again: bool) -> None:
    """A red flag sent the car back, and it leaves on an out-lap once more: what traffic held back, or nobody called, is
    tried there. What a person left out, or the driver broke off, is not."""
    made, state = running({"do": "standing_start", "on": "out"}, laps="out, 4 timed, in")
    made.lap_done("out")
    state.items[0].signal("fail", 120, why)
    made.come_in(300, red=True)
    items.run_over(state, PROCEDURES, 300)
    assert state.state == "next"
    assert (state.items[0].state, state.items[0].leg) == ("planned" if again else "not_done", 0)
    assert state.items[0].reason == why


def test_a_run_that_is_not_begun_anew_tries_nothing_again() -> None:
    """It ends early and still counts: there is no second out-lap."""
    made, state = running({"do": "standing_start", "on": "out"}, laps="out, 2 timed, in")
    for kind in ("out", "timed", "timed"):
        made.lap_done(kind)
    items.lap_over(state, 0, PROCEDURES, 120)
    made.come_in(400, red=False)
    items.run_over(state, PROCEDURES, 400)
    assert (state.items[0].state, state.items[0].reason) == ("not_done", "its lap was driven without a call for it")


def test_an_item_whose_kind_of_lap_will_not_come_again_is_not_done() -> None:
    """The cool-down lap went by and the run is cut: no other one follows."""
    made, state = running({"do": "radio_check", "on": "cool"}, laps="out, cool, 4 timed, in")
    for kind in ("out", "cool", "timed"):
        made.lap_done(kind)
    made.come_in(300, red=True)
    items.run_over(state, PROCEDURES, 300)
    assert (state.items[0].state, state.items[0].reason) == ("not_done", "no such lap is left for it")
