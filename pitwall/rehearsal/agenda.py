"""The world's diary: what happens at which session second. Truth keeps the moment that was meant.

A live clock wakes late by a millisecond; an action is told the moment it was armed for, so the truth does not wander
with the machine.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol


class WorldClock(Protocol):
    """What the world needs of a clock; wall, scaled and virtual clocks all have it."""

    def now(self) -> float:
        """Session seconds."""

    def call_at(self, t: float, action: Callable[[], None]) -> object:
        """Call ``action`` once ``now() >= t``; equal times run in the order in which they were armed."""


Action = Callable[[float], None]


class Agenda:
    """Arms actions on the clock."""

    def __init__(self, clock: WorldClock) -> None:
        self._clock = clock

    def now(self) -> float:
        """Session seconds."""
        return self._clock.now()

    def at(self, t: float, action: Action) -> None:
        """Call ``action(t)`` at ``t``, or at once on the next turn of the clock when ``t`` has passed."""
        self._clock.call_at(t, lambda: action(t))
