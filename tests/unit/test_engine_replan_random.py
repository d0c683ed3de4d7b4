"""Any changes at any moment of any driving: what was driven stays driven, and nothing is lost or doubled."""

from __future__ import annotations

from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from pitwall.engine.replan import in_use
from pitwall.engine.run_state import RunState
from pitwall.model import events as ev
from pitwall.model.outputs import Answered, Proposal
from pitwall.model.plan import Plan, check_lap_order
from tests.unit.engine_stage import CAR, CHECKS, MAIN, SPARE, Stage, plan, setup

HOLD = {"do": "hold", "on": "out", "after": "bridge"}
FLAP = {"do": "flap_lap", "on": {"timed": 1}}
COMMENT = {"do": "comment", "on": "in"}
FIRST = MAIN | {"items": [HOLD, FLAP, COMMENT], "shorten_to": 1}
PLAN = plan(
    CHECKS, FIRST, SPARE | {"items": [COMMENT]}, tyre_sets={"A1": {"compound": "hard"}, "B1": {"compound": "soft"}}
)
WET = plan(CHECKS, MAIN | {"run": "learn"}, SPARE, tyre_sets={"W1": {"compound": "wet"}})

NAMES = st.sampled_from(["main", "main", "main", "spare", "spare", "checks", "extra", "learn"])
LAPS = st.sampled_from(
    ["out-in", "out, 1 timed, in", "out, 2 timed, in", "out, 3 timed, in", "out, 1 timed, cool, 1 timed, in"]
)
ITEMS = st.sampled_from(
    [HOLD, FLAP, COMMENT, {"do": "flap_lap", "on": {"timed": 2}}, {"do": "radio_check", "on": "out"}]
)
ITEM_NAMES = st.sampled_from(["hold", "flap_lap", "comment", "radio_check", "main-1-hold-0", "main-2-flap_lap-1"])
AFTER = st.one_of(st.none(), NAMES)


def _run(name: str, laps: str, items: list[dict[str, Any]]) -> dict[str, Any]:
    return {"run": name, "want": "should", "laps": laps, "items": items}


CHANGE = st.one_of(
    st.builds(lambda n, laps, i, a: {"do": "insert_run", "run": _run(n, laps, i), "after": a}, NAMES, LAPS,
              st.lists(ITEMS, max_size=2), AFTER),
    st.builds(lambda n, a: {"do": "move_run", "run": n, "after": a}, NAMES, AFTER),
    st.builds(lambda n, o: {"do": "swap_runs", "run": n, "other": o}, NAMES, NAMES),
    st.builds(lambda n, i: {"do": "insert_item", "run": n, "item": i}, NAMES, ITEMS),
    st.builds(lambda n, i, o: {"do": "move_item", "run": n, "item": i, "to": o}, NAMES, ITEM_NAMES, NAMES),
    st.builds(lambda n, i: {"do": "move_item", "run": n, "item": i, "on": {"timed": 2}}, NAMES, ITEM_NAMES),
    st.builds(lambda n, i, w: {"do": "swap_item", "run": n, "item": i, "new": w}, NAMES, ITEM_NAMES, ITEMS),
    st.builds(lambda n, laps: {"do": "set_laps", "run": n, "laps": laps}, NAMES, LAPS),
    st.builds(lambda n: {"do": "set_run_tyres", "run": n, "tyres": "B1"}, NAMES),
    st.builds(lambda n, kg: {"do": "set_run_fuel", "run": n, "fuel_kg": kg}, NAMES, st.sampled_from([10, 20])),
    st.builds(lambda n, p: {"do": "set_run_switch", "run": n, "switch": "torque_map", "position": p}, NAMES,
              st.sampled_from([1, 3])),
    st.builds(lambda n: {"do": "drop_run", "run": n}, NAMES),
    st.builds(lambda n, i: {"do": "drop_item", "run": n, "item": i}, NAMES, ITEM_NAMES),
)  # fmt: skip
AMEND = st.builds(
    lambda changes: ("command", {"command": "amend", "changes": changes, "text": "because"}),
    st.one_of(CHANGE.map(lambda one: [one]), CHANGE.map(lambda one: [one]), st.lists(CHANGE, min_size=1, max_size=3)),
)
OTHER = st.sampled_from(
    [
        ("command", {"command": "switch_plan", "alternate": "wet", "text": "rain"}),
        ("command", {"command": "switch_plan", "alternate": "dry", "text": "dry"}),
        ("command", {"command": "adopt"}),
        ("command", {"command": "decline"}),
        ("command", {"command": "extend"}),
        ("command", {"command": "shorten"}),
        ("command", {"command": "box"}),
        ("command", {"command": "drop", "run": "spare"}),
    ]
)
FILE = st.builds(
    lambda laps, items, gone: ("file", (laps, items, gone)), LAPS, st.lists(ITEMS, max_size=3), st.booleans()
)
DRIVE = st.sampled_from(
    [("exit", 10.0), ("line", 40.0), ("entry", 30.0), ("wait", 100.0), ("line", 40.0), ("exit", 10.0)]
)
STEPS = st.lists(st.one_of(AMEND, AMEND, OTHER, FILE, DRIVE, DRIVE), max_size=25)


