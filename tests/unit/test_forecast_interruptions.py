"""Interruptions of the futures, and one car's way through them."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm

from pitwall.forecast.calendar import Calendar, Spans
from pitwall.forecast.chain import Chain
from pitwall.forecast.interruptions import draw_calendar, draw_rates, draw_spans
from pitwall.forecast.lengths import DAY, OWN, draw_common, draw_lengths, rest_of_length
from pitwall.forecast.meeting import SLOW_PACE
from pitwall.forecast.pert import normal_below_each
from pitwall.forecast.walk import walk
from pitwall.model.outputs import Activity, ForecastSnapshot
from pitwall.model.rules import Interruptions
from tests.unit.test_forecast_futures import ask

LENGTHS = (217.0, 367.0, 613.0)


def spans(*pairs: tuple[float, float]) -> Spans:
    """Known interruptions of a single future."""
    starts, ends = zip(*pairs, (np.inf, np.inf), strict=True)
    return Spans(np.array(starts)[:, None], np.array(ends)[:, None])


def one(*activities: tuple[str, float], red: Spans | None = None, slow: Spans | None = None, begin: float = 0.0,
        under_way: bool = False) -> list[tuple[float, float]]:
    """Walk (kind, seconds) pairs through one future; starts and ends."""
    acts = tuple(
        Activity.model_validate({"run": "a", "kind": kind, "low_s": s, "likely_s": s, "high_s": s})
        for kind, s in activities
    )
    drawn = np.array([[s] for _, s in activities])
    chain = Chain(acts, drawn, drawn, tuple(np.array([100.0]) for _ in acts), under_way)
    calendar = Calendar(red or spans(), slow or spans(), np.array([1e6]))
    path = walk(chain, np.array([begin]), calendar)
    return [(float(s), float(e)) for s, e in zip(path.starts[:, 0], path.ends[:, 0], strict=True)]


def test_lengths_go_through_their_quantiles() -> None:
    """Drawn lengths have the given 10th, 50th and 90th percentiles (base rates, measured)."""
    drawn = draw_lengths(np.random.default_rng(1), LENGTHS, 200_000)
    assert np.quantile(drawn, (0.1, 0.5, 0.9)) == pytest.approx(LENGTHS, rel=0.01)
    assert drawn.min() > 0


def test_quantiles_out_of_order_or_zero() -> None:
    """Quantiles that a person mixed up or set to zero still give positive, finite lengths."""
    drawn = draw_lengths(np.random.default_rng(1), (600.0, 0.0, 300.0), 1000)
    assert np.isfinite(drawn).all()
    assert (drawn > 0).all()


def test_rate_is_kept() -> None:
    """Over an hour of running the number that begin is the rate, less what the stops themselves take."""
    found, _ = draw_spans(np.random.default_rng(2), 0.62, (1.0, 1.0, 1.0), 0.0, np.full(40_000, 3600.0))
    assert (found.starts < 3600).sum() / 40_000 == pytest.approx(0.62, abs=0.02)
    assert np.isinf(found.starts[-1]).all()


def test_spans_of_one_future_follow_each_other() -> None:
    """No interruption begins before the last one is over."""
    found, _ = draw_spans(np.random.default_rng(3), 6.0, LENGTHS, 0.0, np.full(500, 7200.0))
    later, earlier = found.starts[1:], found.ends[:-1]
    there = np.isfinite(later)
    assert there.any()
    assert (later[there] >= earlier[there]).all()


def test_longer_session_only_adds() -> None:
    """With the same seed a longer session has the same interruptions first."""
    short, _ = draw_spans(np.random.default_rng(4), 2.0, LENGTHS, 0.0, np.full(300, 1800.0))
    long, _ = draw_spans(np.random.default_rng(4), 2.0, LENGTHS, 0.0, np.full(300, 5400.0))
    for row, starts in enumerate(short.starts):
        there = np.isfinite(starts)
        assert (long.starts[row][there] == starts[there]).all()


def test_stopped_clock_moves_the_end() -> None:
    """Where the clock stops under red the session ends later by exactly the length of the reds within it."""
    found, end = draw_spans(np.random.default_rng(5), 1.0, LENGTHS, 0.0, np.full(400, 3600.0), clock_stops=True)
    lost = np.where(found.starts < end, found.lengths, 0.0).sum(axis=0)
    assert end == pytest.approx(3600.0 + lost)
    assert lost.max() > 0


def test_red_cuts_a_lap() -> None:
    """Cut at 150: leaves again at 400, out-lap of 100, the whole lap again."""
    assert one(("out", 110), ("timed", 90), ("in", 105), red=spans((150, 400))) == [
        (0, 110), (500, 590), (590, 695)
    ]


def test_red_cuts_an_out_lap() -> None:
    """Cut on the out-lap: it begins anew when the red is over."""
    assert one(("out", 110), ("timed", 90), red=spans((50, 400))) == [(400, 510), (510, 600)]


def test_two_reds_in_one_lap() -> None:
    """The second red catches the car on its way to the lap it owes: once more from the pits."""
    assert one(("out", 110), ("timed", 90), red=spans((150, 400), (450, 700)))[1] == (800, 890)


def test_in_lap_and_garage_go_on_under_red() -> None:
    """An in-lap is completed under red and work goes on; leaving waits for the green."""
    assert one(("in", 100), ("garage", 200), ("out", 110), red=spans((50, 600))) == [(0, 100), (100, 300), (600, 710)]


def test_item_waits_for_green() -> None:
    """A practice start is not done under red."""
    assert one(("item", 30), red=spans((0, 90)))[0] == (90, 120)


def test_slow_period_in_the_middle_of_a_lap() -> None:
    """Of a 90 s lap 30 s at full pace, 40 s slow, the rest at full pace again."""
    rest = 90 - 30 - 40 * SLOW_PACE
    assert one(("out", 90), slow=spans((30, 70)))[0][1] == pytest.approx(70 + rest)


def test_two_slow_periods_in_one_lap() -> None:
    """Both are paid for; one that is over before the lap costs nothing."""
    end = one(("out", 100), slow=spans((1, 5), (20, 30), (50, 60)), begin=10.0)[0][1]
    assert end == pytest.approx(110 + 20 * (1 - SLOW_PACE))


def test_slow_period_that_outlasts_the_lap() -> None:
    """A lap wholly under a slow period takes its time over the slow pace."""
    assert one(("out", 65), slow=spans((0, 1000)))[0][1] == pytest.approx(65 / SLOW_PACE)


def test_lap_under_way_began_long_ago() -> None:
    """A lap that is under way counts as begun, unless a red flag makes it begin again."""
    assert one(("timed", 40), under_way=True)[0] == (-np.inf, 40)
    assert one(("timed", 40), under_way=True, red=spans((10, 60)))[0] == (160, 200)


def asked(**more: float) -> ForecastSnapshot:
    """A session whose rates are 0.6 and 0.3 an hour."""
    rates = Interruptions(red_per_hour=0.6, slow_per_hour=0.3)
    return ask(interruptions=rates, rate_spread=0.8).snapshot.model_copy(update=more)


def test_sessions_differ_in_how_often_they_are_stopped() -> None:
    """The rate is the regulations' on average, and varies by as much as told; without a spread it is that rate."""
    red, slow = draw_rates(np.random.default_rng(1), asked(), 100_000)
    assert (np.mean(red), np.std(red)) == (pytest.approx(0.6, rel=0.01), pytest.approx(0.48, rel=0.02))
    assert np.mean(slow) == pytest.approx(0.3, rel=0.01)
    assert draw_rates(np.random.default_rng(1), asked(rate_spread=0.0), 9) == (0.6, 0.3)


