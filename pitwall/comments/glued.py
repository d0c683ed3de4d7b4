"""Words that were typed as one, and numbers that were spelt out: taken apart into words that can be looked up.

``t4e`` is turn 4 entry, ``us3`` understeer 3, ``mid-exit`` two phases, ``t4/mid/us`` three words, ``us-`` understeer,
worse. A word is taken apart only where every part of it is known and the parts may stand beside each other so; a turn
that the circuit may call ``t4a`` is left whole, and refused as it stands.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from pitwall.comments.splitting import Word
from pitwall.comments.words import NUMBERS, PLACES, SIGNS, by_form

TURN = re.compile(r"(?:t|turn|corner|c)\.?(\d{1,3}(?:[-/+&]t?\d{1,3})*)", re.ASCII | re.IGNORECASE)
BARE_TURN = re.compile(r"t?(\d{1,3}(?:[-/+&]t?\d{1,3})*)", re.ASCII | re.IGNORECASE)
_RUN = re.compile(r"t\d{1,2}(?:-t?\d{1,2})?|[a-z]+|\d+|[-+=]$", re.ASCII | re.IGNORECASE)
_CHANGED = re.compile(r"([1-5])(->|>)([1-5])", re.ASCII)
"""How bad it was and how bad it is: ``us 3->2``."""
_LETTERS = {"e": "entry", "m": "mid", "x": "exit"}
"""Right behind the number of a turn, as on the second screen."""
OWNERS = ("floor", "power", "something", "back", "end", "kerb", "bias", "diff", "wind", "sun")
"""Words that are no thing of their own in the table, and may have "is" behind them as well."""
_TIES = ("to", "and", "&", "until", "-", "through")


def apart(words: tuple[Word, ...]) -> tuple[Word, ...]:
    """The words of one remark, each that is several taken apart, and spelt numbers as figures."""
    found = [part for word in words for part in _parts(word)]
    return tuple(_number(found, at) or _letter(found, at) or found[at] for at in range(len(found)))


def _parts(word: Word) -> tuple[Word, ...]:
    changed = _CHANGED.fullmatch(word.text)
    if changed is not None:
        return tuple(Word(changed.group(part), word.at + changed.start(part)) for part in (1, 2, 3))
    if _owner(word) is not None:
        return (Word(word.text, word.at, _owner(word) or ""),)
    if word.key in by_form() or TURN.fullmatch(word.plain) or BARE_TURN.fullmatch(word.plain):
        sign = word.plain[-1:]
        if len(word.plain) < 2 or sign not in SIGNS or word.key == word.plain.lower():
            return (word,)
    return _joined(word) or _run_together(word) or (word,)


def _owner(word: Word) -> str | None:
    """What has an apostrophe and s behind it, which are "is" or say whose: ``rear's loose``; None where nothing has."""
    stem, sign, end = word.plain.rpartition("'")
    if not sign or end.lower() != "s" or word.key in by_form():
        return None
    entry = by_form().get(stem.lower())
    thing = entry is not None and entry.part in ("axle", "subject", "corner", "finding")
    thing = thing or stem.lower() in OWNERS or stem.lower() in NUMBERS
    return stem if thing or TURN.fullmatch(stem) else None


def _joined(word: Word) -> tuple[Word, ...]:
    """Words with a stroke between them, or phases with a hyphen."""
    for sign in "/-+&":
        parts = list(_between(word, sign))
        entries = [by_form().get(part.key) for part in parts]
        phases = all(entry is not None and entry.part == "phase" for entry in entries)
        known = all(TURN.fullmatch(part.plain) or (entry is not None and entry.part not in ("filler", "severity"))
                    for part, entry in zip(parts, entries, strict=True))  # fmt: skip
        rated = entries[-1] is not None and entries[-1].part == "severity" and any(
            entry is not None and entry.part == "finding" for entry in entries)
        if rated and sign == "/":
            known = all(TURN.fullmatch(part.plain) or (entry is not None and entry.part != "filler")
                        for part, entry in zip(parts, entries, strict=True))  # fmt: skip
        if len(parts) > 1 and sign == "/" and all(entry is not None and entry.part == "speed" for entry in entries):
            return (parts[0], *(one for part in parts[1:] for one in (Word(sign, part.at - 1, "and"), part)))
        if len(parts) > 1 and (phases or (sign == "/" and known)):
            return tuple(parts)
    return ()


