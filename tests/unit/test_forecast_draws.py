"""What is drawn for one run does not depend on the others, and timed laps of a run go together."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pitwall.forecast.draws import draw_durations
from pitwall.forecast.futures import forecast
from pitwall.forecast.pert import sample
from pitwall.model.outlook import Activity, CarSnapshot, RunPace
from tests.unit.test_forecast_futures import ask, car, lap

PACE = RunPace(level=0.01, lap=0.003)


def paced(run: str, count: int, seconds: float = 90.0) -> list[Activity]:
    """Timed laps that scatter as the run's pace says."""
    return [lap(run, "timed", seconds, points="pace") for _ in range(count)]


def stint(run: str, timed: int, work: float = 300.0) -> list[Activity]:
    """Out, paced laps, in and work, all with some spread."""
    garage = Activity(run=None, kind="garage", low_s=work * 0.6, likely_s=work, high_s=work * 1.6)
    return [lap(run, "out", 110, 9, points="tenths"), *paced(run, timed), lap(run, "in", 105, 9), garage]


def snapshot(*activities: Activity, **pace: RunPace) -> CarSnapshot:
    """One car with these activities."""
    return CarSnapshot(car="41", from_s=0, on_track=False, activities=activities, wants={}, pace=pace)


def drawn(*activities: Activity, seed: int = 1, count: int = 300, **pace: RunPace) -> np.ndarray:
    """Durations of these activities; runs are paced alike unless told otherwise."""
    runs = {one.run: PACE for one in activities if one.run}
    return draw_durations(snapshot(*activities, **{**runs, **pace}), count, seed)


def test_dropping_a_run_changes_no_other_runs_draws() -> None:
    """A, B, C and A, C: the same durations for A and C, to the last bit, the work behind them included."""
    a, b, c = stint("a", 3), stint("b", 2), stint("c", 4)
    whole, without = drawn(*a, *b, *c), drawn(*a, *c)
    assert (np.delete(whole, np.s_[len(a) : len(a) + len(b)], axis=0) == without).all()


def test_shortening_reordering_and_longer_work_leave_the_rest_alone() -> None:
    """The laps that stay keep their times, whatever comes before, and whatever the work takes."""
    whole = drawn(*stint("a", 4), *stint("b", 2))
    shorter = drawn(*stint("a", 2), *stint("b", 2))
    assert (np.delete(whole, [3, 4], axis=0) == shorter).all()
    turned = drawn(*stint("b", 2), *stint("a", 4))
    assert (np.concatenate([turned[5:], turned[:5]]) == whole).all()
    longer = drawn(*stint("a", 4, work=900.0), *stint("b", 2))
    assert (np.delete(longer, 6, axis=0) == np.delete(whole, 6, axis=0)).all()
    assert (longer[6] > whole[6]).all()


def test_timed_laps_of_a_run_are_off_together() -> None:
    """With a level of 1 per cent and 0.3 from lap to lap, two laps correlate by 1 / 1.09; of two runs, not at all."""
    laps = drawn(*paced("a", 2), *paced("b", 1), count=20_000)
    known = 0.01**2 / (0.01**2 + 0.003**2)
    assert np.corrcoef(laps[0], laps[1])[0, 1] == pytest.approx(known, abs=0.01)
    assert np.corrcoef(laps[0], laps[2])[0, 1] == pytest.approx(0.0, abs=0.03)
    assert laps.std(axis=1) == pytest.approx(90 * (0.01**2 + 0.003**2) ** 0.5, rel=0.03)
    assert np.median(laps, axis=1) == pytest.approx(90.0, rel=0.001)


def test_mistakes_come_as_often_as_told_and_only_cost() -> None:
    """One lap in five loses time: half of those more than 2 per cent, one in ten more than 5."""
    pace = RunPace(level=0, lap=0, mistake_chance=0.2, mistake=(0.01, 0.02, 0.05))
    laps = drawn(*paced("a", 1), count=40_000, a=pace)[0] / 90.0 - 1.0
    spoilt = laps[laps > 1e-9]
    assert spoilt.size / laps.size == pytest.approx(0.2, abs=0.01)
    assert np.quantile(spoilt, (0.1, 0.5, 0.9)) == pytest.approx((0.01, 0.02, 0.05), rel=0.06)
    assert laps.min() >= 0


