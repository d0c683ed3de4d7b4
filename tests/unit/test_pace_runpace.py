"""What the next timed laps will take: rules pooled by their record, with intervals that hold what they say."""

from __future__ import annotations

import copy
import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pitwall.pace.programme import LONG_RUN, QUICK_RUN
from pitwall.pace.residuals import HEAVY, MISTAKES, MOST, ORDINARY, Residuals, as_logs, in_deviations
from pitwall.pace.runpace import DrivenLaps, FieldLaps
from pitwall.pace.weighing import HIGH, LOW, MIDDLE, Record, Spread, weighted_median, weighted_quantiles


def test_a_run_falls_silent_when_the_car_comes_in() -> None:
    """Laps of the run that is over are laps before; an empty run leaves no trace."""
    laps = DrivenLaps().lap(90.0).lap(91.0).came_in()
    assert laps == laps.came_in()
    assert (laps.this_run, laps.runs) == ((), ((90.0, 91.0),))
    assert laps.before == (90.0, 91.0)


def test_before_the_first_timed_lap_nothing_is_said_of_the_next_run() -> None:
    """A car without a lap has no lap time of its own to go by."""
    assert FieldLaps().first("41", DrivenLaps(), 100.0) is None


def test_a_quick_out_lap_announces_a_long_run() -> None:
    """Who does not nurse the tyres on the out-lap starts a long run: its first lap is slower than after a slow one."""
    field, laps = FieldLaps(), DrivenLaps().lap(90.0).came_in()
    first = field.first("41", laps, 1000.0)
    long_run = field.after_out(laps, math.log(1.04), True, 90.0, first)
    quick_run = field.after_out(laps, math.log(1.35), False, 90.0, first)
    assert long_run.seconds > quick_run.seconds + 1.0


def drive(field: FieldLaps, car: str, laps: DrivenLaps, t: float, times: list[float], compound: str) -> DrivenLaps:
    """A run of these timed laps, one after another."""
    for seconds in times:
        t += seconds
        laps = laps.lap(seconds, field.model.timed(car, laps.run, t, seconds, compound))
    return laps


def test_others_long_runs_say_what_the_first_lap_of_one_will_be() -> None:
    """Five others needed 94 s on long runs after 88 s laps; a car of 87 s that comes in late is told about 93 s."""
    field = FieldLaps()
    for at in range(5):
        for compound in ("medium", "soft"):
            laps = drive(field, f"other-{at}", DrivenLaps(), 600.0, [88.0, 88.1], compound).came_in()
        first = field.first(f"other-{at}", laps, 2600.0, 5400.0)
        laps = drive(field, f"other-{at}", laps, 3000.0, [94.0, 94.1, 94.2, 94.3], "medium")
        assert laps.run.mode == LONG_RUN
        assert first is not None
        field.learn("first", first, 94.0, laps.run.mode)
    own = DrivenLaps()
    for compound in ("medium", "soft"):
        own = drive(field, "41", own, 3400.0, [87.0, 87.1], compound).came_in()
    early, late = field.first("41", own, 3500.0, 90_000.0), field.first("41", own, 3500.0, 5400.0)
    assert early is not None
    assert late is not None
    assert late.told[MIDDLE] == pytest.approx(93.0, abs=1.5)
    assert early.told[MIDDLE] < late.told[MIDDLE]


def test_a_lap_that_was_a_mistake_is_not_expected_again() -> None:
    """The first lap of a long run took 8 s too long: the next is expected near what others need, not near that."""
    field = FieldLaps()
    for at in range(4):
        laps = drive(field, f"other-{at}", DrivenLaps(), 300.0, [88.0], "soft").came_in()
        drive(field, f"other-{at}", laps, 3000.0, [93.0, 93.1, 93.2], "medium")
    laps = drive(field, "41", DrivenLaps(), 400.0, [88.0], "soft").came_in()
    laps = drive(field, "41", laps, 3300.0, [101.0], "medium")
    assert field.inside("41", laps, "next").rules[1] == pytest.approx(93.5, abs=1.2)
    assert field.inside("41", laps, "next").rules[0] == 101.0


def test_wear_of_a_compound_is_learned_from_all_cars() -> None:
    """All others lost 0.25 s a lap on softs; a car with two laps of its own is told more for the fifth than the next,
    and the sum of five lies between."""
    field = FieldLaps()
    for at in range(6):
        drive(field, f"other-{at}", DrivenLaps(), 1000.0, [90.0 + 0.25 * lap for lap in range(9)], "soft")
    laps = drive(field, "41", DrivenLaps(), 2500.0, [90.1, 90.3], "soft")
    following, fifth, five = (field.inside("41", laps, name).rules[1] for name in ("next", "later", "sum"))
    assert fifth - following == pytest.approx(4 * 0.25, abs=0.3)
    assert following < five < fifth


