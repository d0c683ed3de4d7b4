"""Words that the table does not have, where they cannot change what a remark says: they are kept with it as words.

``t4 us is really annoying`` is *t4 us*, and its words stand beside it; the typist is shown which of them were not
read. Only words that are known to turn nothing round are let stand (``harmless.py``); any other may end, deny, wish or
praise what it stands beside (``us t4 abated``), and is refused. A word that is let stand may still be something that
the words beside it are said of, so it stands freely only beside a finding that is the car's whatever else is said
(``us``, ``snap``); beside a word of every day (``loose``, ``hot``) it stands behind it, where it is clear what that is
said of. How a thing is done or told (``slowly``, ``keeps``) may stand anywhere but between what is more or less and
what there is more or less of, and before what is gone: ``more progressive os`` is no worse.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from pitwall.comments.changing import changes_it
from pitwall.comments.group import Group
from pitwall.comments.harmless import ADDING, BESIDE, BESIDE_A_WORD, SOFT
from pitwall.comments.nearest import near_a_place, nearest
from pitwall.comments.splitting import Word
from pitwall.comments.words import NUMBERS, by_form
from pitwall.model.comments import CONTENT


def _words(text: str) -> frozenset[str]:
    return frozenset(text.split())


OWN = _words(
    "us understeer understeers understeering understeery u/s os oversteer oversteers oversteering oversteery o/s snap"
    " snaps snappy snapping wheelspin wheelspins ws locking lockup lockups bottoming porpoising porpoises bouncing"
    " graining grained blistering blistered flatspot flatspots misfire misfires misfiring"
)
"""Findings that are the car's, whatever else is said."""
_OWN_BEGINNINGS = (
    "washes ", "washing ", "steps ", "step ", "stepping ", "tail happy", "sudden o", "snap o", "flat spot", "lock up",
    "locks up", "locking up", "locked up", "no traction", "can't get", "can't put", "cannot get", "wheel spin", "os m",
    "oversteer m", "poor rot", "no rot", "lack of rot", "power u", "power o", "braking u", "heavy u", "heavy o",
    "light u", "light o", "poor turn", "no turn", "turn in ", "front d", "front end d", "struggles to t",
)  # fmt: skip
"""So begin findings of several words that are the car's."""
_PLAIN = re.compile(r"[a-z]+(?:['\u2019-][a-z]+)*")
_OF_A_PLACE = ("in", "at", "into", "out of", "through", "onto", "for", "from", "near", "around", "over", "by")
_SAYS = ("finding", "phrase", "poor", "lack", "trend", "amount")
_PLACE = ("turn", "phase", "speed")
_SAID_OF = ("axle", "corner", "side", "subject")
_LIGHT = ("the", "a", "an", "some", "is", "are")
_BEGINNINGS = frozenset(
    form.split()[0] for form, entry in by_form().items()
    if entry.part in ("finding", "phrase", "topic") and " " in form and form.split()[0] not in by_form()
) - {"up", "has", "he", "turns", "steps", "quite"}  # fmt: skip
"""Words with which forms begin and that mean nothing alone: something was begun and is not of the table."""


def may_stand(word: Word) -> bool:
    """Guard: this word has no meaning here and is no slip of one that has; whether it is kept, ``misplaced`` says."""
    key = word.plain.lower()
    if not _PLAIN.fullmatch(key) or len(key) < 2 or key in NUMBERS:
        return False
    return is_soft(word) or not (changes_it(key) or key in _BEGINNINGS or near_a_place(key) or nearest(word.key))


def _is_harmless(found: Sequence[Group], at: int) -> bool:
    """Guard: the unread word there is known to turn nothing round."""
    key = found[at].words[0].plain.lower()
    before = found[at - 1].words[-1].key if at else ""
    return key in BESIDE or key in SOFT or before in BESIDE_A_WORD.get(key, ())


def is_soft(word: Word) -> bool:
    """Guard: it says only how a thing is done or told: ``slowly``, ``keeps``."""
    return word.plain.lower() in SOFT


