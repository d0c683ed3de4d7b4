"""Each change that the desk may ask for, what it makes of the plan, and why it is refused."""

from __future__ import annotations

from typing import Any

import pytest

from pitwall.engine.replan import in_use
from pitwall.model.car import same_position
from pitwall.model.outputs import Answered, PlanState, Refused
from pitwall.model.plan import write_laps
from pitwall.model.procedure import Procedure
from pitwall.model.setup import CrewNotice, Driver
from tests.unit.engine_stage import CAR, CHECKS, MAIN, PROCEDURES, SPARE, Stage, plan, setup

HOLD = {"do": "hold", "on": "out", "after": "bridge"}
FLAP = {"do": "flap_lap", "on": {"timed": [1, 2]}}
COMMENT = {"do": "comment", "on": "in"}
SET = {"do": "set_one", "on": {"timed": 1}}
FIRST = MAIN | {"items": [HOLD, FLAP, COMMENT], "tyres": "A1", "fuel_kg": 20}
LATER = SPARE | {"run": "later", "group": "a-b", "before": ["last"]}
LAST = SPARE | {"run": "last", "group": "a-b", "same_as": "later"}
SETS = {"A1": {"compound": "hard"}, "B1": {"compound": "soft"}}


def _stage(*runs: dict[str, Any], **changes: Any) -> Stage:
    drivers = {name: Driver(driver=name, spoken=name.title()) for name in ("ines", "dana")}
    made = setup(plan(*(runs or (FIRST, SPARE, LATER, LAST)), tyre_sets=SETS), drivers=drivers, **changes)
    return Stage(made).green()


def _asked(stage: Stage, *changes: dict[str, Any], **more: Any) -> Answered | Refused:
    return stage.command("amend", changes=list(changes), **({"text": "because"} | more))


def _done(stage: Stage, *changes: dict[str, Any], **more: Any) -> str:
    answer = _asked(stage, *changes, **more)
    assert isinstance(answer, Answered), answer
    return answer.effect


def _refused(stage: Stage, *changes: dict[str, Any], **more: Any) -> str:
    before = in_use(stage.car)
    answer = _asked(stage, *changes, **more)
    assert isinstance(answer, Refused), answer
    assert in_use(stage.car) == before
    return answer.reason


def _runs(stage: Stage) -> list[str]:
    return [state.run.run for state in stage.car.progress.runs if state.state != "dropped"]


def _laps(stage: Stage, run: str) -> str:
    state = stage.car.progress.find(run)
    assert state is not None
    return write_laps(state.laps)


def _items(stage: Stage, run: str) -> list[tuple[str, int, str]]:
    state = stage.car.progress.find(run)
    assert state is not None
    return [(item.item.do, item.leg, item.state) for item in state.items]


def test_a_run_is_put_in_behind_another_or_as_the_next() -> None:
    """With a place or without; the run may come as a line."""
    stage = _stage()
    _done(stage, {"do": "insert_run", "run": "extra: out, 2 timed, in · B1 · should", "after": "spare"})
    _done(stage, {"do": "insert_run", "run": "first: out-in · must"})
    assert _runs(stage) == ["first", "main", "spare", "extra", "later", "last"]
    assert stage.car.progress.next is stage.car.progress.find("first")


def test_runs_are_moved_and_swapped() -> None:
    """A move to the front makes the run the next one; a swap exchanges two places."""
    stage = _stage()
    _done(stage, {"do": "move_run", "run": "spare"})
    assert _runs(stage)[:2] == ["spare", "main"]
    assert stage.car.progress.next is stage.car.progress.find("spare")
    assert stage.car.progress.find("main").state == "planned"  # type: ignore[union-attr]  # it is in the plan
    _done(stage, {"do": "swap_runs", "run": "spare", "other": "later"})
    assert _runs(stage) == ["later", "main", "spare", "last"]
    assert _done(stage, {"do": "move_run", "run": "main", "after": "later"}) == "the plan is so already"


def test_laps_follow_and_items_with_them() -> None:
    """Other laps: items keep theirs where there are such, and the run's in-lap item moves along."""
    stage = _stage()
    _done(stage, {"do": "set_laps", "run": "main", "laps": "out, 3 timed, in"})
    assert _laps(stage, "main") == "out, 3 timed, in"
    assert _items(stage, "main") == [
        ("hold", 0, "planned"), ("flap_lap", 1, "planned"), ("flap_lap", 2, "planned"), ("comment", 4, "planned"),
    ]  # fmt: skip


