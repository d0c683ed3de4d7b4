"""The mark before free text, where it is none: between a place and what happens there, or a finding and its places."""

from __future__ import annotations

import re
from collections.abc import Collection
from contextlib import suppress

from pitwall.comments.joining import Listing, all_readings
from pitwall.comments.meaning import meaning_of
from pitwall.comments.reading import Reading
from pitwall.comments.splitting import ANEW, CLOCK_MARK, MARK, ON, Slip, Word, pieces
from pitwall.comments.taking import readings
from pitwall.comments.words import by_form

_RATED = re.compile(r"\b(?:(sev|severity|conf|confidence)(\s*[:=]\s*)|(us|os|snap|lock)(\s*=\s*))"
                    r"(?=[1-5]\b|high|medium|low)", re.IGNORECASE)
"""A mark or sign between a word and how much: ``sev: 3``, ``us=3``."""
_CLOCK = re.compile(r"(?<=\b\d):(?=\d\d(?!\w|:))|(?<=\b\d\d):(?=\d\d(?!\w|:))", re.ASCII)
"""The mark in a time of day or of a lap, which is none: ``us t4 at 14:32``."""
_LABEL = re.compile(r"\.(?= +[a-z][\w /-]{0,20}:)", re.IGNORECASE)
"""A stop before what a mark stands behind goes on as a comma does: ``entry: ok. mid: us``."""
_DASHED = re.compile(r"(?:^|(?<=\n)|(?<=[;,] ))(t\d{1,2}(?:[-/]t?\d{1,2})?(?: (?:entry|mid|exit))?) ([-\u2013\u2014])"
                     r"(?= (?!t?\d)[a-z])(?![^;,\n]+ [-\u2013\u2014] )", re.IGNORECASE | re.ASCII)  # fmt: skip
"""A dash between a turn that stands first and what happens there is a mark: ``t2 - traction ok``."""
_NUMBERED = re.compile(r"(?:^|(?<=\n)) *(?:\(?\d{1,2}\)|\d{1,2}\.(?= )) *(?=[a-z])", re.IGNORECASE)
"""The number of a line in a list: ``1) t4 us``."""
_DASHES = re.compile(r"(?<=[a-z0-9]) [-\u2013\u2014] (?=[a-z]|[1-5]\b)", re.IGNORECASE)
"""Dashes with spaces around them."""
_BETWEEN_TURNS = re.compile(r"t?\d{1,2} [-\u2013\u2014] t?\d", re.IGNORECASE | re.ASCII)
MOST_MARKS = 20
"""In one line; each is set against what stands before it, and a line that a page sends must not keep the daemon
busy."""
OF_A_PLACE = ("balance", "traction", "braking")
"""What a car does in a corner, so a place before a mark may be its place."""


def opened(text: str, turns: Collection[int]) -> tuple[str, tuple[Listing, ...]]:
    """The text with a space for each mark that is none, as long as before, and the lists that such a mark begins.

    A mark behind nothing but a place or a subject, such as ``t4: us 3``, is a space where all of the line is shorthand
    then: what stands before the mark says nothing alone. Behind a comma such a place could take over what was said
    before it, so ``entry us, exit: os`` is read so only where the mark is followed by a finding. A mark behind a
    finding is a space where nothing but places follow: ``us: t2 3, t4 2``.

    Raises:
        Slip: at a mark that is one too many in its line.
    """
    text = _CLOCK.sub(CLOCK_MARK, _LABEL.sub(",", text))
    text = "\n".join(map(_without_dashes, _NUMBERED.sub(lambda match: " " * len(match.group()), text).split("\n")))
    text = _DASHED.sub(lambda match: match.group().replace(match.group(2), MARK, 1), text)
    lines = _RATED.sub(lambda match: re.sub(r"[:=]", " ", match.group()), text).split("\n")
    lists: list[Listing] = []
    begin = 0
    for at, line in enumerate(lines):
        opened_here = 0
        while MARK in line:
            if opened_here == MOST_MARKS:
                raise Slip(Word(MARK, begin + line.find(MARK)), f"at most {MOST_MARKS} of these in one line")
            opened_here += 1
            mark, listing = line.find(MARK), _listing(line, turns)
            read = line.replace(MARK, " ", 1) if listing is not None else _without_mark(line, turns)
            if read is None:
                break
            if listing is not None:
                lists.append(Listing(begin + mark, begin + listing))
            lines[at] = line = read
        begin += len(line) + 1
    return "\n".join(lines), tuple(lists)


def _without_dashes(line: str) -> str:
    """The line with a comma for each of several dashes: ``turn 4 - us - 3``. A dash alone may be another thing, and so
    may those of a line that says two things."""
    if len(_DASHES.findall(line)) < 2 or _BETWEEN_TURNS.search(line) or re.search(r"[,;|:]", line):
        return line
    parts = [entry.part for entry in map(by_form().get, line.lower().split()) if entry is not None]
    return line if parts.count("finding") > 1 or parts.count("phase") > 1 else _DASHES.sub(" , ", line)


