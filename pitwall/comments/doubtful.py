"""Words of every day that are of the car only where their thing is named, or only in one order: else they are refused.

``rears went off`` is of tyres, and ``he went off t4`` is a car beside the road; ``rear came around`` is oversteer, and
``balance came around`` is praise. Common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from pitwall.comments.forms import KINDS_OF_CORNERS, READ_OVER
from pitwall.comments.glued import TURN
from pitwall.comments.reading import Reading
from pitwall.comments.sayings import PERSONS
from pitwall.comments.splitting import MARK, Slip, Word
from pitwall.comments.words import COMING

OFF = ("gone off", "went off", "going off", "goes off", "go off")
"""What tyres do, and a car that leaves the road."""
AWAY = ("goes away", "going away", "went away", "gone away")
"""What the rear does in a corner, and tyres over laps."""
AROUND = ("came around", "came round", "coming around", "coming round")
"""What the rear does, and a car that comes back, or round a corner."""
AROUND_NOW = ("comes around", "comes round")
COMING_UP = ("coming up", "comes up", "came up")
"""What grip and tyres do; temperatures come up, too, and a turn that is next."""
WITHIN = ("just", "really", "has", "had", "almost", "nearly", "then", "is", "was", "also", "even")
"""What may stand between who does it and what is done."""
_READ_OVER = ("the", "a", "is", "are", "feels", "feel", "gets", "bit", "too", "very", "really", "quite", "so", "little",
              "front", "rear", "left", "right", "fl", "fr", "rl", "rr", "inside", "outside")
_PACE = ("slow", "fast", "quick")
Parts = Mapping[str, Any]


def is_of_its_thing(reading: Reading, before: Parts, finding: Parts) -> None:
    """Look whether words that may be of another thing are said of their own.

    Args:
        reading: the words of one remark.
        before: what was found before the comma; empty where nothing is carried over.
        finding: what these words say.

    Raises:
        Slip: at such a word, where its thing is not named.
    """
    if "finding" in reading.parts:
        word = reading.parts["finding"][1]
        _went_off(reading, word, before)
        _goes_away(reading, word)
        _came_around(reading, word, before)
        if _said(reading, word).startswith("up to temp") and finding["about"] == "balance":
            raise Slip(word, "of what, such as tyres up to temp or brakes up to temp")
        if word.key in ("tight", "loose") and _of_a_wheel(reading.piece.words, word):
            raise Slip(word, f"us or os, if that is meant; how a wheel is goes behind '{MARK}'")
        _is_measured_in_one_place(reading, word)
    _comes_in(reading, finding)
    _is_the_same_there(reading)


def _said(reading: Reading, word: Word) -> str:
    """These words and those behind them, without what may stand within a form."""
    behind = [one.key for one in reading.piece.words if one.at > word.at and one.key not in READ_OVER]
    first, *own = word.key.split()
    return " ".join([first, *([one for one in own if one not in READ_OVER] if own else behind)])


def _went_off(reading: Reading, word: Word, before: Parts) -> None:
    if not _said(reading, word).startswith(OFF):
        return
    named = {"axle", "corner"} & set(reading.parts) or before.get("about") in ("tyres", "grip")
    named = named or ("subject" in reading.parts and reading.parts["subject"][0].value in ("tyres", "grip"))
    if not named or _doer(reading, word) in (*_PEOPLE, "car"):
        raise Slip(word, f"of what, such as tyres going off; that the car left the road goes behind '{MARK}'")


def _goes_away(reading: Reading, word: Word) -> None:
    counted = any(one.key in ("lap", "laps", "run", "stint") for one in reading.piece.words)
    if counted and reading.asides and _said(reading, word).startswith(AWAY):
        raise Slip(word, "tyres going off, or us or os, whichever is meant: over laps either may go away")


def _came_around(reading: Reading, word: Word, before: Parts) -> None:
    said = _said(reading, word)
    if not said.startswith((*AROUND, *AROUND_NOW)):
        return
    ends = [reading.parts[part][0].value for part in ("axle", "corner") if part in reading.parts]
    rear = any(end.startswith("rear") for end in ends) or (not ends and before.get("axle") == "rear")
    bare = said.startswith(AROUND_NOW) and not ends and "subject" not in reading.parts
    sided = "side" in reading.parts and not said.startswith(AROUND_NOW)  # "came around the outside"
    if sided or not (rear or bare) or _doer(reading, word) in _PEOPLE:
        raise Slip(word, f"the end that does it, such as rear {word.key}, or os; else '{MARK}' before free text")


_PEOPLE = tuple(one for one in PERSONS if not one.startswith("they"))
"""Of tyres people say "they", too."""


def _doer(reading: Reading, word: Word) -> str:
    """Who or what stands right before this word."""
    before = [one.key for one in reading.piece.words if one.at < word.at and one.key not in WITHIN]
    return before[-1] if before else ""


def _of_a_wheel(words: Sequence[Word], word: Word) -> bool:
    """Guard: it is a wheel that is loose or tight: ``front left wheel loose``, ``loose rear wheel``."""
    before = [one.key for one in words if one.at < word.at and one.key not in _READ_OVER]
    behind = [one.key for one in words if one.at > word.at and one.key not in _READ_OVER]
    return any(beside in ("wheel", "wheels") for beside in (*before[-1:], *behind[:1]))


def _is_measured_in_one_place(reading: Reading, word: Word) -> None:
    """Raise a slip at ``exit better os mid``: better may be said of either part of the corner."""
    measured = next((reading.parts[part] for part in ("trend", "amount") if part in reading.parts), None)
    if measured is None or measured[0].value not in ("better", "worse", "more", "less"):
        return
    turns = [one.at for one in reading.piece.words if TURN.fullmatch(one.plain)]
    for places in ([phase.at for _, phase in reading.phases], turns):
        if any(at < measured[1].at for at in places) and any(at > word.at for at in places) and (
                measured[1].at < word.at):
            raise Slip(measured[1], "a comma before the next remark, where it begins: that may be said of what stands"
                                    " before it, or behind")


def _is_the_same_there(reading: Reading) -> None:
    """Raise a slip at ``t4 us same in t7``: there as well, or the same as before in both."""
    word = reading.parts["trend"][1] if "trend" in reading.parts else None
    turns = [one.at for one in reading.piece.words if TURN.fullmatch(one.plain)]
    if word is not None and word.key == "same" and any(at < word.at for at in turns) and turns[-1] > word.at:
        raise Slip(word, "'also' for the same there; or 'same as before', if it is as it was")


def _comes_in(reading: Reading, finding: Parts) -> None:
    """Raise a slip where what comes may be a temperature, the next turn or the car itself, and where it comes slowly or
    fast, which is no class of corners."""
    if "trend" not in reading.parts or not reading.parts["trend"][1].key.startswith(COMING):
        return
    word = reading.parts["trend"][1]
    alone = finding["about"] == "balance" and not {"subject", "axle", "corner", "finding"} & set(reading.parts)
    if alone or (_said(reading, word).startswith(COMING_UP) and finding["about"] not in ("tyres", "grip")):
        raise Slip(word, f"better, or of what: grip coming in, tyres coming in; else '{MARK}' before free text")
    words = reading.piece.words
    end = word.at + len(word.text)  # "coming in slow": that "in" is of the words before it
    for at, one in enumerate(words):
        kind = words[at + 1].key if at + 1 < len(words) else ""
        before = words[at - 1].key if at else ""
        placed = kind in KINDS_OF_CORNERS or (before in ("in", "at", "through", "the") and words[at - 1].at >= end)
        beside = one.at > word.at or kind.startswith(COMING)
        if one.key in _PACE and beside and not placed:
            raise Slip(one, f"{one.key} corners, if that is meant; how soon it comes goes behind '{MARK}'")
