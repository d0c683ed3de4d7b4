"""The search against trying every plan: on small plans with constraints of every kind it finds exactly the best."""

from __future__ import annotations

import pytest

from pitwall.forecast.advice_desk import Desk
from pitwall.forecast.advice_look import look
from pitwall.model.advice import PER_CHANGE
from tests.unit.advice_brute import best_plan
from tests.unit.advice_plans import random_question

BATCH = 10


@pytest.mark.parametrize("batch", range(15))
@pytest.mark.parametrize("certain", [True, False], ids=["certain", "uncertain"])
def test_equals_every_plan_tried(batch: int, certain: bool) -> None:
    """Worth and musts of the best plan as written are those of the best of all plans, to rounding."""
    for seed in range(batch * BATCH, (batch + 1) * BATCH):
        question = random_question(seed, certain=certain)
        desk = Desk.of(question)
        if not desk.standing.doable:
            continue
        team = desk.team(desk.calendar())
        found, brute = look(desk, team, team.judge(desk.as_it_stands)).outcome, best_plan(question, PER_CHANGE)
        assert found.exact, seed
        assert found.best is not None, seed
        assert found.best.chance == pytest.approx(brute.chance, abs=1e-9), seed
        assert found.bound + desk.after_flag_worth == pytest.approx(brute.net, abs=1e-6), (seed, brute)
        worth = found.best.worth + desk.after_flag_worth
        assert worth == pytest.approx(brute.worth, abs=PER_CHANGE * len(question.choices)), seed


@pytest.mark.parametrize("seed", range(100, 110))
def test_equals_every_plan_tried_when_changes_are_free(seed: int) -> None:
    """Without a price on changes the worth alone is highest."""
    question = random_question(seed, certain=False)
    desk = Desk.of(question)
    team = desk.team(desk.calendar(), per_change=0.0)
    search = look(desk, team, team.judge(desk.as_it_stands))
    assert search.outcome.best is not None
    assert search.outcome.best.worth == pytest.approx(best_plan(question).worth, abs=1e-9)
