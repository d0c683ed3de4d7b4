"""The form of the table that stands at a place of a remark, the longest first; or what is said of when and where."""

from __future__ import annotations

from pitwall.comments.asides import aside
from pitwall.comments.glued import TURN
from pitwall.comments.group import Group
from pitwall.comments.splitting import Word
from pitwall.comments.words import MOST_WORDS, PLACES, by_form

KINDS_OF_CORNERS = ("corner", "corners", "turns")
"""Behind a speed class they are all of that class, and the number behind them is how bad it is there."""
TIGHT_THINGS = (*KINDS_OF_CORNERS, "corner", "turn", "stuff", "ones", "line", "lines", "hairpin", "hairpins", "bits",
                "section", "sections", "chicane", "exit", "entry", "apex", "radius", "bit", "one")
"""What is tight itself, where the word stands before it: a car that is, does not turn enough."""
READ_OVER = ("the", "a", "is", "are", "of", "feels", "gets", "getting", "too", "very", "really", "quite", "real",
              "major", "going", "goes", "become", "becomes", "becoming", "starts", "starting", "comes", "still", "just")
"""Fillers that may stand within a form of several words: ``the pedal is long``."""


def form_at(words: tuple[Word, ...], at: int) -> Group | None:
    """The longest form or aside that stands here."""
    past = 0 if _rates_what_it_hangs_on(words, at) else aside(words, at)
    for many in range(min(MOST_WORDS + 2, len(words) - at), 0, -1):
        if many == past:
            return Group(words[at : at + many])
        keys = [word.key for word in words[at : at + many]]
        inner = [key for key in keys[1:-1] if key not in READ_OVER]
        for form in dict.fromkeys((" ".join(keys), " ".join((keys[0], *inner, *keys[1:][-1:])))):
            entry = by_form().get(form)
            if entry is not None and not is_another(form, words, at + many):
                return Group(words[at : at + many], entry, form=form)
    return Group(words[at : at + past]) if past else None


def _rates_what_it_hangs_on(words: tuple[Word, ...], at: int) -> bool:
    """Guard: a number typed as one word with what stands before it counts nothing behind it: ``us5 x``."""
    before = words[at - 1] if at else None
    return before is not None and words[at].key.isdecimal() and before.at + len(before.text) == words[at].at


def is_another(form: str, words: tuple[Word, ...], at: int) -> bool:
    """Guard: what stands behind this form, at ``at``, makes something else of it: ``not in t4``, ``turn in slow
    corners``."""
    if form == "not in":
        return names_a_turn(words, at)
    if form in ("cut", "cuts", "cutting", "drop", "drops", "dropping", "dropped"):
        return at < len(words) and words[at].key in ("the", "a", "across", "wheel", "wheels")
    if form == "no brakes":
        return not _has_none(words, at)
    if form == "tight":
        return at < len(words) and words[at].key in TIGHT_THINGS and not words[at].meant
    if form == "over":
        return at < len(words) and _ridden_over(words[at])
    return form == "turn in slow" and at < len(words) and words[at].key in (*KINDS_OF_CORNERS, "stuff", "ones")


def _has_none(words: tuple[Word, ...], at: int) -> bool:
    """Guard: the car has no brakes, which stand before ``at``: a turn beside them may be taken without any, and what
    else stands behind may be what there is none of: ``t9 no brakes``, ``no brakes fading``."""
    behind = [word.key for word in words[at : at + 2]]
    whole = not behind or behind[0] in ("into", "3", "4", "5")
    whole = whole or behind in (["at", "all"], ["any", "more"], ["anymore"])
    into = bool(behind) and behind[0] == "into"
    return whole and (into or not any(TURN.fullmatch(word.plain) for word in words))


def _ridden_over(word: Word) -> bool:
    """Guard: what a car is ridden over, or may be: ``over the kerb``."""
    known = word.key in by_form() or bool(TURN.fullmatch(word.plain)) or word.key[:1].isdecimal()
    return word.key in ("the", "a", "an", "all", "kerb", "kerbs", "bump", "bumps") or not known


def names_a_turn(words: tuple[Word, ...], at: int) -> bool:
    """Guard: a turn is named here."""
    return at < len(words) and (words[at].key in PLACES or bool(TURN.fullmatch(words[at].plain)))
