"""How texts are counted and how long they take."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitwall.radio.speech import BREATH_S, NUMERAL_PAUSE_S, numeral_words, spoken_s, spoken_words

WORDS = st.lists(st.sampled_from(["box", "this", "lap", "hold", "5", "55.5", "12", "turn", "O'clock"]), max_size=25)


@pytest.mark.parametrize(("text", "words", "numerals"), [
    ("", 0, 0),
    ("Box, box.", 2, 0),
    ("Turn 4", 2, 1),
    ("55.5", 3, 1),          # fifty-five, point, five
    ("1:27.4", 5, 1),        # one, colon, twenty-seven, point, four
    ("bias 55", 2, 1),
    ("don't stop", 2, 0),
    ("car 1234", 3, 1),      # twelve thirty-four
    ("... -- !", 0, 0),
])  # fmt: skip
def test_words_are_counted_as_spoken(text: str, words: int, numerals: int) -> None:
    """Marks are silent, figures are words in pairs of digits, and a dot in a figure is said."""
    assert spoken_words(text) == (words, numerals)


def test_nothing_takes_no_time() -> None:
    """A text without words is not spoken: no breath is taken for it."""
    assert spoken_s("", 150) == 0.0
    assert spoken_s("?!", 150) == 0.0


def test_the_length_is_a_breath_the_words_and_the_pauses() -> None:
    """Ten words at 150 a minute are four seconds; a figure adds its pause."""
    ten = "one two three four five six seven eight nine ten"
    assert spoken_s(ten, 150) == pytest.approx(BREATH_S + 4.0)
    assert spoken_s(ten + " 5", 150) == pytest.approx(BREATH_S + 4.4 + NUMERAL_PAUSE_S)


@given(words=WORDS, more=WORDS, rate=st.floats(60, 260))
def test_more_words_take_longer(words: list[str], more: list[str], rate: float) -> None:
    """Adding to a text never shortens it, and a faster tongue never takes longer."""
    text, longer = " ".join(words), " ".join([*words, *more])
    assert spoken_s(text, rate) <= spoken_s(longer, rate)
    assert spoken_s(text, rate + 10) <= spoken_s(text, rate)


@pytest.mark.parametrize(("figure", "numbers", "digits"), [
    ("7", "seven", "seven"),
    ("55", "fifty-five", "five five"),
    ("102.4", "one oh-two point four", "one zero two point four"),
    ("100", "one hundred", "one zero zero"),
    ("1234", "twelve thirty-four", "one two three four"),
    ("1:27.4", "one colon twenty-seven point four", "one colon two seven point four"),
])  # fmt: skip
def test_figures_are_spoken_in_pairs_or_digit_by_digit(figure: str, numbers: str, digits: str) -> None:
    """A figure is a word for each pair, an odd digit first; or a word for each digit."""
    assert " ".join(numeral_words(figure)) == numbers
    assert " ".join(numeral_words(figure, "digits")) == digits


def test_digit_by_digit_takes_longer() -> None:
    """The same text with its figures in single digits has more words and takes longer."""
    assert spoken_words("bias 55.5", "digits") == (5, 1)
    assert spoken_s("bias 55.5", 150, "digits") > spoken_s("bias 55.5", 150)
