"""The score: which switch positions a timed lap may have, and figures counted from the truth."""

from __future__ import annotations

from typing import Any

import pytest

from pitwall.model.plan import Plan
from pitwall.rehearsal.score import LapRule, item_positions, score, sits_on
from pitwall.rehearsal.truth import WorldOutcome
from tests.unit.rehearsal_stage import CAR, PROCEDURES, Stage, plan, scenario, setup

ITEMS: list[dict[str, Any]] = [
    {"do": "flap_open", "on": {"timed": 2}},
    {"do": "bias_step", "on": {"timed": 3}, "with": {"switch": "brake_bias", "by": -2.0}},
    {"do": "bias_step", "on": {"timed": 4}, "with": {"switch": "torque_map", "by": 1}, "put_back": False,
     "why": "kept"},
]  # fmt: skip
PLAN = plan(runs=[
    {"run": "first", "want": "must", "laps": "out, 6 timed, in", "switches": {"torque_map": 3}, "items": ITEMS},
    {"run": "second", "want": "must", "laps": "out, 2 timed, in", "same_as": "first"},
])  # fmt: skip
START: dict[str, Any] = {
    "torque_map": 3, "brake_bias": 55.0, "flap": "closed", "start_map": 2, "mark": "released", "push": "none",
}  # fmt: skip


def wrong(number: int, run: str = "first", given: Plan = PLAN, **positions: Any) -> list[str]:
    """Names of the switches that stand wrongly as this timed lap begins."""
    rule = LapRule(setup().cars[CAR], given, PROCEDURES, wet=False)
    return [item.switch for item in rule.wrong(given.find(run), number, START | positions)]


def test_the_positions_of_the_run_are_right_and_others_are_not() -> None:
    """The run's own position overrides the default."""
    assert wrong(1) == []
    assert wrong(1, torque_map=2) == ["torque_map"]


def test_a_run_takes_over_the_switches_of_its_model() -> None:
    """``same_as`` means the same switches."""
    assert wrong(1, run="second") == []
    assert wrong(1, run="second", torque_map=2) == ["torque_map"]


def test_an_item_allows_its_position_on_its_lap_only() -> None:
    """Flap open is right on the second timed lap, and wrong on the third: the put-back was due."""
    assert wrong(2, flap="open") == []
    assert wrong(3, flap="open") == ["flap"]
    assert wrong(1, flap="open") == ["flap"]


def test_a_lap_without_its_item_is_not_forbidden() -> None:
    """The item's switch left at the normal position spoils the item, not the lap."""
    assert wrong(2, flap="closed") == []


def test_steps_count_from_the_position_of_the_run() -> None:
    """Two rearward from 55 is 53; the free range holds around either."""
    assert wrong(3, brake_bias=53.0) == []
    assert wrong(3, brake_bias=53.5) == []
    assert wrong(3, brake_bias=51.0) == ["brake_bias"]
    assert wrong(4, brake_bias=53.0) == ["brake_bias"]


def test_what_is_not_put_back_may_stay() -> None:
    """``put_back: false`` allows the position from its lap on, not before it."""
    assert wrong(3, torque_map=4) == ["torque_map"]
    assert wrong(4, torque_map=4) == []
    assert wrong(5, torque_map=4) == []


def test_a_free_range_is_free() -> None:
    """Half a per cent of bias is the driver's own affair; a whole one is not."""
    assert wrong(1, brake_bias=55.5) == []
    assert wrong(1, brake_bias=56.0) == ["brake_bias"]


def test_stationary_and_momentary_switches_are_never_wrong_on_a_lap() -> None:
    """They cannot be put right while moving, or put themselves right."""
    assert wrong(1, start_map=1, mark="pressed") == []


def test_only_watched_switches_count() -> None:
    """A list in the car file narrows what is forbidden."""
    session = setup()
    car = session.cars[CAR].model_copy(update={"forbidden_on_timed": ("flap",)})
    rule = LapRule(car, PLAN, PROCEDURES, wet=False)
    found = rule.wrong(PLAN.find("first"), 1, START | {"flap": "open", "torque_map": 1})
    assert [(item.switch, item.allowed) for item in found] == [("flap", ("closed",))]


def test_where_an_item_sits() -> None:
    """By kind and number; without ``on`` wherever the procedure may be done."""
    item = PLAN.runs[0].items[0]
    assert sits_on(item, "timed", 2, None)
    assert not sits_on(item, "timed", 1, None)
    assert not sits_on(item, "cool", 2, None)
    anywhere = item.model_copy(update={"on": ()})
    assert sits_on(anywhere, "timed", 5, PROCEDURES["flap_open"])
    assert not sits_on(anywhere, "cool", 1, PROCEDURES["flap_open"])
    assert sits_on(anywhere, "cool", 1, None)


