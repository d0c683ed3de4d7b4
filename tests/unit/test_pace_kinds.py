"""Which kind of lap it was, or will be: from the pace, against the plan if need be."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitwall.model.plan import LapKind
from pitwall.pace.field_pace import FieldPace
from pitwall.pace.kinds import (
    LAST_PART_AT_MOST,
    MEANT_COOL_AT_MOST,
    SO_FAR_AT_MOST,
    TIMED_AT_MOST,
    judge_complete,
    judge_so_far,
)
from pitwall.pace.laptimes import CarPace
from pitwall.pace.planned import PlanWord

LOOPS = {"line": 0.0, "1": 0.3, "2": 0.7}


def car(*laps: float) -> CarPace:
    """A car with these timed laps behind it, the last at 1000 s, on a circuit with a reference of 100 s."""
    pace = CarPace(dict(LOOPS), FieldPace(100.0))
    for lap in laps:
        pace.learn_lap("timed", lap, 1000.0, {"1": 0.3 * lap, "2": 0.7 * lap})
    return pace


@pytest.mark.parametrize(("seconds", "kind"), [
    (90, "timed"), (100 * TIMED_AT_MOST, "timed"), (100 * TIMED_AT_MOST + 0.1, "cool"), (150, "cool"),
])  # fmt: skip
def test_a_complete_lap_is_timed_within_its_limit(seconds: float, kind: LapKind) -> None:
    """Against a best of 100 s; a slow or red period makes any lap a cool-down lap."""
    assert judge_complete(car(100), seconds, 1100, False) == kind
    assert judge_complete(car(100), seconds, 1100, True) == "cool"


@pytest.mark.parametrize(("seconds", "kind"), [
    (95, "timed"), (100 * MEANT_COOL_AT_MOST, "timed"), (100 * MEANT_COOL_AT_MOST + 0.1, "cool"), (111, "cool"),
])  # fmt: skip
def test_a_lap_that_the_plan_has_as_cool_down_is_one_sooner(seconds: float, kind: LapKind) -> None:
    """Told as the lap begins, the driver has a part of it behind him at the pace; at the pace all of it is timed."""
    assert judge_complete(car(100), seconds, 1100, False, word="cool") == kind


@pytest.mark.parametrize("word", ["none", "more", "last", "in", "called"])
def test_no_other_word_of_the_plan_makes_a_slow_timed_lap_another_one(word: PlanWord) -> None:
    """A lap with a mistake in it still counts for its run."""
    assert judge_complete(car(100), 111, 1100, False, word=word) == "timed"


@pytest.mark.parametrize(("seconds", "kind"), [(124, "timed"), (126, "cool")])
def test_the_first_lap_of_all_is_compared_with_the_circuit(seconds: float, kind: LapKind) -> None:
    """Nobody drove yet: generously, a cold track is slow."""
    assert judge_complete(car(), seconds, 500, False) == kind


@pytest.mark.parametrize(("at_loops", "kind"), [
    ({}, None), ({"1": 30}, "timed"), ({"1": 30 * SO_FAR_AT_MOST - 0.01}, "timed"), ({"1": 35.5}, "cool"),
    ({"1": 30, "2": 70}, "timed"),
    ({"1": 30, "2": 30 + 40 * LAST_PART_AT_MOST + 0.1}, "cool"),     # backed off after loop 1
    ({"1": 33, "2": 73.5}, "timed"),                                  # a slow first part, quick since
    ({"line": 0.0}, None),
])  # fmt: skip
@pytest.mark.parametrize("expected", ["timed", "cool"])
def test_a_running_lap_is_judged_from_its_loops(
    at_loops: dict[str, float], kind: LapKind | None, expected: LapKind
) -> None:
    """The pace decides as soon as there is one; until then the plan. What the plan expects does not bend the pace."""
    assert judge_so_far(car(100), at_loops, 1100, expected, False) == (kind or expected)


def test_without_anything_quick_the_plan_is_believed() -> None:
    """Nothing to compare with: whatever was expected."""
    assert judge_so_far(car(), {"1": 60}, 100, "timed", False) == "timed"


def test_an_in_lap_keeps_its_kind_unless_it_is_driven_at_pace() -> None:
    """On the lap where the in-lap is expected a slow car is coming in; one on the pace stays out."""
    assert judge_so_far(car(100), {"1": 36}, 1100, "in", False) == "in"
    assert judge_so_far(car(100), {"1": 30}, 1100, "in", False) == "timed"
    assert judge_so_far(car(100), {"1": 31.2}, 1100, "in", False) == "in"


@pytest.mark.parametrize(("expected", "kind"), [("timed", "cool"), ("cool", "cool"), ("in", "in")])
def test_a_disturbed_lap_cannot_be_timed(expected: LapKind, kind: LapKind) -> None:
    """Under slow or red the pace says nothing: cool-down, or the in-lap that was expected."""
    assert judge_so_far(car(100), {"1": 30}, 1100, expected, True) == kind


@given(quick=st.floats(60, 120), slower=st.floats(0.0, 1.0))
def test_slower_is_never_more_timed(quick: float, slower: float) -> None:
    """If a lap counts as timed, every quicker one does."""
    pace = car(quick)
    lap = quick * (1 + slower)
    if judge_complete(pace, lap, 1100, False) == "timed":
        assert judge_complete(pace, lap * 0.99, 1100, False) == "timed"
    if judge_so_far(pace, {"1": 0.3 * lap}, 1100, "cool", False) == "timed":
        assert judge_so_far(pace, {"1": 0.297 * lap}, 1100, "cool", False) == "timed"
