"""Which difference two groups of laps resolve, against solvers of the power of the t test.

Sources: statsmodels, TTestIndPower (two-sample t test, Cohen 1988); where its search finds nothing (one degree of
freedom), scipy's noncentral t. The normal approximation: 1.960 + 0.842.
"""

from __future__ import annotations

from statistics import NormalDist

import pytest
from scipy import stats
from statsmodels.stats.power import TTestIndPower

from pitwall.forecast.resolution import noncentrality, resolves_s


@pytest.mark.parametrize(("laps", "against"), [(3, 3), (2, 4), (5, 5), (8, 3), (2, 2), (1, 3), (12, 10)])
def test_the_difference_that_laps_resolve(laps: int, against: int) -> None:
    """5 per cent and a power of 80, a deviation of 0.3 s: as statsmodels solves it."""
    effect = TTestIndPower().solve_power(nobs1=laps, ratio=against / laps, alpha=0.05, power=0.8)
    assert resolves_s(laps, against, 0.3) == pytest.approx(0.3 * effect, rel=2e-3)


def test_one_degree_of_freedom() -> None:
    """One lap against two: the power at the noncentrality found is 80 per cent by scipy's noncentral t."""
    critical = stats.t(1).ppf(0.975)
    assert stats.nct(1, noncentrality(1)).sf(critical) == pytest.approx(0.8, abs=0.01)


def test_many_laps_come_to_the_normal_approximation() -> None:
    """With thousands of laps the noncentrality is the sum of the two normal quantiles."""
    unit = NormalDist()
    assert noncentrality(5000) == pytest.approx(unit.inv_cdf(0.975) + unit.inv_cdf(0.8), abs=0.002)
