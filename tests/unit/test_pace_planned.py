"""What the plan's word about a lap is worth."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitwall.engine.run_state import RunState
from pitwall.model.plan import Run
from pitwall.pace.planned import PlanRecord, PlanWord

WORDS: tuple[PlanWord, ...] = ("none", "more", "last", "in", "beyond", "cool", "called")


def test_at_first_the_word_is_that_of_common_practice() -> None:
    """Before any lap an in-lap is likelier where the plan has it and less likely where it has timed laps."""
    plans = PlanRecord()
    timed, _, coming_in = plans.odds("in")
    assert coming_in > 2.0 * timed
    timed, cool, coming_in = plans.odds("more")
    assert coming_in < 0.5 * min(timed, cool)


def test_without_a_plan_nothing_is_shifted_and_nothing_is_learned() -> None:
    """A car without a plan, or on no run of it, goes by its pace and the field's habits alone, whatever happened."""
    plans = PlanRecord()
    for _ in range(20):
        plans.learn("none", (0.9, 0.05, 0.05), 2)
    assert plans.odds("none") == (1.0, 1.0, 1.0)


def test_a_plan_that_nobody_keeps_to_loses_its_word() -> None:
    """Where laps that the plan had as in-laps go on as often as pace alone says, its odds come near even."""
    plans = PlanRecord()
    for _ in range(40):
        plans.learn("in", (0.9, 0.05, 0.05), 0)
    timed, _, coming_in = plans.odds("in")
    assert coming_in < 4.0 * timed
    assert timed > 0.9


def test_a_plan_that_is_kept_speaks_louder() -> None:
    """Where every lap that the plan has as in-lap comes in, against what pace alone says, its word gains."""
    plans = PlanRecord()
    before = plans.odds("in")
    for _ in range(20):
        plans.learn("in", (0.9, 0.05, 0.05), 2)
    after = plans.odds("in")
    assert after[2] / after[0] > 3.0 * before[2] / before[0]


@given(st.lists(st.tuples(st.sampled_from(WORDS), st.floats(0.002, 0.9), st.integers(0, 2)), max_size=80))
def test_odds_stay_finite_and_positive_whatever_happens(laps: list[tuple[PlanWord, float, int]]) -> None:
    """No history of laps makes a kind impossible or certain."""
    plans = PlanRecord()
    for word, timed, kind in laps:
        plans.learn(word, (timed, (1.0 - timed) / 2.0, (1.0 - timed) / 2.0), kind)
    for word in WORDS:
        assert all(0.0 < odds < 1e4 for odds in plans.odds(word))


@pytest.mark.parametrize(
    ("pointer", "done", "stayed", "called", "word"),
    [
        (0, 0, 0, None, "none"),
        (1, 0, 0, None, "more"),
        (2, 1, 0, None, "last"),
        (3, 2, 0, None, "in"),
        (3, 2, 1, None, "beyond"),
        (3, 1, 0, 2, "called"),
    ],
)
def test_a_run_says_what_it_has_of_the_lap(
    pointer: int, done: int, stayed: int, called: int | None, word: PlanWord
) -> None:
    """Out-lap: nothing; then more, the last, in; beyond its end nothing again; called in by somebody: called."""
    run: Run = Run(run="run-1", want="must", laps=("out", "timed", "timed", "in"))
    state = RunState(run, run.laps, pointer=pointer, timed_done=done, stayed_out=stayed, boxed_from=called)
    assert state.word == word
