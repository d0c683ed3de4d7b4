"""Three-point durations and merge bias against textbook networks.

Sources. Taylor, Introduction to Management Science, project network of seven activities. Hillier and Lieberman,
Introduction to Operations Research, "Reliable Construction": network and figures from memory, the simulated results
calculated independently beforehand. Moments of (2, 3.5, 8): calculated by hand from the definition of the distribution.
"""

from __future__ import annotations

import math
from statistics import NormalDist

import numpy as np
import pytest
from scipy import integrate, stats

from pitwall.forecast import pert
from pitwall.forecast.calendar import Calendar, Spans
from pitwall.forecast.chain import Chain
from pitwall.forecast.sharing import walk_together
from pitwall.model.outlook import Activity

Estimate = tuple[float, float, float]

TAYLOR: dict[int, Estimate] = {
    1: (5, 8, 17), 2: (7, 10, 13), 3: (3, 5, 7), 4: (1, 3, 5), 5: (4, 6, 8), 6: (3, 3, 3), 7: (3, 4, 5),
}
TAYLOR_CRITICAL = (1, 3, 5, 7)

HOUSE: dict[str, Estimate] = {
    "A": (1, 2, 3), "B": (2, 3.5, 8), "C": (6, 9, 18), "D": (4, 5.5, 10), "E": (1, 4.5, 5), "F": (4, 4, 10),
    "G": (5, 6.5, 11), "H": (5, 8, 17), "I": (3, 7.5, 9), "J": (3, 9, 9), "K": (4, 4, 4), "L": (1, 5.5, 7),
    "M": (1, 2, 3), "N": (5, 5.5, 9),
}
BEFORE: dict[str, str] = {
    "A": "", "B": "A", "C": "B", "D": "C", "E": "C", "F": "E", "G": "D", "H": "EG", "I": "C", "J": "FI", "K": "J",
    "L": "J", "M": "H", "N": "KL",
}
HOUSE_CRITICAL = "ABCEFJLN"
DRAWS = 200_000


def textbook_variance(estimate: Estimate) -> float:
    """The textbooks' approximation ((b - a) / 6)^2, which pitwall does not use."""
    return ((estimate[2] - estimate[0]) / 6) ** 2


def project_lengths(durations: dict[str, np.ndarray]) -> np.ndarray:
    """Length of the whole house project in each draw: the latest end over the whole network."""
    ends: dict[str, np.ndarray] = {}
    for name in BEFORE:  # already in an order in which predecessors come first
        ready = [ends[other] for other in BEFORE[name]]
        ends[name] = durations[name] + (np.maximum.reduce(ready) if ready else 0.0)
    return np.maximum.reduce(list(ends.values()))


def test_moments_of_one_estimate() -> None:
    """(2, 3.5, 8) has mean 4 and variance 8/7 exactly; the textbook's 1 is another number."""
    assert pert.mean(2, 3.5, 8) == pytest.approx(4.0, abs=1e-12)
    assert pert.variance(2, 3.5, 8) == pytest.approx(8 / 7, abs=1e-12)
    assert textbook_variance((2, 3.5, 8)) == 1.0


def test_draws_have_those_moments() -> None:
    """The draws of (2, 3.5, 8) have the exact mean and variance, and stay within their ends."""
    drawn = pert.sample(np.random.default_rng(1), 2, 3.5, 8, DRAWS)
    assert drawn.min() >= 2
    assert drawn.max() <= 8
    assert drawn.mean() == pytest.approx(4.0, abs=4 * math.sqrt(8 / 7 / DRAWS))
    assert drawn.var() == pytest.approx(8 / 7, rel=0.02)


def test_draws_follow_the_beta_distribution() -> None:
    """A Kolmogorov-Smirnov test against scipy's beta with the published shape parameters finds no difference."""
    drawn = pert.sample(np.random.default_rng(2), 2, 3.5, 8, 20_000)
    result = stats.kstest(drawn, stats.beta(1 + 4 * 1.5 / 6, 1 + 4 * 4.5 / 6, loc=2, scale=6).cdf)
    assert result.pvalue > 0.001


def test_triangular_moments_are_other_numbers() -> None:
    """A triangular (2, 3.5, 8) has mean 4.5 and variance 1.625: by scipy, and not what our draws have."""
    triangular = stats.triang((3.5 - 2) / 6, loc=2, scale=6)
    assert (triangular.mean(), triangular.var()) == (pytest.approx(4.5), pytest.approx(1.625))
    drawn = pert.sample(np.random.default_rng(6), 2, 3.5, 8, DRAWS)
    assert abs(drawn.mean() - 4.5) > 0.4
    assert abs(drawn.var() - 1.625) > 0.4


def test_work_that_has_lasted_is_the_rest_of_the_distribution() -> None:
    """Given that it takes longer than 4, (2, 3.5, 8) follows scipy's beta cut off there."""
    drawn = pert.sample(np.random.default_rng(7), 2, 3.5, 8, 20_000, 4.0)
    beta = stats.beta(2, 4, loc=2, scale=6)
    result = stats.kstest(drawn, lambda x: (beta.cdf(x) - beta.cdf(4.0)) / beta.sf(4.0))
    assert result.pvalue > 0.001


