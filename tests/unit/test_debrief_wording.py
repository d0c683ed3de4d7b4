"""Values of the debrief in words."""

from __future__ import annotations

import pytest

from pitwall.debrief.wording import clock_within, within
from pitwall.model.debrief_rows import Uncertain


@pytest.mark.parametrize(
    ("value", "low", "high", "words"),
    [(312, 309, 316, "312.0 (−3.0 +4.0)"), (1.0, 1.0 + 1e-9, 1.5, "1.0 (−0.0 +0.5)"), (2, 2.5, 3, "2.0 (−0.0 +1.0)"),
     (2, 1, 1.5, "2.0 (−1.0 +0.0)"), (-5, -6, -4, "−5.0 (−1.0 +1.0)")],
)  # fmt: skip
def test_a_bound_on_the_wrong_side_of_the_value_adds_nothing(value: float, low: float, high: float, words: str) -> None:
    """How much less and how much more it may be is never below zero, and no sign stands twice."""
    assert within(Uncertain(value=value, low=low, high=high), 1) == words


def test_a_moment_has_no_sign_twice_either() -> None:
    """The same of a time of the session."""
    assert clock_within(Uncertain(value=723.41, low=723.4100001, high=723.71)) == "0:12:03.41 (−0.00 +0.30)"
