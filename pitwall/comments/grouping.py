"""The words of one remark looked up, the longest form first: turns, forms of one word or several, asides."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Sequence

from pitwall.comments.changing import changes_it
from pitwall.comments.forms import KINDS_OF_CORNERS, form_at
from pitwall.comments.glued import BARE_TURN, TURN, apart, surely_a_turn
from pitwall.comments.group import Group
from pitwall.comments.nearest import nearest
from pitwall.comments.sayings import (
    CORNERS,
    become,
    cause,
    circumstance,
    compared,
    drives_hard,
    feels_like,
    from_there_on,
    gears,
    how_very,
    is_people,
    off_it,
    over_it,
    wants_to,
    with_the_unread,
)
from pitwall.comments.splitting import MARK, Piece, Slip, Word
from pitwall.comments.words import PLACES, by_form

HIGHEST_TURN = 60
WORST = "5"
"""The highest severity."""
A_TURN = "a turn from 1 to"
"""How the refusal of a turn that is not there begins to say what is expected."""
EXPECTED = "a turn such as t4, a corner phase, a finding such as us, lock or cold, a severity from 1 to 5"
NEGATIONS = ("never", "without", "hardly", "nor", "neither")
COUNTING = {"car": "which car it is", "all": "that all four wheels do", "wheel": "which wheel it is"}
"""Words right before a number that make something else of it than how bad it is."""
SEVERAL = ("lockups", "flatspots", "snaps", "moments", "slides", "bumps", "wheels", "shifts",
           "upshifts", "downshifts", "washouts", "lock", "flat", "missed", "locks", "spins", "bounces", "hops",
           "jumps", "kicks", "misfires", "vibrations")
"""Words right behind a number that may be counted by it."""
_OF_A_PLACE = ("in", "at", "into", "out of", "through", "for")
"""A number right behind these may be a turn: ``lock into 1``."""
_OF_ITS_NUMBER = ("entry", "exit", "apex", "mid", "middle", "centre", "center")
_UP_TO = ("to", "until", "through")
_NO_ONE_NUMBER = re.compile(r"\d+(?:[-/.]\d+)?%|\d+[-/.]\d+", re.ASCII)
"""How bad it is in another way: ``2-3``, ``5/10``, ``50%``."""
_DOUBLED = re.compile(r"[a-z/]*(?:\+{2,}|-{2,})", re.IGNORECASE)
_CAME_FROM = re.compile(r"(?:((?:gone |went |goes |is )?(?:down|up) |gone |went |goes )?from )?([1-5])"
                        r" to(?= ([1-5])\b)", re.ASCII)
"""How bad it was, before how bad it is."""
_WAS = re.compile(r"(?:was|down from|up from) [1-5]\b|[1-5] (?:last run|last time|run before)\b", re.ASCII)
"""How bad it was, behind how bad it is."""
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
        group = with_the_unread(words, at, _known(found, piece, words, at, known))
        if group is None:
            raise unknown(found, words[at], known)
        _is_in_no_doubt(group, found, piece, words, at)
        if _through_the_corner(found, group):
            yield Group(group.words, by_form()["mid"], form="mid")
        found.append(group)
        yield group
        at += len(group.words)


def _known(
    found: Sequence[Group], piece: Piece, words: tuple[Word, ...], at: int, known: Collection[int]
) -> Group | None:
    """What stands here, as far as it is known: turns, what several words say together, forms of the table."""
    return (gears(words, at) or over_it(words, at) or off_it(words, at) or _turn(found, words, at, known)
            or wants_to(words, at) or feels_like(words, at) or become(words, at) or cause(found, words, at)
            or compared(words, at) or _what_it_was(found, piece, words, at) or form_at(words, at)
            or how_very(words, at) or circumstance(words, at))  # fmt: skip


def _is_in_no_doubt(
    group: Group, found: Sequence[Group], piece: Piece, words: tuple[Word, ...], at: int
) -> None:
    """Raise a slip where these words may be meant in two ways."""
    ahead = at + len(group.words)
    if group.part == "finding" and drives_hard(words, at):
        raise Slip(group.word, f"understeer, if that is meant; how hard he drives goes behind '{MARK}'")
    ended = at > 0 and words[at - 1].key in ("it's", "is", "all", "that's") and not any(one.turns for one in found)
    if group.form == "over" and ended and ahead == len(words):
        raise Slip(group.word, f"oversteer in a whole word, if that is meant; what is over goes behind '{MARK}'")
    if group.part == "finding" and is_people(words, words[at]):
        raise Slip(group.word, f"understeer in a whole word, if that is meant; who it is goes behind '{MARK}'")
    if group.part == "finding" and found and found[-1].form in ("gone", "all gone") and not _finds(found):
        raise Slip(group.word, "what is gone before 'gone', such as us gone; or what there is alone")
    up_to = f"up to which turn, such as t{group.turns[0]}-{group.turns[0] + 2}" if group.turns else ""
    if group.turns and from_there_on(words, ahead):
        raise Slip(words[ahead], up_to)
    if found and found[-1].form == "from" and len(group.turns) == 1:
        raise Slip(group.word, up_to)
    number = group.rated and words[at].key.isdecimal()
    if number and found and found[-1].form in COUNTING and (found[-1].form != "car" or len(found) == 1):
        raise Slip(group.word, f"how bad it is behind what it is of; {COUNTING[found[-1].form]} goes behind '{MARK}'")
    if number and ahead < len(words) and words[ahead].key in SEVERAL:
        raise Slip(group.word, f"how bad it is behind {words[ahead].text!r}; how many of them goes behind '{MARK}'")
    if group.part == "severity" and group.form.isdecimal() and _may_be_a_turn(found, piece, words, at):
        raise Slip(group.word, "a turn such as t4 behind that; or how bad it is alone", nearest=f"t{group.form}")


def _finds(found: Sequence[Group]) -> bool:
    return any(group.part in ("finding", "phrase", "subject", "corner") for group in found)


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
    if match is None and _is_the_turn_of_a_phase(found, words, at):
        match = BARE_TURN.fullmatch(word.plain)
    if match is None:
        return None
    turns = _numbers(match.group(1), word, known)
    if len(turns) == 1:
        more, turns = _up_to(turns[0], words, at + taken, known, plural=words[at].key in ("turns", "corners"))
        taken += more
    return Group(words[at : at + taken], turns=tuple(dict.fromkeys(turns)))


def _is_the_turn_of_a_phase(found: Sequence[Group], words: tuple[Word, ...], at: int) -> bool:
    """Guard: a number behind a corner phase that is too high to be how bad it is: ``rear loose entry 7``."""
    number = words[at].plain
    last = at + 1 == len(words) or words[at + 1].key in by_form()
    high = number.isdecimal() and len(number) <= 2 and int(number) > int(WORST)
    phase = found[-1].form.split()[-1] if found and found[-1].part == "phase" else ""
    return high and last and phase in _OF_ITS_NUMBER and not any(group.turns for group in found)


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
    return [a_turn_that_is_there(turn, word, known) for turn in found]


def a_turn_that_is_there(turn: int, word: Word, known: Collection[int]) -> int:
    """This turn.

    Raises:
        Slip: where the circuit has none of that number, or no circuit has.
    """
    if not 1 <= turn <= HIGHEST_TURN or (known and turn not in known):
        highest = max(known) if known else HIGHEST_TURN
        raise Slip(word, f"{A_TURN} {highest}", f"no turn {turn}, ")
    return turn


# -- forms ------------------------------------------------------------------------------------------------------------


def _may_be_a_turn(found: Sequence[Group], piece: Piece, words: tuple[Word, ...], at: int) -> bool:
    """Guard: a number may be a turn here: ``into 1``, ``in the 4``, and ``apex 4 us``, before what it would rate."""
    before = [group for group in found if group.form != "the"]
    if not before:
        return False
    bare = all(group.part in ("phase", "filler") for group in before) and before[-1].part == "phase"
    bare = bare and not piece.goes_on and at + 1 < len(words) and not any(TURN.fullmatch(word.plain) for word in words)
    joined = before[-1].form in ("and", "&") and any(group.turns for group in before)  # "t4 and 5"
    return before[-1].form in (*_OF_A_PLACE, "of") or joined or bare


def _what_it_was(found: Sequence[Group], piece: Piece, words: tuple[Word, ...], at: int) -> Group | None:
    """How bad it was before, behind how bad it is: ``us 3 (was 4)``; kept with the remark, as what is said of laps."""
    keys = [word.key for word in words[at : at + 4]]
    changed = len(keys) > 2 and keys[1] in ("->", ">") and {keys[0], keys[2]} <= set("12345")
    if changed and any(group.part == "finding" for group in found):
        return Group(words[at : at + 2])  # "us 3 -> 2"
    came = _CAME_FROM.match(" ".join(word.key for word in words[at : at + 6]))
    if came is not None and any(group.part == "finding" for group in found) and _tells_a_change(came):
        ahead = at + len(came.group().split()) + 1
        if ahead < len(words) and words[ahead].key in ("turn", "turns", "corner", "corners"):
            raise Slip(words[ahead], f"nothing behind how bad it is; in how many turns it is goes behind '{MARK}'")
        return Group(words[at : at + len(came.group().split())])  # "us down from 4 to 2"
    rated = any(group.part == "severity" for group in found) or (piece.goes_on and not found)
    match = _WAS.match(" ".join(keys)) if rated else None
    return Group(words[at : at + len(match.group().split())]) if match is not None else None


def _tells_a_change(came: re.Match[str]) -> bool:
    """Guard: these are how bad it was and is, not two turns, nor between which it is."""
    return bool(came.group(1)) or (came.group().startswith("from") and came.group(2) > came.group(3))


def _through_the_corner(found: Sequence[Group], group: Group) -> bool:
    """Guard: this is the exit, and the words before it are ``entry to``: the middle lies between them."""
    own = [one for one in found if one.form not in ("the", "on", "all the way")]
    ends = [one.entry.value for one in (*own[-2:-1], group) if one.entry is not None]
    return ends == ["entry", "exit"] and own[-1].form in _UP_TO


def unknown(found: Sequence[Group], word: Word, known: Collection[int] = ()) -> Slip:
    """Why this word cannot stand there."""
    if _NO_ONE_NUMBER.fullmatch(word.text):
        return Slip(word, "how bad it is as one number from 1 to 5; turns have their letter, such as t2-3")
    if _DOUBLED.fullmatch(word.text):
        return Slip(word, "better, worse, more or less in a word, such as more us; or how bad it is from 1 to 5")
    if re.fullmatch(r"\d+", word.text):
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
    if word.key in PLACES and len(word.key) < len("corners"):
        return Slip(word, "its number right behind it, such as t4")
    if word.key in ("than", "as", "like"):
        return Slip(word, "what the car does in either place, such as t3 us 2, t5 us 4; or better or worse than before:"
                          f" which other run it is set against goes behind '{MARK}'")
    if word.key.rstrip("s") in CORNERS:
        return Slip(word, f"the turn by its number, such as t4, or slow, medium, fast; its name goes behind '{MARK}'")
    doubt = changes_it(word.key)
    if doubt and not nearest(word.key):
        return Slip(word, f"{EXPECTED}; {word.text!r} may change what is meant ({doubt}), so it goes behind '{MARK}'")
    subject = next((group.entry.value for group in found if group.entry is not None and group.part == "subject"), "")
    near = "" if word.key in by_form() else nearest(word.key, subject)  # "cut the corner": known, and not meant
    return Slip(word, f"{EXPECTED}, or '{MARK}' before free text", nearest=near)