def _file(laps: str, items: list[dict[str, Any]], gone: bool) -> Plan:
    main = FIRST | {"laps": laps, "items": items}
    if "timed" not in laps:
        main = {name: value for name, value in main.items() if name != "shorten_to"}
    runs = [CHECKS, main] if gone else [main, CHECKS, SPARE]
    return plan(*runs, tyre_sets={"A1": {"compound": "hard"}})


def _step(stage: Stage, what: str, value: Any) -> tuple[Any, ...]:
    match what:
        case "command":
            return (stage.command(value["command"], **{k: v for k, v in value.items() if k != "command"}),)
        case "file":
            fact = {"id": f"file-{stage._seq}", "t": stage.now, "car": CAR, "file": "plan.yaml", "plan": _file(*value)}
            return stage.handle(ev.PlanFileRead.model_validate(fact))
        case "line":
            return stage.cross(stage.now + value)
        case "wait":
            stage.wait(stage.now + value)
            return ()
        case _:
            return stage.pit(stage.now + value, what)


def _check(states: list[RunState]) -> None:
    names = [state.run.run for state in states]
    assert len(names) == len(set(names))
    assert sum(state.state == "running" for state in states) <= 1
    assert sum(state.state == "next" for state in states) <= 1
    for state in states:
        keys = [item.key for item in state.items]
        assert len(keys) == len(set(keys)), keys
        if state.laps:
            check_lap_order(state.laps)
            assert 0 <= state.pointer < len(state.laps)
            assert all(0 <= item.leg < len(state.laps) for item in state.items)
        known = {item.number for item in state.items}
        for item, number in zip(state.run.items, state.numbers, strict=True):
            on_some_lap = not item.on or any(choice.kind in state.laps for choice in item.on)
            assert number in known or not on_some_lap or item.on[0].numbers, (state.run.run, item)
        for item in state.items:
            assert item.state != "dropped" or item.reason, item


@given(STEPS)
@settings(max_examples=120, deadline=None)
def test_changes_of_the_plan_never_touch_what_was_driven(steps: list[tuple[str, Any]]) -> None:
    """Runs that are done keep their laps and items; what was said or done of an item is never lost; names stay unique;
    the car stands on a lap that its run has; a refused change changes nothing; every change is on the record."""
    stage = Stage(setup(PLAN, alternates={CAR: {"wet": WET}}))
    stage.green()
    for what, value in steps:
        before = {state.run.run: state for state in stage.car.progress.runs}
        done = {
            name: (state.laps, state.timed_done, [(i.key, i.state) for i in state.items])
            for name, state in before.items()
            if state.state == "done"
        }
        told = {(name, i.key): i.state for name, s in before.items() for i in s.items if i.state not in ("planned",)}
        used, noted = in_use(stage.car), len(stage.car.desk.changes)
        outputs = _step(stage, what, value)
        states = stage.car.progress.runs
        _check(states)
        if what == "command":
            assert len(stage.car.desk.changes) - noted <= 1
            if not isinstance(outputs[0], Answered):
                assert in_use(stage.car) == used
                assert len(stage.car.desk.changes) == noted
            after = {state.run.run: state for state in states}
            assert set(before) <= set(after)
            for name, was in done.items():
                now = after[name]
                assert (now.laps, now.timed_done, [(i.key, i.state) for i in now.items]) == was
            items = {(name, i.key) for name, state in after.items() for i in state.items}
            fresh = {name for name, state in after.items() if state is not before.get(name)}
            assert {key for key in told if key[0] not in fresh} <= items
        if what == "file":
            assert in_use(stage.car) == used, "a file changes nothing by itself"
            proposals = [one for one in outputs if isinstance(one, Proposal) and one.active]
            assert all(one.lines for one in proposals)


@given(STEPS)
@settings(max_examples=30, deadline=None)
def test_an_adopted_file_leaves_nothing_to_propose(steps: list[tuple[str, Any]]) -> None:
    """Whatever went before: after the adoption, the same file proposes nothing more."""
    stage = Stage(setup(PLAN, alternates={CAR: {"wet": WET}}))
    stage.green()
    for what, value in steps:
        _step(stage, what, value)
    _step(stage, "command", {"command": "switch_plan", "alternate": "dry", "text": "dry"})
    _step(stage, "file", ("out, 3 timed, in", [COMMENT], False))
    offer = stage.car.desk.offer
    if offer is not None:
        answer = stage.command("adopt", proposal=offer.shown.id)
        assert isinstance(answer, Answered), answer
    outputs = _step(stage, "file", ("out, 3 timed, in", [COMMENT], False))
    assert not [one for one in outputs if isinstance(one, Proposal) and one.active]
