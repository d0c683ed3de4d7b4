"""Where a line of a typed comment is cut: its remarks, the reasons behind them, and the free text after the mark.

A reason or condition (``when he lifts``) is kept as words up to a semicolon, to its bracket, or to a comma before a
remark that names its own turn. A turn that it names is the place of the remark before it, where that has none.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from pitwall.comments.words import NUMBERS, by_form

MARK = ":"
ON, ANEW = ",", ";"
"""Between remarks: a comma goes on with what was said before, a semicolon or a new line begins anew."""
_OF_THINGS = r"(?:fuel|tyres?|tires?|track|stint|tank|fronts|rears|brakes)"
_OF_PEOPLE = r"(?:he|she|it|they|i|we|you)"
_WHY = re.compile(r"(?<=[\s,;(])(?<!\ba )(?:because|when|if|unless|until|since(?! (?:the )?last run)|due|whenever|while"
                  rf"|(?:once|(?<!same )as)(?= (?:{_OF_PEOPLE}|(?:the )?{_OF_THINGS}) )|as soon as)(?=\s)",
                  re.IGNORECASE)  # fmt: skip
"""Words that begin a reason or a condition: they and what follows are free text, as if the mark stood before them."""
_SINCE = re.compile(rf"since\s+(?!{_OF_PEOPLE}\b)", re.IGNORECASE)
"""It began there and is not of that place: ``vibration since t1 lock``; ``since he lifts`` is a reason."""
_NUMBER = rf"(?:\d{{1,2}}|{'|'.join(NUMBERS)})"
_TURNS = re.compile(rf"\b(?:t\d{{1,2}}|turns? {_NUMBER})(?!\w)", re.IGNORECASE | re.ASCII)
_BARE_TURN = re.compile(rf"(?:(?<=out of )|(?<=\binto )|(?<=\bin )|(?<=\bat )){_NUMBER}(?=\.?\s*(?:$|[,;|)]))",
                        re.IGNORECASE)  # fmt: skip
_BRAKING = re.compile(r"when\s+braking", re.IGNORECASE)
_PIECE = re.compile(r"[^,;|]*")


@dataclass(frozen=True)
class Part:
    """A part of a line: remarks from ``begin`` to ``end``, and behind them free text up to ``free``. ``goes_on``: it
    stands behind a comma."""

    begin: int
    end: int
    free: int
    goes_on: bool = False


def parts_of(line: str) -> list[Part]:
    """A line cut behind each reason, which ends at a semicolon, or at a comma before a remark with its own turn."""
    mark = line.find(MARK)
    end = len(line) if mark < 0 else mark
    found: list[Part] = []
    begin, goes_on = 0, False
    while (why := _reason(line, begin, end)) is not None:
        stop = _end_of_the_reason(line, why, end)
        found.append(Part(begin, why, stop if stop < end else len(line), goes_on))
        if stop >= end:
            return found
        begin, goes_on = stop + 1, line[stop] in (ON, ")", " ")
    return [*found, Part(begin, end, len(line), goes_on)]


def _reason(line: str, begin: int, end: int) -> int | None:
    """Where the next reason begins, behind what is said before it."""
    for one in _WHY.finditer(line, begin, end):
        said = re.split(r"[;|]", line[begin : one.start()])[-1].strip()
        if said and not _BRAKING.match(line, one.start()):
            return one.start()
    return None


def _end_of_the_reason(line: str, begin: int, end: int) -> int:
    bracket = line.find(")", begin, end) if line[begin - 1] == "(" else -1
    for at in range(begin, end):
        if at == bracket:
            return at
        then = line.startswith(" then ", at) and _finds(line[at + 6 : end])
        if then or line[at] in (ANEW, "|") or (line[at] == ON and _begins_a_remark(line[at + 1 : end])):
            return at
    return end


def place_in_the_reason(line: str, part: Part) -> list[tuple[str, int, str]]:
    """The words that name a turn in the reason behind this part, where no place stands before it: as typed, where in
    the line, and as what they are read. ``snaps when he lifts in turn 6`` is of turn 6."""
    if _SINCE.match(line, part.end):
        return []
    before = re.split(r"[;|]", line[: part.end])[-1]
    said = [by_form().get(word.lower()) for word in before.split()]
    if _TURNS.search(before) or any(entry is not None and entry.part in ("speed", "everywhere") for entry in said):
        return []
    mark = line.find(MARK, part.end)
    end = part.free if mark < 0 else min(mark, part.free)
    bare = [(one.group(), one.start(), f"t{NUMBERS.get(one.group().lower(), one.group())}")
            for one in _BARE_TURN.finditer(line, part.end, end)]
    named = [(one.group(), found.start() + one.start(), "") for found in _TURNS.finditer(line, part.end, end)
             for one in re.finditer(r"\S+", found.group())]  # fmt: skip
    return bare or named


def _finds(behind: str) -> bool:
    """Guard: the words up to the next sign name a finding."""
    own = _PIECE.match(behind)
    entries = [by_form().get(one.lower().strip(".!")) for one in (own.group().split() if own is not None else ())]
    return any(entry is not None and entry.part == "finding" for entry in entries)


def _begins_a_remark(behind: str) -> bool:
    """Guard: the words up to the next sign name a turn and what the car does there."""
    own = _PIECE.match(behind)
    words = [one.lower().strip(".!") for one in (own.group().split() if own is not None else ())]
    entries = [by_form().get(word) for word in words]
    placed = any(re.fullmatch(r"t\d\S*|turns?", word) for word in words)
    return placed and any(entry is not None and entry.part in ("finding", "subject") for entry in entries)
