"""How likely each moment is as the one at which a held speed was left, by measured speeds around it.

On the hold a driver wavers about a level, slowly: neighbours are off by about the same. From the moment at which he
leaves it the speed runs along a line, or along two (he gains or eases a little before he brakes), or along three (he
comes to the pace of his lap, which is nearly that of the hold, goes along with it, and brakes). How steep each line is
nobody knows: it is a draw from a normal curve, and integrated out. So a moment has its chance whatever happened behind
it, and a story with more lines counts only as far as the speeds ask for it: the evidence of linear models (Bishop,
Pattern Recognition and Machine Learning, 2006, 3.5.1; ``tests/published`` compares with SciPy's normal densities).

All lines are sums of hinges, zero until a bend and then one metre a second each second: what is needed of them are
their products among each other and with the speeds, weighed once for each moment.

The curves are common practice, no source; what they are worth is measured by ``simulations/score_debrief.py``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Steps = NDArray[np.int64]

STEP_S = 0.02
LEVEL_OFF_MPS = 0.08
"""How well the level is known."""
ROUGH_MPS, CURVED = 0.07, 0.05
"""No line is quite straight: what a tenth of a second adds, and what each metre a second away from the level does."""


@dataclass(frozen=True)
class Scatter:
    """How far a measured speed is off, and the driver, who stays off for about so long: one sigma, and seconds."""

    noise_mps: float = 0.1
    wavers_mps: float = 0.12
    wavers_for_s: float = 0.6


@dataclass(frozen=True)
class Story:
    """What may have happened behind the level.

    Attributes:
        share: how often it is so.
        slopes: of its lines, mean and sigma, m/s2.
        lengths: of all lines but the last, in steps: each row one way.
    """

    share: float
    slopes: tuple[tuple[float, float], ...]
    lengths: Steps


def _each(*lengths: range | tuple[int, ...]) -> Steps:
    """Every combination of these lengths."""
    return np.stack([one.ravel() for one in np.meshgrid(*(np.array(one) for one in lengths), indexing="ij")], axis=-1)


_AT_ONCE: Steps = np.zeros((1, 0), dtype=np.int64)
ENDS = (
    Story(0.5, ((0.0, 7.0),), _AT_ONCE),
    Story(0.35, ((0.0, 6.0), (-8.0, 8.0)), _each(range(2, 51))),
    Story(0.15, ((0.0, 6.0), (0.0, 1.5), (-8.0, 8.0)), _each((2, 4, 7, 11), (*range(5, 51, 5), 60))),
)
BEGINS = (Story(0.85, ((0.0, 7.0),), _AT_ONCE), Story(0.15, ((0.0, 6.0), (0.0, 8.0)), _each(range(2, 51))))
"""Looked at backwards: mostly a driver comes to the speed along one line."""


def chances(
    time: Array, off: Array, moments: Array, stories: tuple[Story, ...], spread: Array
) -> Array:
    """The chance of each moment; together they are one.

    Args:
        time, off: of the positions in order; seconds, and how far each is from what the level would make it.
        moments: at which the level may have been left, seconds.
        stories: what may have happened then.
        spread: covariance of these about level and lines, for each moment: moments x positions x positions.
    """
    bends = [_bends(story) for story in stories]
    used = np.unique(np.concatenate([one.ravel() for one in bends]))
    weighed = _Weighed.of(off, _hinges(time, moments, used * STEP_S), spread)
    logs = [np.log(story.share) + _mean(weighed.evidence(np.searchsorted(used, at), story.slopes))
            for story, at in zip(stories, bends, strict=True)]
    every = np.logaddexp.reduce(logs, axis=0)
    found = np.exp(every - np.max(every))
    return np.asarray(found / np.sum(found))


def _bends(story: Story) -> Steps:
    """Steps after the moment at which the lines of each way begin: ways x lines."""
    first = np.zeros((len(story.lengths), 1), dtype=np.int64)
    return np.concatenate([first, np.cumsum(story.lengths, axis=1)], axis=1)


def _mean(logs: Array) -> Array:
    """Over ways, each as likely as the other before anything was seen."""
    return np.asarray(np.logaddexp.reduce(logs, axis=1) - np.log(logs.shape[1]))


def _hinges(time: Array, moments: Array, after_s: Array) -> Array:
    """Zero until so long after each moment, then a metre a second each second: moments x positions x hinges."""
    return np.asarray(np.maximum(time[None, :, None] - moments[:, None, None] - after_s[None, None, :], 0.0))


def covariance(time: Array, off: Array, moments: Array, scatter: Scatter) -> Array:
    """Of measured speeds about level and lines, for each moment.

    Who lets go wavers no more: he starts from where he was.
    """
    return np.asarray(_true_speeds(time, moments, scatter) + np.diag(scatter.noise_mps**2 + (CURVED * off) ** 2))


def _true_speeds(time: Array, moments: Array, scatter: Scatter) -> Array:
    held = np.minimum(time[None, :], moments[:, None])
    apart = np.abs(held[:, :, None] - held[:, None, :])
    found = scatter.wavers_mps**2 * np.exp(-apart / scatter.wavers_for_s) + LEVEL_OFF_MPS**2
    since = np.maximum(time[None, :] - moments[:, None], 0.0)
    found += ROUGH_MPS**2 * np.minimum(since[:, :, None], since[:, None, :]) / 0.1
    return np.asarray(found)


@dataclass(frozen=True)
class _Weighed:
    """Products of hinges and speeds, weighed by the scatter: by moment (first axis) and hinge."""

    hinges: Array
    with_speeds: Array
    of_speeds: Array
    log_volume: Array

    @classmethod
    def of(cls, off: Array, hinges: Array, spread: Array) -> _Weighed:
        """Weighed by the inverse Cholesky factor of the spread, which makes the scatter even and independent."""
        factor = np.linalg.cholesky(spread)
        weights = np.linalg.inv(factor)
        hinges, speeds = weights @ hinges, weights @ off
        volume = 2.0 * np.sum(np.log(np.diagonal(factor, axis1=1, axis2=2)), axis=1) + len(off) * np.log(2 * np.pi)
        return cls(np.swapaxes(hinges, 1, 2) @ hinges, (speeds[:, None, :] @ hinges)[:, 0],
                   np.sum(speeds**2, axis=1), volume)

    def evidence(self, bends: Steps, slopes: tuple[tuple[float, float], ...]) -> Array:
        """Log density of the speeds, slopes integrated out: moments x ways.

        Args:
            bends: which hinge begins each line: ways x lines.
            slopes: mean and sigma of each line.
        """
        # A line begins with its hinge and ends with the next one.
        lines = np.eye(len(slopes)) - np.eye(len(slopes), k=1)
        products = lines @ self.hinges[:, bends[:, :, None], bends[:, None, :]] @ lines.T
        right = self.with_speeds[:, bends] @ lines.T
        mean, sigma = np.array(slopes).T
        by_mean = products @ mean
        left = self.of_speeds[:, None] - 2.0 * right @ mean + by_mean @ mean
        right = (right - by_mean) * sigma
        explained, log_volume = _solved(products * np.outer(sigma, sigma) + np.eye(len(sigma)), right)
        return np.asarray(-0.5 * (left - explained + log_volume + self.log_volume[:, None]))


def _solved(matrix: Array, right: Array) -> tuple[Array, Array]:
    """``right' inverse(matrix) right`` and ``log det matrix`` of many small symmetric matrices, by elimination: for
    thousands of them quicker than one call each."""
    matrix, right = matrix.copy(), right.copy()
    explained, log_det = np.zeros(right.shape[:-1]), np.zeros(right.shape[:-1])
    for at in range(right.shape[-1]):
        pivot = matrix[..., at, at]
        explained += right[..., at] ** 2 / pivot
        log_det += np.log(pivot)
        share = matrix[..., at, at + 1 :] / pivot[..., None]
        right[..., at + 1 :] -= share * right[..., at, None]
        matrix[..., at + 1 :, at + 1 :] -= share[..., :, None] * matrix[..., at, None, at + 1 :]
    return explained, log_det