def test_what_the_session_has_shown_corrects_the_rates() -> None:
    """Three reds in half an hour: a gamma of shape 1.5625 + 3 and rate 1.5625 / 0.6 + 0.5 an hour; none in an hour:
    fewer than expected."""
    many, _ = draw_rates(np.random.default_rng(2), asked(seen_s=1800.0, reds_seen=3), 100_000)
    assert np.mean(many) == pytest.approx((1.5625 + 3) / (1.5625 / 0.6 + 0.5), rel=0.01)
    none, _ = draw_rates(np.random.default_rng(2), asked(seen_s=3600.0), 100_000)
    assert np.mean(none) == pytest.approx(1.5625 / (1.5625 / 0.6 + 1.0), rel=0.01)


# -- a car that a red flag sends back ----------------------------------------------------------------------------------


def sent_back(*activities: tuple[str, float], red: tuple[float, float], stop: float) -> list[tuple[float, float]]:
    """Walk (kind, seconds) pairs through one future with a red flag, after which the garage keeps the car so long."""
    acts = tuple(Activity.model_validate({"run": "a", "kind": kind, "low_s": s, "likely_s": s, "high_s": s})
                 for kind, s in activities)
    drawn, each = np.array([[s] for _, s in activities]), tuple(np.array([100.0]) for _ in acts)
    chain = Chain(acts, drawn, drawn, each, False, tuple(np.array([stop]) for _ in acts))
    path = walk(chain, np.array([0.0]), Calendar(spans(red), spans(), np.array([1e6])))
    return [(float(s), float(e)) for s, e in zip(path.starts[:, 0], path.ends[:, 0], strict=True)]


