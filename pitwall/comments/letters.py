"""Tags in single letters, as the second screen takes them: ``4eu3`` is turn 4, entry, understeer, severity 3.

A comment of nothing but tags is read here and not by the words of the shorthand; free text may stand behind a colon.
The page says at every key how a tag is read. Here nobody sees that before it is sent, so a tag has its turn, its
finding, and how bad that is or in which part of the corner: ``3s`` may be three seconds.
"""

from __future__ import annotations

import re
from collections.abc import Collection

from pitwall.comments.grouping import a_turn_that_is_there
from pitwall.comments.splitting import MARK, Slip, Word
from pitwall.model.comments import Remark

PHASES = {"e": "entry", "m": "mid", "x": "exit"}
FINDINGS: dict[str, dict[str, str]] = {
    "u": {"about": "balance", "what": "understeer"}, "o": {"about": "balance", "what": "oversteer"},
    "s": {"about": "balance", "what": "snap"}, "f": {"about": "braking", "what": "locking", "axle": "front"},
    "r": {"about": "braking", "what": "locking", "axle": "rear"}, "w": {"about": "traction", "what": "wheelspin"},
    "g": {"about": "grip", "what": "low"}, "b": {"about": "ride", "what": "bottoming"},
    "k": {"about": "ride", "what": "kerbs"}, "c": {"about": "tyres", "what": "cold"},
    "h": {"about": "tyres", "what": "hot"}, "d": {"about": "tyres", "what": "worn"},
    "v": {"about": "tyres", "what": "vibration"},
}  # fmt: skip
_TAG = re.compile(r"t?(\d{1,2})(?:([emx])([uosfrwgbkcdhv])([1-5]?)|()([uosfrwgbkcdhv])([1-5]))([-+=]?)",
                  re.IGNORECASE | re.ASCII)  # fmt: skip
_ONE = re.compile(r"[^\s,;]+")
_NO_TAG = re.compile(r"\d+ms", re.IGNORECASE | re.ASCII)
"""Thousandths of a second, or metres in one."""
BETTER_OR_WORSE = "'better' or 'worse' in words, such as t4 entry us 3 better"


def lettered(text: str, turns: Collection[int]) -> tuple[tuple[Remark, ...], str] | None:
    """The remarks of a comment whose words before the mark are tags, and the free text; None for any other.

    Args:
        text: as it was typed.
        turns: those of the circuit; none: not known.

    Raises:
        Slip: at a tag whose turn is not there, or whose sign may be better or worse.
    """
    tags: list[Word] = []
    words: list[str] = []
    begin = 0
    for line in text.split("\n"):
        head, _, behind = line.partition(MARK)
        own = [Word(match.group(), begin + match.start()) for match in _ONE.finditer(head)]
        if (line.strip() and not own) or not all(_is_a_tag(one.text) for one in own):
            return None
        tags += own
        words += [behind.strip()] if behind.strip() else []
        begin += len(line) + 1
    if not tags:
        return None
    return tuple(dict.fromkeys(_remark(one, turns) for one in tags)), "\n".join(words)


def _is_a_tag(text: str) -> bool:
    return bool(_TAG.fullmatch(text)) and not _NO_TAG.fullmatch(text)


def _remark(word: Word, turns: Collection[int]) -> Remark:
    match = _TAG.fullmatch(word.text.lower())
    assert match is not None
    turn, sign = a_turn_that_is_there(int(match.group(1)), word, turns), match.group(8)
    if sign in ("+", "-"):
        raise Slip(Word(sign, word.at + len(word.text) - 1), BETTER_OR_WORSE, f"{sign!r} may be either, ")
    phase, finding, severity = (match.group(at) or match.group(at + 3) for at in (2, 3, 4))
    own = {"phase": PHASES[phase]} if phase else {}
    own |= {"severity": severity} if severity else {}
    own |= {"trend": "same"} if sign else {}
    return Remark.model_validate({"turn": turn, **own, **FINDINGS[finding]})
