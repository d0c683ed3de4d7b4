"""How long a sentence takes to say.

Words at the engineer's rate (words per minute), with numerals counted as they are spoken digit by digit or as the
number word, plus a slight pause around numerals (ICAO Annex 10 Vol II 5.2.1.5.3 asks for one). The result lies between
the published bounds in all but freak texts: no slower than 100 words a minute (Annex 10), no faster than 6.1 syllables
a second (Nitta, Okazaki and Klinger, real traffic); tests/published checks it.
"""

from __future__ import annotations

import functools
import re
from typing import Literal

Numerals = Literal["numbers", "digits"]
"""How figures are said: ``102.4`` as "one oh-two point four", or digit by digit as "one zero two point four" (Annex 10
Vol II 5.2.1.4.1 asks for single digits; on a pit wall figures are said in pairs: common practice, no source)."""

NUMERAL_PAUSE_S = 0.15
BREATH_S = 0.3

_ONES = (
    "zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve",
    "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen",
)  # fmt: skip
_TENS = ("", "", "twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety")
_MARKS = {".": "point", ":": "colon"}
_TOKEN = re.compile(r"[A-Za-z']+|\d+(?:[.:]\d+)*")


@functools.lru_cache(maxsize=2048)
def spoken_words(text: str, numerals: Numerals = "numbers") -> tuple[int, int]:
    """Count ``(words, numerals)`` as spoken: ``55.5`` is three words (fifty-five, point, five)."""
    words = figures = 0
    for token in _TOKEN.findall(text):
        if token[0].isdigit():
            figures += 1
            words += len(numeral_words(token, numerals))
        else:
            words += 1
    return words, figures


def numeral_words(figure: str, numerals: Numerals = "numbers") -> tuple[str, ...]:
    """A figure as it is spoken, word by word; a mark within it is a word of its own.

    Args:
        figure: digits, with dots or colons between them.
        numerals: in pairs, an odd digit first (``102.4``: one, oh-two, point, four), or digit by digit.
    """
    found: list[str] = []
    for piece in re.findall(r"\d+|[.:]", figure):
        if piece in _MARKS:
            found.append(_MARKS[piece])
        elif numerals == "digits":
            found += [_ONES[int(digit)] for digit in piece]
        else:
            odd = len(piece) % 2
            pairs = [piece[start : start + 2] for start in range(odd, len(piece), 2)]
            found += ([_ONES[int(piece[0])]] if odd else []) + [_pair(pair) for pair in pairs]  # 00: hundred
    return tuple(found)


def _pair(digits: str) -> str:
    value = int(digits)
    if digits[0] == "0":
        return "hundred" if value == 0 else f"oh-{_ONES[value]}"
    if value < len(_ONES):
        return _ONES[value]
    return _TENS[value // 10] + (f"-{_ONES[value % 10]}" if value % 10 else "")


@functools.lru_cache(maxsize=2048)  # the same sentences again and again
def spoken_s(text: str, words_per_minute: float, numerals: Numerals = "numbers") -> float:
    """Seconds it takes to say ``text``.

    Args:
        text: what is said.
        words_per_minute: the engineer's rate; 100 by the book, 140-180 on a pit wall (common practice, no source).
            ``rate.SpeechRate`` learns it.
        numerals: how the engineer says figures.
    """
    words, figures = spoken_words(text, numerals)
    if words == 0:
        return 0.0
    return round(BREATH_S + words * 60.0 / words_per_minute + figures * NUMERAL_PAUSE_S, 2)
