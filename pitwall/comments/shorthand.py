"""The shorthand in which comments are typed: read into remarks and free text, or refused at the word that is wrong.

    t4 mid us 3, exit os 2; rears hot 4: worse with wear

A line holds remarks, then a colon and free text. The words of a remark stand in any order (``words.py``). Several turns
or corner phases in one remark make a remark each. After a comma a remark may leave out its turn, if it names a corner
phase, and its finding, if it names a place: both are then those before the comma; balance and traction without any
place are of the place before it. After a semicolon or on a new line
nothing is carried over. ``comments/writing.py`` is the way back.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from pitwall.comments.meaning import Meaning, meaning_of
from pitwall.comments.reading import EXPECTED, Reading, read
from pitwall.comments.splitting import MARK, Slip, Word, free_text, pieces
from pitwall.model.comments import Remark

MOST_REMARKS = 40


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
        self.at, self.length, self.number = slip.word.at, max(len(slip.word.text), 1), number
        self.word, self.expected, self.nearest = slip.word.text, slip.expected, slip.nearest
        self._text = text
        near = f"; did you mean {slip.nearest!r}?" if slip.nearest else ""
        where, why = f"word {number}, {slip.word.text!r}", f"{slip.found}expected {slip.expected}"
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
    found: list[Remark] = []
    before: Meaning | None = None
    try:
        for reading in _readings(text, turns):
            before = meaning_of(reading, before if reading.piece.goes_on else None)
            found += before.remarks
            if len(found) > MOST_REMARKS:
                raise Slip(reading.piece.words[0], f"at most {MOST_REMARKS} remarks in one comment")
        words = free_text(text)
        if not found and not words:
            raise Slip(Word("", len(text.rstrip())), f"{EXPECTED}, or '{MARK}' and free text")
    except Slip as slip:
        raise ShorthandError(text, slip, _number(text, slip.word)) from None
    return Typed(tuple(found), words)


def _readings(text: str, turns: Collection[int]) -> list[Reading]:
    """A reading for each remark; how bad and how sure may stand behind a comma of their own."""
    found: list[Reading] = []
    for piece in pieces(text):
        reading = read(piece, turns)
        if found and piece.goes_on and reading.alone:
            for entry, word in reading.parts.values():
                found[-1].take(entry, word)
        else:
            found.append(reading)
    return found


def _number(text: str, word: Word) -> int:
    return sum(one.at <= word.at for piece in pieces(text) for one in piece.words) or 1
