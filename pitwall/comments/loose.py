"""Words that the table does not have, where they cannot change what a remark says: they are kept with it as words.

``t4 us is really annoying`` is *t4 us*, and its words stand beside it; the typist is shown which of them were not read.
A word is let stand only where it can be no place, number, negation, condition or comparison (``changing.py``), no slip of
the fingers (``nearest.py``), and nothing that the words beside it may be said of: ``drops`` alone is a word of tyres,
and ``power drops`` is not. So an unknown word stands freely only beside a finding that is the car's whatever else is
said (``us``, ``snap``); beside a word of every day (``loose``, ``hot``) it stands behind it, where it is clear what that
is said of. How a thing is done (``slowly``, ``keeps``) may stand anywhere.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Protocol

from pitwall.comments.changing import changes_it
from pitwall.comments.entries import Entry
from pitwall.comments.nearest import near_a_place, nearest
from pitwall.comments.splitting import Word
from pitwall.comments.words import NUMBERS, by_form
from pitwall.model.comments import CONTENT

_PLAIN = re.compile(r"[a-z]+(?:['\u2019-][a-z]+)*")
SOFT = frozenset(
    "keep keeps kept keeping stays staying tends tend tending continues looks look looking sounds sound seem appears"
    " bit so well too also as well right well actually though however again here's that's that this these those which"
    " my his her their its our your me him them you us us us who itself myself himself quite rather pretty such"
    " be been being go come coming goes going comes get gets got makes make making gives give giving like"
    " everything lot bits kind sort obviously overall please thanks yes yeah ok okay sorry well mate pls"
    " report reports reported reporting tells told mentions mentioned notes noted claims claimed"
    " suffers suffering suffer shows showing show having under with via per again always often usual usually as"
    " nasty annoying annoyingly ugly horrid proper proper mega horribly weird strange odd funny typical classic"
    " noticeable obvious clear definite constant persistent sudden progressive gradual serious heavy severe".split()
) - {"us", "as", "under", "like", "clear", "per", "heavy", "here's", "please", "usual", "goes", "going", "come", "comes",
     "coming", "everything", "always", "often", "again"}  # fmt: skip
"""Words of no weight: of how it is told, and of how it is done."""
OWN = frozenset(
    "us understeer understeers understeering understeery u/s understeered os oversteer oversteers oversteering"
    " oversteery oversteered o/s snap snaps snappy snapping snapped wheelspin wheelspins wheelspinning locking lockup"
    " lockups bottoming porpoising porpoises bouncing graining grained blistering blistered flatspot flatspots"
    " misfire misfires misfiring".split()
)
"""Findings that are the car's, whatever else is said."""
_OWN_BEGINNINGS = ("washes ", "washing ", "steps ", "step ", "stepping ", "tail happy", "sudden o", "snap o", "flat spot",
                   "lock up", "locks up", "locking up", "locked up", "no traction", "can't get", "can't put", "wheel spin",
                   "os m", "oversteer m", "poor rot", "no rot", "lack of rot", "can't get", "cannot get", "power u", "power o",
                   "braking u", "heavy u", "heavy o", "light u", "light o", "poor turn", "no turn", "turn in ")  # fmt: skip
_NO_MANNER = frozenset("wobbly lively unruly early ugly deadly friendly jolly woolly bubbly curly crumbly wriggly".split())
"""Words that end so and say what a car is."""
_PREPOSITIONS = ("in", "at", "into", "out of", "through", "onto", "for", "from", "near", "around", "over", "by")
_COUNTED = ("finding", "phrase", "axle", "corner", "side", "subject", "amount", "poor", "lack")
_PLACED = ("turn", "phase", "speed", "everywhere")


class Piece(Protocol):
    """What is asked of a group of words (``grouping.Group``)."""

    @property
    def words(self) -> tuple[Word, ...]: ...
    @property
    def entry(self) -> Entry | None: ...
    @property
    def form(self) -> str: ...
    @property
    def part(self) -> str: ...
    @property
    def unread(self) -> bool: ...


def may_stand(word: Word) -> bool:
    """Guard: this word of no meaning here may be kept, if it stands rightly beside the others."""
    key = word.plain.lower()
    if not _PLAIN.fullmatch(key) or len(key) < 2 or key in NUMBERS:
        return False
    doubtful = changes_it(key) or key in _BEGINNINGS or near_a_place(key) or nearest(word.key)
    return is_soft(word) or not doubtful


def is_soft(word: Word) -> bool:
    """Guard: it says only how a thing is done or told: ``slowly``, ``keeps``."""
    key = word.plain.lower()
    manner = key.endswith("ly") and len(key) > 4 and key not in _NO_MANNER
    return key in SOFT or (manner and not changes_it(key) and not nearest(key))


def self_evident(group: Piece) -> bool:
    return group.form in OWN or group.form.startswith(_OWN_BEGINNINGS)


def misplaced(found: Sequence[Piece]) -> Word | None:
    """The first word that may not be kept where it stands; None where all may."""
    unread = [at for at, group in enumerate(found) if group.unread]
    if not unread:
        return None
    says = [at for at, group in enumerate(found) if group.part in ("finding", "phrase", "poor", "lack", "trend", "amount")]
    firm = [at for at in unread if not is_soft(found[at].words[0])]
    if not says:
        bare = all(group.part in ("filler", "aside", "confidence") for group in found)
        said = [at for at in unread if found[at].words[0].key not in SOFT]
        return None if bare or not said else found[said[0]].words[0]
    own = any(self_evident(found[at]) for at in says)
    placed = any(group.part == "turn" for group in found)
    named = placed or any(group.part in ("subject", "axle", "corner", "phase", "speed") for group in found)
    says_of_no_thing = not any(found[at].part in ("finding", "phrase") for at in says)
    for at in firm:
        word = found[at].words[0]
        before, behind = _beside(found, at, -1), _beside(found, at, 1)
        if not placed and before is not None and before.form in _PREPOSITIONS:
            return word  # it may be a place: "us in the carousel"
        if says_of_no_thing and before is not None and before.part in ("axle", "corner", "side", "subject"):
            return word  # "no rear issues"
        if at < says[-1] and before is not None and before.part in _COUNTED and found.index(before) not in says:
            return word  # "rear squats and us": it may be what was said of the rear
        if not own and (not named or at < says[0]):
            return word  # "power drops"
        if any(one is not None and one.part == "severity" and one.form[:1].isdigit() for one in (before, behind)):
            return word  # "us 3 clicks"
        if before is not None and before.part in ("amount", "trend") and before.form not in ("still", "still there"):
            return word  # "less throttle"
        if before is not None and before.entry is not None and before.entry.value in (*CONTENT, "good") and not placed:
            return word  # "good lap"
    return None


def _beside(found: Sequence[Piece], at: int, step: int) -> Piece | None:
    """The group beside this one, articles and words of no weight read over."""
    at += step
    while 0 <= at < len(found):
        group = found[at]
        light = group.form in ("the", "a", "an", "some", "is", "are") or (group.unread and is_soft(group.words[0]))
        if not light:
            return group
        at += step
    return None


_BEGINNINGS = frozenset(
    form.split()[0] for form, entry in by_form().items()
    if entry.part in ("finding", "phrase", "topic") and " " in form and form.split()[0] not in by_form()
) - frozenset("doesn't won't has he turns steps quite".split())  # fmt: skip
"""Words with which forms begin and that mean nothing alone: something was begun and is not of the table."""
