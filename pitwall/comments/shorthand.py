"""The shorthand in which comments are typed: read into remarks and free text, or refused at the word that is wrong.

    t4 mid us 3, exit os 2; rears hot 4: worse with wear

A line holds remarks, then a colon and free text. The words of a remark stand in any order (``words.py``). Several turns
or corner phases in one remark make a remark each. After a comma a remark may leave out its turn, if it names a corner
phase, and its finding, if it names a place: both are then those before the comma; balance and traction without any
place are of the place before it. After a semicolon or on a new line
nothing is carried over. ``comments/writing.py`` is the way back.
"""

from __future__ import annotations

import re
from collections.abc import Collection
from contextlib import suppress
from dataclasses import dataclass

from pitwall.comments.meaning import Meaning, meaning_of
from pitwall.comments.reading import EXPECTED, Reading, readings
from pitwall.comments.splitting import MARK, ON, Slip, Word, as_typed, free_text, pieces
from pitwall.comments.words import by_form
from pitwall.model.comments import Remark

MOST_REMARKS = 40
_RATED = re.compile(r"\b(?:(sev|severity|conf|confidence)(\s*[:=]\s*)|(us|os|snap|lock)(\s*=\s*))"
                    r"(?=[1-5]\b|high|medium|low)", re.IGNORECASE)
"""A mark or sign between a word and how much: ``sev: 3``, ``us=3``."""
OF_A_PLACE = ("balance", "traction", "braking")
"""What a car does in a corner, so a place before a mark may be its place."""


@dataclass(frozen=True)
class Typed:
    """What a typed comment says."""

    remarks: tuple[Remark, ...]
    text: str = ""


class ShorthandError(ValueError):
    """A comment that cannot be read, and the word that is why.

    Attributes:
        at, length: where the word is, in characters from the beginning, and how long.
        number: which word of the comment it is, from 1.
        expected: what could stand there, in words.
        nearest: the word of the shorthand that was meant, if one is near.
        briefly: what is wrong, for those who may not have meant shorthand at all.
    """

    def __init__(self, text: str, slip: Slip, number: int) -> None:
        self.word = as_typed(text, slip.word)
        self.at, self.length, self.number = slip.word.at, max(len(self.word), 1), number
        self.expected, self.nearest = slip.expected, slip.nearest
        self._text = text
        near = f"; did you mean {slip.nearest!r}?" if slip.nearest else ""
        where, why = f"word {number}, {self.word!r}", f"{slip.found}expected {slip.expected}"
        anything = why.startswith(f"expected {EXPECTED}")
        self.briefly = (f"{where}, is not of the shorthand" if anything else f"{where}: {why}") + near
        super().__init__(f"{where}: {why}{near}")

    def pointed(self) -> str:
        """The line with the word, and below it a mark under the word."""
        begin = self._text.rfind("\n", 0, self.at) + 1
        line = self._text[begin:].split("\n", 1)[0]
        return f"{line}\n{' ' * (self.at - begin)}{'^' * self.length}"


def parse(text: str, turns: Collection[int] = ()) -> Typed:
    """Read a typed comment.

    Args:
        text: one line or several.
        turns: the turns that the circuit has; none: not known.

    Raises:
        ShorthandError: at the first word that cannot be what it should be.
    """
    typed, kept = text, []
    text = _opened(text, turns)  # as long as it was typed
    found: list[Remark] = []
    before: Meaning | None = None
    try:
        for reading in _readings(text, turns):
            before = meaning_of(reading, before if reading.piece.goes_on else None)
            found += before.remarks
            kept += [_as_typed(typed, reading)] if reading.asides else []
            if len(found) > MOST_REMARKS:
                raise Slip(reading.piece.words[0], f"at most {MOST_REMARKS} remarks in one comment")
        words = free_text(text)
        if not found and not words:
            raise Slip(Word("", len(text.rstrip())), f"{EXPECTED}, or '{MARK}' and free text")
    except Slip as slip:
        slip, text = _behind_the_mark(text, slip, turns)
        raise ShorthandError(typed, slip, _number(text, slip.word)) from None
    return Typed(tuple(found), "\n".join([*kept, *([words] if words else [])]))


def _readings(text: str, turns: Collection[int]) -> list[Reading]:
    """A reading for each remark; how bad, how sure and when may stand behind a comma of their own."""
    found: list[Reading] = []
    for piece in pieces(text):
        for reading in readings(piece, turns):
            if found and reading.piece.goes_on and (reading.alone or found[-1].waits_for(reading)):
                reading.is_no_lap_of(found[-1])
                found[-1].goes_on_with(reading)
            else:
                found.append(reading)
    for one, more in zip(found[-2::-1], found[:0:-1], strict=True):
        if more.piece.goes_on and one.shares_the_place_of(more):
            one.turns += more.turns
    return found


