"""The words of one remark looked up: which part of it each gives, turns and forms of several words included."""

from __future__ import annotations

import re
from collections.abc import Collection
from dataclasses import dataclass, field

from pitwall.comments.nearest import nearest
from pitwall.comments.splitting import MARK, Piece, Slip, Word
from pitwall.comments.words import MOST_WORDS, PLACES, SIGNS, Entry, by_form

HIGHEST_TURN = 60
A_TURN = "a turn from 1 to"
"""How the refusal of a turn that is not there begins to say what is expected."""
_TURN = re.compile(r"(?:t|turn|corner|c)\.?(\d{1,3}(?:[-/+&]t?\d{1,3})*)", re.ASCII | re.IGNORECASE)
_NUMBERS = re.compile(r"t?(\d{1,3}(?:[-/+&]t?\d{1,3})*)", re.ASCII | re.IGNORECASE)
EXPECTED = "a turn such as t4, a corner phase, a finding such as us, lock or cold, a severity from 1 to 5"
NEGATIONS = ("no", "not", "never", "without")
ALONE = ("severity", "confidence", "trend", "amount")
"""Parts that say nothing alone: behind a comma they belong to what stands before it."""


KINDS_OF_CORNERS = ("corner", "corners", "turns")
"""Behind a speed class they are all of that class, and the number behind them is how bad it is there."""
JUDGED = ("finding", "subject", "axle", "corner")
"""What a sign for better or worse may stand right behind; else it stands last."""


@dataclass
class Reading:
    """What the words of one remark gave: the entry of each part with its word, and the turns."""

    piece: Piece
    parts: dict[str, tuple[Entry, Word]] = field(default_factory=dict)
    phases: list[tuple[Entry, Word]] = field(default_factory=list)
    turns: list[int] = field(default_factory=list)
    last: str = ""
    """The part that was read last."""

    def take(self, entry: Entry, word: Word) -> None:
        """One more entry; each part stands once, and phases may be several."""
        if entry.part == "phase":
            if all(entry is not one for one, _ in self.phases):
                self.phases.append((entry, word))
            return
        there = self.parts.get(entry.part)
        if there is not None and there[0] is not entry:
            raise Slip(word, f"one {entry.part} in a remark; a comma begins the next one",
                       f"after {there[1].text!r} a second {entry.part}, ")
        self.parts.setdefault(entry.part, (entry, word))

    @property
    def alone(self) -> bool:
        """True for what says only how bad, how sure or which way, and not of what."""
        return bool(self.parts) and not self.turns and not self.phases and set(self.parts) <= set(ALONE)


def read(piece: Piece, turns: Collection[int] = ()) -> Reading:
    """Look every word of one remark up.

    Args:
        piece: its words.
        turns: the turns that the circuit has; none: not known.

    Raises:
        Slip: at the first word that is none, or that stands there for the second time.
    """
    reading, words, at = Reading(piece), piece.words, 0
    while at < len(words):
        taken = _turn(reading, words, at, turns) or _form(reading, words, at)
        if not taken:
            raise _unknown(reading, words[at], turns)
        at += taken
    return reading


def _turn(reading: Reading, words: tuple[Word, ...], at: int, known: Collection[int]) -> int:
    """How many words name turns here."""
    word = words[at]
    match, taken = _TURN.fullmatch(word.text), 1
    ahead = words[at + 1] if at + 1 < len(words) else None
    numbered = word.key in PLACES and not ("speed" in reading.parts and word.key in KINDS_OF_CORNERS)
    placed = numbered or (bool(reading.turns) and word.key in ("and", "&") and _after_turn(words, at))
    if match is None and placed and ahead is not None:
        match, taken = _NUMBERS.fullmatch(ahead.text), 2
        word = ahead if match is not None else word
    if match is None:
        return 0
    reading.last = "turn"
    reading.turns += [turn for turn in _numbers(match.group(1), word, known) if turn not in reading.turns]
    return taken


def _after_turn(words: tuple[Word, ...], at: int) -> bool:
    """Guard: ``and`` right behind the number of a turn goes on with turns."""
    return at > 0 and bool(_TURN.fullmatch(words[at - 1].text) or _NUMBERS.fullmatch(words[at - 1].text))


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


def _form(reading: Reading, words: tuple[Word, ...], at: int) -> int:
    """How many words make the longest form that stands here; its entry is taken."""
    for many in range(min(MOST_WORDS, len(words) - at), 0, -1):
        form = " ".join(word.key for word in words[at : at + many])
        entry = by_form().get(form)
        if entry is not None:
            first, last = words[at], words[at + many - 1]
            whole = Word(" ".join(word.text for word in words[at : at + many]), first.at)
            if last.at + len(last.text) - first.at != len(whole.text):
                whole = first
            if form in SIGNS and at + many < len(words) and reading.last not in JUDGED:
                raise Slip(whole, f"a comma, or {entry.form!r} if that is meant; {form!r} stands behind what it judges")
            if entry.part != "filler":
                reading.take(entry, whole)
            reading.last = entry.part
            return many
    return 0


def _unknown(reading: Reading, word: Word, known: Collection[int]) -> Slip:
    if re.fullmatch(r"\d+(/\d+)?", word.text):
        turn = int(word.text) if word.text.isdecimal() else 0
        there = turn in known if known else turn <= HIGHEST_TURN
        return Slip(word, "a severity from 1 to 5, or a turn such as t4",
                    nearest=f"t{turn}" if turn > 5 and there else "")
    if word.key in NEGATIONS:
        return Slip(word, f"what there is, such as us or good; what there is not goes behind '{MARK}'")
    subject = reading.parts["subject"][0].value if "subject" in reading.parts else ""
    return Slip(word, f"{EXPECTED}, or '{MARK}' before free text", nearest=nearest(word.key, subject))
