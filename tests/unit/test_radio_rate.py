"""The engineer's rate of speech, learned from transmissions."""

from __future__ import annotations

import dataclasses
import json

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitwall.radio.rate import (
    FASTEST_WPM,
    KEPT,
    SLOWEST_WPM,
    SaidCall,
    SpeechRate,
    Transmission,
    matched,
)
from pitwall.radio.speech import spoken_s

TEXTS = ("Box this lap, box this lap.", "After turn four: hold gear five, count five.", "Lap time 1:27.4.",
         "Before the line: brake bias two down, engine four.")  # fmt: skip


def heard(rate: SpeechRate, wpm: float, calls: int, seed: int = 1, scatter: float = 0.1) -> SpeechRate:
    """The state after so many calls of an engineer of this rate."""
    rng = np.random.default_rng(seed)
    for number in range(calls):
        text = TEXTS[number % len(TEXTS)]
        rate = rate.after(text, spoken_s(text, wpm) * float(np.exp(rng.normal(0, scatter))))
    return rate


def test_before_anything_is_heard_the_setting_counts() -> None:
    """The prior is the rate of the settings, within what people speak."""
    assert SpeechRate(150).words_per_minute == pytest.approx(150)


@pytest.mark.parametrize("wpm", [100, 140, 180, 220])
def test_the_rate_is_learned(wpm: float) -> None:
    """Forty calls of an engineer bring the estimate within a few per cent of the rate, from whatever prior."""
    for prior in (120, 150, 200):
        assert heard(SpeechRate(prior), wpm, 40).words_per_minute == pytest.approx(wpm, rel=0.06)


def test_few_calls_move_it_part_of_the_way() -> None:
    """After six calls the prior and what was heard weigh alike."""
    assert 155 < heard(SpeechRate(150), 200, 6, scatter=0.0).words_per_minute < 192


def test_a_key_held_too_long_hardly_moves_it() -> None:
    """A fifth of the transmissions hold something else besides the call: the rate stays within eight per cent."""
    rng, rate = np.random.default_rng(3), SpeechRate(150)
    for number in range(40):
        text = TEXTS[number % len(TEXTS)]
        longer = 2.2 if rng.random() < 0.2 else 1.0
        rate = rate.after(text, spoken_s(text, 170) * longer * float(np.exp(rng.normal(0, 0.1))))
    assert rate.words_per_minute == pytest.approx(170, rel=0.08)


def test_what_no_mouth_can_do_is_counted_and_left_out() -> None:
    """A transmission of a tenth of a second, or of half a minute, was not this call."""
    rate = SpeechRate(150).after(TEXTS[0], 0.4).after(TEXTS[0], 30.0)
    assert (rate.words_per_minute, rate.left_out, rate.heard) == (pytest.approx(150), 2, ())


def test_very_short_calls_teach_nothing() -> None:
    """Two words last no longer than the press of a key."""
    assert SpeechRate(150).after("Box, box.", 1.0) == SpeechRate(150)


def test_only_the_last_calls_count() -> None:
    """An engineer who hurries after an hour is followed; the state does not grow."""
    rate = heard(heard(SpeechRate(150), 130, 60), 190, KEPT)
    assert len(rate.heard) == KEPT
    assert rate.words_per_minute == pytest.approx(190, rel=0.06)


@given(took=st.lists(st.floats(0.05, 60), max_size=60))
def test_the_rate_stays_within_what_people_speak(took: list[float]) -> None:
    """Whatever was heard, the estimate lies between the bounds."""
    rate = SpeechRate(150)
    for number, seconds in enumerate(took):
        rate = rate.after(TEXTS[number % len(TEXTS)], seconds)
    assert SLOWEST_WPM <= rate.words_per_minute <= FASTEST_WPM


def test_the_state_is_plain_figures() -> None:
    """Written as JSON and read again it is the same state with the same estimate."""
    rate = heard(SpeechRate(150), 170, 12)
    stored = json.loads(json.dumps(dataclasses.asdict(rate)))
    read = SpeechRate(stored["prior_wpm"], tuple((a, b) for a, b in stored["heard"]), stored["left_out"])
    assert read == rate
    assert read.words_per_minute == rate.words_per_minute


def test_a_prior_nobody_speaks_at_is_refused() -> None:
    """Ten words a minute are a mistake of the settings."""
    with pytest.raises(ValueError, match="10 words a minute"):
        SpeechRate(10)


def test_a_transmission_belongs_to_the_call_whose_key_was_pressed() -> None:
    """The key during it, or a little later; the length is that of the transmission."""
    said = [SaidCall("a", TEXTS[0], 12.5), SaidCall("b", TEXTS[1], 61.0)]
    assert matched([Transmission(10, 13), Transmission(55, 59)], said) == ((said[0], 3), (said[1], 4))


def test_what_could_be_two_calls_teaches_nothing() -> None:
    """Two keys in one transmission, two transmissions for one key, and a transmission without a key are left out."""
    two = [SaidCall("a", TEXTS[0], 12), SaidCall("b", TEXTS[1], 14)]
    assert matched([Transmission(10, 15)], two) == ()
    assert matched([Transmission(10, 12), Transmission(14, 16)], two[:1]) == ()
    assert matched([Transmission(100, 105)], two) == ()
