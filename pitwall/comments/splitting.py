"""A typed comment taken apart: lines, remarks, words with their places, and the free text after the mark."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

MARK = ":"
ON, ANEW = ",", ";"
"""Between remarks: a comma goes on with what was said before, a semicolon or a new line begins anew."""
_WORD = re.compile(r"[^\s,;?]+|\?")
_PIECE = re.compile(r"[^,;]*")


@dataclass(frozen=True)
class Word:
    """One word as it was typed, and where it begins (characters from the beginning of the comment, from 0)."""

    text: str
    at: int

    @property
    def key(self) -> str:
        """How the table of words has it: lower case, a space for each hyphen inside."""
        bare = self.text.lower().rstrip(".!")
        return bare if len(bare) < 2 else bare[0] + bare[1:].replace("-", " ").replace("_", " ").rstrip()


@dataclass(frozen=True)
class Piece:
    """The words of one remark. ``goes_on``: it stands behind a comma, and may leave out what was said before it."""

    words: tuple[Word, ...]
    goes_on: bool
    end: int


class Slip(Exception):
    """A word that cannot stand where it stands."""

    def __init__(self, word: Word, expected: str, found: str = "", nearest: str = "") -> None:
        self.word, self.expected, self.found, self.nearest = word, expected, found, nearest
        super().__init__(expected)


def pieces(text: str) -> Iterator[Piece]:
    """The remarks of a comment, those without words left out."""
    for start, line in _lines(text):
        head, at, goes_on = line.partition(MARK)[0], 0, False
        while at <= len(head):
            match = _PIECE.match(head, at)
            assert match is not None  # it matches nothing, too
            words = tuple(Word(found.group(), start + found.start()) for found in _WORD.finditer(head, at, match.end())
                          if found.group().strip(".!"))
            if words:
                yield Piece(words, goes_on, start + match.end())
            goes_on = head[match.end() : match.end() + 1] == ON
            at = match.end() + 1


def free_text(text: str) -> str:
    """What stands after the mark, line by line."""
    after = (line.partition(MARK)[2].strip() for _, line in _lines(text))
    return "\n".join(line for line in after if line)


def _lines(text: str) -> Iterator[tuple[int, str]]:
    at = 0
    for line in text.split("\n"):
        yield at, line
        at += len(line) + 1
