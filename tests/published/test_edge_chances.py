"""The evidence of a bent line in measured speeds, against SciPy's densities of many normal variables.

A linear model whose factors are normal draws makes its data normal too: mean and covariance follow from the design
matrix (Bishop, Pattern Recognition and Machine Learning, 2006, 2.3.3 and 3.5.1), and `scipy.stats` knows the density.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from pitwall.debrief.edge_chances import (
    BEGINS,
    ENDS,
    STEP_S,
    Scatter,
    Story,
    chances,
    covariance,
)


def density(time: np.ndarray, off: np.ndarray, moment: float, story: Story, spread: np.ndarray) -> float:
    """Of these speeds, if the level was left at that moment and this story happened: over all its ways,
    by SciPy."""
    mean, sigma = np.array(story.slopes).T
    ways = []
    for lengths in story.lengths:
        bends = moment + np.concatenate(([0.0], np.cumsum(lengths * STEP_S)))
        past = np.append(bends[1:], np.inf)
        since = [(np.maximum(time - begin, 0.0), np.maximum(time - end, 0.0)) for begin, end in
                 zip(bends, past, strict=True)]
        lines = np.stack([one - two for one, two in since], axis=1)
        normal = stats.multivariate_normal(lines @ mean, spread + lines * sigma**2 @ lines.T)
        ways.append(float(normal.pdf(off)))
    return story.share * float(np.mean(ways))


@pytest.mark.parametrize("stories", [ENDS, BEGINS, ENDS[:1]])
def test_chances_are_those_of_normal_densities(stories: tuple[Story, ...]) -> None:
    """Each moment's share of the density of all, summed over stories and over the ways of each."""
    rng = np.random.default_rng(3)
    time, scatter = np.arange(-0.7, 0.8, 0.11), Scatter(0.12, 0.1, 0.5)
    off = 5.0 * np.clip(time, 0.0, 0.3) - 9.0 * np.maximum(time - 0.3, 0.0) + 0.1 * rng.standard_normal(len(time))
    moments = np.array([-0.3, -0.1, 0.0, 0.04, 0.3])
    spread = covariance(time, off, moments, scatter)
    wanted = np.array([sum(density(time, off, moment, story, spread[at]) for story in stories)
                       for at, moment in enumerate(moments)])
    assert chances(time, off, moments, stories, spread) == pytest.approx(
        wanted / wanted.sum(), rel=1e-6, abs=1e-12)
