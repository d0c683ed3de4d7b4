"""The words of one remark looked up, the longest form first: turns, forms of one word or several, asides."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Sequence

from pitwall.comments.asides import SAME_AS, aside, set_against
from pitwall.comments.changing import changes_it
from pitwall.comments.glued import BARE_TURN, TURN, apart, surely_a_turn
from pitwall.comments.group import Group
from pitwall.comments.loose import OWN, is_soft, may_stand
from pitwall.comments.nearest import nearest
from pitwall.comments.splitting import MARK, Piece, Slip, Word
from pitwall.comments.words import MOST_WORDS, PLACES, Entry, by_form
from pitwall.model.comments import CONTENT

HIGHEST_TURN = 60
A_TURN = "a turn from 1 to"
"""How the refusal of a turn that is not there begins to say what is expected."""
EXPECTED = "a turn such as t4, a corner phase, a finding such as us, lock or cold, a severity from 1 to 5"
NEGATIONS = ("never", "without", "hardly", "nor", "neither")
AS_A_RUN = "same as a run"
"""The form of what is said to be as in a run that is named; which one is kept as words."""
KINDS_OF_CORNERS = ("corner", "corners", "turns")
"""Behind a speed class they are all of that class, and the number behind them is how bad it is there."""
_READ_OVER = ("the", "a", "is", "are", "of", "feels", "gets", "getting", "too", "very", "really", "quite",
              "real", "major")
"""Fillers that may stand within a form of several words: ``the pedal is long``."""
_OF_A_PLACE = ("in", "at", "into", "out of", "through", "for")
"""A number right behind these may be a turn: ``lock into 1``."""
_UP_TO = ("to", "until", "through")
_WAS = re.compile(r"(?:was|down from|up from) [1-5]\b|[1-5] (?:last run|last time|run before)\b", re.ASCII)
"""How bad it was, behind how bad it is."""
CIRCUMSTANCES = ("after", "before", "during", "despite", "due", "following")
"""Words that begin what came before or went on beside it."""
PERSONS = ("she", "she's", "he", "driver", "i", "we", "they", "you", "he's", "i'm", "we're", "they're")
"""Who drives: what they want, or push, is not what the car does. Who pushes may be a car where it is "she"."""
HOW_VERY = {"very": "4", "so": "4", "extremely": "4", "super": "4", "quite": "3", "pretty": "3", "rather": "3"}
"""Words before a finding, and how bad it is then."""


def groups(piece: Piece, known: Collection[int] = ()) -> Iterator[Group]:
    """The words of one remark in groups.

    Args:
        piece: its words.
        known: the turns that the circuit has; none: not known.

    Raises:
        Slip: at the first word that is none.
    """
    words, at = apart(piece.words), 0
    found: list[Group] = []
    while at < len(words):
        group = (_gears(words, at) or _over_it(words, at) or _turn(found, words, at, known) or _wants_to(words, at) or _set_against(words, at) or _what_it_was(found, piece, words, at) or _form(words, at)
                 or _how_very(words, at) or _circumstance(words, at))  # fmt: skip
        if group is not None and group.part == "finding" and _drives_hard(words, at):
            raise Slip(group.word, f"understeer, if that is meant; how hard he drives goes behind '{MARK}'")
        if group is not None and group.turns and _from_there_on(words, at + len(group.words)):
            raise Slip(words[at + len(group.words)], f"up to which turn, such as t{group.turns[0]}-{group.turns[0] + 2}")
        group = _of_the_unread(words, at, group)
        if group is None:
            raise unknown(found, words[at], known)
        if _through_the_corner(found, group):
            yield Group(group.words, by_form()["mid"], form="mid")
        if found and found[-1].form == "from" and len(group.turns) == 1:
            raise Slip(group.word, f"up to which turn, such as t{group.turns[0]}-{group.turns[0] + 2}")
        if group.part == "severity" and group.form.isdecimal() and _may_be_a_turn(found, piece, words, at):
            raise Slip(group.word, "a turn such as t4 behind that; or how bad it is alone", nearest=f"t{group.form}")
        found.append(group)
        yield group
        at += len(group.words)


# -- turns ------------------------------------------------------------------------------------------------------------


def _turn(found: Sequence[Group], words: tuple[Word, ...], at: int, known: Collection[int]) -> Group | None:
    """The turns that are named here."""
    word, taken = words[at], 1
    match = TURN.fullmatch(word.plain)
    ahead = words[at + 1] if at + 1 < len(words) else None
    if word.key == "off" and ahead is not None and TURN.fullmatch(ahead.plain):
        match, word, taken = TURN.fullmatch(ahead.plain), ahead, 2  # "off t6": out of it
    if match is None and surely_a_turn([one.key for one in words], at):
        match = BARE_TURN.fullmatch(word.plain)
    of_a_speed = any(group.part == "speed" for group in found) and word.key in KINDS_OF_CORNERS
    goes_on = bool(found) and bool(found[-1].turns) and word.key in ("and", "&")
    if match is None and ahead is not None and ((word.key in PLACES and not of_a_speed) or goes_on):
        match, taken = BARE_TURN.fullmatch(ahead.plain), 2
        if goes_on and match is not None and _may_be_bad(found[-1], words, at + 1):
            raise Slip(ahead, f"a turn such as t{match.group(1)}; or a comma, if that is how bad it is")
        word = ahead if match is not None else word
    if match is None:
        return None
    turns = _numbers(match.group(1), word, known)
    if len(turns) == 1:
        more, turns = _up_to(turns[0], words, at + taken, known, plural=words[at].key in ("turns", "corners"))
        taken += more
    return Group(words[at : at + taken], turns=tuple(dict.fromkeys(turns)))


def _may_be_bad(before: Group, words: tuple[Word, ...], at: int) -> bool:
    """Guard: this number behind "and" may be how bad it is at the next place, as in ``us 2 at t4 and 3 at t5``."""
    number = words[at].plain
    if number not in "12345":
        return False
    ahead = [word for word in words[at + 1 : at + 4] if word.key not in ("at", "in", "on", "for")]
    behind = len(words) > at + 1 and bool(ahead) and bool(TURN.fullmatch(ahead[0].plain) or ahead[0].key in PLACES)
    return behind or int(number) < before.turns[-1]


def _up_to(
    first: int, words: tuple[Word, ...], at: int, known: Collection[int], *, plural: bool
) -> tuple[int, list[int]]:
    """How many words more name the end of a range that begins with this turn, and all turns of it."""
    if at + 1 >= len(words):
        return 0, [first]
    sign, end = words[at], words[at + 1]
    match = TURN.fullmatch(end.plain)
    if match is None and (sign.key in _UP_TO or plural):
        match = BARE_TURN.fullmatch(end.plain)
    if match is None or not match.group(1).isdecimal() or (sign.key not in _UP_TO and sign.key != "-"):
        return 0, [first]
    return 2, _numbers(f"{first}-{match.group(1)}", end, known)


def _numbers(text: str, word: Word, known: Collection[int]) -> list[int]:
    parts = re.split(r"([-/+&])", text.lower().replace("t", ""))
    found = [int(parts[0])]
    for sign, number in zip(parts[1::2], parts[2::2], strict=True):
        if sign == "-" and int(number) <= found[-1]:
            raise Slip(word, f"turns from low to high, such as t4-{found[-1] + 2}")
        found += range(found[-1] + 1, int(number) + 1) if sign == "-" else [int(number)]
    for turn in found:
        if not 1 <= turn <= HIGHEST_TURN or (known and turn not in known):
            highest = max(known) if known else HIGHEST_TURN
            raise Slip(word, f"{A_TURN} {highest}", f"no turn {turn}, ")
    return found


# -- forms ------------------------------------------------------------------------------------------------------------


def _is_another(form: str, words: tuple[Word, ...], at: int) -> bool:
    """Guard: what stands behind this form, at ``at``, makes something else of it: ``not in t4``, ``turn in slow
    corners``."""
    if form == "not in":
        return _names_a_turn(words, at)
    if form == "over":
        return at < len(words) and (words[at].key in ("the", "a", "all", "kerb", "bump") or _names_a_turn(words, at))
    return form == "turn in slow" and at < len(words) and words[at].key in (*KINDS_OF_CORNERS, "stuff", "ones")


def _form(words: tuple[Word, ...], at: int) -> Group | None:
    """The longest form or aside that stands here."""
    past = aside(words, at)
    for many in range(min(MOST_WORDS + 2, len(words) - at), 0, -1):
        if many == past:
            return Group(words[at : at + many])
        keys = [word.key for word in words[at : at + many]]
        inner = [key for key in keys[1:-1] if key not in _READ_OVER]
        for form in dict.fromkeys((" ".join(keys), " ".join((keys[0], *inner, *keys[1:][-1:])))):
            entry = by_form().get(form)
            if entry is not None and not _is_another(form, words, at + many):
                return Group(words[at : at + many], entry, form=form)
    return Group(words[at : at + past]) if past else None


def _may_be_a_turn(found: Sequence[Group], piece: Piece, words: tuple[Word, ...], at: int) -> bool:
    """Guard: a number may be a turn here: ``into 1``, ``in the 4``, and ``apex 4 us``, before what it would rate."""
    before = [group for group in found if group.form != "the"]
    if not before:
        return False
    bare = all(group.part in ("phase", "filler") for group in before) and before[-1].part == "phase"
    bare = bare and not piece.goes_on and at + 1 < len(words) and not any(TURN.fullmatch(word.plain) for word in words)
    return before[-1].form in _OF_A_PLACE or bare


def _what_it_was(found: Sequence[Group], piece: Piece, words: tuple[Word, ...], at: int) -> Group | None:
    """How bad it was before, behind how bad it is: ``us 3 (was 4)``; kept with the remark, as what is said of laps."""
    keys = [word.key for word in words[at : at + 4]]
    changed = len(keys) > 2 and keys[1] in ("->", ">") and {keys[0], keys[2]} <= set("12345")
    if changed and any(group.part == "finding" for group in found):
        return Group(words[at : at + 2])  # "us 3 -> 2"
    rated = any(group.part == "severity" for group in found) or (piece.goes_on and not found)
    match = _WAS.match(" ".join(keys)) if rated else None
    return Group(words[at : at + len(match.group().split())]) if match is not None else None


def _gears(words: tuple[Word, ...], at: int) -> Group | None:
    """From which gear to which, where a change of gears is spoken of: ``upshift 3-4 slow``; no turns and no severity."""
    if not any(re.match(r"(?:up|down|gear)?shift|gearbox", word.key) for word in words):
        return None
    together = " ".join(word.plain for word in words[at : at + 4])
    match = re.match(r"(?:from )?[1-8](?:-| to | into )[1-8](?: gear)?(?= |$)", together)
    return Group(words[at : at + len(match.group().split())]) if match is not None else None


def _wants_to(words: tuple[Word, ...], at: int) -> Group | None:
    """The car that wants to do something does it: ``rear wants to step out``; what a driver wants is words."""
    keys = [word.key for word in words[at : at + 2]]
    if len(words) < at + 3 or keys not in ([want, "to"] for want in ("wants", "want", "tries", "likes")):
        return None
    doer = words[at - 1].key if at else ""
    ahead = _form(words, at + 2)
    found = ahead is not None and ahead.entry is not None and ahead.part == "finding"
    pushes = words[at + 2].key.startswith("push") and doer not in ("car", "front", "fronts", "nose", "it", "end")
    if not found or pushes or doer in PERSONS:
        return None
    return Group(words[at : at + 2], by_form()["the"], form="the")


def _over_it(words: tuple[Word, ...], at: int) -> Group | None:
    """``over`` before what is ridden over is no oversteer: ``harsh over the t2 kerb``."""
    known = _form(words, at) if words[at].key == "over" else None
    if words[at].key != "over" or known is not None or not _is_another("over", words, at + 1):
        return None
    return Group(words[at : at + 1], by_form()["the"], form="the")


def _circumstance(words: tuple[Word, ...], at: int) -> Group | None:
    """What came before or went on beside it, up to the end of the remark: ``after heavy stops``; no turn, number or
    finding of the car's own is among it."""
    if words[at].key not in CIRCUMSTANCES or at + 1 == len(words) or at == 0:
        return None
    keys = [word.key for word in words[at + 1 :]]
    plain = all(key.isalpha() and changes_it(key) not in ("deny", "condition", "compare", "limit") for key in keys)
    lost = any(key in OWN or (key in by_form() and by_form()[key].part in ("phase", "speed", "severity", "trend", "amount"))
               or TURN.fullmatch(key) for key in keys)
    return Group(words[at:]) if plain and not lost else None