def test_set_values_of_a_run() -> None:
    """Tyres, fuel, a switch and the driver of a run."""
    stage = _stage()
    _done(
        stage,
        {"do": "set_run_tyres", "run": "spare", "tyres": "B1"},
        {"do": "set_run_fuel", "run": "spare", "fuel_kg": 31},
        {"do": "set_run_switch", "run": "spare", "switch": "torque_map", "position": 4},
        {"do": "set_run_driver", "run": "spare", "driver": "dana"},
    )
    state = stage.car.progress.find("spare")
    assert state is not None
    assert (state.run.tyres, state.run.fuel_kg, state.run.driver) == ("B1", 31, "dana")
    assert same_position(stage.car.switches.wanted(state, 1)["torque_map"], 4)


def test_items_are_put_in_moved_swapped_and_dropped() -> None:
    """By name for all its laps, by key for one of them; what is dropped keeps its reason."""
    stage = _stage()
    _done(stage, {"do": "insert_item", "run": "spare", "item": COMMENT})
    _done(stage, {"do": "move_item", "run": "main", "item": "hold", "to": "spare"})
    _done(stage, {"do": "move_item", "run": "main", "item": "comment", "to": "later"})
    _done(stage, {"do": "drop_item", "run": "main", "item": "main-2-flap_lap-1"})
    assert _items(stage, "spare") == [("comment", 2, "planned"), ("hold", 0, "planned")]
    open_items = [one for one in _items(stage, "main") if one[2] == "planned"]
    assert open_items == [("flap_lap", 2, "planned")]
    _done(stage, {"do": "swap_item", "run": "main", "item": "flap_lap", "new": {"do": "radio_check", "on": "out"}})
    assert [one for one in _items(stage, "main") if one[2] == "planned"] == [("radio_check", 0, "planned")]
    dropped = [item for item in stage.car.progress.runs[0].items if item.state == "dropped"]
    assert {item.reason for item in dropped} == {"desk: because"}
    assert len({item.key for item in stage.car.progress.runs[0].items}) == len(stage.car.progress.runs[0].items)


def test_a_dropped_item_may_be_put_in_again() -> None:
    """It gets a number of its own, so the dropped one stays on the record."""
    stage = _stage()
    _done(stage, {"do": "drop_item", "run": "main", "item": "hold"})
    _done(stage, {"do": "insert_item", "run": "main", "item": HOLD})
    holds = [one for one in _items(stage, "main") if one[0] == "hold"]
    assert holds == [("hold", 0, "planned"), ("hold", 0, "dropped")]


def test_a_dropped_run_may_be_put_in_again() -> None:
    """Never begun, it comes back as new; begun and given up it needs another name."""
    stage = _stage()
    _done(stage, {"do": "drop_run", "run": "spare"})
    assert _done(stage, {"do": "drop_run", "run": "spare"}) == "the plan is so already"
    _done(stage, {"do": "insert_run", "run": SPARE, "after": "main"})
    assert _runs(stage) == ["main", "spare", "later", "last"]


@pytest.mark.parametrize("item", [
    SET | {"with": {"switch": "torque_map", "position": 4}},
    SET | {"with": {"switch": "brake_bias", "position": "55.5"}},
    {"do": "bias_step", "on": {"timed": 1}, "with": {"switch": "brake_bias", "by": -2}},
    HOLD | {"on": "in"}, HOLD | {"after": "turn 1"}, HOLD | {"when": {"not_before": 60}},
])  # fmt: skip
def test_an_item_that_can_be_done_is_put_in(item: dict[str, Any]) -> None:
    """A position and a step that the switch has; a hold on a lap or at a place of its own, or one that waits."""
    assert _done(_stage(), {"do": "insert_item", "run": "main", "item": item}).startswith("new item on main")


def _step_by(run: str, switch: str, by: float) -> dict[str, Any]:
    item = {"do": "bias_step", "on": {"timed": 1}, "with": {"switch": switch, "by": by}}
    return {"do": "insert_item", "run": run, "item": item}


