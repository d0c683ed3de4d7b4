"""The timetable beside a real session: APScheduler rings, we judge.

APScheduler 3 decides by the wall clock and sleeps on the monotonic one: after a step forward it would drop jobs as
misfires, after a step back it would sleep through them. So its own judgement is switched off (``misfire_grace_time``
None: late is never dropped; ``coalesce``: once) and a job only leads to a look at every entry, by our reading of the
wall clock. After a step or a sleep ``review`` takes all jobs away and sets them anew. APScheduler cannot be given a
clock, so its jobs are set by *its* reading, as many seconds ahead as ours says.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from typing import Protocol

from apscheduler.executors.debug import DebugExecutor
from apscheduler.schedulers.asyncio import AsyncIOScheduler
from apscheduler.triggers.date import DateTrigger

from pitwall.model.timetable import Reached, TimetableEntry
from pitwall.runtime.clock import wall_seconds
from pitwall.runtime.timetable import SOON_S, Standing


class AlarmLoop(Protocol):
    """What APScheduler and this adapter need from an event loop."""

    def call_later(self, delay: float, callback: Callable[[], None]) -> object:
        """Call back after so many seconds."""

    def call_soon_threadsafe(self, callback: Callable[[], None]) -> object:
        """Call back in the loop's next round."""

    def is_closed(self) -> bool:
        """True when it can take nothing any more."""


class WallTimetable:
    """The timetable on APScheduler."""

    def __init__(
        self,
        wall: Callable[[], float] = wall_seconds,
        *,
        loop: AlarmLoop | None = None,
        scheduler_wall: Callable[[], float] = wall_seconds,
    ) -> None:
        """Nothing rings before ``start``.

        Args:
            wall: the day's wall clock, Unix seconds.
            loop: instead of the running one.
            scheduler_wall: what APScheduler reads; the system's wall clock.
        """
        self._wall, self._loop, self._scheduler_wall = wall, loop, scheduler_wall
        self._standing = Standing(())
        self._tell: Callable[[Reached], None] = _nobody
        self._scheduler: AsyncIOScheduler | None = None

    def start(self, entries: Sequence[TimetableEntry], reached: Callable[[Reached], None]) -> None:
        """Judge and arm; needs a running event loop unless one was given."""
        self.stop()
        self._standing, self._tell = Standing(entries), reached
        if self._loop is None:
            self._loop = asyncio.get_running_loop()
        # In UTC, or it would look for the machine's time zone. Jobs run at once on the loop, not in a thread.
        self._scheduler = AsyncIOScheduler(
            event_loop=self._loop, timezone=UTC, executors={"default": DebugExecutor()}
        )
        self._scheduler.start()
        self.review()

    def review(self) -> None:
        """Tell what is due by the wall clock and set a job for each entry that is still ahead."""
        if self._scheduler is None:
            return
        for found in self._standing.judge(self._wall()):
            self._tell(found)
        self._scheduler.remove_all_jobs()
        for entry in self._standing.ahead():
            wait_s = max(SOON_S, entry.unix_s - self._wall())
            self._scheduler.add_job(
                self._rang, DateTrigger(datetime.fromtimestamp(self._scheduler_wall() + wait_s, UTC), UTC),
                id=entry.name, name=entry.text, misfire_grace_time=None, coalesce=True, max_instances=1,
            )

    def ahead(self) -> tuple[TimetableEntry, ...]:
        """What is still to come."""
        return self._standing.ahead()

    def stop(self) -> None:
        """End the scheduler."""
        if self._scheduler is not None:
            self._scheduler.remove_all_jobs()
            self._scheduler.shutdown(wait=False)
            self._scheduler = None

    def _rang(self) -> None:
        # Not from within the scheduler: it is about to strike off the job that rang, and the review takes all away.
        assert self._loop is not None
        self._loop.call_soon_threadsafe(self.review)


def _nobody(found: Reached) -> None:
    """Nobody listens before ``start``."""
