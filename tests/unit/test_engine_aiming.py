"""When what must be said without a sure stretch is shown: its first word is to fall where it is heard."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import lognorm

from pitwall.engine.aiming import AT_ONCE_PER_S, WAITS, aimed_s
from pitwall.radio.begins import SPREAD, Begins
from tests.unit.channel_stage import on_track

AT = replace(on_track(), begins_within_s=2.0)
USUAL_S = 2.0 * WAITS[len(WAITS) // 2]


def aimed(*stretches: tuple[float, float], by_s: float = 120.0, at_once: bool = False,
          taken: tuple[tuple[float, float], ...] = ()) -> float:
    """When a call of a second that may be begun from 100 s on is shown as due."""
    return aimed_s(AT, stretches, 1.0, 100.0, by_s, at_once=at_once, taken=taken)


def test_the_waits_are_those_that_were_learned() -> None:
    """A tenth, three, five, seven and nine tenths of the engineer's waits, against scipy's lognormal distribution."""
    begins = Begins().after(1.2, begun=True).after(0.9, begun=True)
    median = begins.within_s * WAITS[2]
    tenths = [lognorm.ppf(share, SPREAD, scale=median) for share in (0.1, 0.3, 0.5, 0.7, 0.9)]
    assert [begins.within_s * share for share in WAITS] == pytest.approx(tenths, rel=1e-3)


def test_the_first_word_falls_on_the_stretch() -> None:
    """It opens in eight seconds: the call is due so long before it as this engineer takes."""
    begin = aimed((108.0, 110.5))
    assert 108.0 <= begin + USUAL_S <= 110.5 - 1.0


def test_where_the_driver_listens_now_nothing_waits() -> None:
    """And where he listens nowhere, waiting would gain nothing."""
    assert aimed((99.0, 106.0), (108.0, 118.0)) == 100.0
    assert aimed() == 100.0


@pytest.mark.parametrize(("opens", "waits"), [(103.0, True), (118.0, False)])
def test_news_of_danger_waits_for_what_comes_soon_and_for_nothing_else(opens: float, waits: bool) -> None:
    """Three seconds for words that are heard; eighteen would cost more than a repeat."""
    assert (aimed((opens, opens + 6.0), by_s=130.0, at_once=True) > 100.0) is waits
    assert (opens - 100.0) * AT_ONCE_PER_S < 1.0 or not waits


def test_another_call_on_the_stretch_sends_it_to_the_next_one() -> None:
    """The channel is taken there."""
    assert aimed((104.0, 108.0), (112.0, 116.0)) < 106.0
    assert aimed((104.0, 108.0), (112.0, 116.0), taken=((103.0, 109.0),)) > 108.0


@given(st.lists(st.tuples(st.floats(90, 130), st.floats(0.1, 9)), max_size=4), st.floats(100, 140), st.booleans())
def test_it_is_never_too_late_nor_too_early(spans: list[tuple[float, float]], by_s: float, at_once: bool) -> None:
    """Whatever the stretches are: not before it may be begun, and nine times in ten it is begun in time."""
    begin = aimed(*[(begin, begin + length) for begin, length in spans], by_s=by_s, at_once=at_once)
    assert begin == 100.0 or 100.0 < begin <= by_s - AT.begins_within_s + 1e-6