def test_the_garage_keeps_a_car_that_a_short_red_sent_back() -> None:
    """Cut with 60 s of its lap to go it is back 120 s later, at half the pace; after a stop of 200 s it drives out-lap
    and lap again. A red that lasts longer decides alone."""
    short = sent_back(("out", 100.0), ("timed", 90.0), ("in", 100.0), red=(130.0, 200.0), stop=200.0)
    assert short[1] == (130.0 + 120.0 + 200.0 + 100.0, 640.0)
    long = sent_back(("out", 100.0), ("timed", 90.0), ("in", 100.0), red=(130.0, 900.0), stop=200.0)
    assert long[1] == (1000.0, 1090.0)


def test_a_cool_down_lap_that_was_cut_is_not_driven_again() -> None:
    """It would follow an out-lap: after that the next timed lap begins, also when the out-lap is cut once more."""
    found = sent_back(("out", 100.0), ("cool", 120.0), ("timed", 90.0), red=(160.0, 900.0), stop=0.0)
    assert found[1:] == [(100.0, 1000.0), (1000.0, 1090.0)]


def test_nobody_leaves_at_the_very_end_of_a_red_flag() -> None:
    """Cars leave so long after it as the question says, and the official clock knows nothing of that."""
    rates = Interruptions(red_per_hour=0, slow_per_hour=0, red_length_s=(1e-3, 1e-3, 1e-3))
    question = {"status": "red", "interruptions": rates, "red_clock": "stops", "remaining": 1000.0}
    at_once, later = (draw_calendar(np.random.default_rng(3), ask(**question, reopening_s=lead).snapshot)
                      for lead in (0.0, 66.0))
    assert (later.red.ends[0] - at_once.red.ends[0]).tolist() == pytest.approx([66.0] * 400)
    assert (later.session_end == at_once.session_end).all()


# -- lengths of one session are alike ----------------------------------------------------------------------------------


def test_unseen_lengths_keep_their_median_and_are_wider_than_told() -> None:
    """The percentiles are those of a usual day, and nobody knows whether this is one: by hand, with deviations 0.8 and
    0.9, the 90th percentile lies at 1.204 times its distance from the median, in logarithms."""
    rng = np.random.default_rng(11)
    drawn = draw_lengths(rng, LENGTHS, 200_000, draw_common(rng, LENGTHS, (), 200_000))
    wider = np.hypot(OWN, DAY)
    told = [LENGTHS[1] * (end / LENGTHS[1]) ** wider for end in LENGTHS]
    assert np.quantile(drawn, (0.1, 0.5, 0.9)) == pytest.approx(told, rel=0.02)


def test_what_was_long_makes_the_next_ones_longer() -> None:
    """The posterior of a normal mean with known variance (Gelman et al., section 2.5), worked by hand: two lengths at
    the 90th percentile."""
    rng = np.random.default_rng(12)
    common = draw_common(rng, LENGTHS, (LENGTHS[2], LENGTHS[2]), 200_000)
    precision = 1 / DAY**2 + 2 / OWN**2
    assert common.mean() == pytest.approx(2 * 1.2815515655446004 / OWN**2 / precision, abs=0.01)
    assert common.std() == pytest.approx(precision**-0.5, abs=0.01)
    longer = draw_lengths(rng, LENGTHS, 200_000, common)
    assert np.median(longer) > 1.3 * LENGTHS[1]


def test_one_under_way_that_lasts_long_makes_the_others_longer() -> None:
    """What is common to the day, once one has lasted as long as the 90th percentile: against draws of both parts of
    which only those are kept that are so long (rejection, as plain as it can be)."""
    rng = np.random.default_rng(13)
    common = draw_common(rng, LENGTHS, (), 200_000, lasted=LENGTHS[2])
    day, own = DAY * rng.standard_normal(2_000_000), OWN * rng.standard_normal(2_000_000)
    kept = day[day + own > 1.2815515655446004]
    assert common.mean() == pytest.approx(kept.mean(), abs=0.01)
    assert common.std() == pytest.approx(kept.std(), abs=0.01)


def test_the_rest_of_one_under_way_with_nothing_in_common_is_as_it_was() -> None:
    """Where the futures have nothing in common the rest is that of the conditional distribution, future by future."""
    even = np.linspace(0.01, 0.99, 99)
    alone = rest_of_length(even, LENGTHS, 200.0)
    again = rest_of_length(even, LENGTHS, 200.0, np.zeros(99))
    assert np.all(again >= 0)
    assert np.median(again) < 1.2 * np.median(alone) + 60


def test_the_chance_below_a_value_is_the_normal_one() -> None:
    """Against scipy's distribution."""
    z = np.linspace(-6, 6, 1001)
    assert np.abs(normal_below_each(z) - norm.cdf(z)).max() < 2e-6
