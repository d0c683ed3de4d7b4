"""Two plans compared, told in the trade's words."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pitwall.engine.differences import differences, matched_items
from pitwall.model.plan import Item, Plan, Run
from pitwall.model.run_line import parse_run, write_run
from tests.unit.engine_stage import CHECKS, MAIN, SPARE, plan

FLAP = {"do": "flap_lap", "on": {"timed": 1}}
HOLD = {"do": "hold", "on": ["out", "in"], "after": "bridge", "with": {"seconds": 5}}
SETS = {"A1": {"compound": "hard"}, "B1": {"compound": "soft"}}


def _lines(before: dict[str, Any], after: dict[str, Any]) -> tuple[str, ...]:
    """What changes in one run."""
    return differences(plan(MAIN | before), plan(MAIN | after))


@pytest.mark.parametrize(
    ("before", "after", "line"),
    [
        ({"laps": "out, 8 timed, in"}, {"laps": "out, 6 timed, in"}, "main: 8 timed laps become 6"),
        ({"laps": "out, 1 timed, in"}, {"laps": "out, 2 timed, in"}, "main: 1 timed lap becomes 2"),
        ({}, {"laps": "out, 1 timed, cool, 1 timed, in"},
         "main: laps out, 1 timed, cool, 1 timed, in instead of out, 2 timed, in"),
        ({}, {"laps": "out-in"}, "main: laps out-in instead of out, 2 timed, in"),
        ({"tyres": "B1"}, {"tyres": "B2"}, "tyres of main: B2 instead of B1"),
        ({}, {"tyres": "B2"}, "tyres of main: B2"),
        ({"fuel_kg": 20}, {"fuel_kg": 18.5}, "fuel of main: 18.5 kg instead of 20 kg"),
        ({"fuel_kg": 20}, {}, "fuel of main: none given instead of 20 kg"),
        ({}, {"driver": "dana"}, "driver of main: dana"),
        ({}, {"want": "could"}, "main is a could instead of a must"),
        ({}, {"value": 3}, "value of main: 3 instead of 1"),
        ({"release": {"not_before": 300}}, {"release": {"not_before": 480}},
         "earliest leaving of main: 8:00 instead of 5:00"),
        ({}, {"release": {"not_after": 1500}}, "latest leaving of main: 25:00"),
        ({}, {"release": {"gap_ahead_s": 8}}, "gap ahead of main: 8 s"),
        ({"switches": {"torque_map": 3}}, {"switches": {"torque_map": 4}}, "torque_map of main: 4 instead of 3"),
        ({"switches": {"torque_map": 3}}, {}, "torque_map of main: none given instead of 3"),
        ({}, {"after_garage_s": [60, 120, 180]}, "garage work after main: 60, 120, 180 s instead of 300, 300, 300 s"),
        ({}, {"crew": ["floor", "tyres"]}, "crew after main: floor, tyres"),
        ({"shorten_to": 1}, {"shorten_to": 2}, "fewest timed laps of main: 2 instead of 1"),
        ({}, {"before": ["spare"]}, "main comes before: spare"),
        ({}, {"same_as": "spare"}, "main repeats: spare"),
        ({}, {"group": "a-b"}, "group of main: a-b"),
        ({}, {"dry_only": True}, "main: for the dry only"),
        ({"dry_only": True}, {}, "main: no longer for the dry only"),
        ({}, {"after_flag": "allowed"}, "main after the flag: allowed"),
        ({}, {"purpose": "wear"}, "purpose of main: wear"),
        ({"items": [FLAP]}, {"items": [FLAP | {"on": {"timed": 2}}]},
         "flap_lap of main moves from timed lap 1 to timed lap 2"),
        ({"items": [FLAP]}, {"items": [FLAP | {"on": {"timed": [1, 2]}}]},
         "flap_lap of main moves from timed lap 1 to timed laps 1 and 2"),
        ({"items": [FLAP]}, {"items": [FLAP | {"on": "timed"}]},
         "flap_lap of main moves from timed lap 1 to each timed lap"),
        ({"items": [FLAP]}, {}, "flap_lap of main (timed lap 1) is dropped"),
        ({}, {"items": [HOLD]}, "new item on main: hold, out-lap, in-lap after bridge"),
        ({"items": [HOLD]}, {"items": [HOLD | {"after": "turn 1"}]},
         "hold of main: after turn 1 instead of after bridge"),
        ({"items": [HOLD]}, {"items": [HOLD | {"with": {"seconds": 6}}]}, "seconds of hold of main: 6 instead of 5"),
        ({"items": [HOLD]}, {"items": [HOLD | {"want": "must"}]}, "class of hold of main: must instead of should"),
        ({"items": [FLAP]}, {"items": [FLAP | {"put_back": False, "why": "kept open"}]},
         "flap_lap of main: not put back afterwards (kept open)"),
    ],
)  # fmt: skip
def test_each_change_of_a_run_is_one_sentence(before: dict[str, Any], after: dict[str, Any], line: str) -> None:
    """Whatever changes in a run is told in one short sentence that names the run."""
    assert _lines(before, after) == (line,)


def test_a_move_is_a_move() -> None:
    """A run that stands elsewhere is told as one move, not as one run less and one more, nor as moves of the others."""
    runs = [CHECKS, MAIN, SPARE, SPARE | {"run": "extra"}]
    assert differences(plan(*runs), plan(CHECKS, SPARE, runs[3], MAIN)) == ("main moves after extra",)
    assert differences(plan(*runs), plan(runs[3], CHECKS, MAIN, SPARE)) == ("extra moves to the front",)


def test_new_and_dropped_runs() -> None:
    """A new run is told with its place and as one line; dropped ones are told together."""
    extra = SPARE | {"run": "extra", "tyres": "B2", "fuel_kg": 40, "items": [{"do": "comment", "on": "in"}]}
    assert differences(plan(CHECKS, MAIN), plan(CHECKS, extra, MAIN)) == (
        "new run extra after checks: out, 1 timed, in · B2 · 40 kg · could · items: comment",
    )
    assert differences(plan(CHECKS, MAIN, SPARE), plan(SPARE)) == ("runs checks, main are dropped",)
    assert differences(plan(CHECKS, MAIN), plan(CHECKS)) == ("run main is dropped",)


def test_the_head_of_a_plan() -> None:
    """Driver, medium, tyre sets and what may be said are told as well."""
    old = plan(MAIN, tyre_sets=SETS)
    new = plan(MAIN, driver="dana", medium="board", tyre_sets={"A1": {"compound": "hard", "laps": 9}, "C1": SETS["B1"]},
               quiet={"timed": ["session", "box"], "cool": "all"})
    assert differences(old, new) == (
        "driver: dana instead of ines",
        "medium: board instead of two_way",
        "tyre set A1: hard, 9 laps, instead of hard, 0 laps",
        "tyre set B1 is no longer in the allocation",
        "new tyre set C1: soft, 0 laps",
        "said on a timed lap: session, box instead of session, safety, box",
    )


def test_a_plan_that_gives_no_tyre_sets_takes_none_away() -> None:
    """An alternate that names sets without an allocation of its own: one sentence, and no set is said to be gone."""
    assert differences(plan(MAIN, tyre_sets=SETS), plan(MAIN, tyre_sets={})) == (
        "no allocation of tyre sets is given instead of A1, B1: any set may be named",
    )


def test_items_without_names_are_matched_as_people_see_them() -> None:
    """The equal one first, else one of that procedure: changing the first of two holds changes one of them."""
    made = [Item.model_validate(HOLD | {"with": {"seconds": seconds}}) for seconds in (5, 6, 7)]
    flap = Item.model_validate(FLAP)
    assert matched_items([made[0], made[1], flap], [made[1], made[2]]) == [1, 0]
    assert matched_items([flap], [made[0]]) == [None]


RUN = st.builds(
    lambda name, laps, fuel, items: MAIN | {"run": name, "laps": laps, "fuel_kg": fuel, "items": items},
    st.sampled_from(["a", "b", "c", "d"]), st.sampled_from(["out, 2 timed, in", "out, 3 timed, in"]),
    st.sampled_from([10, 20]), st.lists(st.sampled_from([FLAP, HOLD]), max_size=2),
)  # fmt: skip
PLANS = st.lists(RUN, max_size=4, unique_by=lambda run: run["run"]).map(lambda runs: plan(*runs, SPARE))


@given(PLANS, PLANS)
@settings(max_examples=150, deadline=None)
def test_nothing_is_told_exactly_when_nothing_changes(old: Plan, new: Plan) -> None:
    """Equal plans give no line; plans that differ in runs, their order or what is in them give some."""
    same = old.runs == new.runs
    # Items have no order of their own: they are on laps.
    alike = [(run.run, run.laps, run.fuel_kg, sorted(run.items, key=str)) for run in old.runs] == [
        (run.run, run.laps, run.fuel_kg, sorted(run.items, key=str)) for run in new.runs
    ]
    lines = differences(old, new)
    assert bool(lines) is not alike
    assert not same or not lines


OTHER: dict[str, Any] = {
    "purpose": "wear", "want": "could", "value": 3, "laps": "out, 3 timed, in", "tyres": "B1", "fuel_kg": 20,
    "driver": "dana", "release": {"not_before": 60}, "after_garage_s": 60, "crew": ["floor"],
    "switches": {"flap": "open"}, "items": [FLAP], "shorten_to": 1, "before": ["spare"], "same_as": "spare",
    "group": "a-b", "dry_only": True, "after_flag": "allowed", "window": "morning", "cut_by_flag": "give_up",
    "also_on": ["58"], "feedback": ["balance", "tyres"],
}  # fmt: skip


@pytest.mark.parametrize("name", sorted(set(Run.model_fields) - {"run"}))
def test_no_field_of_a_run_is_forgotten(name: str) -> None:
    """Whatever a run may hold is told when it changes, and stands in the run's line: also a field that is new."""
    assert name in OTHER, f"give a value for the new field {name!r} here, and see that its change is told"
    assert len(_lines({}, {name: OTHER[name]})) == 1
    run = plan(MAIN | {name: OTHER[name]}).runs[0]
    assert parse_run(write_run(run)) == run


