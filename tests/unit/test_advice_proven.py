"""What is said to be proven is: cars that share a crew, where a run more makes the musts surer."""

from __future__ import annotations

from dataclasses import replace

import pytest

from pitwall.forecast.advice import advise
from pitwall.forecast.advice_desk import Desk
from pitwall.forecast.advice_look import Search, look
from pitwall.forecast.advice_outcome import FULL
from pitwall.forecast.advice_surest import surest, surest_of_all
from pitwall.forecast.advice_telling import unreached_of
from pitwall.model.advice import AdviceQuestion, RunChoice
from tests.unit.advice_brute import every_plan
from tests.unit.advice_plans import choice, piece, question

FLOOR = ("floor",)


def crew_taken(left_s: float = 1360.0, *, spread: float = 0.0, third: bool = False) -> AdviceQuestion:
    """Without the could first, car 41 comes in just before car 58 and keeps the crew from it: 58 misses its last must.
    With the could first, 41 comes in later and both fit; alone neither car needs that."""
    last = choice("z", "item", want="must", lap_s=90.0, work_s=60.0)
    last = last.model_copy(update={"activities": (piece("item", 90.0, spread, "z"),)})
    runs: list[RunChoice] = [
        choice("a", "out 4 in", want="must", crew=FLOOR, before=("z",)), last,
        choice("b", "out 1 in", want="could", value=0.001, work_s=60.0),
        choice("c", "out 5 in", car="58", want="must", crew=FLOOR, before=("d",)),
        choice("d", "out 1 in", car="58", want="must"),
    ]
    if third:
        runs.append(choice("e", "out 1 in", car="63", want="must", crew=FLOOR))
    return question(runs, left_s, started=False)


def searched(asked: AdviceQuestion, together: int = FULL.together) -> Search:
    """The search for this question, with so many pairs of beginnings to drive."""
    desk = Desk.of(asked)
    team = desk.team(desk.calendar(), effort=replace(FULL, together=together))
    return look(desk, team, team.judge(desk.as_it_stands))


def highest(asked: AdviceQuestion) -> float:
    """The highest chance of all musts, of every plan tried."""
    return max(plan.chance for plan in every_plan(asked, 0.0))


def test_three_cars_with_a_crew_in_common_are_not_said_to_be_out_of_reach() -> None:
    """The plans of nothing but musts fail, but another plan does them all: it is found, and proven."""
    asked = crew_taken(third=True)
    assert highest(asked) == 1.0
    found = searched(asked)
    assert surest(found.team).chance == 0.0
    assert found.reachable == 1.0
    assert found.outcome.exact
    assert "no plan does all musts" not in advise(asked).best[0].sentence


def test_cars_that_never_wait_are_proven_still() -> None:
    """With time for everything, or for nothing, what three cars can do without waiting is the bound: proven."""
    late = searched(crew_taken(150.0, third=True))
    assert unreached_of(crew_taken(150.0), late) == "no plan does all musts"
    easy = searched(crew_taken(6000.0, third=True))
    assert easy.reachable == 1.0
    assert easy.outcome.exact


@pytest.mark.parametrize("together", [0, FULL.together])
def test_two_cars_short_of_even_odds_are_told_what_was_found(together: int) -> None:
    """Nobody searches for more below even odds: the sentence does not say that there is no more."""
    asked = crew_taken(1352.0, spread=0.2)
    found = searched(asked, together)
    assert 0.05 < highest(asked) < 0.5
    said = unreached_of(asked, found)
    assert said is not None
    assert "no plan was found" in said
    assert found.outcome.best is not None
    assert found.reachable >= found.outcome.best.chance
    assert not found.proven
    assert found.settled is (together > 0)
    assert not found.outcome.exact or found.settled


def test_a_search_that_is_cut_short_says_what_was_found() -> None:
    """Without pairs to drive the plan that does all musts is not found, and none is said not to exist."""
    asked = crew_taken()
    assert highest(asked) == 1.0
    assert surest_of_all(searched(asked).team).chance == 1.0
    cut = searched(asked, 0)
    assert not cut.outcome.exact
    said = unreached_of(asked, cut)
    assert said is None or said.startswith("no plan was found")
