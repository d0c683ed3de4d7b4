"""How long a sentence takes to say.

Words at the engineer's rate (words per minute), with numerals counted as they are spoken digit by digit or as the
number word, plus a slight pause around numerals (ICAO Annex 10 Vol II 5.2.1.5.3 asks for one). The result lies between
the published bounds in all but freak texts: no slower than 100 words a minute (Annex 10), no faster than 6.1 syllables
a second (Nitta, Okazaki and Klinger, real traffic); tests/published checks it.
"""

from __future__ import annotations

import functools
import re

NUMERAL_PAUSE_S = 0.15
BREATH_S = 0.3

_TOKEN = re.compile(r"[A-Za-z']+|\d+(?:[.:]\d+)*")


@functools.lru_cache(maxsize=2048)
def spoken_words(text: str) -> tuple[int, int]:
    """Count ``(words, numerals)`` as spoken: ``55.5`` is three words (fifty-five, point, five)."""
    words = numerals = 0
    for token in _TOKEN.findall(text):
        if token[0].isdigit():
            numerals += 1
            parts = re.split(r"[.:]", token)
            words += len(parts) - 1 + sum(_number_words(part) for part in parts)
        else:
            words += 1
    return words, numerals


def _number_words(digits: str) -> int:
    # Two digits are said as one number word; longer figures digit by digit in pairs.
    return max(1, (len(digits) + 1) // 2)


def spoken_s(text: str, words_per_minute: float) -> float:
    """Seconds it takes to say ``text``.

    Args:
        text: what is said.
        words_per_minute: the engineer's rate; 100 by the book, 140-180 on a pit wall (common practice, no source).
    """
    words, numerals = spoken_words(text)
    if words == 0:
        return 0.0
    return round(BREATH_S + words * 60.0 / words_per_minute + numerals * NUMERAL_PAUSE_S, 2)
