"""What cannot be advised on: a clear sentence each time, no proposal made of nothing, and no exception."""

from __future__ import annotations

import pytest

from pitwall.forecast.advice import advise
from pitwall.model.advice import AdviceQuestion, RunDone
from tests.unit.advice_plans import choice, piece, question

MUST = choice("main", "out 3 in", want="must")


def names(asked: AdviceQuestion) -> list[list[str]]:
    """Per proposal the runs that it does."""
    return [[run.run for car in plan.cars for run in car.runs] for plan in advise(asked).best]


@pytest.mark.parametrize(("asked", "says"), [
    (question([], 900.0), "No run is left"),
    (question([MUST, MUST], 900.0), "is there twice"),
    (question([MUST], 900.0, status="finished"), "The session is over"),
    (question([MUST], 900.0, status="closed"), "The session is over"),
    (question([MUST], 0.0), "The session is over"),
    (question([choice("a", "out 2 in", before=("b",)), choice("b", "out 2 in", before=("a",))], 900.0),
     "in a circle: a, b"),
    (question([choice("a", "out 2 in", before=("a",))], 900.0), "in a circle: a"),
    (question([choice("a", "out 2 in", same_as="b"), choice("b", "out 2 in", before=("c",)),
               choice("c", "out 2 in", before=("b",))], 900.0), "in a circle"),
    (question([choice("wet", "out 2 in", possible=False)], 900.0), "cannot be done now (dry only, and it is wet)"),
    (question([choice("none", "")], 900.0), "has no laps and no items"),
    (question([choice("starts", "item", after_flag=True)], 900.0), "Only runs for after the flag"),
], ids=lambda value: value if isinstance(value, str) else "asked")
def test_nothing_to_advise(asked: AdviceQuestion, says: str) -> None:
    """The sentence says why; there is no proposal, and no figure beyond the plan as it stands."""
    answer = advise(asked)
    assert answer.best == ()
    assert answer.ladder == ()
    assert says in (answer.problem or "")
    assert 0.0 <= answer.as_planned.musts_chance <= 1.0


def test_cars_that_are_not_in_the_snapshot() -> None:
    """A run of a car that nobody follows."""
    asked = question([MUST], 900.0)
    asked = asked.model_copy(update={"choices": (*asked.choices, choice("x", "out 2 in", car="58"))})
    answer = advise(asked)
    assert "car 58" in (answer.problem or "")
    assert answer.best == ()


@pytest.mark.parametrize(("run", "why"), [
    (choice("late", "out 2 in", not_after_s=500.0), "was to leave by 8:20"),
    (choice("late", "out 2 in", not_after_s=700.0, ready_s=800.0), "was to leave by 11:40"),
    (choice("worn", "out 3 in", tyre_laps_left=4), "needs 5 laps of its tyres"),
    (choice("wet", "out 2 in", possible=False), "cannot be done now"),
])
def test_runs_that_cannot_be_done_are_named_and_left_out(run: object, why: str) -> None:
    """The rest is advised on; no proposal holds the lost run."""
    asked = question([MUST, run], 4000.0)  # type: ignore[list-item]
    assert why in (advise(asked).problem or "")
    assert names(asked) == [["main"]]


def test_a_broken_group_goes_as_a_whole() -> None:
    """Of a comparison whose one half cannot be done the other is worth nothing; the note says so for each."""
    a, b = choice("a", "out 2 in", group="a-b"), choice("b", "out 2 in", group="a-b", possible=False)
    answer = advise(question([MUST, a, b], 4000.0))
    assert "Run a is worth nothing without b" in (answer.problem or "")
    assert [run.run for run in answer.best[0].cars[0].runs] == ["main"]


def test_what_repeats_a_lost_run_is_lost() -> None:
    """A repetition of what was never done compares with nothing."""
    again = choice("again", "out 2 in", same_as="wet")
    answer = advise(question([MUST, choice("wet", "out 2 in", possible=False), again], 4000.0))
    assert "Run again repeats wet, which cannot be done" in (answer.problem or "")


def test_a_plan_that_breaks_its_own_order_is_said_to() -> None:
    """The plan as it stands is then no candidate, however good it would be."""
    answer = advise(question([choice("b", "out 2 in"), choice("a", "out 2 in", before=("b",))], 4000.0))
    assert "does not keep its order" in (answer.problem or "")
    assert [run.run for run in answer.best[0].cars[0].runs] == ["a", "b"]


def test_runs_for_after_the_flag_stay_in_every_plan() -> None:
    """They need no time in the session, stand at the end, and count with their worth."""
    starts = choice("starts", "item", after_flag=True, want="should")
    answer = advise(question([starts, MUST], 4000.0))
    assert answer.best[0].cars[0].runs == (RunDone(run="main", timed=3), RunDone(run="starts", timed=0))
    assert answer.best[0].worth == pytest.approx(30.0)


def test_the_work_under_way_is_waited_for() -> None:
    """A car that is being worked on leaves no earlier: what just fitted does not any more."""
    lead = {"41": (piece("garage", 400.0),)}
    assert advise(question([MUST], 420.0)).best[0].musts_chance == 1.0
    assert advise(question([MUST], 420.0, lead=lead)).best[0].musts_chance == 0.0


def test_the_run_on_track_comes_first_and_is_not_dropped() -> None:
    """It may be shortened, but not below the lap that is under way."""
    there = choice("now", "3 in", want="could", fewest=1, done=1, under_way=True)
    asked = question([there, choice("main", "out 1 in", want="must", work_s=60.0)], 700.0)
    best = advise(asked).best[0].cars[0].runs
    assert best[0].run == "now"
    assert best[0].timed in (2, 3, 4)
    assert best[1].run == "main"