def test_percentiles_are_met_by_a_two_piece_lognormal() -> None:
    """Draws through 96, 112 and 127 at 10, 50 and 90 per cent: below the median scipy's lognormal of one spread, above
    it of another."""
    drawn = pert.sample_tenths(np.random.default_rng(8), 96, 112, 127, DRAWS)
    z90 = NormalDist().inv_cdf(0.9)
    for side, ratio, below in ((drawn[drawn < 112], 112 / 96, 0.0), (drawn[drawn > 112], 127 / 112, 0.5)):
        half = stats.lognorm(math.log(ratio) / z90, scale=112)
        result = stats.kstest(side[:20_000], lambda x, half=half, below=below: (half.cdf(x) - below) / 0.5)
        assert result.pvalue > 0.001


def test_merge_bias_where_a_crew_and_a_car_meet() -> None:
    """A work that needs a car ready after (2, 3.5, 8) and a crew free after the same: it begins at 4.61 on average, by
    scipy's integral of the maximum, while either alone is there at 4."""
    ready, crew = Activity(run=None, kind="garage", low_s=2, likely_s=3.5, high_s=8), ("floor",)
    with_crew = ready.model_copy(update={"crew": crew})
    rng = np.random.default_rng(9)

    def chain(*acts: Activity) -> Chain:
        drawn = np.array([pert.sample(rng, one.low_s, one.likely_s, one.high_s, DRAWS) for one in acts])
        return Chain(acts, drawn, drawn, tuple(drawn[0] for _ in acts), False)

    calm = Spans(np.full((1, DRAWS), np.inf), np.full((1, DRAWS), np.inf))
    begins = [np.zeros(DRAWS), np.zeros(DRAWS)]
    chains = (chain(with_crew), chain(ready, with_crew))
    _, second = walk_together(chains, begins, Calendar(calm, calm, np.full(DRAWS, 1e6)))
    beta = stats.beta(2, 4, loc=2, scale=6)
    expected = 8.0 - integrate.quad(lambda x: beta.cdf(x) ** 2, 2, 8)[0]
    assert expected == pytest.approx(4.61, abs=0.01)
    assert second.starts[1].mean() == pytest.approx(expected, abs=0.01)


def test_taylor_chances_of_another_project() -> None:
    """Mean 26, variance 4.11: .311 to be done in 25, .975 in 30 (Taylor, secondary)."""
    length = NormalDist(26, math.sqrt(4.11))
    assert (length.cdf(25), length.cdf(30)) == (pytest.approx(0.311, abs=0.001), pytest.approx(0.975, abs=0.002))


def test_taylor_critical_path() -> None:
    """Taylor: critical path 1-3-5-7, mean 24, variance 5, chance .9633 to be done in 28."""
    length = sum(pert.mean(*TAYLOR[name]) for name in TAYLOR_CRITICAL)
    spread = sum(textbook_variance(TAYLOR[name]) for name in TAYLOR_CRITICAL)
    assert length == pytest.approx(24)
    assert spread == pytest.approx(5)
    assert NormalDist(length, math.sqrt(spread)).cdf(28) == pytest.approx(0.9633, abs=0.0002)


def test_taylor_path_simulated() -> None:
    """The simulated critical path has Taylor's mean, and our exact variance in place of the approximation."""
    rng = np.random.default_rng(3)
    total = np.sum([pert.sample(rng, *TAYLOR[name], DRAWS) for name in TAYLOR_CRITICAL], axis=0)
    exact = sum(pert.variance(*TAYLOR[name]) for name in TAYLOR_CRITICAL)
    assert total.mean() == pytest.approx(24, abs=0.03)
    assert total.var() == pytest.approx(exact, rel=0.02)
    assert exact > 5


def test_house_critical_path() -> None:
    """Hillier and Lieberman: critical path A-B-C-E-F-J-L-N, mean 44, variance 9, chance .8413 to be done in 47."""
    length = sum(pert.mean(*HOUSE[name]) for name in HOUSE_CRITICAL)
    spread = sum(textbook_variance(HOUSE[name]) for name in HOUSE_CRITICAL)
    assert length == pytest.approx(44)
    assert spread == pytest.approx(9)
    assert NormalDist(length, math.sqrt(spread)).cdf(47) == pytest.approx(0.8413, abs=0.0001)


def test_merge_bias_of_the_whole_network() -> None:
    """Simulating the whole network instead of one path: mean 44.33 and chance .816, worse than the path promises."""
    rng = np.random.default_rng(4)
    lengths = project_lengths({name: pert.sample(rng, *estimate, DRAWS) for name, estimate in HOUSE.items()})
    assert lengths.mean() == pytest.approx(44.33, abs=0.03)
    assert (lengths <= 47).mean() == pytest.approx(0.816, abs=0.005)


def test_merge_bias_needs_the_right_distribution() -> None:
    """The same network with triangular draws gives 46.23 and .594: the check above sees a wrong distribution."""
    rng = np.random.default_rng(5)
    drawn = {
        name: np.full(DRAWS, low) if low == high else rng.triangular(low, likely, high, DRAWS)
        for name, (low, likely, high) in HOUSE.items()
    }
    lengths = project_lengths(drawn)
    assert lengths.mean() == pytest.approx(46.23, abs=0.03)
    assert (lengths <= 47).mean() == pytest.approx(0.594, abs=0.005)
