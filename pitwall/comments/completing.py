"""What may be typed next: the words that fit behind what stands there, and what each means."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator
from dataclasses import dataclass, replace

from pitwall.comments.grouping import groups
from pitwall.comments.kept import words_from
from pitwall.comments.reading import Reading
from pitwall.comments.splitting import MARK, Piece, Slip, Word, pieces
from pitwall.comments.taking import read
from pitwall.comments.words import COMING, MOST_WORDS, POOR, TABLE, Entry
from pitwall.model.comments import CONTENT

_TURN = re.compile(r"t(\d{0,2})")
OFFERED = ("phase", "speed", "finding", "subject", "axle", "side", "corner", "severity", "confidence", "trend",
           "everywhere", "amount", "poor", "topic")
"""Parts in the order in which they are offered."""


@dataclass(frozen=True)
class Completion:
    """A word that may stand here, what it means, and from which character on it takes the place of what was typed."""

    word: str
    meaning: str
    at: int


def completions(text: str, turns: Collection[int] = ()) -> tuple[Completion, ...]:
    """Words that may come next, or that begin with what stands last; none inside free text.

    Args:
        text: the comment as far as it is typed; the cursor stands at its end.
        turns: the turns that the circuit has; none: not known, and none are offered.
    """
    line = text.rpartition("\n")[2]
    if MARK in line:
        return ()
    begun = list(pieces(text)) if line.strip() else []
    open_words = begun[-1].words if begun and begun[-1].end == len(text) else ()
    if _kept(begun, open_words, turns):
        return ()
    found: dict[str, Completion] = {}
    fewest = 0 if text[-1:] in ("", " ", "\n", ",", ";", "?") else 1
    for many in range(min(MOST_WORDS, len(open_words)), fewest - 1, -1):
        prefix = " ".join(word.key for word in open_words[len(open_words) - many :])
        if many and fewest == 0:
            prefix += " "
        at = open_words[-many].at if many else len(text)
        for one in _fitting(open_words[: len(open_words) - many], prefix, at, turns):
            found.setdefault(one.word, one)
    return tuple(found.values())


def _kept(begun: list[Piece], open_words: tuple[Word, ...], turns: Collection[int]) -> bool:
    """Guard: what is typed here is kept as words, and the last of them is not the one that is being typed."""
    try:
        return len(open_words) > 1 and words_from(replace(begun[-1], words=open_words[:-1]), turns) is not None
    except Slip:
        return True


def _fitting(words: tuple[Word, ...], prefix: str, at: int, turns: Collection[int]) -> Iterator[Completion]:
    try:
        reading = read(Piece(words, True, at), turns)
    except Slip:
        return
    wanted = _TURN.fullmatch(prefix)
    if (wanted is not None or not prefix) and not reading.turns:
        begin = wanted.group(1) if wanted is not None else ""
        yield from (Completion(f"t{turn}", f"turn {turn}", at) for turn in sorted(turns) if str(turn).startswith(begin))
    for part in OFFERED:
        for entry in TABLE:
            form = next((form for form in entry.forms if form.startswith(prefix) and form != prefix), None)
            if entry.part == part and form is not None and _is_no_praise(reading, entry, form) and (
                    _fits(entry, reading) and _stays_whole(reading, form)):
                yield Completion(form, entry.meaning, at)


def _is_no_praise(reading: Reading, entry: Entry, form: str) -> bool:
    """Guard: this says not how much of what is wanted there is, such as ``traction plenty of``."""
    of_it = "subject" in reading.parts and reading.parts["subject"][0].value == "traction"
    told = {"finding", "trend", "amount", "poor", "lack"} & set(reading.parts)
    return entry.part != "severity" or form[:1].isdecimal() or not of_it or bool(told)


def _stays_whole(reading: Reading, form: str) -> bool:
    """Guard: behind these words the form is read as it is, and none of it with them: ``lacks power`` is one already."""
    finding = reading.parts.get("finding")
    blamed = finding is not None and finding[0].value not in (*CONTENT, "good")
    blamed = blamed or bool({"poor", "lack"} & set(reading.parts))
    if blamed and form.startswith(COMING):
        return False  # of what is not wanted it may be either way
    words = reading.piece.words
    if not words or " " not in form:
        return True
    added = tuple(Word(word, 0) for word in form.split())
    try:
        return [*groups(Piece((*words, *added), True, 0))][-1].form == form
    except Slip:
        return False


def _fits(entry: Entry, reading: Reading) -> bool:
    """Guard: behind these words this one says something more, and nothing against them."""
    if entry.part == "phase":
        return all(entry is not one for one, _ in reading.phases)
    if entry.part in reading.parts:
        return False
    parts = {part: one for part, (one, _) in reading.parts.items()}
    subject, finding = parts.get("subject"), parts.get("finding")
    if entry.part in ("axle", "side", "corner"):
        return "corner" not in parts and not (entry.part == "corner" and {"axle", "side"} & set(parts))
    if entry.part == "finding":
        of_it = not entry.named if subject is None else entry.value == "good" or entry.subject == subject.value
        return of_it and not {"poor", "lack"} & set(parts)
    if entry.part == "subject":
        named = finding is None or finding.value == "good" or finding.subject == entry.value
        return named and ("poor" not in parts or entry.value in POOR)
    if entry.part == "poor":
        return finding is None and (subject is None or subject.value in POOR)
    if entry.part == "severity":
        gone = "trend" in parts and parts["trend"].value == "gone"
        return not gone and not (reading.asides and reading.piece.words[-1].key.isdigit())  # "lap 4", and how bad
    if entry.part in ("trend", "amount"):
        praised = finding is not None and finding.value in (*CONTENT, "good")
        if praised and entry.value == "gone":
            return False
        return not {"trend", "amount"} & set(parts)
    return True
