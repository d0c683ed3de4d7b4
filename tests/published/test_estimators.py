"""The belief that the lap model is made of, against worked examples and reference values from elsewhere.

Sources: A. Becker, Kalman Filter from the Ground Up (kalmanfilter.net): the height of a building (data from memory,
results computed with `filterpy` as well) and, for the alpha-beta filter, the aircraft of its example 2 (data from
memory). The stack loss data: K. A. Brownlee, Statistical Theory and Methodology (1965), as it comes with `statsmodels`;
coefficients of its Huber regression and the prediction intervals are what `statsmodels` 0.15.0 gives (`RLM` with
`HuberT`, and `get_prediction(...).summary_frame(alpha=0.2)`), kept here so that the tests do not need it.

The scores that forecasts are judged by are checked in ``test_forecast_scores.py``.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pytest
from scipy import stats

from pitwall.pace.estimate import HUBER, Estimate, weight_of

STACK_LOSS = (
    (42, 80, 27, 89), (37, 80, 27, 88), (37, 75, 25, 90), (28, 62, 24, 87), (18, 62, 22, 87), (18, 62, 23, 87),
    (19, 62, 24, 93), (20, 62, 24, 93), (15, 58, 23, 87), (14, 58, 18, 80), (14, 58, 18, 89), (13, 58, 17, 88),
    (11, 58, 18, 82), (12, 58, 19, 93), (8, 50, 18, 89), (7, 50, 18, 86), (8, 50, 19, 72), (8, 50, 19, 79),
    (9, 50, 20, 80), (15, 56, 20, 82), (15, 70, 20, 91),
)  # fmt: skip
"""Stack loss, air flow, water temperature, acid concentration."""
NAMES = ("constant", "air flow", "water", "acid")
FLAT = 1e4


def regression(
    rows: Sequence[Sequence[float]], variance: float, counts: Sequence[float] | None = None, prior: float = FLAT
) -> Estimate:
    """Coefficients, one row at a time; ``counts``: how much each row counts, ``prior``: deviation of each before."""
    belief = Estimate()
    for name in NAMES:
        belief.begin(name, 0.0, prior)
    for at, (value, *regressors) in enumerate(rows):
        noise = variance / (counts[at] if counts is not None else 1.0)
        belief.take(parts(regressors), value, noise, huber=math.inf)
    return belief


def parts(regressors: Sequence[float]) -> list[tuple[str, float]]:
    """The weighted sum that a row observes."""
    return list(zip(NAMES, (1.0, *regressors), strict=True))


def errors(belief: Estimate) -> np.ndarray:
    """What each row is off."""
    return np.array([value - belief.expect(parts(regressors))[0] for value, *regressors in STACK_LOSS])


def test_the_height_of_a_building() -> None:
    """Ten measurements of 5 m deviation after a guess of 60 m, 15 m: first gain 0.9, at last 49.96 m, variance 2.47."""
    measured = (49.03, 48.44, 55.21, 49.98, 50.6, 52.61, 45.87, 42.64, 48.26, 55.84)
    belief = Estimate()
    belief.begin("height", 60.0, 15.0)
    belief.take([("height", 1.0)], measured[0], 25.0, huber=math.inf)
    assert (belief.mean("height") - 60.0) / (measured[0] - 60.0) == pytest.approx(0.9)
    for value in measured[1:]:
        belief.take([("height", 1.0)], value, 25.0, huber=math.inf)
    assert belief.mean("height") == pytest.approx(49.96, abs=0.005)
    assert belief.variance("height") == pytest.approx(2.47, abs=0.005)


def test_the_alpha_beta_filter_is_a_step_whose_variances_are_put_back() -> None:
    """An aircraft at 30 000 m and 40 m/s, seen every 5 s, gains 0.2 and 0.1: the published first and last estimates.

    The product has no filter with fixed gains: its gains follow from what is known. Variances of 0.125 and 0.005 of
    the noise before each step of 5 s give just these: 0.125 + 5 * 5 * 0.005 = 0.25, over 1.25; 5 * 0.005 over 1.25.
    """
    measured = (30171, 30353, 30756, 30799, 31018, 31278, 31276, 31379, 31748, 32175)
    at, speed, found = 30000.0, 40.0, []
    for value in measured:
        belief = Estimate()
        belief.begin("place", at, math.sqrt(0.125))
        belief.begin("speed", speed, math.sqrt(0.005))
        belief.advance("place", "speed", 5.0)
        belief.take([("place", 1.0)], value, 1.0, huber=math.inf)
        at, speed = belief.mean("place"), belief.mean("speed")
        found.append((at, speed))
    assert found[0] == (pytest.approx(30194.2, abs=0.05), pytest.approx(39.42, abs=0.005))
    assert found[-1] == (pytest.approx(31964.1, abs=0.05), pytest.approx(39.67, abs=0.005))


def test_huber_regression_of_the_stack_loss() -> None:
    """With the weights of the lap model, taken again until they stay: -41.0265, 0.8294, 0.9261, -0.1278."""
    counts: Sequence[float] = [1.0] * len(STACK_LOSS)
    for _ in range(60):
        belief = regression(STACK_LOSS, 10.0, counts)
        off = errors(belief)
        scale = float(np.median(np.abs(off))) / float(stats.norm.ppf(0.75))
        counts = [weight_of(one / scale) for one in off]
    assert [belief.mean(name) for name in NAMES] == pytest.approx([-41.0265, 0.8294, 0.9261, -0.1278], abs=2e-4)
    assert min(counts) < 0.5


def test_huber_s_limit_is_95_percent_efficient() -> None:
    """Where the noise is normal, the variance of a mean with these weights is 1/0.95 of the least (Huber 1964)."""
    inside = 2 * stats.norm.cdf(HUBER) - 1
    squared = inside - 2 * HUBER * stats.norm.pdf(HUBER) + HUBER**2 * (1 - inside)
    assert inside**2 / squared == pytest.approx(0.95, abs=5e-4)


@pytest.mark.parametrize(
    ("regressors", "mean", "low", "high"),
    [((60, 20, 90), 15.233433, 10.709458, 19.757409), ((75, 25, 85), 33.205080, 28.379031, 38.031128)],
)
def test_the_prediction_interval_from_a_flat_prior(
    regressors: tuple[float, ...], mean: float, low: float, high: float
) -> None:
    """80 % interval for a new row, the noise estimated from the rows: `obs_ci` of `statsmodels`.

    Regressors are counted from their means, which changes no forecast. Counted from zero, beside so wide a prior, the
    difference of large numbers leaves an error of about 1e-5, another one with each library of linear algebra.
    """
    means = np.mean(STACK_LOSS, axis=0)[1:]
    rows = [(value, *(np.array(of_row) - means)) for value, *of_row in STACK_LOSS]
    least_squares = regression(STACK_LOSS, 1.0)
    free = len(STACK_LOSS) - len(NAMES)
    noise = float(np.sum(errors(least_squares) ** 2)) / free
    assert noise == pytest.approx(10.519409505785807, rel=1e-6)
    expected, variance = regression(rows, noise).expect(parts(np.array(regressors) - means))
    reach = float(stats.t.ppf(0.9, free)) * math.sqrt(variance + noise)
    assert expected == pytest.approx(mean, abs=1e-6)
    assert (expected - reach, expected + reach) == (pytest.approx(low, abs=1e-5), pytest.approx(high, abs=1e-5))


def test_one_row_at_a_time_is_the_whole_at_once() -> None:
    """In any order: the normal equations of all rows together, with a prior of deviation 100 and with a flat one."""
    design = np.array([(1.0, *regressors) for _, *regressors in STACK_LOSS])
    values = np.array([value for value, *_ in STACK_LOSS], dtype=float)
    for prior, near in ((100.0, 1e-7), (FLAT, 1e-3)):
        covariance = np.linalg.inv(design.T @ design + np.eye(4) / prior**2)
        whole = covariance @ design.T @ values
        for order in (STACK_LOSS, STACK_LOSS[::-1], STACK_LOSS[7:] + STACK_LOSS[:7]):
            belief = regression(order, 1.0, prior=prior)
            assert [belief.mean(name) for name in NAMES] == pytest.approx(list(whole), abs=near)
            assert [belief.variance(name) for name in NAMES] == pytest.approx(list(np.diag(covariance)), rel=near)
