"""Where a remark begins to speak of what the shorthand has no findings for: from there on it is kept as words.

``t6 exit os 2 tc too late`` is the remark *t6 exit os 2* with its words beside it, ``diff too open on entry`` is words
alone. A turn among such words is refused, and so is a finding of a corner that stands beside one: it would be lost.
What has no turn (``he wants less understeer``) is kept as words, and read back as not counted.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence

from pitwall.comments.denying import OF_WHOM, speaks_of_an_end
from pitwall.comments.glued import TURN
from pitwall.comments.group import Group
from pitwall.comments.grouping import groups
from pitwall.comments.loose import OWN, self_evident
from pitwall.comments.sayings import is_people
from pitwall.comments.splitting import MARK, Piece, Slip, Word
from pitwall.comments.words import BEFORE_IT, by_form
from pitwall.model.comments import CONTENT

COUNTED = ("balance", "traction", "tyres")
"""Subjects of findings that a corner has, and that are of no system: with a turn beside it one is a remark."""
ENDS = ("front", "fronts", "rear", "rears", "fl", "fr", "rl", "rr")
"""Words of an end of the car: beside one what locks is no system."""
CUT_IN = ("tc", "traction", "abs")
"""What cuts in, or cuts the engine, by itself."""
_SAYS = ("finding", "subject", "poor", "lack", "phrase")
_WITH = ("with", "on", "at", "in", "after", "for", "from")
_LED_BY = ("filler", "amount", "severity", "aside")


def words_from(piece: Piece, turns: Collection[int] = ()) -> int | None:
    """Which word of the piece begins what is kept as words: 0 for all of it, None where nothing is.

    Raises:
        Slip: at a word among them that would be counted.
    """
    found: list[Group] = []
    topic: Group | None = None
    try:
        for group in groups(piece, turns):
            if group.part == "topic":
                topic = group
                break
            if _of_the_setting(found, group):
                topic = found[0]
                break
            found.append(group)
    except Slip as slip:
        if slip.nearest or not found or not _is_a_setting(found[0]) or any(one.part in _SAYS for one in found):
            return None  # a word before it is wrong, or there is none
        topic = found[0]
    if topic is None and any(one.form in ("too", "too much") or one.unread for one in found):
        own = _is_a_setting(found[0]) and not any(one.part in _SAYS for one in found)
        topic = found[0] if own else None  # "tc 4 too much out of t6", "bias 1 odd"
    if topic is None:
        return None
    if found and speaks_of_an_end(found[-1]):
        raise Slip(topic.word, OF_WHOM)  # "can't trust the rear wing"
    begin = 0
    if any(group.part in _SAYS for group in found) and not _is_said_of(found, topic):
        while found[-1].form in BEFORE_IT or (found[-1].part in _LED_BY and not found[-1].form.isdecimal()):
            led = found.pop()
            if led.form in _WITH:
                break  # "less with diff 5": less of what stands before it
        last = found[-1].words[-1]
        begin = next(number for number, word in enumerate(piece.words) if word.at > last.at)
    _loses_nothing(piece.words[begin:], topic, placed=any(group.part == "turn" for group in found) or not begin)
    return begin


def _is_said_of(found: Sequence[Group], topic: Group) -> bool:
    """Guard: nothing but a word of every day stands right before the topic, and may be said of it: ``cold drink``."""
    own = [group for group in found if group.part != "filler"]
    if len(own) != 1 or own[0].part != "finding" or self_evident(own[0]):
        return False
    return found[-1] is own[0] and topic.part == "topic" and own[0].form != "fine"


def _is_a_setting(group: Group) -> bool:
    """Guard: a setting and where it stands, such as ``tc 4``, which is kept beside a remark."""
    entry = by_form().get(group.words[0].key)
    return group.part == "aside" and entry is not None and entry.part == "topic"


def _of_the_setting(found: Sequence[Group], group: Group) -> bool:
    """Guard: this is said of the setting itself, not of the car: ``tc 4 cuts in``, ``diff 5 locks``. What an engine or
    the ride does is the car's: ``map 2 surging t3``."""
    beside = [one for one in found if one.part not in ("filler", "turn", "phase")]
    praised = group.entry is not None and group.entry.value in (*CONTENT, "good")
    if praised and len(beside) == 1 and _is_a_setting(beside[0]) and found.index(beside[0]) >= len(found) - 2:
        return True  # "t4 tc 3 is fine"
    own = found and _is_a_setting(found[0]) and all(one.part == "filler" for one in found[1:])
    if not own or group.entry is None or group.part != "finding":
        return False
    setting = found[0].words[0].key
    if group.entry.subject == "engine":
        return setting in CUT_IN
    return group.entry.subject == "braking" and not setting.startswith(("b", "brake"))


def _loses_nothing(words: Sequence[Word], topic: Group, *, placed: bool) -> None:
    """Raise a slip at a word that would be counted elsewhere; ``placed``: a turn is no part of a remark before them."""
    turn = next((word for word in words if TURN.fullmatch(word.plain)), None)
    if turn is not None and not placed:
        raise Slip(turn, f"where it is before {topic.form!r}: from there on this is kept as words; or '{MARK}' there")
    keys = [word.key for word in words]
    for word in words:
        entry = by_form().get(word.key)
        if turn is None and (topic.entry is None or topic.entry.value == "wish" or word.key not in OWN):
            continue
        if entry is None or entry.part != "finding" or entry.named or word.key == "tight" or is_people(words, word):
            continue
        if entry.subject in COUNTED or (turn is None and any(key in ENDS for key in keys)):
            raise Slip(word, f"a comma between what is said of {topic.form!r} and what the car does; or '{MARK}' before"
                             " free text")


def may_be_a_remark(piece: Piece) -> bool:
    """Guard: a place, an end of the car or a finding stands here, so another word may be a slip of the fingers."""
    entries = [by_form().get(word.key) for word in piece.words]
    says = any(entry is not None and entry.part in ("finding", "phase", "speed", "axle", "corner") for entry in entries)
    return says or any(TURN.fullmatch(word.plain) for word in piece.words)