def test_a_step_is_reckoned_from_where_the_run_has_the_switch() -> None:
    """A run that repeats one that repeats another has the positions of the first; each step from the default would be
    judged the other way round. In the wet it is the default of the wet, once the desk has gone over to it."""
    first = SPARE | {"run": "first", "switches": {"brake_bias": 51}}
    again, last = SPARE | {"run": "again", "same_as": "first"}, SPARE | {"run": "last", "same_as": "again"}
    stage = _stage(first, again, last, alternates={CAR: {"wet": plan(SPARE)}})
    assert "cannot stand at 49 for bias_step" in _refused(stage, _step_by("last", "brake_bias", -2))
    _done(stage, _step_by("last", "brake_bias", 8))
    assert isinstance(stage.command("switch_plan", alternate="wet", text="rain"), Answered)
    assert "torque_map cannot stand at 5" in _refused(stage, _step_by("spare", "torque_map", 1))


def test_two_holds_that_begin_at_two_moments_behind_one_place_can_be_put_in() -> None:
    """A plan file with them is sound: they are told one after the other."""
    near: dict[str, Any] = {
        "procedure": 1, "name": "near", "purpose": "test", "laps": ["out"], "place": "needed", "data_window": "hold",
        "hold": {"seconds": 3, "speed_mps": 40}, "caution": "slow",
        "steps": [{"say": "After {after}: hold, count 3.", "short": "{after}: hold", "where": "place"}]}  # fmt: skip
    far = near | {"name": "far", "steps": [near["steps"][0] | {"offset_s": 12}]}
    more = {one["name"]: Procedure.model_validate(one) for one in (near, far, near | {"name": "twin"})}
    item = {"do": "near", "on": "out", "after": "bridge"}
    stage = _stage(FIRST | {"items": [item]}, SPARE, procedures=PROCEDURES | more)
    assert "cannot be done where near is" in _refused(
        stage, {"do": "insert_item", "run": "main", "item": item | {"do": "twin"}})
    _done(stage, {"do": "insert_item", "run": "main", "item": item | {"do": "far"}})


def test_a_fault_that_the_plan_had_before_keeps_nobody_from_another_change() -> None:
    """Whoever came to such a plan, the rest of it can be changed, and the hold moved out of the way."""
    stage = _stage(FIRST | {"items": [HOLD, HOLD | {"with": {"seconds": 3}}, COMMENT]}, SPARE)
    assert "spare" in _done(stage, {"do": "drop_run", "run": "spare"})


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ([{"do": "drop_run", "run": "sapre"}], "no run 'sapre' in the plan of car 41: did you mean 'spare'?"),
        ([{"do": "move_run", "run": "main", "after": "main"}], "cannot come after itself"),
        ([{"do": "insert_run", "run": "spare: out, 2 timed, in · should"}], "there is a run spare already"),
        ([{"do": "set_run_tyres", "run": "main", "tyres": "B2"}], "unknown tyre set 'B2' (there are: A1, B1)"),
        ([{"do": "set_run_driver", "run": "main", "driver": "danna"}], "unknown driver 'danna': did you mean 'dana'?"),
        ([{"do": "set_run_switch", "run": "main", "switch": "torque", "position": 1}], "did you mean 'torque_map'?"),
        ([{"do": "set_run_switch", "run": "main", "switch": "torque_map", "position": 9}], "cannot stand at 9"),
        ([{"do": "set_run_switch", "run": "main", "switch": "brake_bias", "position": 55.3}], "in steps of 0.5"),
        ([{"do": "set_run_switch", "run": "main", "switch": "mark", "position": "down"}], "mark springs back to up"),
        ([{"do": "set_laps", "run": "main", "laps": "out, 1 timed, in"}], "run main has no timed lap 2 for flap_lap"),
        ([{"do": "insert_item", "run": "main", "item": {"do": "hodl", "on": "out"}}], "did you mean 'hold'?"),
        ([{"do": "insert_item", "run": "main", "item": {"do": "hold", "on": "in"}}], "hold needs a place"),
        ([{"do": "insert_item", "run": "main", "item": {"do": "hold", "on": {"timed": 1}, "after": "bridge"}}],
         "hold may not be done on the timed lap of main, only on: out, cool, in"),
        ([{"do": "insert_item", "run": "main", "item": HOLD | {"after": "brigde"}}], "did you mean 'bridge'?"),
        ([{"do": "insert_item", "run": "main", "item": HOLD | {"with": {"secs": 5}}}], "no argument 'secs'"),
        ([{"do": "insert_item", "run": "main", "item": HOLD | {"with": {"seconds": "five"}}}], "is a number"),
        ([{"do": "insert_item", "run": "main", "item": {"do": "bias_step", "on": {"timed": 1}, "with": {"by": 1}}}],
         "bias_step needs its argument 'switch'"),
        ([{"do": "insert_item", "run": "main", "item": SET | {"with": {"switch": "torque_map", "position": 99}}}],
         "torque_map cannot stand at 99 for set_one, only at 1, 2, 3, 4"),
        ([{"do": "insert_item", "run": "main", "item": SET | {"with": {"switch": "brake_bias", "position": 55.13}}}],
         "only at 50 to 60 in steps of 0.5"),
        ([{"do": "insert_item", "run": "main", "item": SET | {"with": {"switch": "start_map", "position": 2}}}],
         "start_map moves only while the car stands, and set_one is done on a lap of main"),
        ([{"do": "insert_item", "run": "main",
           "item": {"do": "bias_step", "on": {"timed": 1}, "with": {"switch": "brake_bias", "by": 8}}}],
         "brake_bias cannot stand at 63 for bias_step"),
        ([{"do": "insert_item", "run": "main", "item": HOLD | {"with": {"seconds": 3}}}],
         "hold cannot be done where hold is: both from bridge on one out lap of main"),
        ([{"do": "drop_item", "run": "main", "item": "flap"}], "no item 'flap' on run main: did you mean 'flap_lap'?"),
        ([{"do": "move_item", "run": "main", "item": "hold"}], "say where the item goes"),
        ([{"do": "swap_runs", "run": "later", "other": "last"}], "later must come before last (before)"),
        ([{"do": "drop_run", "run": "last"}], "last belongs to group a-b with later: all of it or nothing"),
        ([{"do": "drop_run", "run": "later"}], "last repeats later (same_as), which would be gone"),
        ([{"do": "set_run_fuel", "run": "later", "fuel_kg": 9}, {"do": "set_run_fuel", "run": "last", "fuel_kg": 8}],
         "last repeats later (same_as): the same fuel and switches"),
    ],
)  # fmt: skip
def test_a_change_that_cannot_be_made_says_why(changes: list[dict[str, Any]], words: str) -> None:
    """The reason in words, with the nearest name where one is near; the plan is as it was."""
    assert words in _refused(_stage(), *changes)


