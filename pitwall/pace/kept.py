"""Answers that are worked out once: places of a lap are asked for again and again between two crossings.

What is kept hangs on what was asked, and so is no part of what is believed: a copy begins without it.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from typing import Any, TypeVar

MOST_KEPT = 2000
Spans = tuple[tuple[float, float], ...]
Asked = TypeVar("Asked")
Answer = TypeVar("Answer")


class Kept(dict[Asked, Answer]):
    """Answers by what was asked; emptied when there are too many."""

    def keep(self, asked: Asked, answer: Answer) -> Answer:
        """Keep an answer, and return it."""
        if len(self) >= MOST_KEPT:
            self.clear()
        self[asked] = answer
        return answer

    def __reduce__(self) -> tuple[type[Kept[Asked, Answer]], tuple[()]]:
        return type(self), ()


class Bend:
    """Phases of the lap map to a car's shares of its lap time, linear between loops.

    Args:
        points: ``(phase, share)`` at the loops, rising, from ``(0, 0)`` to ``(1, 1)``.
    """

    __slots__ = ("kept", "kept_spans", "pieces")

    def __init__(self, points: Sequence[tuple[float, float]]) -> None:
        self.kept = Kept[float, float]()
        self.kept_spans = Kept[int, tuple[Spans, Spans]]()
        self.pieces = [(map1, map0, mine0, mine1 - mine0, max(map1 - map0, 1e-9))
                       for (map0, mine0), (map1, mine1) in itertools.pairwise(points)]

    def at(self, phase: float) -> float:
        """The share at a phase; beyond the line as it is."""
        found = self.kept.get(phase)
        return self._at(phase) if found is None else found

    def spans(self, phases: Spans) -> Spans:
        """The shares at both ends of each; the same few are asked for again and again."""
        found = self.kept_spans.get(id(phases))
        if found is None:
            made = tuple([(self.at(begin), self.at(end)) for begin, end in phases])
            found = self.kept_spans.keep(id(phases), (phases, made))  # the phases are held: their id stays their own
        return found[1]

    def _at(self, phase: float) -> float:
        for end, begin, mine, rise, length in self.pieces:
            if phase <= end:
                return self.kept.keep(phase, mine + rise * (phase - begin) / length)
        return phase

    def __reduce__(self) -> tuple[Any, ...]:
        return _bend, (self.pieces,)


def _bend(pieces: list[tuple[float, float, float, float, float]]) -> Bend:
    made = Bend(())
    made.pieces = pieces
    return made