OTHER_ITEM: dict[str, Any] = {
    "do": "radio_check", "on": "in", "after": "turn 1", "at": "turn 1", "with": {"seconds": 6}, "want": "must",
    "put_back": False, "why": "kept", "times": 2, "when": {"not_before": "+0:20:00", "after_item": "radio_check"},
}  # fmt: skip


@pytest.mark.parametrize("name", sorted(field.alias or key for key, field in Item.model_fields.items()))
def test_no_field_of_an_item_is_forgotten(name: str) -> None:
    """The same for what an item may hold. Another procedure is another item: one goes, one comes."""
    assert name in OTHER_ITEM, f"give a value for the new field {name!r} here, and see that its change is told"
    plain = {"do": "hold", "on": "out"}
    changed = plain | {name: OTHER_ITEM[name]} | ({"why": "kept"} if name == "put_back" else {})
    assert len(_lines({"items": [plain]}, {"items": [changed]})) == (2 if name == "do" else 1)
    run = plan(MAIN | {"items": [changed]}).runs[0]
    assert parse_run(write_run(run)) == run


OTHER_HEAD: dict[str, Any] = {
    "driver": "dana", "medium": "board", "tyre_sets": SETS, "minimum_laps": {"dana": 20}, "quiet": {"timed": "all"},
    "notes": "A crane at turn 4.",
}  # fmt: skip
OF_THE_START = {"plan", "car", "session", "starts_with", "alternates", "runs"}
"""What says which plan it is, or is read when the session begins; a changed start comes as a warning."""


@pytest.mark.parametrize("name", sorted(set(Plan.model_fields) - OF_THE_START))
def test_no_field_of_a_plan_is_forgotten(name: str) -> None:
    """The same for the head of a plan."""
    assert name in OTHER_HEAD, f"give a value for the new field {name!r} here, and see that its change is told"
    assert differences(plan(MAIN), plan(MAIN, **{name: OTHER_HEAD[name]}))
