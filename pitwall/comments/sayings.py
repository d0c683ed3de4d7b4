"""What people say in several words whose meaning hangs on those beside them: wishes, gears, comparisons, degrees."""

from __future__ import annotations

import re
from collections.abc import Sequence

from pitwall.comments.asides import SAME_AS, set_against
from pitwall.comments.changing import changes_it
from pitwall.comments.forms import form_at, is_another
from pitwall.comments.glued import TURN
from pitwall.comments.group import Group
from pitwall.comments.loose import OWN, is_soft, may_stand
from pitwall.comments.splitting import Word
from pitwall.comments.words import by_form
from pitwall.model.comments import CONTENT

AS_A_RUN = "same as a run"
"""The form of what is said to be as in a run that is named; which one is kept as words."""
PERSONS = ("she", "she's", "he", "driver", "i", "we", "they", "you", "he's", "i'm", "we're", "they're")
"""Who drives: what they want, or push, is not what the car does. Who pushes may be a car where it is "she"."""
_COUNTED = ("phase", "speed", "severity", "trend", "amount")
CORNERS = ("hairpin", "chicane", "esses", "kink", "bend", "complex", "sweeper", "lefthander", "righthander")
"""What a corner is, right behind its number; alone they would be a place."""
CAUSES = ("likely", "probably", "maybe", "perhaps", "possibly", "caused", "due")
"""Words that begin what it may come from."""
CIRCUMSTANCES = ("after", "before", "during", "despite", "due", "following")
"""Words that begin what came before or went on beside it."""
BECOME = ("loose", "pointy", "hot", "cold", "soft", "stiff", "harsh", "nervous", "unstable", "twitchy", "edgy",
          "snappy", "flat", "heavy", "light", "numb", "long", "spongy", "weak", "slippery", "greasy", "bouncy",
          "floaty", "lazy", "grabby", "rough", "unsettled", "neutral")
"""What a car or a part of it goes or gets: words of how it is."""
_NAMED_GEAR = ("(?:[1-8](?:st|nd|rd|th)|first|second|third|fourth|fifth|sixth|seventh|eighth)"
               "(?! (?:corner|turn|lap|run|stint|sector|set)s?\\b)")
_GEAR = rf"(?:[1-8]|{_NAMED_GEAR})"
SEEMING = ("feels", "feel", "felt", "seems", "looks", "sounds")
HOW_VERY = {"very": "4", "so": "4", "extremely": "4", "super": "4", "quite": "3", "pretty": "3", "rather": "3"}
"""Words before a finding, and how bad it is then."""


def gears(words: tuple[Word, ...], at: int) -> Group | None:
    """From which gear to which, where a change of gears is spoken of: ``upshift 3-4 slow``; no turns, no severity."""
    if not any(re.match(r"(?:up|down|gear)?shift|gear", word.key) for word in words):
        return None
    together = " ".join(word.plain for word in words[at : at + 4])
    both = rf"(?:from )?{_GEAR}(?:-| to | into ){_GEAR}"
    match = re.match(rf"(?:{both}|(?:to|into) {_NAMED_GEAR})(?: gear)?(?= |$)", together)
    return Group(words[at : at + len(match.group().split())]) if match is not None else None


def over_it(words: tuple[Word, ...], at: int) -> Group | None:
    """``over`` before what is ridden over is no oversteer: ``harsh over the t2 kerb``."""
    known = form_at(words, at) if words[at].key == "over" else None
    if words[at].key != "over" or known is not None or not is_another("over", words, at + 1):
        return None
    return Group(words[at : at + 1], by_form()["the"], form="the")


def off_it(words: tuple[Word, ...], at: int) -> Group | None:
    """``off`` before a kind of corner is out of it: ``no traction off the slow corners``."""
    ahead = at + 2 if at + 1 < len(words) and words[at + 1].key == "the" else at + 1
    if words[at].key != "off" or ahead >= len(words):
        return None
    entry = by_form().get(words[ahead].key)
    if entry is None or entry.part != "speed":
        return None
    return Group(words[at:ahead], by_form()["out of"], form="out of")


def feels_like(words: tuple[Word, ...], at: int) -> Group | None:
    """``feels like`` before a finding, or an end of the car, only tells; before a run it sets one against another."""
    if words[at].key != "like" or not at or words[at - 1].key not in SEEMING:
        return None
    ahead = at + 1
    while ahead < len(words) and words[ahead].key in ("a", "the", "it's", "some"):
        ahead += 1
    known = form_at(words, ahead) if ahead < len(words) else None
    if known is None or known.part not in ("finding", "phrase", "axle", "corner", "severity", "subject"):
        return None
    return Group(words[at : at + 1], by_form()["the"], form="the")


def wants_to(words: tuple[Word, ...], at: int) -> Group | None:
    """The car that wants to do something does it: ``rear wants to step out``; what a driver wants is words."""
    keys = [word.key for word in words[at : at + 2]]
    if len(words) < at + 3 or keys not in ([want, "to"] for want in ("wants", "want", "tries", "likes")):
        return None
    doer = words[at - 1].key if at else ""
    ahead = form_at(words, at + 2)
    found = ahead is not None and ahead.entry is not None and ahead.part == "finding"
    pushes = words[at + 2].key.startswith("push") and doer not in ("car", "front", "fronts", "nose", "it", "end")
    if not found or pushes or doer in PERSONS:
        return None
    return Group(words[at : at + 2], by_form()["the"], form="the")