def test_any_lap_of_the_run_and_any_number_of_laps_can_be_asked_for() -> None:
    """The first and the fifth are what is judged; five in a row are the sum; further off is less sure."""
    field = FieldLaps()
    laps = drive(field, "41", DrivenLaps(), 1000.0, [90.0, 90.2, 90.1, 90.3], "medium")
    assert np.allclose(field.lap_ahead("41", laps, 1), field.inside("41", laps, "next").told)
    assert np.allclose(field.lap_ahead("41", laps, 5), field.inside("41", laps, "later").told)
    assert np.allclose(field.run_ahead("41", laps, 5), 5 * field.inside("41", laps, "sum").told)
    near, far = field.lap_ahead("41", laps, 5), field.lap_ahead("41", laps, 12)
    assert far[HIGH] - far[LOW] > near[HIGH] - near[LOW]
    run = [field.run_ahead("41", laps, count) for count in range(1, 15)]
    assert all(np.all(later - before > 80.0) for before, later in itertools.pairwise(run))


@settings(deadline=None, max_examples=40)
@given(st.lists(st.floats(60.0, 200.0), min_size=1, max_size=12), st.sampled_from(["soft", "wet", "unknown", ""]))
def test_forecasts_are_times_with_quantiles_that_rise_whatever_was_driven(times: list[float], compound: str) -> None:
    """Any laps: quantiles in order, all positive and finite, for each horizon and for the next run."""
    field = FieldLaps()
    laps = drive(field, "41", DrivenLaps(), 0.0, times, compound)
    said = [field.inside("41", laps, name).told for name in ("next", "later", "sum")]
    first = field.first("41", laps.came_in(), 3000.0)
    assert first is not None
    for told in (*said, first.told):
        assert np.all(np.isfinite(told))
        assert told[0] > 0.0
        assert np.all(np.diff(told) >= -1e-9)


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


def test_what_a_copy_learns_its_original_does_not() -> None:
    """A model is copied to be taught otherwise: the copy begins with the same, and neither learns, or forgets its
    oldest error, with the other."""
    kept, alone = Residuals(0.01), Residuals(0.01)
    for one, number in itertools.product((kept, alone), range(MOST)):
        one.learn(0.001 * number)
    made = copy.deepcopy(kept)
    assert made.quantiles(with_bias=True).tolist() == alone.quantiles(with_bias=True).tolist()
    for _ in range(MOST):
        made.learn(-0.5)
    for one in (kept, alone):
        one.learn(0.02)
    assert kept.quantiles(with_bias=True).tolist() == alone.quantiles(with_bias=True).tolist()
    assert max(made.quantiles(with_bias=True)) < min(alone.quantiles(with_bias=True))


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
    field, laps = FieldLaps(), DrivenLaps()
    for at in range(220):
        laps = drive(field, "41", laps, 90.0 * at, [90.0], "hard")
        said = field.inside("41", laps, "next")
        field.learn("next", said, 90.0, QUICK_RUN)
    told = field.inside("41", laps, "next").told
    assert told[MIDDLE] == pytest.approx(90.0, abs=0.1)
    assert told[HIGH] - told[LOW] < 0.3


@settings(max_examples=60, deadline=None)
@given(log=st.floats(-0.2, 0.2), deviation=st.floats(0.002, 0.1), noise=st.floats(0.002, 0.01))
def test_an_error_counted_and_told_again_is_the_same(log: float, deviation: float, noise: float) -> None:
    """What is learned of a lap is what would be told: one way and back."""
    counted = in_deviations(log, deviation, noise)
    assert float(as_logs(np.array([counted]), deviation, noise)[0]) == pytest.approx(log, abs=1e-9)


def test_what_a_mistake_costs_does_not_depend_on_how_well_the_car_is_known() -> None:
    """Ordinary errors are as wide as what is believed; beyond them a step costs the same, unless all is narrower."""
    noise = 0.004
    for deviation in (0.01, 0.03):
        ordinary, beyond = as_logs(np.array([ORDINARY, ORDINARY + 3.0]), deviation, noise)
        assert ordinary == pytest.approx(ORDINARY * deviation)
        assert beyond - ordinary == pytest.approx(3.0 * MISTAKES * noise)
    assert as_logs(np.array([-3.0, 5.0]), 0.004, noise) == pytest.approx([-0.012, 0.02])
