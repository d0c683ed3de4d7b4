"""The timetable of the day: how an entry is judged, and the twin that rides a session clock.

How an entry is judged stands in ``ports.Timetable``; ``Standing`` is that judgement, shared by both adapters. They
differ in who rings: here an armed wake-up of a ``Clock`` (rehearsals and tests), in ``runtime/wall_timetable.py``
APScheduler. An alarm is only an occasion to look: the judgement is made by the wall clock as it reads then, so an alarm
that rings at the wrong time tells nothing wrong.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from pitwall.model.timetable import Reached, TimetableEntry
from pitwall.runtime.ports import Clock, Wakeup

SOON_S = 0.001
"""An alarm that rang a hair early is set again for so much later, so that it never spins."""


class Standing:
    """Which entries are still to be told, judged by the wall clock. No alarms, no clock of its own."""

    def __init__(self, entries: Sequence[TimetableEntry]) -> None:
        """Take the entries that were not told yet.

        Raises:
            ValueError: when two of them have the same name.
        """
        names = [entry.name for entry in entries]
        if len(set(names)) != len(names):
            raise ValueError("two entries of one timetable have the same name")
        self._open = sorted(entries, key=lambda entry: (entry.unix_s, entry.name))
        self._passed: list[TimetableEntry] = []

    def judge(self, wall_s: float) -> list[Reached]:
        """What is to be told at this moment of the wall clock, in order of time; each is then told."""
        self._set_back(wall_s)
        told = [entry for entry in self._open if entry.unix_s <= wall_s]
        self._open = self._open[len(told):]
        found: list[Reached] = []
        for entry in told:
            late_s = wall_s - entry.unix_s
            passed = late_s > entry.grace_s
            found.append(Reached(entry=entry, late_s=late_s, passed=passed))
            if passed:
                self._passed.append(entry)
        return found

    def _set_back(self, wall_s: float) -> None:
        """An entry that a wrong clock only reported as passed is judged once more when that is put right."""
        again = [entry for entry in self._passed if wall_s - entry.unix_s <= entry.grace_s]
        if again:
            self._passed = [entry for entry in self._passed if entry not in again]
            self._open = sorted([*self._open, *again], key=lambda entry: (entry.unix_s, entry.name))

    def ahead(self) -> tuple[TimetableEntry, ...]:
        """What was not told yet, in order of time."""
        return tuple(self._open)


class ClockTimetable:
    """The timetable on a session clock: for rehearsals, whose wall clock runs with session time, and for tests."""

    def __init__(self, clock: Clock, wall: Callable[[], float]) -> None:
        """Ride ``clock``; ``wall`` reads the day's wall clock in Unix seconds and runs with session time."""
        self._clock, self._wall = clock, wall
        self._standing = Standing(())
        self._tell: Callable[[Reached], None] = _nobody
        self._alarm: Wakeup | None = None

    def start(self, entries: Sequence[TimetableEntry], reached: Callable[[Reached], None]) -> None:
        """Judge and arm."""
        self._standing, self._tell = Standing(entries), reached
        self.review()

    def review(self) -> None:
        """Tell what is due by the wall clock, and set the one alarm to the next entry."""
        for found in self._standing.judge(self._wall()):
            self._tell(found)
        self.stop()
        ahead = self._standing.ahead()
        if ahead:
            wait_s = max(SOON_S, ahead[0].unix_s - self._wall())
            self._alarm = self._clock.call_at(self._clock.now() + wait_s, self.review)

    def ahead(self) -> tuple[TimetableEntry, ...]:
        """What is still to come."""
        return self._standing.ahead()

    def stop(self) -> None:
        """Forget the alarm."""
        if self._alarm is not None:
            self._alarm.cancel()
            self._alarm = None


class RehearsedWall:
    """The wall clock of a rehearsed day: it runs with session time, and can be set like any other."""

    def __init__(self, clock: Clock, opens_unix_s: float) -> None:
        """At session second zero it reads ``opens_unix_s``."""
        self._clock, self._opens_unix_s = clock, opens_unix_s

    def __call__(self) -> float:
        """Unix seconds of the rehearsed day."""
        return self._opens_unix_s + self._clock.now()

    def step(self, seconds: float) -> None:
        """Set it forward, or back by a negative number."""
        self._opens_unix_s += seconds


def _nobody(found: Reached) -> None:
    """Nobody listens before ``start``."""
