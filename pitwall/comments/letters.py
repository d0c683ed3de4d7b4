"""Tags in single letters, as the second screen takes them: ``4eu3`` is turn 4, entry, understeer, severity 3.

A comment of nothing but tags is read here and not by the words of the shorthand; free text may stand behind a colon.
The page says at every key how a tag is read. Here nobody sees that before it is sent, so a tag has its turn, its
finding, and how bad that is or in which part of the corner: ``3s`` may be three seconds. What may be a number of
something is none, if it says not how bad it is, or begins with ``t``: ``10mb`` is ten millibars, and ``2xs`` may be two
snaps where no other tag stands beside it.
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
_UNIT = re.compile(r"\d+m[bghsvw][-+=]?", re.IGNORECASE | re.ASCII)
"""A number of something: thousandths of a bar, an hour, a second."""
_TIMES = re.compile(r"\d+x[a-z][-+=]?", re.IGNORECASE | re.ASCII)
"""A tag, or how often."""
A_TAG = f"a tag such as 4eu3, as the others are, or '{MARK}' before free text"
BETTER_OR_WORSE = "'better' or 'worse' in words, such as t4 entry us 3 better"


def lettered(text: str, turns: Collection[int]) -> tuple[tuple[Remark, ...], str] | None:
    """The remarks of a comment whose words before the mark are tags, and the free text; None for any other.

    Args:
        text: as it was typed.
        turns: those of the circuit; none: not known.

    Raises:
        Slip: at the first word that is no tag, where the comment begins with one; at a tag whose turn is not there,
            whose sign may be better or worse, or that may be a number of something.
    """
    tags: list[Word] = []
    words: list[str] = []
    begin = 0
    for line in text.split("\n"):
        head, _, behind = line.partition(MARK)
        own = [Word(match.group(), begin + match.start()) for match in _ONE.finditer(head)]
        strange = next((one for one in own if not _TAG.fullmatch(one.text)), None)
        if strange is not None and (tags or own[0] is not strange) and not _is_doubtful((tags or own)[0]):
            raise Slip(strange, A_TAG)
        if (line.strip() and not own) or strange is not None:
            return None
        tags += own
        words += [behind.strip()] if behind.strip() else []
        begin += len(line) + 1
    if not tags:
        return None
    doubtful = [one for one in tags if _is_doubtful(one)]
    units = [one for one in doubtful if _UNIT.fullmatch(one.text)]
    if units or len(doubtful) == len(tags):
        raise Slip((units or doubtful)[0], _how_bad((units or doubtful)[0].text))
    return tuple(dict.fromkeys(_remark(one, turns) for one in tags)), "\n".join(words)


def _is_doubtful(word: Word) -> bool:
    return bool(_UNIT.fullmatch(word.text) or _TIMES.fullmatch(word.text))


def _how_bad(text: str) -> str:
    bare = text.rstrip("-+=")
    return f"how bad it is, such as {bare}3, or t{text}, if that is the turn; it may be a number of something"


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