def test_what_one_change_breaks_another_may_mend() -> None:
    """A list is judged as a whole: a group is dropped together; laps go when their items have gone, in any order."""
    stage = _stage()
    _done(stage, {"do": "drop_run", "run": "later"}, {"do": "drop_run", "run": "last"})
    _done(
        stage,
        {"do": "set_laps", "run": "main", "laps": "out, 1 timed, in"},
        {"do": "drop_item", "run": "main", "item": "main-2-flap_lap-2"},
    )
    assert _laps(stage, "main") == "out, 1 timed, in"


def test_a_group_whose_other_run_is_done_may_be_cut() -> None:
    """Half of the group is driven: the other half may go, for nothing can be had from keeping it."""
    stage = _stage(LATER, LAST)
    t = stage.drive(10.0, 110.0, 100.0)
    stage.home(t)
    assert stage.car.progress.runs[0].state == "done"
    _done(stage, {"do": "drop_run", "run": "last"})


def test_a_run_that_is_over_or_has_begun_is_refused() -> None:
    """Done: nothing of it changes. Broken off: it keeps its place and its driven laps."""
    stage = _stage(CHECKS, FIRST, SPARE)
    stage.leave(10.0)
    stage.home(10.0, from_exit=True)
    laps = {"do": "set_laps", "run": "checks", "laps": "out, 1 timed, in"}
    assert "run checks is done already" in _refused(stage, laps)
    assert "run checks is done already" in _refused(stage, {"do": "drop_run", "run": "checks"})
    stage.leave(900.0)
    assert "run main has begun" in _refused(stage, {"do": "move_run", "run": "main", "after": "spare"})
    assert "run main is on track" in _refused(stage, {"do": "drop_run", "run": "main"})
    assert "run main is on track" in _refused(stage, {"do": "set_run_fuel", "run": "main", "fuel_kg": 30})


def test_a_change_needs_its_reason_and_something_to_change() -> None:
    """Without either it is refused in words."""
    stage = _stage()
    assert "reason in 'text'" in _refused(stage, {"do": "drop_run", "run": "spare"}, text=" ")
    assert "name what is to change" in _refused(stage)