def self_evident(group: Group) -> bool:
    """Guard: this finding is the car's, whatever else is said."""
    return group.form in OWN or group.form.startswith(_OWN_BEGINNINGS)


def misplaced(found: Sequence[Group]) -> Word | None:
    """The first word of a remark that may not be kept where it stands; None where all may."""
    unread = [at for at, group in enumerate(found) if group.unread]
    says = [at for at, group in enumerate(found) if group.part in _SAYS]
    unknown = first_unknown(found)
    if unknown is not None:
        return unknown
    if unread and not says:
        return _alone(found, unread)
    doubtful = (at for at in unread if _turns_it(found, at, says)
                or (not is_soft(found[at].words[0]) and _may_change(found, at, says)))
    return next((found[at].words[0] for at in doubtful), None)


def first_unknown(found: Sequence[Group]) -> Word | None:
    """The first word that nobody knows and that may turn round what it stands beside, wherever that is."""
    unread = (at for at, group in enumerate(found) if group.unread)
    return next((found[at].words[0] for at in unread if not _is_harmless(found, at)), None)


def _alone(found: Sequence[Group], unread: Sequence[int]) -> Word | None:
    """The same where nothing is found here: ``t5 mega`` may praise the turn, ``t5 too`` does not."""
    if all(group.part in ("filler", "aside", "confidence") for group in found):
        return None
    return next((found[at].words[0] for at in unread if found[at].words[0].key not in ADDING), None)


def _turns_it(found: Sequence[Group], at: int, says: Sequence[int]) -> bool:
    """Guard: whatever the word there is, it may turn round what is said: it is measured (``more gradual snap``), it
    measures (``partly gone``), or it may be said of the later of two places (``t4 us and t5 steady``)."""
    if found[at].words[0].key in ADDING:
        return False
    before, behind = _beside(found, at, -1), _beside(found, at, 1)
    if behind is not None and behind.entry is not None and behind.entry.value == "gone":
        return True
    if before is not None and before.part in ("amount", "trend") and before.form not in ("still", "still there"):
        return before.part == "amount" or at < says[-1]
    places = [[one for one, group in enumerate(found) if group.part == part] for part in _PLACE]
    return any(len(own) > 1 and at > own[0] for own in places)


def _may_change(found: Sequence[Group], at: int, says: Sequence[int]) -> bool:
    """Guard: the word there may change what the others say."""
    before, behind = _beside(found, at, -1), _beside(found, at, 1)
    if len(found[at].words) > 1 and not any(group.part == "severity" for group in found):
        return True  # "a bit scary us": the measure may be of either
    placed = any(group.part == "turn" for group in found)
    named = placed or any(group.part in ("subject", "axle", "corner", "phase", "speed") for group in found)
    own = any(self_evident(found[one]) for one in says)
    if not own and (not named or at < says[0]):
        return True  # "power drops"
    if (before is not None and before.rated) or (behind is not None and behind.rated):
        return True  # "us 3 clicks"
    return before is not None and _belongs_to(before, found, at < says[-1], placed=placed)


def _belongs_to(before: Group, found: Sequence[Group], sooner: bool, *, placed: bool) -> bool:
    """Guard: an unknown word behind this one may belong to it; ``sooner``: the finding stands behind both."""
    if not placed and before.form in _OF_A_PLACE:
        return True  # it may be a place: "us in the carousel"
    found_nothing = not any(group.part in ("finding", "phrase") for group in found)
    if before.part in _SAID_OF and (sooner or found_nothing):
        return True  # "rear squats and us", "no rear issues"
    if before.part in ("amount", "trend") and before.form not in ("still", "still there"):
        return True  # "less throttle"
    praised = before.entry is not None and before.entry.value in (*CONTENT, "good")
    return praised and not placed  # "good lap"


def _beside(found: Sequence[Group], at: int, step: int) -> Group | None:
    """The group beside this one, articles and words of no weight read over."""
    at += step
    while 0 <= at < len(found):
        group = found[at]
        if group.form not in _LIGHT and not (group.unread and is_soft(group.words[0])):
            return group
        at += step
    return None