def _from_there_on(words: tuple[Word, ...], at: int) -> bool:
    """Guard: "on" behind a turn, and nothing that it is on: from there on."""
    if at >= len(words) or words[at].key not in ("on", "onwards", "onward") or (_form(words, at) or Group(())).form != words[at].key:
        return words[at].key in ("onwards", "onward") if at < len(words) else False
    ahead = _form(words, at + 1) if at + 1 < len(words) else None
    return at + 1 == len(words) or (ahead is not None and ahead.part in ("finding", "severity"))


def _drives_hard(words: tuple[Word, ...], at: int) -> bool:
    """Guard: it is the driver who pushes, or may be: ``he is pushing``, ``pushing hard``."""
    if not words[at].key.startswith("push"):
        return False
    ahead = words[at + 1].key if at + 1 < len(words) else ""
    doers = [word.key for word in words[max(at - 3, 0) : at] if word.key not in ("is", "was", "'s", "really", "now", "still")]
    return ahead in ("hard", "harder", "laps", "lap") or bool(doers) and doers[-1] in PERSONS[2:]


def _set_against(words: tuple[Word, ...], at: int) -> Group | None:
    """What better and worse, more and less are set against, where that is a time before: ``less us than in run 1``;
    what is like a time before is the same."""
    many = set_against(words, at)
    known = _form(words, at)
    if many == 0 or (known is not None and len(known.words) >= many):
        return None
    if words[at].key in SAME_AS:
        return Group(words[at : at + many], by_form()["same as before"], form=AS_A_RUN)
    measured = (by_form().get(word.key) for word in (*words[:at], *words[at + many :]))
    told = any(entry is not None and entry.part in ("amount", "trend") for entry in measured)
    return Group(words[at : at + many]) if told else None


