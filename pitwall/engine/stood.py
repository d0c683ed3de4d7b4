"""Where a switch stood, and how that was known, before a hand entered a position: taken back, nothing is left of it.

What a slip entered was never so. To take it back is no move of the switch and casts no doubt on where it stood before;
nor on what a preset had been taken to move along with it. What was told or shown since stands.
"""

from __future__ import annotations

from dataclasses import dataclass

from pitwall.engine.switches import SwitchBoard
from pitwall.model.car import Position, same_position

KNOWN = ("believed", "measured", "measured_t", "owed")
MARKED = ("verified", "doubted", "unsaid", "unanswered")


@dataclass(frozen=True)
class Stood:
    """All that was known of one switch: its values in ``KNOWN``, and whether it was in each of ``MARKED``."""

    name: str
    known: tuple[object, ...]
    marked: tuple[bool, ...]


def stood(board: SwitchBoard, name: str) -> tuple[Stood, ...]:
    """The switch of that name, and what it sets along, as they stand."""
    switch = board.known(name)
    along = sorted(other for other in switch.sets if board.known(other) is not None) if switch is not None else []
    return tuple(Stood(one, tuple(getattr(board, field).get(one) for field in KNOWN),
                       tuple(one in getattr(board, field) for field in MARKED)) for one in (name, *along))


def standing(board: SwitchBoard, before: tuple[Stood, ...]) -> tuple[Position | None, ...]:
    """Where each of them stands now."""
    return tuple(board.stands(one.name) for one in before)


def put_back(board: SwitchBoard, before: tuple[Stood, ...], left: tuple[Position | None, ...]) -> None:
    """As it was, each that stands where the entry left it."""
    for one, position in zip(before, left, strict=True):
        if not same_position(board.stands(one.name), position):
            continue
        for field, value in zip(KNOWN, one.known, strict=True):
            values = getattr(board, field)
            values.pop(one.name, None)
            if value is not None:
                values[one.name] = value
        for field, was in zip(MARKED, one.marked, strict=True):
            names = getattr(board, field)
            names.discard(one.name)
            names.update([one.name] if was else [])
