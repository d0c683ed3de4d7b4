"""Two findings in one remark with an "and" between them, where each of them may be said alone: ``us on entry and os on
exit t4``.

What stands behind the "and" is of the same place, where it names none. It is of the same thing, too, where it is a word
of every day: ``brakes long and hot``. Refused is what may be said of both or of one: ``no us and os``.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from pitwall.comments.finding import is_scarce, subject_and_finding
from pitwall.comments.glued import TURN
from pitwall.comments.reading import Reading
from pitwall.comments.splitting import Piece, Slip, Word
from pitwall.comments.words import BEFORE_IT, by_form
from pitwall.model.comments import CONTENT, FINDINGS

BETWEEN = ("and", "&", "also")
OF_MANY = ("cold", "hot", "worn", "weak", "soft", "harsh", "heavy", "light", "grabs", "cut", "flat", "vibration",
           "pulls", "good", "low")
"""Findings that may be of several things: of which is said, or is what stands before the "and"."""
SAID_OF_BOTH = ("severity", "trend", "amount", "confidence")
OWN_PLACE = ("speed", "everywhere", "subject", "corner", "axle")
LISTED = ("severity", "confidence", "trend", "amount", "speed", "everywhere", "axle", "side", "corner")
"""What may be said of one more place in a list, of which the finding stands before the comma."""
MOST = 6
"""In a remark with more of them none is tried: either side may be parted again, and a line that a page sends must not
keep the daemon busy."""
Reader = Callable[[Piece], list[Reading]]


def tried(piece: Piece, read: Reader) -> list[Reading]:
    """The readings of a piece: of what an "and" parts, where either side may be said alone; else of all of it as one.

    Raises:
        Slip: as reading the whole piece does; or where it reads, and may be said of both sides or of one.
    """
    found, doubtful = _paired(piece, read)
    if found:
        return found
    whole = read(piece)
    if doubtful is not None:
        raise doubtful
    return whole


def _paired(piece: Piece, read: Reader) -> tuple[list[Reading], Slip | None]:
    """The readings before and behind the first "and" that parts two remarks; none where nothing does, and a slip where
    that is in doubt."""
    if sum(word.key in BETWEEN for word in piece.words) > MOST:
        return [], None
    for at, word in enumerate(piece.words[1:-1], 1):
        if word.key not in BETWEEN or piece.words[at + 1].key.isdecimal():
            continue  # "t4 and 5 us"
        first = replace(piece, words=piece.words[:at], end=word.at)
        second = Piece(piece.words[at + 1 :], goes_on=True, end=piece.end, then=True)
        try:
            before = read(first)
            if not before[-1].piece.goes_on and not _tells(before[-1]):
                continue  # "t4 and t7 us"
            behind = tried(second, read)
            if _is_more_of_the_list(before, behind[0]):
                return [*before, *behind], None
            if not _both_tell(before[-1], behind[0]):
                continue
            if _may_be_said_alone(before[-1], behind[0]):
                _share(before[-1], behind[0])
                return [*before, *behind], None
            return [], Slip(_said(behind[0]), "a comma for 'and' before the next remark, or what is said of both said"
                                              " of each")
        except _Doubt as doubt:
            return [], doubt
        except Slip:
            continue  # no remark alone on one side of it
    return [], None


class _Doubt(Slip):
    """What an "and" parts may be two remarks or one."""


def _said(reading: Reading) -> Word:
    """The word that says what is found."""
    return next((reading.parts[part][1] for part in ("finding", "subject") if part in reading.parts),
                reading.piece.words[0])


def _is_more_of_the_list(before: list[Reading], behind: Reading) -> bool:
    """Guard: one more place behind a comma, or how bad it is, and then another thing: ``us t4 3, t7 2 and rears hot``.
    Bare turns before another turn may be of what follows: ``us t4, t5 and t6 os``."""
    only = before[0]
    if len(before) > 1 or not only.piece.goes_on or only.piece.sentence or only.kept or set(only.parts) - set(LISTED):
        return False
    if not _finds(behind, "trend", "amount") and not (behind.turns and {"trend", "amount"} & set(behind.parts)):
        return False
    if {"severity", "confidence", "trend", "amount"} & set(only.parts):
        return True
    if not only.turns:
        return bool(only.phases or {"speed", "everywhere"} & set(only.parts))  # "fl and fr hot" is no list
    placed = behind.turns or behind.phases or {"speed", "everywhere", "subject", "axle", "corner"} & set(behind.parts)
    if TURN.fullmatch(behind.piece.words[0].plain) or (_praises(behind) and not placed):
        raise _Doubt(behind.piece.words[0], "a comma for 'and' before that, where it is another remark")
    return True


def _both_tell(before: Reading, behind: Reading) -> bool:
    """Guard: something is found, or judged, on either side."""
    if before.kept or behind.kept:
        return False
    placed = behind.turns or {"speed", "everywhere"} & set(behind.parts)
    listed = any(word.at + len(word.text) >= before.piece.words[-1].at for _, word in before.phases)
    later = bool({"trend", "amount"} & set(behind.parts) and (placed or (behind.phases and not listed)))
    if _praises(before) and _praises(behind) and set(behind.parts) <= {"finding", "confidence"} and not placed:
        return False  # "nice and stable"
    return _tells(before) and (_finds(behind, "trend", "amount") or later)


def _tells(reading: Reading) -> bool:
    """Guard: something is found here, or judged: "the same, and t4 us"."""
    judged = "trend" in reading.parts or {"subject", "amount"} <= set(reading.parts)
    return _finds(reading) or ("finding" not in reading.parts and judged)


def _praises(reading: Reading) -> bool:
    return "finding" in reading.parts and reading.parts["finding"][0].value in ("good", *CONTENT)


def _may_be_said_alone(before: Reading, behind: Reading) -> bool:
    """Guard: nothing on one side may be said of the other one, too."""
    found = before.parts.get("finding")
    placed = bool(behind.turns or behind.phases or set(behind.parts) & set(OWN_PLACE))
    apart = bool(before.turns and behind.turns)
    if "finding" not in behind.parts and TURN.fullmatch(before.piece.words[-1].plain) and behind.turns:
        return False  # "us t4 and t7 better"
    for part in SAID_OF_BOTH if not apart else ():
        here, there = before.parts.get(part), behind.parts.get(part)
        if here is None and there is not None and not (placed or there[1].key in BEFORE_IT):
            return False  # "us and os worse"
        if here is not None and there is None and part != "severity" and found is not None and here[1].at < found[1].at:
            return False  # "more us and os", "no us and os"
    if _praises(behind) and not placed:
        return _praises(before)  # "us t4 and good": of what
    return _is_its_own(behind) or placed or _fits(before, behind)


def _finds(reading: Reading, *more: str) -> bool:
    if "finding" in reading.parts:
        return True
    gone = "trend" in reading.parts and reading.parts["trend"][0].value == "gone"
    if gone and {"subject", "axle"} & set(reading.parts):
        return True  # "front gone", "no rear grip"
    if {"axle", "corner"} & set(reading.parts) and set(more) & set(reading.parts):
        return True  # "fronts better"
    if {"lack", "axle"} <= set(reading.parts):
        return True  # "losing the rear"
    said = bool({"poor", "lack", "severity", *more} & set(reading.parts))
    return "subject" in reading.parts and (said or is_scarce(reading.parts))


def _is_its_own(reading: Reading) -> bool:
    """Guard: what is found behind the "and" says itself of what it is."""
    if "subject" in reading.parts or "corner" in reading.parts or "finding" not in reading.parts:
        return True
    entry, word = reading.parts["finding"]
    tyres = "axle" in reading.parts and reading.parts["axle"][0].subject == "tyres"
    return tyres or not (entry.named or (entry.value in OF_MANY and " " not in word.key))


def _fits(before: Reading, behind: Reading) -> bool:
    """Guard: it is of what stands before the "and"."""
    about, _ = subject_and_finding(before)
    value = behind.parts["finding"][0].value
    praised = value == "good" and "axle" in behind.parts
    return praised or value in FINDINGS[about] or (about, value) == ("braking", "soft")


def _share(before: Reading, behind: Reading) -> None:
    """Let what stands behind the "and" be of what stands before it, where it does not say itself of what it is."""
    if "finding" not in behind.parts:
        return
    about, _ = subject_and_finding(before)
    entry, word = behind.parts["finding"]
    own = _is_its_own(behind)
    place = behind.turns or behind.phases or {"speed", "everywhere"} & set(behind.parts)
    praise = entry.value in ("good", *CONTENT)
    if not own and not (praise and place) and _fits(before, behind) and (entry.subject != about or entry.named):
        behind.parts["subject"] = (by_form()[about], word)
    ends = {"axle", "corner", "side"}
    tyres = entry.subject == about == "tyres" and "subject" not in behind.parts
    same = (not own and _fits(before, behind)) or (entry.value == "unstable" and "subject" not in behind.parts) or tyres
    if same and not ends & set(behind.parts) and not place and not behind.denies:
        behind.parts |= {part: before.parts[part] for part in ends if part in before.parts}
    if entry.value in ("bottoming", "bouncing", "kerbs") and "subject" not in behind.parts and not place:
        behind.turns += before.turns