def _how_very(words: tuple[Word, ...], at: int) -> Group | None:
    """What stresses the word behind it; of a complaint it is how bad that is: ``very loose``."""
    ahead = _form(words, at + 1) if words[at].key in HOW_VERY and at + 1 < len(words) else None
    if words[at].key not in HOW_VERY or at + 1 == len(words):
        return None
    finding = ahead.entry if ahead is not None and ahead.part == "finding" else None
    form = HOW_VERY[words[at].key] if finding is not None and finding.value not in (*CONTENT, "good") else "the"
    return Group(words[at : at + 1], by_form()[form], form=form)


def _through_the_corner(found: Sequence[Group], group: Group) -> bool:
    """Guard: this is the exit, and the words before it are ``entry to``: the middle lies between them."""
    ends = [one.entry.value for one in (*found[-2:-1], group) if one.entry is not None]
    return ends == ["entry", "exit"] and found[-1].form in _UP_TO


def _names_a_turn(words: tuple[Word, ...], at: int) -> bool:
    return at < len(words) and (words[at].key in PLACES or bool(TURN.fullmatch(words[at].plain)))


def _of_the_unread(words: tuple[Word, ...], at: int, group: Group | None) -> Group | None:
    """A word that nobody knows and that may be kept, with the word before it that says how much: ``a bit scary``."""
    if group is None:
        return Group(words[at : at + 1], unread=True) if may_stand(words[at]) else None
    ahead = at + len(group.words)
    if group.part != "severity" or group.form[:1].isdigit() or ahead >= len(words):
        return group
    if words[ahead].key in ("kerb", "kerbs", "curb", "curbs", "bump", "bumps"):
        return Group(group.words)  # "big kerb"
    theirs = words[ahead].key not in by_form() and _form(words, ahead) is None and _how_very(words, ahead) is None
    own = theirs and not TURN.fullmatch(words[ahead].plain) and may_stand(words[ahead])
    return Group((words[ahead], *group.words), unread=True) if own and not is_soft(words[ahead]) else group