def test_every_change_is_on_the_record_with_who_and_why() -> None:
    """Extend, drop and amend alike: the plan state lists who changed what, when and why, by revision."""
    stage = _stage()
    stage.command("extend", run="main", by="bryn-e", text="more data")
    stage.command("drop", run="spare", by="bryn-e")
    _done(stage, {"do": "set_run_fuel", "run": "main", "fuel_kg": 25}, by="ines-e", text="the pump is slow")
    stage.wait(stage.now + 1)
    changes = stage.made(PlanState)[-1].changes
    assert [(one.by, one.what, one.why) for one in changes] == [
        ("bryn-e", "run main: now 3 timed laps", "more data"),
        ("bryn-e", "run spare dropped", ""),
        ("ines-e", "fuel of main: 25 kg instead of 20 kg; "
                   "main leaves no earlier than 2:00: the crew needs 120 s for fuel (25 kg)", "the pump is slow"),
    ]  # fmt: skip
    assert [one.revision for one in changes] == sorted({one.revision for one in changes})


def test_extending_a_plan_that_somebody_changed_meanwhile_is_refused() -> None:
    """Two seats extend the run they both saw: one lap more, not two."""
    stage = _stage()
    seen = stage.car.progress.revision
    assert isinstance(stage.command("extend", run="main", by="one", revision=seen), Answered)
    answer = stage.command("extend", run="main", by="two", revision=seen)
    assert isinstance(answer, Refused)
    assert "one at 0:00: run main: now 3 timed laps" in answer.reason
    assert _laps(stage, "main") == "out, 3 timed, in"


@pytest.mark.parametrize(
    ("change", "seconds"),
    [
        ({"do": "set_run_tyres", "run": "main", "tyres": "B1"}, 180),
        ({"do": "set_run_fuel", "run": "main", "fuel_kg": 25}, 120),
        ({"do": "set_run_driver", "run": "main", "driver": "dana"}, 150),
        ({"do": "move_run", "run": "spare"}, 240),
        ({"do": "drop_run", "run": "main"}, 240),
        ({"do": "set_laps", "run": "main", "laps": "out, 3 timed, in"}, 0),
        ({"do": "insert_item", "run": "main", "item": {"do": "radio_check", "on": "out"}}, 0),
        ({"do": "set_run_tyres", "run": "spare", "tyres": "B1"}, 0),
    ],
)
def test_the_crew_must_know_of_some_changes(change: dict[str, Any], seconds: float) -> None:
    """Tyres, fuel, driver and another run need notice (settings, common practice); laps, items and later runs none."""
    stage = _stage().wait(100.0)
    effect = _done(stage, change)
    stage.wait(102.0)
    assert stage.car.release_s is not None
    if seconds:
        assert stage.car.release_s == 100.0 + seconds
        assert f"the crew needs {seconds} s for" in effect
    else:
        assert stage.car.release_s <= 100.0 + 30.0
        assert "crew" not in effect


def test_the_notice_is_a_setting_and_ends_with_the_leaving() -> None:
    """A team with a quick crew; once the car has left, the next stop owes nothing."""
    stage = _stage(crew=CrewNotice(tyres_s=45))
    effect = _done(stage, {"do": "set_run_tyres", "run": "main", "tyres": "B1"})
    assert "the crew needs 45 s for tyres (B1)" in effect
    stage.leave(60.0)
    assert stage.car.crew_floor == 0.0


def test_everything_that_is_wrong_with_one_change_is_told_at_once() -> None:
    """The run that it is to come after, its tyres, its items: one answer, and not a new one after each mended slip."""
    told = _refused(_stage(), {"do": "insert_run", "after": "latr", "run": SPARE | {
        "run": "wear", "tyres": "B9", "driver": "dona", "items": [{"do": "flap_lip", "on": "timed"}]}})
    for part in ("no run 'latr'", "unknown tyre set 'B9'", "unknown driver 'dona'", "unknown procedure 'flap_lip'"):
        assert part in told
    told = _refused(_stage(), {"do": "set_run_switch", "run": "spere", "switch": "flop", "position": "open"})
    assert "no run 'spere'" in told
    assert "unknown switch 'flop'" in told
    told = _refused(_stage(), {"do": "insert_item", "run": "spere", "item": {"do": "comments", "on": "in"}})
    assert "no run 'spere'" in told
    assert "unknown procedure 'comments': did you mean 'comment'?" in told
    told = _refused(_stage(), {"do": "set_run_tyres", "run": "spere", "tyres": "A9"})
    assert "unknown tyre set 'A9'" in told
