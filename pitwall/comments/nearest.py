"""Which word of the shorthand was meant by one that is none: only where it can be nothing but a slip of the fingers.

A word that is offered is taken by a person in a hurry, so one of another meaning is worse than none: "going" is not
"coming". Offered is what begins with the same letter and is one slip away, two in a long word, where no other meaning
is as near. A slip is a letter too many, too few, wrong, or two that changed places (Damerau, Communications of the ACM
7(3), 1964, found these four to be most of all misspellings).
"""

from __future__ import annotations

import functools
from difflib import SequenceMatcher

from pitwall.comments.words import SIGNS, Entry, by_form

SHORT, LONG = 4, 8
"""In words of so few letters a wrong letter makes another word (lift and left); in so many there may be two slips."""
NO_SLIPS = frozenset((
    "back", "band", "been", "best", "bite", "bits", "both", "brake", "came", "cars", "colder", "confidence",
    "cool", "cooler", "does", "done", "down", "end", "even", "ever", "exact", "feel", "feels", "fell", "felt",
    "first", "going", "gone", "good", "had", "hard", "has", "have", "held", "hers", "high", "his", "hold",
    "hotter", "into", "late", "later", "less", "light", "like", "lost", "love", "made", "make", "more", "much",
    "must", "off", "once", "onto", "open", "ours", "over", "past", "said", "seen", "send", "short", "sits",
    "slid", "slide", "slides", "smooth", "softer", "stable", "stiffer", "take", "than", "that", "them", "then",
    "there", "they", "this", "those", "tight", "time", "times", "took", "track", "under", "use", "used", "very",
    "point", "points", "read", "let", "note", "stuff", "staff", "move", "moved", "building", "doing", "engineer",
    "looks", "looked", "looking", "loss", "losses", "gain", "gains", "certainly", "mind", "pushed", "nicer", "drives",
    "driven", "mis", "thinks", "fun", "lines", "line", "state", "start", "sort", "main", "rain", "wheel",
    "warm", "warmer", "weaker", "well", "went", "were", "when", "wide", "wind", "wore", "worst", "your",
))  # fmt: skip
"""Words that a driver says and the shorthand does not know: they were meant as they stand."""


@functools.lru_cache(maxsize=2048)
def nearest(word: str, subject: str = "") -> str:
    """The form that was meant; empty where none is near enough, or two meanings are.

    Args:
        word: lower case.
        subject: the subject that is named beside it: a finding of another one is not offered.
    """
    bare = word.strip("()[]\"'")
    if bare in NO_SLIPS or any(letter.isdecimal() for letter in bare):
        return ""
    most = 2 if len(bare) >= LONG else 1
    found: list[tuple[int, float, str, Entry]] = []
    for form, entry in by_form().items():
        if entry.part in ("filler", "topic") or form in SIGNS or form[0] != bare[:1]:
            continue
        if subject and entry.subject not in ("", subject):
            continue
        if abs(len(bare) - len(form)) > most:
            continue  # each letter too many is a slip; a page that sends one long word must not keep the daemon busy
        slips = _slips(bare, form)
        if slips <= most and not (len(bare) <= SHORT and _wrong_letter(bare, form)):
            found.append((slips, -SequenceMatcher(None, bare, form).ratio(), form, entry))
    if not found:
        return ""
    fewest, _, form, entry = min(found, key=lambda one: one[:3])
    others = [one for slips, _, _, one in found if slips == fewest and one is not entry]
    return "" if others else form


@functools.lru_cache(maxsize=2048)
def near_a_place(word: str) -> bool:
    """True for a short word that may be a mistyped place: ``mit`` is not offered as "mid", and not kept either."""
    return len(word) <= SHORT and any(
        entry.part in ("phase", "speed", "side", "axle") and len(form) >= len("mid") and abs(len(word) - len(form)) <= 1
        and _slips(word, form) <= 1 for form, entry in by_form().items()
    )  # fmt: skip


def a_slip_from(word: str, other: str) -> bool:
    """True for words of which one is a slip of the fingers away from the other."""
    return word[:1] == other[:1] and abs(len(word) - len(other)) <= 1 and _slips(word, other) <= 1


def _wrong_letter(one: str, other: str) -> bool:
    return len(one) == len(other) and sorted(one) != sorted(other)


def _slips(one: str, other: str) -> int:
    """How many slips are between two words: letters too many, too few, wrong, and neighbours that changed places."""
    before: list[int] = []
    row = list(range(len(other) + 1))
    for i, letter in enumerate(one, 1):
        now = [i]
        for j, there in enumerate(other, 1):
            fewest = min(row[j] + 1, now[j - 1] + 1, row[j - 1] + (letter != there))
            if before and j > 1 and letter == other[j - 2] and one[i - 2] == there:
                fewest = min(fewest, before[j - 2] + 1)
            now.append(fewest)
        before, row = row, now
    return row[-1]