def test_three_points_may_be_percentiles() -> None:
    """With points 'tenths' one lap in ten is quicker than the first and one in ten slower than the last."""
    laps = drawn(Activity(run="a", kind="out", low_s=96, likely_s=112, high_s=127, points="tenths"), count=40_000)[0]
    assert np.quantile(laps, (0.1, 0.5, 0.9)) == pytest.approx((96, 112, 127), rel=0.003)


@given(st.floats(0, 3), st.integers(0, 50))
@settings(max_examples=40, deadline=None)
def test_work_under_way_takes_what_is_left_of_it(share: float, seed: int) -> None:
    """Of a stop of 240 to 600 s that began some time ago: never less than nothing, on average as those draws of the
    whole that are longer."""
    low, likely, high = 240.0, 360.0, 600.0
    lasted = share * likely
    work = Activity(run=None, kind="wait", low_s=low, likely_s=likely, high_s=high, lasted_s=lasted)
    left = drawn(work, seed=seed, count=4000)[0]
    assert (left >= 0).all()
    whole = sample(np.random.default_rng(seed), low, likely, high, 60_000)
    longer = whole[whole > lasted]
    if longer.size > 3000:
        assert left.mean() + lasted == pytest.approx(longer.mean(), rel=0.03)
    if lasted < high:
        assert (left + lasted <= high + 1e-6).all()


plans = st.lists(st.tuples(st.integers(1, 4), st.floats(10, 900)), min_size=1, max_size=4)


@given(plans, st.floats(0, 5000), st.floats(0, 600), st.integers(0, 3), st.integers(0, 99), st.booleans())
@settings(max_examples=60, deadline=None)
def test_longer_work_never_raises_a_chance(
    plan: list[tuple[int, float]], remaining: float, more: float, which: int, seed: int, on_track: bool
) -> None:
    """With the same seed, a longer stop of a car leaves no run of it a larger chance, nor an earlier end."""
    def chances(extra: float) -> Any:
        acts = [one for i, (timed, work) in enumerate(plan)
                for one in stint(f"r{i}", timed, work + (extra if i == which else 0.0))]
        pace = {f"r{i}": PACE for i in range(len(plan))}
        return car(ask(*acts, remaining=remaining, seed=seed, on_track=on_track, pace=pace, futures=150)).runs
    for before, after in zip(chances(0.0), chances(more), strict=True):
        assert after.chance <= before.chance
        assert after.end_q50_s >= before.end_q50_s - 1e-3


def test_a_run_with_a_pace_answers_like_any_other() -> None:
    """Three laps of 90 s after an out-lap: chance, end and latest release as the sums say."""
    found = forecast(ask(lap("a", "out", 110), *paced("a", 3), lap("a", "in", 105), remaining=291,
                         pace={"a": RunPace(level=0, lap=0)})).cars[0].runs[0]  # fmt: skip
    assert (found.chance, found.end_q50_s) == (1.0, 110 + 270 + 105)


def test_little_that_is_left_of_a_lap_is_off_by_seconds() -> None:
    """A tenth of a second before the line the car is there within the seconds that the estimate says, in nine futures
    of ten; in none of them minutes later."""
    under_way = Activity(run="a", kind="timed", low_s=0.0, likely_s=0.1, high_s=5.1, points="tenths")
    car = snapshot(under_way, *stint("b", 2)).model_copy(update={"on_track": True})
    rest = draw_durations(car, 10_000, 1)[0]
    assert np.quantile(rest, 0.9) == pytest.approx(5.1, abs=0.2)
    assert (rest.min(), rest.max() < 20.0) == (0.0, True)
