"""The quickest lap of a stretch of time: asked with every crossing, so the laps are kept in order of their end."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import deque
from dataclasses import dataclass, field

QuickLaps = deque[tuple[float, float]]
"""When a lap ended and what it took, seconds; in about the order in which they ended."""


@dataclass
class Quickest:
    """Answers for one list of laps; whoever holds another list needs another one of these."""

    of: QuickLaps
    _ends: list[float] = field(default_factory=list)
    _laps: list[float] = field(default_factory=list)

    def __post_init__(self) -> None:
        for t, lap in self.of:
            self.learned(t, lap)

    def learned(self, t: float, lap: float) -> None:
        """Take a lap that was put into the list."""
        at = bisect_right(self._ends, t)
        self._ends.insert(at, t)
        self._laps.insert(at, lap)

    def between(self, since: float, until: float) -> float | None:
        """The quickest lap that ended between these seconds, both included; None where none did."""
        return min(self._laps[bisect_left(self._ends, since) : bisect_right(self._ends, until)], default=None)
