"""How soon an engineer begins, learned from what was begun in its window and from what was not."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from pitwall.radio.begins import NINE_IN_TEN, SPREAD, USUAL_S, Begins

CALLS = 60


def waits(median_s: float, open_s: tuple[float, float], seed: int) -> list[tuple[float, bool]]:
    """So many waits of an engineer of this median, each in a window of a random length: how long, and whether begun."""
    rng = np.random.default_rng(seed)
    found = []
    for _ in range(CALLS):
        wait, window = median_s * math.exp(SPREAD * rng.normal()), rng.uniform(*open_s)
        found.append((min(wait, window), bool(wait <= window)))
    return found


def learned(seen: list[tuple[float, bool]]) -> Begins:
    """The state after these waits."""
    begins = Begins()
    for waited_s, begun in seen:
        begins = begins.after(waited_s, begun=begun)
    return begins


def median_of(begins: Begins) -> float:
    """The median wait that is believed, seconds."""
    return begins.within_s / math.exp(NINE_IN_TEN * SPREAD)


def test_before_anything_is_heard_an_engineer_is_as_usual() -> None:
    """Nine in ten within 1.3 s: the usual median and spread."""
    assert Begins().within_s == pytest.approx(USUAL_S * math.exp(NINE_IN_TEN * SPREAD), rel=0.02)


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("median_s", [0.4, 0.8, 1.4, 2.0])
def test_the_wait_is_learned_as_a_censored_fit_finds_it(median_s: float, seed: int) -> None:
    """Source: ``scipy.stats``, maximum likelihood of a lognormal with right-censored data, its spread given. Most
    windows of the slow engineer close before the first word. The estimate is that of the reference for who is quick,
    and up to a quarter less for who is slow: whoever did not begin may have been busy."""
    seen = waits(median_s, (0.6, 3.0), seed)
    data = stats.CensoredData(uncensored=[one for one, begun in seen if begun],
                              right=[one for one, begun in seen if not begun])  # fmt: skip
    _, _, reference = stats.lognorm.fit(data, fs=SPREAD, floc=0)
    assert (0.9 if median_s < 0.5 else 0.75) < median_of(learned(seen)) / reference < 1.1


def test_counting_only_what_was_begun_would_take_a_slow_engineer_for_quick() -> None:
    """Windows of a second: who needs 1.6 s as a rule is seen beginning after 0.8 s, and is believed slow still."""
    seen = waits(1.6, (0.8, 1.2), seed=2)
    assert np.median([one for one, begun in seen if begun]) < 0.95
    assert median_of(learned(seen)) > 1.25


def test_one_engineer_after_another_is_learned_anew() -> None:
    """What is long ago counts for less: after sixty calls of a quick one little is left of the slow one."""
    begins = learned([*waits(1.8, (2.0, 4.0), 3), *waits(0.5, (2.0, 4.0), 4)])
    assert median_of(begins) < 0.75


def test_an_engineer_who_is_busy_now_and_then_is_not_slow() -> None:
    """A tenth of the calls wait for half a minute, or are never begun: the estimate moves by less than a quarter."""
    quick = waits(0.5, (2.0, 4.0), 5)
    busy = [(30.0, number % 20 == 0) if number % 10 == 0 else one for number, one in enumerate(quick)]
    assert median_of(learned(busy)) < 1.25 * median_of(learned(quick))


@given(st.lists(st.tuples(st.floats(0, 600), st.booleans()), max_size=80))
def test_whatever_is_heard_the_estimate_is_one_that_people_have(seen: list[tuple[float, bool]]) -> None:
    """It stays within the medians that are thought possible, and is a number."""
    assert 0.2 <= median_of(learned(seen)) <= 4.0 + 1e-9


@given(st.floats(0.3, 600))
def test_a_window_that_closed_unsaid_makes_nobody_quicker(waited_s: float) -> None:
    """However long it was open: very long ones were passed over for something else, and tell next to nothing."""
    assert Begins().after(waited_s, begun=False).within_s >= Begins().within_s - 1e-9