def _listing(line: str, turns: Collection[int]) -> int | None:
    """Up to where places are listed behind the first mark of the line; None where they are not, or may not be."""
    head, _, tail = line.partition(MARK)
    whole = re.split(r"[:;|]", tail, maxsplit=1)[0]
    begun = list(pieces(head))
    with suppress(Slip):
        own = list(readings(begun[-1], turns)) if begun else []
        # What stands before the next mark may begin the next list: "us: slow, os: fast".
        for listed in (whole, whole.rpartition(ON)[0] if MARK in tail else ""):
            there = [reading for piece in pieces(listed) for reading in readings(piece, turns)]
            if len(own) == 1 and there and own[0].lists(there, alone=len(begun) == 1 or not begun[-1].goes_on):
                return len(head) + 1 + len(listed)
    return None


def _without_mark(line: str, turns: Collection[int]) -> str | None:
    """The line with a space for its first mark, where that mark only stands between a place and what happens there."""
    head, _, tail = line.partition(MARK)
    begun = list(pieces(head))
    with suppress(Slip):
        own = [reading for piece in begun[-1:] for reading in readings(piece, turns)]
        as_one = line.replace(MARK, " ", 1)
        until_next = _until_the_next(as_one)
        if not own or any(one.tells for one in own):
            numbers = [word.plain for piece in pieces(tail) for word in piece.words]
            if len(own) == len(begun) == 1 and len(numbers) > 1 and all(number.isdecimal() for number in numbers):
                return as_one  # "us: 4, 7, 9" is refused at 7: a turn has its letter
            return as_one if own and _only_how_bad(tail, own[-1], turns) else None
        if own[-1].kept:
            first = next((reading for piece in pieces(tail) for reading in readings(piece, turns)), None)
            return line.replace(MARK, ANEW, 1) if first is not None and first.whole else None
        if any(one.asides for one in own):
            first = next((reading for piece in pieces(tail) for reading in readings(piece, turns)), None)
            whole = first is not None and first.whole and not own[-1].turns
            return as_one if (len(begun) == 1 or whole) and list(all_readings(as_one, turns)) else None
        behind = next((reading for piece in pieces(tail) for reading in readings(piece, turns)), None)
        if len(begun) > 1 and (behind is None or "finding" not in behind.parts):
            return None
        before = None
        for reading in all_readings(until_next, turns):
            if reading.piece.words[0].at > len(head) + 1 and not reading.piece.goes_on:
                break  # behind a semicolon: "t4: us; t7: os"
            now = meaning_of(reading, before if reading.piece.goes_on else None)
            last = any(word.at == begun[-1].words[0].at for word in reading.piece.words)
            of_it = behind is not None and "severity" in behind.parts
            of_it = of_it or bool({"subject", "axle", "corner"} & set(own[-1].parts))
            if last and before is not None and not of_it and any(one.about not in OF_A_PLACE for one in now.remarks):
                return None  # "us, exit: worse with wear" is about the same; the tyres' wear is why
            before = now
        return as_one
    return None


def behind_the_mark(text: str, slip: Slip, turns: Collection[int]) -> tuple[Slip, str]:
    """The slip to point at, and the text without a mark before it: where a place with a mark says nothing, such as
    ``t4: mdi us``, the word behind the mark."""
    begin = text.rfind("\n", 0, slip.word.at) + 1
    line = text[begin:].split("\n", 1)[0]
    mark = line.find(MARK)
    if mark < 0 or slip.word.at - begin > mark or not slip.expected.startswith("also what the car does there"):
        return slip, text
    ahead = text[:begin] + line.replace(MARK, " ", 1)
    try:
        all_readings(ahead, turns)
    except Slip as own:
        if own.word.at > begin + mark and any(_says_one(word) for word in line[mark + 1 :].split()):
            return own, ahead
    return slip, text


def _says_one(word: str) -> bool:
    entry = by_form().get(word.lower().strip(",;."))
    return entry is not None and entry.part in ("finding", "subject", "phase") and not entry.named


def _until_the_next(line: str) -> str:
    """The line up to what stands before its next mark, which may be a place or a subject, too: ``ok, tyres: hot``."""
    mark = line.find(MARK)
    cut = max(line.rfind(sign, 0, max(mark, 0)) for sign in (ON, ANEW))
    return line[:cut] if mark >= 0 and cut > 0 else line


def _only_how_bad(tail: str, own: Reading, turns: Collection[int]) -> bool:
    """Guard: nothing but how bad, how sure or which way it goes stands behind the mark: ``us t4: a bit``."""
    there = [reading for piece in pieces(tail) for reading in readings(piece, turns)]
    parts = {part for one in there for part in one.parts}
    bare = len(there) == 1 and MARK not in tail and there[0].alone and not there[0].asides
    return bare and parts <= {"severity", "confidence", "trend"} and not parts & set(own.parts)
