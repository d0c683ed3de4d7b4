"""How long a person of the rehearsed world takes to say a sentence: what the product expects is not asked."""

from __future__ import annotations

import re

BREATH_S, FIGURE_S = 0.3, 0.15  # to begin, and the slight pause at a figure


def speaking_s(text: str, words_per_minute: float) -> float:
    """Seconds for a text; a figure is said in pairs, ``102.4`` as four words (common practice, no source)."""
    words, figures = re.findall(r"[A-Za-z']+", text), re.findall(r"\d+(?:[.:]\d+)*", text)
    said = len(words) + sum(1 if mark in ".:" else (len(mark) + 1) // 2
                            for figure in figures for mark in re.findall(r"\d+|[.:]", figure))
    return BREATH_S + 60.0 * said / words_per_minute + FIGURE_S * len(figures) if said else 0.0