def _opened(text: str, turns: Collection[int]) -> str:
    """A mark behind nothing but a place or a subject, such as ``t4: us 3``, is read as a space, where all of the line
    is shorthand then: what stands before the mark says nothing alone. Behind a comma such a place could take over what
    was said before it, so ``entry us, exit: os`` is read so only where the mark is followed by a finding."""
    lines = _RATED.sub(lambda match: re.sub(r"[:=]", " ", match.group()), text).split("\n")
    for at, line in enumerate(lines):
        while MARK in line and (opened := _without_mark(line, turns)) is not None:
            lines[at] = line = opened
    return "\n".join(lines)


def _without_mark(line: str, turns: Collection[int]) -> str | None:
    """The line with a space for its first mark, where that mark only stands between a place and what happens there."""
    head, _, tail = line.partition(MARK)
    begun = list(pieces(head))
    with suppress(Slip):
        own = [reading for piece in begun[-1:] for reading in readings(piece, turns)]
        as_one = line.replace(MARK, " ", 1)
        if not own or any(one.tells for one in own):
            if tail.strip() in ("1", "2", "3", "4", "5") and not any("severity" in one.parts for one in own):
                return as_one
            return _before_places(line, own, turns) if len(begun) == 1 else None
        if any(one.asides for one in own):
            return as_one if len(begun) == 1 and list(_readings(as_one, turns)) else None
        behind = next((reading for piece in pieces(tail) for reading in readings(piece, turns)), None)
        if len(begun) > 1 and (behind is None or "finding" not in behind.parts):
            return None
        before = None
        for reading in _readings(as_one, turns):
            if reading.piece.words[0].at > len(head) + 1 and not reading.piece.goes_on:
                break  # behind a semicolon: "t4: us; t7: os"
            now = meaning_of(reading, before if reading.piece.goes_on else None)
            last = any(word.at == begun[-1].words[0].at for word in reading.piece.words)
            of_it = behind is not None and "severity" in behind.parts
            if last and before is not None and not of_it and any(one.about not in OF_A_PLACE for one in now.remarks):
                return None  # "us, exit: worse with wear" is about the same; the tyres' wear is why
            before = now
        return as_one
    return None


def _behind_the_mark(text: str, slip: Slip, turns: Collection[int]) -> tuple[Slip, str]:
    """The slip to point at, and the text without a mark before it: where a place with a mark says nothing, such as
    ``t4: mdi us``, the word behind the mark."""
    begin = text.rfind("\n", 0, slip.word.at) + 1
    line = text[begin:].split("\n", 1)[0]
    mark = line.find(MARK)
    if mark < 0 or slip.word.at - begin > mark or not slip.expected.startswith("also what the car does there"):
        return slip, text
    ahead = text[:begin] + line.replace(MARK, " ", 1)
    try:
        _readings(ahead, turns)
    except Slip as own:
        if own.word.at > begin + mark and any(_says_one(word) for word in line[mark + 1 :].split()):
            return own, ahead
    return slip, text


def _says_one(word: str) -> bool:
    entry = by_form().get(word.lower().strip(",;."))
    return entry is not None and entry.part in ("finding", "subject", "phase")


def _before_places(line: str, own: Collection[Reading], turns: Collection[int]) -> str | None:
    """The line without its first mark, where a finding stands before it and nothing but turns behind it, with how bad
    it is there: ``us: t2 3, t4 2``. A phase before the mark is that of all of them."""
    head, _, tail = line.partition(MARK)
    of_own = {part for one in own for part in one.parts}
    placed = any(one.turns or {"speed", "everywhere"} & set(one.parts) for one in own)
    numbers = [word.plain for piece in pieces(tail) for word in piece.words]
    if len(numbers) > 1 and all(number.isdecimal() for number in numbers):
        return f"{head} {tail}"  # "us: 4, 7, 9" is refused at 7: a turn has its letter
    there = [reading for piece in pieces(tail) for reading in readings(piece, turns)]
    bare = all(one.turns and not one.asides and set(one.parts) <= {"severity", "confidence"} for one in there)
    if placed or "finding" not in of_own or not there or not bare or any(MARK in one for one in (tail, head)):
        return None
    if not any(one.phases for one in own):
        return f"{head} {tail}"
    rated = any(one.parts or one.phases for one in there)
    return None if rated else f"{head} {tail.replace(ON, ' ')}"


def _as_typed(text: str, reading: Reading) -> str:
    return text[reading.piece.words[0].at : reading.piece.end].strip()


def _number(text: str, word: Word) -> int:
    return sum(one.at <= word.at for piece in pieces(text) for one in piece.words) or 1
