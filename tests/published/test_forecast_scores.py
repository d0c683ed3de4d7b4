"""The scores of forecasts against values from elsewhere.

Sources: Gneiting and Raftery, Strictly Proper Scoring Rules, Prediction, and Estimation, JASA 102 (2007), equation 21
(CRPS of a normal distribution; at its mean it is (sqrt 2 - 1) / sqrt pi); the ensemble, pinball and Brier values are
those that the packages `properscoring` and `scoringrules` give; the binomial band is scipy's.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from simulations.forecast_scores import (
    binomial_band,
    brier,
    crps_of_ensemble,
    crps_of_normal,
    crps_of_quantiles,
    pinball,
)


def test_crps_of_the_normal_distribution() -> None:
    """N(0, 1) at 0 and at 1; scale and shift carry over."""
    assert crps_of_normal(0, 1, 0) == pytest.approx((math.sqrt(2) - 1) / math.sqrt(math.pi), abs=1e-12)
    assert crps_of_normal(0, 1, 0) == pytest.approx(0.233695, abs=5e-7)
    assert crps_of_normal(0, 1, 1) == pytest.approx(0.602441, abs=5e-7)
    assert crps_of_normal(90, 2, 92) == pytest.approx(2 * 0.602441, abs=1e-6)


def test_crps_of_an_ensemble() -> None:
    """1, 2, 3, 4 at 2: 0.375; as if there were endlessly many of their kind: 1/6."""
    assert crps_of_ensemble([1, 2, 3, 4], 2) == pytest.approx(0.375)
    assert crps_of_ensemble([1, 2, 3, 4], 2, fair=True) == pytest.approx(0.16667, abs=5e-6)


@pytest.mark.parametrize("truth", [-2.0, 0.0, 0.3, 1.0])
def test_crps_of_many_quantiles_is_that_of_the_distribution(truth: float) -> None:
    """Four hundred quantiles of N(0, 1) give the CRPS of N(0, 1)."""
    levels = [(at + 0.5) / 400 for at in range(400)]
    quantiles = [float(stats.norm.ppf(level)) for level in levels]
    assert crps_of_quantiles(quantiles, levels, truth) == pytest.approx(crps_of_normal(0, 1, truth), abs=2e-3)


@pytest.mark.parametrize(("quantile", "loss"), [(8, 1.8), (12, 0.2), (10, 0.0)])
def test_pinball_loss(quantile: float, loss: float) -> None:
    """A 90 % quantile at a truth of 10: too low costs nine times too high."""
    assert pinball(quantile, 10, 0.9) == pytest.approx(loss)


def test_brier_score() -> None:
    """0.9, 0.2, 0.6 where it happened, did not, happened: 0.07."""
    assert brier([0.9, 0.2, 0.6], [True, False, True]) == pytest.approx(0.07)


@pytest.mark.parametrize("count", [1, 17, 60, 365])
def test_the_band_is_the_binomial_one(count: int) -> None:
    """Between the 2.5 and 97.5 % points of the binomial distribution."""
    expected = stats.binom.ppf([0.025, 0.975], count, 0.8) / count
    assert np.allclose(binomial_band(0.8, count), expected)
