"""Does a driver hear what was meant? The wording of calls checked against a few rules.

- *Negation*: an action word is never denied. Through noise only the word is heard, and it is the opposite order.
- *Opposites*: a call never holds the action words of two opposite orders, and the words of box and stay out belong to
  the box calls alone.
- *Place*: a call that is for a place begins with it: the driver knows when before hearing what. Box, session and stop
  calls begin with the action, for it is for now.
- *Figures*: no word that sounds like a figure stands beside one ("torque to 2"; CAP 413 leaves out "to" before flight
  levels for the same reason, from memory).
- *Choices*: where a figure is chosen from several, five and nine, or thirteen and thirty and their like, are told apart
  if they are said as in Annex 10: "fife", "niner", digits singly (Vol II 5.2.1.4.3 and 5.2.1.4.1, from memory).

The first four are faults of a text. The last is advice to the speaker: the figures are as they are.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Literal

from pitwall.model.plan import CallClass

Rule = Literal["negation", "opposites", "place", "figures", "choices"]

OPPOSITES: tuple[tuple[tuple[str, ...], tuple[str, ...]], ...] = (
    (("box",), ("stay out",)),
    (("push",), ("cool down", "cool-down", "cool the car")),
    (("fire up",), ("switch off",)),
    (("leave",), ("wait", "halt")),
    (("slow", "slow down"), ("track is green", "is clear", "resume")),
)
"""Orders that undo one another, each with its action words; the two sides of a pair share none."""

DENIED: Mapping[str, str] = {"lift": "'flat'", "coast": "'power on'", "overtake": "'hold station'",
                             "braking": "'roll'"}
"""Action words without an opposite in the table, each with the word for what its denial would say. "Brake" is none:
a call speaks of the brakes too ("no brake temperature yet")."""

RESERVED = ("box", "stay out")  # heard anywhere else they would be taken for a box call
AT_ONCE: tuple[CallClass, ...] = ("box", "session", "safety", "stop")
BEFORE_A_PLACE = frozenset({"after", "at", "before", "in", "on", "from", "past", "the", "into", "towards"})

NUMBER_WORDS = (
    "zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve",
)  # fmt: skip
SOUND_LIKE_FIGURES = {"to": "two", "too": "two", "for": "four", "fore": "four", "won": "one", "ate": "eight"}
"""Words that are spoken exactly like a figure (CMU pronouncing dictionary; tests/published checks it)."""

_DENIAL = (r"(?:don't|do not|never|not|no|stop|without|avoid|cannot|can't|mustn't)(?:\s+(?:to|any|more))?"
           r"(?:\s+(?:a|the))?")
_FIGURE = rf"(?:\d[\d.:]*|{'|'.join(NUMBER_WORDS)})"
_BESIDE = re.compile(
    rf"\b({'|'.join(SOUND_LIKE_FIGURES)})[,:;]?\s+{_FIGURE}\b|\b{_FIGURE}[,:;]?\s+({'|'.join(SOUND_LIKE_FIGURES)})\b",
    re.IGNORECASE,
)


@dataclass(frozen=True, slots=True)
class Phrase:
    """A text that may be said.

    Attributes:
        source: where it comes from, for whoever has to mend it.
        place: where the driver acts, as the text should name it; None: nowhere in particular.
    """

    source: str
    text: str
    kind: CallClass
    place: str | None = None


@dataclass(frozen=True, slots=True)
class Choice:
    """Figures of which one is said, such as the positions of a switch."""

    source: str
    figures: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Misheard:
    """One finding. ``fault`` is False for advice on how to say it."""

    rule: Rule
    source: str
    text: str
    why: str
    remedy: str
    fault: bool = True


def misheard(phrases: Iterable[Phrase], choices: Iterable[Choice] = ()) -> tuple[Misheard, ...]:
    """Every finding, in the order of the phrases, then of the choices; the same finding once."""
    found = [one for phrase in phrases for check in _CHECKS for one in check(phrase)]
    found += [one for choice in choices for one in _choice(choice)]
    return tuple(dict.fromkeys(found))


def _negation(phrase: Phrase) -> Iterator[Misheard]:
    folded = phrase.text.casefold()
    known = itertools.chain((word for pair in OPPOSITES for side in pair for word in side), DENIED)
    for words in (word for word in known if word.casefold().removesuffix("e") in folded):
        stem = re.escape(words.removesuffix("e"))
        denied = re.search(rf"\b{_DENIAL}\s+(?:{re.escape(words)}|{stem}ing)\b", phrase.text, re.IGNORECASE)
        if denied:
            yield Misheard(
                "negation", phrase.source, phrase.text, f"{denied.group(0)!r}: through noise only {words!r} is heard",
                f"give the opposite order its own word: {_opposite(words)}",
            )  # fmt: skip


def _opposite(words: str) -> str:
    if words in DENIED:
        return DENIED[words]
    for one, other in OPPOSITES:
        if words in one or words in other:
            return " or ".join(repr(word) for word in (other if words in one else one))
    raise AssertionError(f"{words!r} is in no pair")  # only words of the table are looked for


def _opposites(phrase: Phrase) -> Iterator[Misheard]:
    for one, other in OPPOSITES:
        here, there = _first_of(one, phrase.text), _first_of(other, phrase.text)
        if here and there:
            yield Misheard(
                "opposites", phrase.source, phrase.text, f"it holds both {here!r} and {there!r}: opposite orders",
                "say one order a call",
            )  # fmt: skip
    for word in RESERVED:
        if phrase.kind != "box" and _first_of((word,), phrase.text):
            yield Misheard(
                "opposites", phrase.source, phrase.text, f"{word!r} is an order of the box calls",
                "use another word: 'marks' or 'pit stop' for the place, 'keep clear' for traffic",
            )  # fmt: skip


def _first_of(words: Iterable[str], text: str) -> str | None:
    folded = text.casefold()  # looked at first: a thousand texts of a library hold few of these words
    return next((word for word in words if word.casefold() in folded
                 and re.search(rf"\b{re.escape(word)}\b", text, re.IGNORECASE)), None)


def _place(phrase: Phrase) -> Iterator[Misheard]:
    if phrase.place is None or phrase.kind in AT_ONCE:
        return
    before, found, _ = phrase.text.lower().partition(phrase.place.lower())
    if not found or set(re.findall(r"[\w']+", before)) - BEFORE_A_PLACE:
        yield Misheard(
            "place", phrase.source, phrase.text,
            f"{phrase.place!r} {'comes after the action' if found else 'is not named'}",
            f"begin with the place: 'After {phrase.place}: ...'",
        )  # fmt: skip


def _figures(phrase: Phrase) -> Iterator[Misheard]:
    for beside in _BESIDE.finditer(phrase.text):
        word = (beside.group(1) or beside.group(2)).lower()
        yield Misheard(
            "figures", phrase.source, phrase.text,
            f"{beside.group(0)!r}: {word!r} sounds like {SOUND_LIKE_FIGURES[word]!r}",
            f"leave out {word!r} or put another word between it and the figure",
        )  # fmt: skip


_CHECKS = (_negation, _opposites, _place, _figures)


def _choice(choice: Choice) -> Iterator[Misheard]:
    figures = sorted(set(choice.figures))
    pairs = [(5.0, 9.0)] + [(float(10 + unit), float(10 * unit)) for unit in range(3, 10)]
    for low, high in pairs:
        if low in figures and high in figures:
            text = f"{low:g} or {high:g}"
            how = "say 'fife' and 'niner'" if low < 10 else "say the digits singly: 'one " + (
                f"{NUMBER_WORDS[int(low) % 10]}' and '{NUMBER_WORDS[int(high) // 10]} zero'")
            yield Misheard("choices", choice.source, text, f"{low:g} and {high:g} sound alike", how, fault=False)
