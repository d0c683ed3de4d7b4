"""What a plan is worth for those who look again before a run and after a red flag."""

from __future__ import annotations

import pytest

from pitwall.forecast.advice import advise
from pitwall.forecast.advice_desk import Desk
from pitwall.forecast.advice_look import look
from pitwall.forecast.advice_outcome import TeamPlan
from pitwall.forecast.advice_recourse import looked_at_again
from pitwall.forecast.advice_surest import surest
from pitwall.forecast.advice_team import TeamSearch
from pitwall.model.advice import AdviceQuestion
from pitwall.model.rules import Interruptions
from tests.unit.advice_plans import choice, piece, question, random_question

REDS = Interruptions(red_per_hour=1.0, red_length_s=(500, 600, 700), slow_per_hour=0.0)
NEEDED_S = 108 + 2 * 90 + 108 + 300 + 108
"""A should of two timed laps, its work, and the out-lap of the must behind it."""


def should_then_must(left_s: float, *, spread: float = 0.0, **rest: object) -> AdviceQuestion:
    """A should that could as well come last, and a must of one timed lap."""
    runs = (choice("long", "out 2 in", value=2, spread=spread), choice("last", "out 1 in", want="must", spread=spread))
    return question(runs, left_s, **rest)  # type: ignore[arg-type]


def judged(asked: AdviceQuestion) -> tuple[TeamSearch, TeamPlan]:
    """The plan as it stands, as it is written."""
    desk = Desk.of(asked)
    team = desk.team(desk.calendar())
    return team, team.judge(desk.as_it_stands)


def test_a_red_flag_in_a_should_leaves_time_for_the_must() -> None:
    """As written the plan drives the should again behind a red flag and misses the must; else it is given up."""
    team, plan = judged(should_then_must(NEEDED_S + 400.0, interruptions=REDS, futures=2000))
    again = looked_at_again(team, plan, 0.9)
    assert plan.chance < 0.9
    assert again.chance > plan.chance + 0.03
    assert again.net > plan.net


def test_who_looks_again_leaves_out_what_comes_too_late() -> None:
    """Work before the should that lasts too long: it is left out where it would take the must's time."""
    asked = should_then_must(NEEDED_S + 700.0, futures=2000)
    first = choice("first", "out 1 in", want="must", work_s=300.0, spread=0.0)
    late = first.model_copy(update={"work": first.work.model_copy(update={"low_s": 100.0, "high_s": 900.0})
                                    if first.work is not None else None})
    team, plan = judged(question((late, *asked.choices), NEEDED_S + 700.0, futures=2000))
    again = looked_at_again(team, plan, 0.9)
    assert 0.3 < plan.chance < 0.9
    assert again.chance == pytest.approx(1.0, abs=0.02)
    assert again.worth > plan.worth


def test_nothing_changes_where_no_must_stands_behind() -> None:
    """With the must first there is nothing to decide: the plan is worth what it is as written."""
    asked = should_then_must(NEEDED_S, interruptions=REDS, futures=500)
    team, _ = judged(asked)
    musts_first = team.judge((tuple(sorted(range(2), key=lambda n: -n)),))
    assert looked_at_again(team, musts_first, 0.9) == musts_first


@pytest.mark.parametrize("seed", range(0, 60, 3))
def test_never_surer_than_the_surest_plan(seed: int) -> None:
    """Leaving out at the best of moments helps no must more than never having planned the rest."""
    asked = random_question(seed, certain=False)
    desk = Desk.of(asked)
    if not desk.standing.doable:
        return
    team = desk.team(desk.calendar())
    found, most = look(desk, team, team.judge(desk.as_it_stands)), surest(team)
    for plan in (team.judge(sequels) for sequels in found.outcome.others):
        surer = looked_at_again(team, plan, asked.confidence).chance
        assert surer <= (most.chance if team.musts else 1.0) + 1e-9


def test_the_order_with_the_should_first_is_advised_and_says_so() -> None:
    """Red flags make the order of the plan too unsure as written, but not for those who look again: it is kept."""
    asked = should_then_must(NEEDED_S + 450.0, interruptions=REDS, futures=2000)
    long_work = asked.choices[1].model_copy(update={"work": piece("garage", 1500.0)})
    best = advise(asked.model_copy(update={"choices": (asked.choices[0], long_work)})).best[0]
    assert [run.run for run in best.cars[0].runs] == ["long", "last"]
    assert best.musts_chance < 0.9
    assert "if what is optional is left out in time" in best.sentence


def test_the_steps_of_a_ladder_are_judged_as_the_proposals_are() -> None:
    """Under a red flag that ends in four minutes a should that must come first is kept, for those who leave it out in
    time: the same plan, in the same words, as in a session that goes on with as much time left."""
    asked = should_then_must(NEEDED_S + 550.0, interruptions=REDS, futures=500)
    first = asked.choices[0].model_copy(update={"before": ("last",)})
    asked = asked.model_copy(update={"choices": (first, *asked.choices[1:])})
    said = advise(asked).best[0]
    stopped = asked.snapshot.model_copy(update={"status": "red", "remaining_s": asked.snapshot.remaining_s + 240.0})
    (step,) = advise(asked.model_copy(update={"snapshot": stopped, "restart_s": (240.0,)})).ladder
    assert "left out in time" in said.sentence
    assert "left out in time" in step.best.sentence
    assert step.best.cars == said.cars
