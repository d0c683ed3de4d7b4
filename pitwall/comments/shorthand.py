"""The shorthand in which comments are typed: read into remarks and free text, or refused at the word that is wrong.

    t4 mid us 3, exit os 2; rears hot 4: worse with wear

A line holds remarks, then a colon and free text. The words of a remark stand in any order (``words.py``). Several turns
or corner phases in one remark make a remark each. After a comma a remark may leave out its turn, if it names a corner
phase, and its finding, if it names a place: both are then those before the comma; balance, traction, a wheel that
locks and grip that lacks are of the place before it where they name none. After a semicolon or on a new line
nothing is carried over. ``comments/writing.py`` is the way back.
"""

from __future__ import annotations

import re
from collections.abc import Collection
from dataclasses import dataclass, field

from pitwall.comments.contradicting import at_a_time, says_no_other
from pitwall.comments.grouping import EXPECTED
from pitwall.comments.joining import all_readings
from pitwall.comments.letters import lettered
from pitwall.comments.marks import behind_the_mark, opened
from pitwall.comments.meaning import Meaning, becomes_no_other, meaning_of
from pitwall.comments.reading import Reading
from pitwall.comments.splitting import MARK, Slip, Word, as_typed, free_text, pieces
from pitwall.model.comments import CONTENT, Remark

MOST_REMARKS = 40
_A_TURN = re.compile(r"\b(?:t\d|turns?\b|corners?\b)", re.IGNORECASE)
_ENDS = re.compile(r"[\s(]*\b(until|till|unless)\b(?!.*\bthen\b)", re.IGNORECASE)
_ON_CONDITION = re.compile(r"[\s,(]*\b(when|whenever|while|if)\b", re.IGNORECASE)
"""What ends it, where what there is then is not said, either."""


@dataclass(frozen=True)
class Typed:
    """What a typed comment says. ``unread``: words of its text that stand among its remarks and that nobody knows."""

    remarks: tuple[Remark, ...]
    text: str = ""
    unread: tuple[str, ...] = field(default=(), compare=False)


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
    unread: list[Word] = []
    joint = "\n"
    found: list[Remark] = []
    undated: list[Remark] = []
    before: Meaning | None = None
    try:
        tags = lettered(text, turns)
        if tags is not None:
            return _tagged(text, *tags)
        text, lists = opened(text, turns)  # as long as it was typed
        for reading in all_readings(text, turns, lists):
            kept += [_as_typed(typed, reading)] if reading.asides or reading.kept or reading.noted else []
            unread += reading.unread
            if reading.kept:
                undated = []  # "diff 3: os t2 3, diff 5: os t2 1"
                joint = f"{MARK} " if _marked(text, reading) else "\n"
                continue
            _not_a_turn(text, reading)
            _not_until_then(text, reading)
            now = meaning_of(reading, before if reading.piece.goes_on else None)
            becomes_no_other(reading, before, now)
            undated = undated if reading.piece.goes_on else []
            says_no_other(reading, now.remarks, undated)
            undated += () if at_a_time(reading) else now.remarks
            before, joint = now, "\n"
            found += [one for one in now.remarks if not (reading.piece.goes_on and one in found)]  # said twice
            if len(found) > MOST_REMARKS:
                raise Slip(reading.piece.words[0], f"at most {MOST_REMARKS} remarks in one comment")
        words = free_text(text, typed)
        if not found and not kept and not words:
            first = (text.split() or [""])[0]
            raise Slip(Word(first, text.find(first)), f"{EXPECTED}, or '{MARK}' and free text")
    except Slip as slip:
        slip, text = behind_the_mark(text, slip, turns)
        raise ShorthandError(typed, slip, _number(text, slip.word)) from None
    text = "\n".join(kept)
    text = joint.join(one for one in (text, words) if one)
    return Typed(tuple(found), text, tuple(word.text for word in unread))


def _tagged(text: str, remarks: tuple[Remark, ...], words: str) -> Typed:
    """What tags in letters say.

    Raises:
        Slip: at the first word, where they are too many.
    """
    if len(remarks) > MOST_REMARKS:
        first = text.split()[0]
        raise Slip(Word(first, text.find(first)), f"at most {MOST_REMARKS} remarks in one comment")
    return Typed(remarks, words)


def _not_a_turn(text: str, reading: Reading) -> None:
    """Refuse ``5 us`` and ``os exit 3``: a number that comes first, or behind where in a corner it is, is as likely the
    turn as how bad it is, where no turn is named.

    Raises:
        Slip: at the number.
    """
    _, word = reading.parts.get("severity", (None, None))
    placed = reading.turns or {"corner", "everywhere"} & set(reading.parts)
    if word is not None and not placed and _is_of_a_place(text, reading, word):
        turn = f"t{word.key}"
        raise Slip(word, f"a turn such as {turn}; or how bad it is right behind what it is of", nearest=turn)
    if word is None or placed or reading.piece.goes_on or (reading.alone and "trend" not in reading.parts):
        return
    if word.key.isdigit() and word.at == reading.piece.words[0].at:
        raise Slip(word, f"a turn such as t{word.key}, or how bad it is behind what it is of", nearest=f"t{word.key}")


def _is_of_a_place(text: str, reading: Reading, word: Word) -> bool:
    """Guard: this number stands behind what has a turn, and no turn and no kind of corner is named anywhere: ``snap
    exit 3``, ``kicks over kerb 4``."""
    if not word.key.isdigit() or reading.piece.goes_on or "speed" in reading.parts or _A_TURN.search(text):
        return False
    keys = [one.key for one in reading.piece.words if one.at < word.at]
    before = keys[-1] if keys else ""
    kerb = before in ("kerb", "curb") and "finding" in reading.parts and reading.parts["finding"][0].value != "kerbs"
    of_a_phase = any(said.key.split()[-1] == before for _, said in reading.phases)  # not "down on power 3"
    return kerb or (of_a_phase and before in ("entry", "exit", "apex", "power", "throttle", "gas", "pwr"))


def _not_until_then(text: str, reading: Reading) -> None:
    """Refuse ``no us until lap 5``, ``rear good until lap 6``: from then on it is otherwise; and ``no us when alone``.

    Raises:
        Slip: at the word that ends it.
    """
    behind = _ENDS.match(text, reading.piece.end)
    said = {reading.parts[part][0].value for part in ("trend", "finding") if part in reading.parts}
    if behind is not None and said & {"gone", "good", *CONTENT}:
        word = Word(behind.group(1), behind.start(1))
        raise Slip(word, f"what there is then, such as us from lap 5; or '{MARK}' before free text")
    condition = _ON_CONDITION.match(text, reading.piece.end)
    if condition is not None and reading.denies:
        word = Word(condition.group(1), condition.start(1))
        raise Slip(word, f"less of it, such as less us, or '{MARK}' before free text: what is not there on a condition"
                         " is not gone")


def _marked(text: str, reading: Reading) -> bool:
    """Guard: these words that are kept end at the mark of a comment of one line, so the free text goes on with them."""
    return "\n" not in text and text[reading.piece.end :].startswith(MARK)


def _as_typed(text: str, reading: Reading) -> str:
    return text[reading.piece.words[0].at : reading.piece.end].strip()


def _number(text: str, word: Word) -> int:
    before = [one for piece in pieces(text) for one in piece.words if one.at <= word.at]
    of_a_reason = bool(before) and word.at >= max(one.at + len(one.text) for one in before)
    return len(before) + of_a_reason or 1
