"""The likelihood of places about a hold, against SciPy's densities of many normal variables.

With the moments of a hold given, all places are normal together: mean and covariance follow from the drive, step by
step (Bar-Shalom, Li, Kirubarajan, Estimation with Applications to Tracking and Navigation, 2001, 5.2), and
`scipy.stats` knows the density. Nothing of the filter is used.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from scipy import stats

from pitwall.debrief import places_alone
from pitwall.debrief.places_alone import ACCELERATION_MPS2, ANY_MPS, ASKED_OFF_MPS, CHANGES_IN_S, WAVERS_M2, pairs_of

ASKED_MPS, ASKED_S = 50.0, 2.0


def density(t: np.ndarray, metres: np.ndarray, off_m: float, hold: tuple[float, float] | None) -> float:
    """Log density of these places (zero at the first), with a hold between these moments, or without any."""
    sources = 3 + 2 * len(t) + 2  # first state; new acceleration and wavering at each step; acceleration after the hold
    size = np.zeros(sources)
    size[:3] = off_m, ANY_MPS, ACCELERATION_MPS2
    state = np.eye(3, sources)  # each row: what metres, speed and acceleration are made of
    rows, speed_then, source = [state[0].copy()], state[1], 3
    for before, now in pairwise(t):
        if hold is not None and before == hold[0]:
            state[2], speed_then = 0.0, state[1].copy()
        if hold is not None and before == hold[1]:
            state[2, source], size[source] = 1.0, ACCELERATION_MPS2
            source += 1
        step, fades = now - before, np.exp(-(now - before) / CHANGES_IN_S)
        held = hold is not None and hold[0] <= before < hold[1]
        state[0] += step * state[1] + (0.0 if held else step**2 / 2) * state[2]
        state[1] = state[1] + (0.0 if held else step) * state[2]
        state[2] *= fades
        state[0 if held else 2, source] += 1.0
        size[source] = np.sqrt(WAVERS_M2 * step) if held else ACCELERATION_MPS2 * np.sqrt(1 - fades**2)
        source += 1
        rows.append(state[0].copy())
    made = np.array([*rows, speed_then]) * size
    spread = made @ made.T + np.diag([*[off_m**2] * len(t), ASKED_OFF_MPS**2])
    spread[0, 0] = off_m**2  # the first place is where the filter begins
    mean = np.array([*(ASKED_MPS * (t - t[0])), ASKED_MPS])
    seen = np.array([*metres, ASKED_MPS])
    if hold is None:
        spread, mean, seen = spread[1:-1, 1:-1], mean[1:-1], seen[1:-1]
    else:
        spread, mean, seen = spread[1:, 1:], mean[1:], seen[1:]
    return float(stats.multivariate_normal(mean, spread).logpdf(seen))


def test_chances_and_gain_are_those_of_normal_densities(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of every two moments, weighed by how far the length is from the one asked; and of any hold against none."""
    rng, t = np.random.default_rng(4), np.arange(0.0, 3.01, 0.25)
    speed = 50.0 - 5.0 * np.clip(0.5 - t, 0.0, None) + 6.0 * np.clip(t - 2.25, 0.0, None)
    metres = np.concatenate(([0.0], np.cumsum(np.diff(t) * (speed[1:] + speed[:-1]) / 2)))
    metres[1:] += 1.5 * rng.standard_normal(len(t) - 1)
    monkeypatch.setattr(places_alone, "STEP_S", 0.25)
    found = pairs_of(t, metres, ASKED_MPS, ASKED_S)
    assert found is not None
    assert found.moments == pytest.approx(t)
    off_m, width = places_alone.place_off_m(t, metres), np.gradient(t)
    pairs = [(one, two) for one in range(len(t)) for two in range(len(t)) if t[two] - t[one] >= places_alone.SHORTEST_S]
    logs = np.array([density(t, metres, off_m, (t[one], t[two])) for one, two in pairs])
    share = [(t[two] - t[one] - ASKED_S) / (places_alone.LENGTH_OFF * ASKED_S) for one, two in pairs]
    usual = np.array([width[one] * width[two] / (1 + off**2) for off, (one, two) in zip(share, pairs, strict=True)])
    wanted = usual * np.exp(logs - logs.max())
    assert [found.chance[pair] for pair in pairs] == pytest.approx(wanted / wanted.sum(), rel=1e-5, abs=1e-12)
    gain = logs.max() + np.log(wanted.sum() / usual.sum()) - density(t, metres, off_m, None)
    assert found.gain == pytest.approx(gain, abs=1e-5)
