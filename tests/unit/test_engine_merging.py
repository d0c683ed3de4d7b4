"""A changed file put on a plan that the desk changed meanwhile."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pitwall.engine.merging import merged
from pitwall.model.plan import Plan
from tests.unit.engine_stage import CHECKS, MAIN, SPARE, plan

FLAP = {"do": "flap_lap", "on": {"timed": 1}}
HOLD = {"do": "hold", "on": "out", "after": "bridge"}
COMMENT = {"do": "comment", "on": "in"}
BASE = MAIN | {"tyres": "A1", "fuel_kg": 20, "switches": {"torque_map": 3}, "items": [HOLD, FLAP]}


def _merge(file: dict[str, Any], used: dict[str, Any]) -> dict[str, Any]:
    run = merged(plan(BASE), plan(BASE | file), plan(BASE | used)).runs[0]
    return {name: getattr(run, name) for name in ("laps", "tyres", "fuel_kg", "switches")} | {
        "items": [item.do for item in run.items]
    }


@pytest.mark.parametrize(
    ("file", "used", "wanted"),
    [
        ({"tyres": "B1"}, {"fuel_kg": 25}, {"tyres": "B1", "fuel_kg": 25}),
        ({"fuel_kg": 30}, {"fuel_kg": 25}, {"fuel_kg": 30}),
        ({}, {"laps": "out, 3 timed, in"}, {"laps": ("out", "timed", "timed", "timed", "in")}),
        ({"switches": {"torque_map": 3, "flap": "open"}}, {"switches": {"torque_map": 4}},
         {"switches": {"torque_map": 4, "flap": "open"}}),
        ({"switches": {}}, {"fuel_kg": 25}, {"switches": {}, "fuel_kg": 25}),
        ({"items": [HOLD, FLAP, COMMENT]}, {"items": [FLAP]}, {"items": ["flap_lap", "comment"]}),
        ({"items": [HOLD]}, {"items": [HOLD, FLAP, COMMENT]}, {"items": ["hold", "comment"]}),
        ({"items": [HOLD, FLAP, COMMENT]}, {"items": [HOLD, FLAP, COMMENT]},
         {"items": ["hold", "flap_lap", "comment"]}),
    ],
)  # fmt: skip
def test_what_the_desk_changed_stays_unless_the_file_changes_it(
    file: dict[str, Any], used: dict[str, Any], wanted: dict[str, Any]
) -> None:
    """Field by field, switch by switch and item by item; where both changed the same, the file is the later word."""
    found = _merge(file, used)
    assert {name: found[name] for name in wanted} == wanted


def test_runs_come_and_go_on_both_sides() -> None:
    """What the desk dropped stays out while the file leaves it as it was; what it put in stays; the file's new run
    comes in behind its neighbour, and what the file takes out goes."""
    extra, late = SPARE | {"run": "extra"}, SPARE | {"run": "late"}
    base = plan(CHECKS, MAIN, SPARE)
    used = plan(CHECKS, extra, MAIN)  # the desk dropped spare and put extra in
    found = merged(base, plan(CHECKS, MAIN, late, SPARE), used)
    assert [run.run for run in found.runs] == ["checks", "extra", "main", "late"]
    found = merged(base, plan(CHECKS, SPARE), used)
    assert [run.run for run in found.runs] == ["checks", "extra"]
    found = merged(base, plan(CHECKS, MAIN, SPARE | {"laps": "out, 2 timed, in"}), used)
    assert [run.run for run in found.runs] == ["checks", "extra", "main", "spare"]


def test_the_order_of_the_file_counts_when_it_was_changed_there() -> None:
    """An order that only the desk changed stays; one that the file changed is taken."""
    base, used = plan(CHECKS, MAIN, SPARE), plan(CHECKS, SPARE, MAIN)
    keeps = merged(base, plan(CHECKS, MAIN | {"fuel_kg": 30}, SPARE), used)
    assert [run.run for run in keeps.runs] == ["checks", "spare", "main"]
    moves = merged(base, plan(MAIN, CHECKS, SPARE), used)
    assert [run.run for run in moves.runs] == ["main", "checks", "spare"]


RUN = st.builds(
    lambda name, laps, fuel, items: MAIN | {"run": name, "laps": laps, "fuel_kg": fuel, "items": items},
    st.sampled_from(["a", "b", "c", "d"]), st.sampled_from(["out, 2 timed, in", "out, 3 timed, in"]),
    st.sampled_from([10, 20]), st.lists(st.sampled_from([FLAP, HOLD]), max_size=2, unique_by=str),
)  # fmt: skip
PLANS = st.lists(RUN, min_size=1, max_size=4, unique_by=lambda run: run["run"]).map(lambda runs: plan(*runs))


@given(PLANS, PLANS)
@settings(max_examples=200, deadline=None)
def test_merging_with_nothing_changed_on_one_side_is_the_other_side(base: Plan, other: Plan) -> None:
    """The file as it was changes nothing in use; a desk that changed nothing gives the file."""
    assert merged(base, base, other) == other
    found = merged(base, other, base)
    assert [run.run for run in found.runs] == [run.run for run in other.runs]
    for run in other.runs:
        mine = found.find(run.run)
        assert mine is not None
        assert (mine.laps, mine.fuel_kg, sorted(map(str, mine.items))) == (
            run.laps, run.fuel_kg, sorted(map(str, run.items))
        )  # fmt: skip
