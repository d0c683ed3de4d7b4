"""The static proof against the truth, on small random plans: a part of what ``simulations/prove_plans.py`` does."""

from __future__ import annotations

import sys
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from pitwall.checks.flow.course import lay_out, movers_of
from pitwall.checks.flow.search import prove, prove_switch, search

sys.path.insert(0, str(Path(__file__).parents[2] / "simulations"))

import prove_plans
from prove_plans_cases import PROCEDURES, Case, case
from prove_plans_truth import TooManyWorlds, live_all

SMALL = 250
NUMBERS = st.integers(min_value=0, max_value=10**6)


def wrong_starts(found: Case, misses: int) -> set[tuple[str, str, int]]:
    """Every (switch, run, lap) that the proof tells with so many missed calls allowed."""
    proofs = prove(found.plan, found.car, PROCEDURES, found.wet, misses=misses)
    return set(prove_plans.told(found, proofs, 1))


def test_no_unsafe_plan_is_called_safe_and_hardly_a_safe_one_unsafe() -> None:
    """120 plans, a third of them truly unsafe though no call is missed: none is called safe, with and without a missed
    call, not on a single lap; at most one in twenty is called unsafe that is not. Every story is the shortest there is;
    with presets a few are told shorter than they can be.
    """
    total = prove_plans.study(90, seed=5, jobs=2, worlds=SMALL, most_runs=1)
    total += prove_plans.study(30, seed=5, jobs=2, worlds=2 * SMALL, most_runs=2)
    assert prove_plans.verdict(total) == []
    assert total["plans"] >= 120
    for missed in (0, 1):
        assert total[f"starts_{missed}"] > 60
        assert total[f"stories_differ_without_presets_{missed}"] == 0
        differ = total[f"stories_too_short_{missed}"] + total[f"stories_not_shortest_{missed}"]
        assert differ <= 0.02 * total[f"starts_{missed}"]


@settings(max_examples=25, deadline=None)
@given(NUMBERS)
def test_more_missed_calls_never_make_it_safer(number: int) -> None:
    """What can start wrong with no call missed can with one, and what can with one can with two."""
    found = case(3, number, most_runs=2)
    none, one, two = (wrong_starts(found, misses) for misses in (0, 1, 2))
    assert none <= one <= two


@settings(max_examples=25, deadline=None)
@given(NUMBERS)
def test_a_plan_without_an_item_goes_wrong_only_where_the_whole_plan_can(number: int) -> None:
    """An item may be left out on the day, so what goes wrong without it is told of the plan with it as well."""
    found = case(4, number)
    for index, run in enumerate(found.plan.runs):
        if not run.items:
            continue
        fewer = run.model_copy(update={"items": run.items[1:]})
        runs = (*found.plan.runs[:index], fewer, *found.plan.runs[index + 1:])
        less = Case(number, found.plan.model_copy(update={"runs": runs}), found.car, found.wet)
        for misses in (0, 1):
            assert wrong_starts(less, misses) <= wrong_starts(found, misses)


@settings(max_examples=40, deadline=None)
@given(NUMBERS)
def test_what_is_proved_without_a_search_is_what_the_search_proves(number: int) -> None:
    """Switches that follow their calls are proved by an argument; going through every state says the same of each."""
    found = case(7, number)
    for switch in found.car.switches:
        course = lay_out(found.plan, found.car, PROCEDURES, found.wet, movers_of(found.car, switch.switch))
        quick = prove_switch(found.plan, found.car, PROCEDURES, switch, found.wet, misses=0)
        index = [part.name for part in course.parts].index(switch.switch)
        slow = search(course, index, quick.guarded, 0)
        assert quick.wrong == slow.wrong
        assert quick.positions == slow.positions


@settings(max_examples=25, deadline=None)
@given(NUMBERS)
def test_positions_are_those_of_the_truth(number: int) -> None:
    """Where a switch can stand as a lap starts in any small world is among what the proof tells of that lap."""
    found = case(6, number)
    try:
        truth = live_all(found.plan, found.car, PROCEDURES, found.wet, most_worlds=SMALL)
    except TooManyWorlds:
        return
    runs = [run.run for run in found.plan.runs if run.laps]
    for proof in prove(found.plan, found.car, PROCEDURES, found.wet):
        mine = {(runs[at[0]], at[1]): {f"{one:.6g}" if isinstance(one, float) else one for one in spots}
                for at, spots in proof.positions_missed.items()}
        for at, stands in truth.stands.items():
            assert {to for name, to in stands if name == proof.switch} <= mine[at]
