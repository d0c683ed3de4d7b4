"""Words that the table does not have, where they cannot change what a remark says: they are kept with it as words.

``t4 us is really annoying`` is *t4 us*, and its words stand beside it; the typist is shown which of them were not
read. A word is let stand only where it can be no place, number, negation, condition or comparison (``changing.py``),
no slip of the fingers (``nearest.py``), and nothing that the words beside it may be said of: ``drops`` alone is a word
of tyres, and ``power drops`` is not. So an unknown word stands freely only beside a finding that is the car's whatever
else is said (``us``, ``snap``); beside a word of every day (``loose``, ``hot``) it stands behind it, where it is clear
what that is said of. How a thing is done (``slowly``, ``keeps``) may stand anywhere.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from pitwall.comments.changing import changes_it
from pitwall.comments.group import Group
from pitwall.comments.nearest import near_a_place, nearest
from pitwall.comments.splitting import Word
from pitwall.comments.words import NUMBERS, by_form
from pitwall.model.comments import CONTENT


def _words(text: str) -> frozenset[str]:
    return frozenset(text.split())


SOFT = _words(
    "keep keeps kept keeping staying tends tend tending continues look looks looking sound sounds seem"
    " appears so well too also right actually though however that this these those which my his her their its our your"
    " me him them you itself myself himself quite pretty such be being go get gets got make makes making"
    " give gives giving lot kind sort obviously overall thanks yes yeah sorry mate report reports reported reporting"
    " tells told mentions mentioned notes noted claims claimed suffer suffers suffering show shows showing have having"
    " via usual nasty annoying horrid proper mega weird strange odd funny typical classic noticeable obvious definite"
    " constant persistent sudden progressive gradual serious severe"
)
"""Words of no weight: of how it is told, and of how it is done."""
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
_NO_MANNER = ("wobbly", "lively", "unruly", "early", "ugly", "deadly", "friendly", "jolly", "woolly", "wriggly")
"""Words that end as those of how a thing is done, and say what a car is."""
_OF_A_PLACE = ("in", "at", "into", "out of", "through", "onto", "for", "from", "near", "around", "over", "by")
_SAYS = ("finding", "phrase", "poor", "lack", "trend", "amount")
_SAID_OF = ("axle", "corner", "side", "subject")
_LIGHT = ("the", "a", "an", "some", "is", "are")
_BEGINNINGS = frozenset(
    form.split()[0] for form, entry in by_form().items()
    if entry.part in ("finding", "phrase", "topic") and " " in form and form.split()[0] not in by_form()
) - {"has", "he", "turns", "steps", "quite"}  # fmt: skip
"""Words with which forms begin and that mean nothing alone: something was begun and is not of the table."""


def may_stand(word: Word) -> bool:
    """Guard: this word, which has no meaning here, may be kept if it stands rightly beside the others."""
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


def self_evident(group: Group) -> bool:
    """Guard: this finding is the car's, whatever else is said."""
    return group.form in OWN or group.form.startswith(_OWN_BEGINNINGS)


def misplaced(found: Sequence[Group]) -> Word | None:
    """The first word of a remark that may not be kept where it stands; None where all may."""
    unread = [at for at, group in enumerate(found) if group.unread]
    says = [at for at, group in enumerate(found) if group.part in _SAYS]
    if unread and not says:
        bare = all(group.part in ("filler", "aside", "confidence") for group in found)
        said = [at for at in unread if found[at].words[0].key not in SOFT]
        return found[said[0]].words[0] if said and not bare else None
    firm = [at for at in unread if not is_soft(found[at].words[0])]
    return next((found[at].words[0] for at in firm if _may_change(found, at, says)), None)


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