def become(words: tuple[Word, ...], at: int) -> Group | None:
    """What has gone loose, or very hot, is so now: it is nothing that is gone."""
    ahead = at + 1
    while ahead < len(words) and words[ahead].key in (*HOW_VERY, "a", "bit", "really", "too", "all"):
        ahead += 1
    if words[at].key not in ("gone", "went") or ahead >= len(words) or words[ahead].key not in BECOME:
        return None
    return Group(words[at : at + 1], by_form()["the"], form="the")


def compared(words: tuple[Word, ...], at: int) -> Group | None:
    """What better and worse, more and less are set against, where that is a time before: ``less us than in run 1``;
    what is like a time before is the same."""
    many = set_against(words, at)
    known = form_at(words, at)
    if many == 0 or (known is not None and len(known.words) >= many):
        return None
    if words[at].key in SAME_AS:
        return Group(words[at : at + many], by_form()["same as before"], form=AS_A_RUN)
    measured = (by_form().get(word.key) for word in (*words[:at], *words[at + many :]))
    told = any(entry is not None and entry.part in ("amount", "trend") for entry in measured)
    return Group(words[at : at + many]) if told else None


def how_very(words: tuple[Word, ...], at: int) -> Group | None:
    """What stresses the word behind it; of a complaint it is how bad that is: ``very loose``."""
    ahead = form_at(words, at + 1) if words[at].key in HOW_VERY and at + 1 < len(words) else None
    if words[at].key not in HOW_VERY or at + 1 == len(words):
        return None
    finding = ahead.entry if ahead is not None and ahead.part == "finding" else None
    form = HOW_VERY[words[at].key] if finding is not None and finding.value not in (*CONTENT, "good") else "the"
    return Group(words[at : at + 1], by_form()[form], form=form)


def circumstance(words: tuple[Word, ...], at: int) -> Group | None:
    """What came before or went on beside it, up to the end of the remark: ``after heavy stops``; no turn, number or
    finding of the car's own is among it."""
    if words[at].key not in CIRCUMSTANCES or at + 1 == len(words) or at == 0:
        return None
    keys = [word.key for word in words[at + 1 :]]
    plain = all(key.isalpha() and changes_it(key) not in ("deny", "condition", "compare", "limit") for key in keys)
    counted = [key for key in keys if key in OWN or TURN.fullmatch(key) or _part(key) in _COUNTED]
    return Group(words[at:]) if plain and not counted else None


def cause(found: Sequence[Group], words: tuple[Word, ...], at: int) -> Group | None:
    """What it may come from, up to the end of the remark: ``us likely tyre temp``; how sure he is is of that."""
    if words[at].key not in CAUSES or not any(group.part == "finding" for group in found):
        return None
    parts = [_part(word.key) for word in words[at + 1 :]]
    bare = all(part in ("", "filler", "subject", "topic") for part in parts)
    plain = all(word.key.isalpha() and not changes_it(word.key) for word in words[at + 1 :])
    return Group(words[at:]) if bare and plain and {"subject", "topic"} & set(parts) else None


def _part(key: str) -> str:
    entry = by_form().get(key)
    return entry.part if entry is not None else ""


def from_there_on(words: tuple[Word, ...], at: int) -> bool:
    """Guard: "on" behind a turn, and nothing that it is on: from there on."""
    if at >= len(words) or words[at].key not in ("on", "onwards", "onward"):
        return False
    here = form_at(words, at)
    if here is None or here.form != words[at].key:
        return here is None  # "on exit" is another thing
    ahead = form_at(words, at + 1) if at + 1 < len(words) else None
    return at + 1 == len(words) or (ahead is not None and ahead.part in ("finding", "severity"))


def drives_hard(words: tuple[Word, ...], at: int) -> bool:
    """Guard: it is the driver who pushes, or may be: ``he is pushing``, ``pushing hard``."""
    if not words[at].key.startswith("push"):
        return False
    ahead = words[at + 1].key if at + 1 < len(words) else ""
    doers = [word.key for word in words[max(at - 3, 0) : at] if word.key not in ("is", "was", "really", "now", "still")]
    this = [word.key for word in words[at + 1 : at + 3]]
    hard = ahead in ("hard", "harder", "laps", "lap") or this in (["this", "lap"], ["this", "run"])
    return hard or (bool(doers) and doers[-1] in PERSONS[2:])


def is_people(words: Sequence[Word], word: Word) -> bool:
    """Guard: "us" are people here: ``better for us``, ``the track comes to us``."""
    before = [one.key for one in words if one.at < word.at][-2:]
    if word.key != "us" or not before:
        return False
    return before[-1] in ("for", "let", "lets", "gives", "give", "gave") or (
        before[-1] == "to" and before[0] in ("comes", "coming", "came", "come", "back"))


def with_the_unread(words: tuple[Word, ...], at: int, group: Group | None) -> Group | None:
    """A word that nobody knows and that may be kept, with the word before it that says how much: ``a bit scary``."""
    if group is None and at and TURN.fullmatch(words[at - 1].plain) and words[at].key in CORNERS:
        return Group(words[at : at + 1])  # "t2 chicane"
    if group is None:
        return Group(words[at : at + 1], unread=True) if may_stand(words[at]) else None
    ahead = at + len(group.words)
    if group.part != "severity" or group.form[:1].isdigit() or ahead >= len(words):
        return group
    if words[ahead].key in ("kerb", "kerbs", "curb", "curbs", "bump", "bumps"):
        return Group(group.words)  # "big kerb"
    theirs = words[ahead].key not in by_form() and form_at(words, ahead) is None and how_very(words, ahead) is None
    own = theirs and not TURN.fullmatch(words[ahead].plain) and may_stand(words[ahead])
    return Group((words[ahead], *group.words), unread=True) if own and not is_soft(words[ahead]) else group
