"""Quantiles of a next value from a sample: k of n + 1 places lie below the k-th (split conformal prediction).

Reference: the Weibull plotting position (W. Weibull 1939; Hyndman and Fan 1996, definition 6) as ``numpy`` computes it
with ``method="weibull"``. Effective number of weighted values: L. Kish, Survey Sampling (1965).
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitwall.pace.residuals import Residuals
from pitwall.pace.weighing import LEVELS, sample_quantiles, weighted_quantiles

VALUES = st.lists(st.floats(-50.0, 50.0), min_size=2, max_size=60)


@given(VALUES)
def test_equal_weights_give_the_weibull_positions(values: list[float]) -> None:
    """With equal weights the quantiles are those of definition 6 of Hyndman and Fan."""
    found = sample_quantiles(np.array(values), np.full(len(values), 0.3))
    assert found == pytest.approx(np.quantile(values, LEVELS, method="weibull"), abs=1e-9)


@given(VALUES)
def test_errors_that_were_seen_give_them_too(values: list[float]) -> None:
    """The errors of earlier forecasts are told in the same way."""
    found = Residuals(tuple(values)).quantiles(with_bias=True)
    assert found == pytest.approx(np.quantile(values, LEVELS, method="weibull"), abs=1e-9)


def test_a_sample_of_which_half_counts_nothing_is_half_as_large() -> None:
    """Kish: n equal weights among others of nothing count as n values."""
    values = np.arange(20.0)
    weights = np.where(values < 10, 1.0, 1e-12)
    few = sample_quantiles(values[:10], weights[:10])
    assert sample_quantiles(values, weights)[:-1] == pytest.approx(few[:-1], abs=1e-6)


@pytest.mark.parametrize("count", [4, 9, 19, 39])
def test_as_many_next_values_lie_between_as_are_told(count: int) -> None:
    """80 % of next values lie between the 10 and the 90 % quantile; of those of the sample itself too few do."""
    draws = np.random.default_rng(5).normal(size=(4000, count + 1))
    told = np.array([sample_quantiles(row[:-1], np.ones(count)) for row in draws])
    own = np.array([weighted_quantiles(row[:-1], np.ones(count)) for row in draws])
    inside, narrow = (
        float(np.mean((one[:, 1] <= draws[:, -1]) & (draws[:, -1] <= one[:, 5]))) for one in (told, own)
    )
    # With four values the outer tenths lie beyond the sample: its range is all that can be told, and holds 3 of 5.
    assert inside == pytest.approx(min(0.8, (count - 1) / (count + 1)), abs=0.025)
    assert narrow < inside + 0.005