def _between(word: Word, sign: str) -> Iterator[Word]:
    at = word.at
    for part in word.plain.split(sign):
        yield Word(part, at)
        at += len(part) + 1


def _run_together(word: Word) -> tuple[Word, ...]:
    """Turns, words and severities without a space between them; nothing where that can be understood in two ways."""
    found = [cut for cut in _cuts(word.plain, word.at, "") if _is_one_place(cut)]
    if len(found) != 1 or len(found[0]) < 2:
        return ()
    turn, *others = found[0]
    return (turn, others[-1], *others[:-1]) if _ends_in_a_phase(found[0]) else found[0]


def _is_one_place(cut: tuple[Word, ...]) -> bool:
    """Guard: a phase in a letter behind how bad it is has its turn in front, and no other phase: ``t4us3e``."""
    if not _ends_in_a_phase(cut):
        return True
    phases = [one for one in cut if one.meant or _kind(one.key, "finding") == "phase"]
    return bool(TURN.fullmatch(cut[0].plain)) and len(phases) == 1


def _ends_in_a_phase(cut: tuple[Word, ...]) -> bool:
    """Guard: the last part is a phase in a letter, behind how bad it is."""
    return len(cut) > 2 and cut[-1].meant in _LETTERS.values() and cut[-2].plain in tuple("12345")


def _cuts(text: str, at: int, before: str) -> Iterator[tuple[Word, ...]]:
    """Every way to take this text apart behind a part of that kind."""
    if not text:
        yield ()
    match = _RUN.match(text)
    if match is None:
        return
    run = match.group()
    own = {run, run[:-1]} if run[-1:].lower() == "t" and text[len(run) : len(run) + 1].isdecimal() else {run}
    for part in sorted(own - {""}):
        kind = _kind(part.lower(), before)
        if kind:
            letter = _LETTERS.get(part.lower(), "") if kind in ("phase", "last") else ""
            for rest in _cuts(text[len(part) :], at + len(part), kind):
                yield (Word(part, at, letter), *rest)


def _kind(text: str, before: str) -> str:
    """What this part of a word is behind the part before it; empty where it can be nothing there."""
    if TURN.fullmatch(text):
        return "turn" if before in ("", "turn", "severity", "finding", "phase") else ""
    if text in "12345" and len(text) == 1:
        return "severity" if before in ("finding", "phase") else ""
    if text in SIGNS:
        return "sign" if before in ("finding", "severity") else ""
    if before == "turn" and text in _LETTERS:
        return "phase"
    if before == "severity" and text in ("e", "m"):
        return "last"  # not "x": "lock3x" is three times
    entry = by_form().get(text)
    if entry is None or entry.part not in ("finding", "phase") or before in ("severity", "last") or len(text) < 2:
        return ""
    return entry.part


def _letter(words: list[Word], at: int) -> Word | None:
    """A phase in one letter, right behind a turn; the next one of such a comment behind a severity."""
    letter = _LETTERS.get(words[at].plain.lower(), "")
    before = words[at - 1].plain if letter and at else ""
    behind_turn = bool(TURN.fullmatch(before))
    again = before in tuple("12345") and at + 1 < len(words) and any(
        word.text.lower() in _LETTERS for word in words[: at - 1])
    return Word(words[at].text, words[at].at, letter) if behind_turn or again else None


