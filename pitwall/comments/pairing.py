"""Two findings in one remark with an "and" between them, where each of them may be said alone: ``us on entry and os on
exit t4``. Tried only where the words are no one remark.

What stands behind the "and" is of the same place. It is of the same thing, too, where it is a word of every day:
``brakes long and hot``. Refused is what may be said of both or of one: ``no us and os``, ``more us and os``.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace

from pitwall.comments.finding import subject_and_finding
from pitwall.comments.reading import Reading
from pitwall.comments.splitting import Piece, Slip
from pitwall.comments.words import BEFORE_IT, by_form
from pitwall.model.comments import FINDINGS

BETWEEN = ("and", "&")
OF_MANY = ("cold", "hot", "worn", "weak", "soft", "harsh", "heavy", "light", "grabs", "cut", "flat", "vibration",
           "pulls", "good", "low")
"""Findings that may be of several things: of which is said, or is what stands before the "and"."""
SAID_OF_BOTH = ("severity", "trend", "amount", "confidence")
OWN_PLACE = ("speed", "everywhere", "subject", "corner")
Reader = Callable[[Piece], list[Reading]]


def paired(piece: Piece, read: Reader) -> list[Reading]:
    """The readings before and behind the first "and" that parts two findings; none where nothing does."""
    for at, word in enumerate(piece.words[1:-1], 1):
        if word.key not in BETWEEN:
            continue
        first = replace(piece, words=piece.words[:at], end=word.at)
        second = Piece(piece.words[at + 1 :], goes_on=True, end=piece.end, then=True)
        with suppress(Slip):
            before, behind = read(first), _whole(second, read)
            if _may_be_said_alone(before[-1], behind[0]):
                _share(before[-1], behind[0])
                return [*before, *behind]
    return []


def _whole(piece: Piece, read: Reader) -> list[Reading]:
    try:
        return read(piece)
    except Slip:
        found = paired(piece, read)
        if not found:
            raise
        return found


def _may_be_said_alone(before: Reading, behind: Reading) -> bool:
    if before.kept or behind.kept or not (_finds(before) and _finds(behind, "trend", "amount")):
        return False
    found = before.parts.get("finding")
    placed = behind.turns or behind.phases or set(behind.parts) & set(OWN_PLACE)
    for part in SAID_OF_BOTH:
        here, there = before.parts.get(part), behind.parts.get(part)
        if here is None and there is not None and not (placed or there[1].key in BEFORE_IT):
            return False  # "us and os worse"
        if here is not None and there is None and part != "severity" and found is not None and here[1].at < found[1].at:
            return False  # "more us and os", "no us and os"
    return _is_its_own(behind) or _fits(before, behind)


def _finds(reading: Reading, *more: str) -> bool:
    said = {"poor", "lack", *more} & set(reading.parts)
    return "finding" in reading.parts or ("subject" in reading.parts and bool(said))


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
    if not own and (entry.subject != about or entry.named):
        behind.parts["subject"] = (by_form()[about], word)
    ends = {"axle", "corner", "side"}
    same = not own or entry.value == "unstable" or (entry.subject == about and about in ("tyres", "braking"))
    if same and not ends & set(behind.parts) and not behind.phases:
        behind.parts |= {part: before.parts[part] for part in ends if part in before.parts}
    here = entry.subject == "ride" and "subject" not in behind.parts
    if here and not behind.turns:
        behind.turns += before.turns


def tried(piece: Piece, read: Reader) -> list[Reading]:
    """The readings of a piece; where it is no one remark, of what an "and" parts.

    Raises:
        Slip: as reading the whole piece does.
    """
    try:
        whole = read(piece)
    except Slip:
        found = paired(piece, read)
        if not found:
            raise
        return found
    return whole if all(map(_belongs_together, whole)) else paired(piece, read) or whole


def _belongs_together(reading: Reading) -> bool:
    """Guard: what is found is of the subject that is named: not so in ``us t4 and brakes better``."""
    if not {"subject", "finding"} <= set(reading.parts):
        return True
    try:
        subject_and_finding(reading)
    except Slip:
        return False
    return True