def test_positions_that_an_item_wants() -> None:
    """Named ones as they are, steps from the base; a step without a switch to step wants nothing."""
    flap, bias, _ = PLAN.runs[0].items
    assert item_positions(flap, PROCEDURES["flap_open"], {}) == {"flap": "open"}
    assert item_positions(bias, PROCEDURES["bias_step"], {"brake_bias": 55}) == {"brake_bias": 53}
    assert item_positions(bias, PROCEDURES["bias_step"], {}) == {}


def test_a_forbidden_lap_is_found_in_the_truth_and_costs_time() -> None:
    """A switch left wrong shows on the timed lap that begins with it, not on out-laps; the lap is slower for it."""
    def session(position: int) -> WorldOutcome:
        stage = Stage(session=setup(plans={CAR: plan()}))
        stage.release(60)
        stage.say_at(100, "torque", "set_switch", switch="torque_map", position=position)
        return stage.run(until=500).world.outcome()

    spoilt, plain = session(4), session(2)
    assert score(spoilt)[CAR].laps.forbidden_switch == score(spoilt)[CAR].laps.timed > 0
    assert score(plain)[CAR].laps.forbidden_switch == 0
    laps = [outcome.cars[CAR].laps for outcome in (spoilt, plain)]
    assert laps[0][0].wrong == ()
    assert laps[0][1].wrong[0].switch == "torque_map"
    assert round(laps[0][1].time_s - laps[1][1].time_s, 2) == 0.35


def test_figures_count_what_was_spoken_and_done() -> None:
    """Calls in and out of their windows, boxes, procedures once a lap however many calls they took."""
    stage = Stage()
    stage.release(60)
    stage.say_at(100, "early", "none", wait=5, window=0.2)
    for call in ("stop-1", "stop-2"):
        stage.say_at(110, call, "procedure", procedure="pit_stop", item="i1", place="pit entry", window=30)
    stage.say_at(130, "box", "box")
    stage.say_at(140, "gone", "none", wait=20)
    stage.say_at(145, "gone", "none", wait=20, state="withdrawn")
    figures = score(stage.run(until=500).world.outcome())[CAR]
    assert (figures.calls.spoken, figures.calls.in_window, figures.calls.late) == (6, 5, 1)
    assert figures.calls.never_spoken == {"withdrawn before it was spoken": 1}
    assert (figures.boxes.heard, figures.boxes.in_time, figures.releases) == (1, 1, 1)
    assert (figures.procedures.told, figures.procedures.done, figures.procedures.by_name) == (1, 1, {"pit_stop": 1})
    assert figures.laps.by_kind == {"out_in": 1}


def test_the_outcome_is_json_both_ways() -> None:
    """A report may be written and read back."""
    stage = Stage(scenario(field={"cars": 3}), setup(10))
    stage.release(60)
    outcome = stage.run().world.outcome()
    assert WorldOutcome.model_validate_json(outcome.model_dump_json()) == outcome
    assert outcome.finished
    assert outcome.flag_s == 600
    assert len(outcome.field) == 3


def test_an_item_whose_lap_began_without_it_may_be_made_up_for_once() -> None:
    """The flap was to be open on the second timed lap, and its call found no place: open on the third it is right, and
    wrong on the fourth. An item that was done on its lap is not done again."""
    rule = LapRule(setup().cars[CAR], PLAN, PROCEDURES, wet=False)
    run, opened = PLAN.find("first"), START | {"flap": "open"}

    def names(number: int, *before: tuple[int, dict[str, Any]]) -> list[str]:
        return [item.switch for item in rule.wrong(run, number, opened, before)]

    assert names(3, (1, START), (2, START)) == []
    assert names(4, (1, START), (2, START), (3, opened)) == ["flap"]
    assert names(3, (1, START), (2, opened)) == ["flap"]
    assert names(2, (1, START)) == [], "its own lap"
    assert names(1) == ["flap"]


@pytest.mark.parametrize("flag", [None, "slow", "red"])
def test_an_item_made_up_for_on_a_lap_that_a_flag_spoils_is_made_up_for_on_the_next(flag: str | None) -> None:
    """Nothing is compared on such a lap. One that counted was the comparison, and the lap after it has its position
    back."""
    item = {"do": "flap_open", "on": {"timed": 1}}
    run = {"run": "first", "want": "must", "laps": "out, 6 timed, in", "fuel_kg": 30, "items": [item],
           "after_garage_s": [60, 90, 120]}
    flags = [] if flag is None else [{"at": 300, "status": flag, "lasts": 20}]
    stage = Stage(scenario(flags={"scripted": flags}), setup(plans={CAR: plan(runs=[run])}))
    stage.release(60)
    stage.say_at(230, "open", "set_switch", switch="flap", position="open")
    stage.release(600)
    laps = [lap for lap in stage.run(until=900).truth.laps if lap.meant == "timed"]
    began = [(lap.switches["flap"], bool(lap.flags), bool(lap.wrong)) for lap in laps[:4]]
    assert began[:2] == [("closed", False, False), ("open", flag is not None, False)]
    assert began[2:] == [("open", False, flag is None), ("open", False, True)]