def surely_a_turn(keys: Sequence[str], at: int) -> bool:
    """Guard: a number behind a word of place, with nothing behind it that it could count: ``at 10``, ``out of 3``."""
    number = keys[at] in NUMBERS or bool(_BARE.fullmatch(keys[at]))
    behind = keys[at - 1] if at else ""
    if behind == "the" and at > 1:
        behind = keys[at - 2]
    if behind == "of" and at > 1 and keys[at - 2] in _OF_A_CORNER:
        behind = "into"
    if behind == "to" and at > 1 and keys[at - 2] == "in":
        behind = "into"  # "on turn in to 8"
    if behind in ("for", "on", "to") and at > 1 and keys[at - 2] in _OF_A_CORNER:
        behind = "into"
    if behind == "of" and at > 1:
        behind = f"{keys[at - 2]} of"
        if at > 2 and keys[at - 3].isdecimal():
            return False  # "2 out of 5"
    if not number or behind not in ("at", "into", "in", "out of", "through"):
        return False
    lead = keys[at - 2] if at > 1 else ""
    small = NUMBERS.get(keys[at], 9) <= 5 or keys[at] in tuple("12345")
    topic = lead in by_form() and by_form()[lead].part == "topic"
    led_on = lead in _LEAD_ON and (behind, lead) != ("at", "turn")  # "doesn't turn at 3"
    if small and (led_on or topic or any(TURN.fullmatch(key) for key in keys)):
        return False  # "on turn in 3", "all through 2", "map in 3"
    ahead = keys[at + 1] if at + 1 < len(keys) else ""
    counted = ahead in by_form() and by_form()[ahead].part not in ("filler", "topic")
    return not ahead or ahead in _ENDS_A_TURN or counted


_BARE = re.compile(r"\d{1,2}(?:[-/+& ]\d{1,2})*", re.ASCII)
_LEAD_ON = ("turn", "turns", "turning", "all", "come", "comes", "came", "coming", "dial", "dialled", "put")
"""Words that belong to the one behind them: ``turn in``, ``all through``."""
_OF_A_CORNER = ("entry", "exit", "apex", "mid", "middle", "braking", "brakes", "centre", "center", "in", "out", "into")
_ENDS_A_TURN = ("and", "&", "is", "are", "-", "to", "too", "now", "with", "has", "gets", "but", "then", "on", "at",
                "it", "i", "the", "he", "she", "under", "when", "just", "?", "really", "very", "also", "still", "every",
                "only", "got", "feels", "felt", "becomes", "again", "keeps", "behind", "following", "we", "you",
                "there", "i'm", "it's", "he's", "she's", "they")


_BEGINS_A_TURN = ("and", "&", "is", "are", "has", "still", "feels", "entry", "exit", "mid", "apex")
"""Words behind a number that is spelt out, comes first and is no severity: it is a turn."""


def _number(words: list[Word], at: int) -> Word | None:
    """A spelt number where only a number can stand: of a turn, or as a severity at the end."""
    word = words[at]
    if word.key not in NUMBERS:
        return None
    before = words[at - 1].key if at else ""
    tied = before in _TIES and at > 1 and (words[at - 2].key in NUMBERS or bool(TURN.fullmatch(words[at - 2].plain)))
    keys = [one.key for one in words]
    out_of = keys[at + 1 : at + 3] == ["out", "of"] or (keys[max(at - 2, 0) : at] == ["out", "of"] and at > 2
                                                        and (keys[at - 3] in NUMBERS or keys[at - 3].isdecimal()))
    last = at + 1 == len(words) or words[at + 1].key == "?"
    if before == "all":
        return None  # "locks all four"
    of_a_phase = before in by_form() and by_form()[before].part == "phase"  # "mid four" may be turn four
    rated = last and NUMBERS[word.key] <= 5 and not of_a_phase
    if at == 0 and NUMBERS[word.key] > 5 and keys[1:2] and keys[1] in _BEGINS_A_TURN:
        return Word(word.text, word.at, f"t{NUMBERS[word.key]}")  # "ten is good"
    said = before in (*PLACES, "lap", "severity", "sev")
    if said or tied or out_of or rated or surely_a_turn(keys, at):
        return Word(word.text, word.at, str(NUMBERS[word.key]))
    return None
