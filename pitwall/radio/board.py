"""A call on a pit board: at most three short lines, shown as the car passes, acted on a lap later, never read back."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

MOST_LINES = 3
LINE_CHARACTERS = 10  # letters that a driver reads at speed in one line (common practice, no source)
READY_BEFORE_S = 20.0  # the board is hung out so long before the car passes (common practice, no source)
HANG_S = 3.0  # to hang out a board in haste (common practice, no source)

_LEFT_OUT = frozenset({"the", "a", "an", "to", "is", "of", "please", "now", "then", "and", "we", "it", "with"})
"""Words without which a line means the same; "in", "out", "on", "off", "no" and "this" are none of them."""

_SHORT = {
    "lap": "LAP", "laps": "LAPS", "turn": "T", "brake": "BRK", "bias": "BIAS", "engine": "ENG", "torque": "TRQ",
    "timed": "TIMED", "cool-down": "COOL", "display": "DISP", "traction": "TRAC", "seconds": "S", "practice": "PRAC",
    "comparison": "COMPARE", "degrees": "DEG",
}  # fmt: skip
_NUMBERS = {
    word: str(number)
    for number, word in enumerate(
        ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")
    )
}


@dataclass(frozen=True, slots=True)
class Board:
    """What is on the board, top line first, and by when it must hang. ``acted_on_s``: the driver acts a lap later."""

    lines: tuple[str, ...]
    ready_by_s: float
    acted_on_s: float


def board(short: str, passes_s: float, lap_s: float) -> Board | None:
    """The board for a call.

    Args:
        short: the short form of the call.
        passes_s: when the car passes the board, session seconds.
        lap_s: the lap that follows.

    Returns:
        The board; None when the call does not fit on one, which the engineer must be told.
    """
    lines = board_lines(short)
    return None if lines is None else Board(lines, passes_s - READY_BEFORE_S, passes_s + lap_s)


def board_lines(short: str) -> tuple[str, ...] | None:
    """The lines: capitals, figures for number words, filling words left out; None when three lines do not hold it."""
    words = [_board_word(word) for word in re.findall(r"[\w.:'-]*\w", short) if word.lower() not in _LEFT_OUT]
    words = _with_their_figures(words[:1] if len(set(words)) == 1 else words)  # "box, box" is written once
    lines: list[str] = []
    for word in words:
        if len(word) > LINE_CHARACTERS:
            return None
        if lines and len(lines[-1]) + 1 + len(word) <= LINE_CHARACTERS:
            lines[-1] = f"{lines[-1]} {word}"
        else:
            lines.append(word)
    return tuple(lines) if 0 < len(lines) <= MOST_LINES else None


def board_parts(parts: Sequence[str]) -> tuple[str, ...] | None:
    """Each part from a line of its own, so that a figure never stands with another switch; None when it is too long."""
    found = [board_lines(part) for part in parts]
    lines = tuple(line for part in found for line in part or ())
    return lines if None not in found and len(lines) <= MOST_LINES else None


def _board_word(word: str) -> str:
    plain = word.lower()
    return _NUMBERS.get(plain) or _SHORT.get(plain) or word.upper()


def _with_their_figures(words: list[str]) -> list[str]:
    """``T 4`` as ``T4`` and ``5 S`` as ``5S``: a figure never stands on another line than what it counts."""
    found: list[str] = []
    for word in words:
        if found and ((found[-1] == "T" and word.isdigit()) or (found[-1].isdigit() and word == "S")):
            found[-1] += word
        else:
            found.append(word)
    return found
