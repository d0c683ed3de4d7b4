"""Cars that share crews: the search of all together finds exactly the best of all plans."""

from __future__ import annotations

import random

import pytest

from pitwall.forecast.advice_beginnings import Beginnings
from pitwall.forecast.advice_desk import Desk
from pitwall.forecast.advice_joint import JointSearch
from pitwall.forecast.advice_look import look
from pitwall.model.advice import PER_CHANGE, AdviceQuestion
from tests.unit.advice_brute import best_plan
from tests.unit.advice_plans import LIVELY, choice, in_windows, question, random_question

CREWS = (("floor",), ("tyres",), ("floor", "tyres"), ("floor",), ())


def crewed(seed: int, *, certain: bool, cars: int = 2) -> AdviceQuestion:
    """A small plan of several cars whose works need one crew, or the other, or both."""
    asked, rng = random_question(seed, certain=certain, cars=cars), random.Random(seed)
    return asked.model_copy(update={
        "choices": tuple(one.model_copy(update={"crew": rng.choice(CREWS)}) for one in asked.choices),
    })


@pytest.mark.parametrize("certain", [True, False], ids=["certain", "uncertain"])
@pytest.mark.parametrize(("cars", "first", "count"), [(2, 2000, 8), (2, 2008, 8), (3, 2002, 3)])
def test_equals_every_plan_tried(cars: int, first: int, count: int, certain: bool) -> None:
    """Worth and musts of the best plan are those of the best of all plans, each driven with the crews shared."""
    compared = [agrees(crewed(seed, certain=certain, cars=cars)) for seed in range(first, first + count)]
    assert any(compared)


@pytest.mark.parametrize("certain", [True, False], ids=["certain", "uncertain"])
def test_equals_every_plan_tried_in_windows(certain: bool) -> None:
    """The same in a session with a break in it."""
    compared = [agrees(in_windows(crewed(seed, certain=certain))) for seed in range(2100, 2106)]
    assert any(compared)


def agrees(asked: AdviceQuestion) -> bool:
    """The search finds what trying every plan does, and proves it; False where no crew is shared."""
    desk = Desk.of(asked)
    team = desk.team(desk.calendar())
    if not desk.standing.doable or not team.joins:
        return False
    found, brute = look(desk, team, team.judge(desk.as_it_stands)).outcome, best_plan(asked, PER_CHANGE)
    assert found.exact, asked.seed
    assert found.best is not None, asked.seed
    assert found.best.net + desk.after_flag_worth == pytest.approx(brute.net, abs=1e-6), asked.seed
    assert found.best.chance == pytest.approx(brute.chance, abs=1e-9), asked.seed
    return True


class Watched(JointSearch):
    """Drives every whole plan that it comes to, and notes what was said of it before."""

    def __init__(self, asked: AdviceQuestion, budget: int) -> None:
        desk = Desk.of(asked)
        self.watched = desk.team(desk.calendar())
        self.said: list[tuple[float, bool, float]] = []
        super().__init__(self.watched, 0.0, budget, [float("inf")] * len(self.watched.searches))

    def _judge_whole(self, many: Beginnings) -> None:
        for row in many.whole.nonzero()[0].tolist():
            plan = self.watched.judge(tuple(own.sequels[row] for own in many.cars))
            self.said.append((float(many.most[row]), bool(many.crews.fair[row].all()), plan.net))


@pytest.mark.parametrize(("cars", "names"), [(("41", "58"), "abc"), (("41", "58", "63"), "ab")], ids=["two", "three"])
def test_no_plan_is_worth_more_than_its_bound(
    cars: tuple[str, ...], names: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Stops of very different lengths, and nobody asked whether he goes on before it is his turn, so that works often
    come due in another order than they were added: no plan is worth more than was said of it, and one in order in every
    future is worth just that."""
    monkeypatch.setattr("pitwall.forecast.advice_joint.MAY_BE_SOONER", 1.0)
    said = []
    for seed in range(2):
        rng = random.Random(seed)
        runs = [choice(f"{name}{car}", f"out {rng.randint(1, 3)} in", car=car, spread=0.5,
                       work_s=float(rng.choice((60, 300, 500))), crew=("floor",)) for car in cars for name in names]
        search = Watched(question(runs, 1900.0, seed=seed, interruptions=LIVELY), 400)
        search.search([])
        said += search.said
    assert len(said) > 50
    assert any(not fair for _, fair, _ in said)
    for most, fair, net in said:
        assert net <= most + 1e-6
        assert not fair or net == pytest.approx(most, abs=1e-6)


def test_a_search_that_ends_early_says_what_is_left() -> None:
    """With few pairs to drive nothing is proven, and the bound is no lower than the best of all plans."""
    asked = crewed(2001, certain=False)
    desk = Desk.of(asked)
    team = desk.team(desk.calendar())
    whole = JointSearch(team, 0.0, 10_000, [float("inf")] * 2).search([])
    short = JointSearch(team, 0.0, 12, [float("inf")] * 2).search([team.judge(desk.as_it_stands)])
    assert whole.exact
    assert not short.exact
    assert whole.best is not None
    assert short.bound >= whole.best.net > short.bound - 200.0
