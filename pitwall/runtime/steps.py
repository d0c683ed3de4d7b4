"""Tells apart what can happen to a machine's clocks: asleep, stood still, set. Looked at about once a second.

Between two looks three readings advance (``runtime/clock.py``)::

    elapsed - awake > 0   the machine slept: timers stood still, session time did not
    awake > a look        nobody looked for long: asleep where both clocks go on (Windows), or the process was stopped
    wall - elapsed != 0   the wall clock was set, by a person or by a time service

A sleep is a gap in which nobody listened; session time ran on in it. A wall clock that was set is no gap: no call and
no session time moves by it, only the timetable of the day is judged again. Where the system has no reading that goes
on during sleep (``clock.chosen_elapsed``) a sleep looks like a wall clock set forward, and is treated as one: the other
belief would throw the session an hour ahead because somebody set the clock. The feed's clock then sets session time
right with its next messages.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from pitwall.runtime.clock import awake_seconds, elapsed_seconds, wall_seconds

LOOK_EVERY_S = 1.0
STOOD_STILL_S = 10.0
"""Nobody looked for so much longer than usual: a gap. Shorter ones are a busy machine."""
READ_TOGETHER_S, READINGS = 0.05, 5
"""Three clocks cannot be read at once. Readings between which the process had to wait longer than this are read again,
or half a second off the processor would look like a sleep and a wall clock that was set back."""


@dataclass(frozen=True, slots=True)
class TimeStep:
    """What happened to the clocks since the last look, in real seconds.

    ``gap_s`` is for how long nobody listened: the machine slept or the process stood still. ``slept_s`` is the part in
    which timers stood still. ``wall_s`` is by how much the wall clock was set, forward or (negative) back.
    """

    gap_s: float = 0.0
    slept_s: float = 0.0
    wall_s: float = 0.0

    def __bool__(self) -> bool:
        return bool(self.gap_s or self.slept_s or self.wall_s)


class StepWatch:
    """Compares the clocks from look to look. Slow drift (a clock being disciplined) never adds up to a step."""

    def __init__(
        self,
        tolerance_s: float = 0.5,
        stood_still_s: float = STOOD_STILL_S,
        *,
        elapsed: Callable[[], float] = elapsed_seconds,
        awake: Callable[[], float] = awake_seconds,
        wall: Callable[[], float] = wall_seconds,
    ) -> None:
        """Take the first look.

        Args:
            tolerance_s: smaller differences between two looks are drift.
            stood_still_s: a look that comes so late is a gap; infinite where nobody looks regularly.
            elapsed: goes on while the machine sleeps.
            awake: stands still then, where the system can.
            wall: the time of day, Unix seconds.
        """
        self._tolerance_s, self._stood_still_s = tolerance_s, stood_still_s
        self._elapsed, self._awake, self._wall = elapsed, awake, wall
        self._last = self._read()

    def look(self) -> TimeStep:
        """What happened since the last look; false when nothing did."""
        before, self._last = self._last, self._read()
        elapsed, awake, wall = (now - then for now, then in zip(self._last, before, strict=True))
        slept, stepped = elapsed - awake, wall - elapsed
        slept = slept if slept > self._tolerance_s else 0.0
        stood_still = awake if awake > self._stood_still_s + LOOK_EVERY_S else 0.0
        return TimeStep(
            gap_s=slept + stood_still, slept_s=slept,
            wall_s=stepped if abs(stepped) > self._tolerance_s else 0.0,
        )

    def _read(self) -> tuple[float, float, float]:
        """The three clocks, as nearly at one moment as can be had; of readings torn apart each time, the closest."""
        best, closest = (0.0, 0.0, 0.0), math.inf
        for _ in range(READINGS):
            found = self._elapsed(), self._awake(), self._wall()
            torn = self._elapsed() - found[0]
            if torn < closest:
                best, closest = found, torn
            if torn <= READ_TOGETHER_S:
                break
        return best
