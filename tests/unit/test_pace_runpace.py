"""What the next timed laps will take: rules pooled by their record, with intervals that hold what they say."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitwall.pace.residuals import HEAVY, MOST, Residuals
from pitwall.pace.runpace import DrivenLaps, FieldLaps, rules_inside
from pitwall.pace.weighing import HIGH, LOW, MIDDLE, Record, Spread, weighted_median, weighted_quantiles


def test_one_mistake_moves_no_rule_far() -> None:
    """Steady laps and one of five seconds more: each rule stays within half a second of the steady pace."""
    assert rules_inside((90.0, 90.1, 89.9, 95.0)) == pytest.approx((90.1, 90.0, 90.0, 90.05), abs=0.5)


def test_a_run_falls_silent_when_the_car_comes_in() -> None:
    """Laps of the run that is over are laps before; an empty run leaves no trace."""
    laps = DrivenLaps().lap(90.0).lap(91.0).came_in()
    assert laps == DrivenLaps((), ((90.0, 91.0),)) == laps.came_in()
    assert laps.before == (90.0, 91.0)


def test_before_the_first_timed_lap_nothing_is_said_of_the_next_run() -> None:
    """A car without a lap has no lap time of its own to go by."""
    assert FieldLaps().first(DrivenLaps(), 100.0) is None


def test_a_quick_out_lap_announces_a_long_run() -> None:
    """Who does not nurse the tyres on the out-lap starts a long run: its first lap is slower than after a slow one."""
    field, laps = FieldLaps(), DrivenLaps().lap(90.0).came_in()
    first = field.first(laps, 1000.0)
    long_run = field.after_out(laps, math.log(1.04), True, 90.0, first)
    quick_run = field.after_out(laps, math.log(1.35), False, 90.0, first)
    assert long_run.seconds > quick_run.seconds + 1.0


def test_others_first_laps_move_the_forecast() -> None:
    """All others begin their runs 5 s slower than their laps before: the forecast for the last car moves that way."""
    laps = DrivenLaps().lap(90.0).came_in()
    field = FieldLaps()
    before = field.first(laps, 2000.0)
    for at in range(12):
        field.learn_first(1900.0 + at, laps, 95.0)
    after = field.first(laps, 2000.0)
    assert before is not None
    assert after is not None
    assert after.seconds > before.seconds + 0.5


def test_the_better_rule_gains_the_weight() -> None:
    """Two rules, the second always nearer: it has most of the weight after some, at first it had little."""
    record = Record(0.1, (0.8, 0.2))
    assert record.weights() == pytest.approx((0.8, 0.2))
    for _ in range(30):
        record.learn((95.0, 90.2), 90.0)
    assert record.weights()[1] > 0.95
    assert record.pooled((95.0, 90.2)) < 90.5


def test_little_evidence_changes_little() -> None:
    """One lucky forecast does not turn the simple rule out."""
    record = Record(0.5, (0.8, 0.2))
    record.learn((91.0, 90.0), 90.0)
    assert record.weights()[0] > 0.5


@pytest.mark.parametrize("spread", [0.3, 3.0])
def test_intervals_come_to_hold_four_in_five(spread: float) -> None:
    """However wrong the spread is at first, about 80 % of truths come to lie between the outer quantiles."""
    rng, keeps = np.random.default_rng(3), Spread()
    unit = np.array([-1.645, -1.282, -0.674, 0.0, 0.674, 1.282, 1.645]) * spread
    inside = []
    for _ in range(800):
        told, truth = keeps.apply(unit), float(rng.normal())
        inside.append(told[LOW] <= truth <= told[HIGH])
        keeps.learn(told, truth)
    assert np.mean(inside[200:]) == pytest.approx(0.8, abs=0.05)


def test_old_errors_are_forgotten() -> None:
    """The prior and the oldest errors go once enough newer ones are there."""
    errors = Residuals(0.5)
    assert errors.quantiles()[-1] > 0.5
    for _ in range(MOST + len(HEAVY)):
        errors.learn(0.01)
    assert errors.quantiles(with_bias=True) == pytest.approx([0.01] * 7)
    assert errors.quantiles() == pytest.approx([0.0] * 7)


@given(st.lists(st.tuples(st.floats(-50, 50), st.floats(0.01, 10)), min_size=1, max_size=30))
def test_weighted_quantiles_lie_within_the_values_and_rise(pairs: list[tuple[float, float]]) -> None:
    """Between the smallest and the largest value, in order; equal weights give the middle of the sorted values."""
    values, weights = (np.array(one) for one in zip(*pairs, strict=True))
    found = weighted_quantiles(values, weights)
    assert values.min() - 1e-9 <= found[0]
    assert found[-1] <= values.max() + 1e-9
    assert np.all(np.diff(found) >= -1e-9)
    assert min(values) <= weighted_median(list(values), list(weights)) <= max(values)


def test_quantiles_of_nothing_are_refused() -> None:
    """No values, or no weight at all: an error, never a number."""
    with pytest.raises(ValueError, match="no values"):
        weighted_quantiles(np.array([]), np.array([]))
    with pytest.raises(ValueError, match="nothing"):
        weighted_quantiles(np.array([1.0]), np.array([0.0]))


def test_forecasts_are_judged_by_the_lap_that_they_were_of() -> None:
    """A forecast that was right every time has a narrow interval after a while."""
    field = FieldLaps()
    for _ in range(60):
        said = field.inside(DrivenLaps((90.0, 90.0)), "next")
        field.learn("next", said, 90.0)
    told = field.inside(DrivenLaps((90.0, 90.0)), "next").told
    assert told[MIDDLE] == pytest.approx(90.0)
    assert told[HIGH] - told[LOW] < 1.0