def unknown(found: Sequence[Group], word: Word, known: Collection[int] = ()) -> Slip:
    """Why this word cannot stand there."""
    if re.fullmatch(r"\d+(/\d+)?", word.text):
        turn = int(word.text) if word.text.isdecimal() else 0
        there = turn in known if known else turn <= HIGHEST_TURN
        return Slip(word, "a severity from 1 to 5, or a turn such as t4",
                    nearest=f"t{turn}" if turn > 5 and there else "")
    if word.key in NEGATIONS:
        return Slip(word, f"what there is, such as us or good; what there is not goes behind '{MARK}'")
    if word.key in ("was", "were", "had"):
        return Slip(word, f"what it is now: what it was goes behind '{MARK}', or us gone if it is there no more")
    if word.key in ("handers", "hander"):
        return Slip(word, "the turns that these are, such as t4/7")
    if word.key in ("than", "as", "like"):
        return Slip(word, f"better or worse than before; which other run it is set against goes behind '{MARK}'")
    doubt = changes_it(word.key)
    if doubt and not nearest(word.key):
        return Slip(word, f"{EXPECTED}; {word.text!r} may change what is meant ({doubt}), so it goes behind '{MARK}'")
    subject = next((group.entry.value for group in found if group.entry is not None and group.part == "subject"), "")
    return Slip(word, f"{EXPECTED}, or '{MARK}' before free text", nearest=nearest(word.key, subject))
