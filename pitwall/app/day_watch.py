"""The day beside a running daemon: what the timetable tells becomes a fact, once, also over restarts.

* What was told is in the journal by its id, so no later life of the daemon tells it again.
* What was over before the journal began is nobody's omission and is not reported.
* What came due while no daemon ran is told late within its grace, and reported as passed beyond it.
* The export is carried out first and told with what came of it; a daemon that dies in between does it again.
"""

from __future__ import annotations

import asyncio
import math
from collections.abc import Callable, Sequence
from functools import partial

import structlog

from pitwall.errors import PitwallError
from pitwall.model.events import TimetableReached
from pitwall.model.setup import SessionSetup
from pitwall.model.timetable import Reached, TimetableEntry
from pitwall.runtime.host import Host
from pitwall.runtime.ports import Clock, Timetable
from pitwall.runtime.recovery import EARLIEST_T, LATEST_T
from pitwall.runtime.steps import StepWatch
from pitwall.runtime.timetable import ClockTimetable, RehearsedWall

_log = structlog.get_logger(__name__)

WriteOut = Callable[[], str]
"""Writes the journals of the day out and says in one sentence what it wrote; run in a thread."""


def fact_id(entry: TimetableEntry, passed: bool) -> str:
    """The same moment of the day is the same fact, in every life of the daemon."""
    return f"timetable:{entry.name}:{entry.unix_s:.0f}{':passed' if passed else ''}"


class DayWatch:
    """Feeds the host from a timetable."""

    def __init__(self, host: Host, clock: Clock, timetable: Timetable, write_out: WriteOut | None = None) -> None:
        """Nothing is told before :meth:`begin`; without ``write_out`` there is no export to tell of."""
        self._host, self._clock, self.timetable, self._write_out = host, clock, timetable, write_out
        self._exports: set[asyncio.Task[None]] = set()

    def begin(self, entries: Sequence[TimetableEntry], begun_wall_s: float) -> None:
        """Start the timetable with what was not told yet, and have it judged again whenever a clock took a step.

        Args:
            entries: the timetable of the day.
            begun_wall_s: Unix seconds at which the journal of this session began.
        """
        left = [
            entry for entry in entries
            if not self._host.knows(fact_id(entry, passed=False))
            and entry.unix_s + entry.grace_s >= begun_wall_s
            and (entry.kind != "export" or self._write_out is not None)
        ]
        self._host.on_step(lambda step: self.timetable.review())
        self.timetable.start(left, self._reached)

    async def end(self) -> None:
        """No more alarms; an export that runs is waited for."""
        self.timetable.stop()
        await asyncio.gather(*self._exports)

    def _reached(self, found: Reached) -> None:
        if found.entry.kind == "export" and not found.passed and self._write_out is not None:
            task = asyncio.create_task(self._export(found, self._write_out), name="export of the day")
            self._exports.add(task)
            task.add_done_callback(self._exports.discard)
        else:
            self._tell(found, found.entry.text)

    async def _export(self, found: Reached, write_out: WriteOut) -> None:
        try:
            text = f"End of the day: {await asyncio.to_thread(write_out)}"
        except (PitwallError, OSError) as problem:
            _log.error("the journals of the day could not be written out", error=str(problem))
            text = f"End of the day: the journals could not be written out ({problem}); pitwall export does it by hand"
        self._tell(found, text)

    def _tell(self, found: Reached, text: str) -> None:
        entry = found.entry
        self._host.submit(TimetableReached(
            id=fact_id(entry, found.passed), t=min(max(self._clock.now(), EARLIEST_T), LATEST_T), entry=entry.name,
            kind=entry.kind, text=text[:400], due=entry.moment, late_s=found.late_s, passed=found.passed,
        ))


class RehearsedDay:
    """The day of a rehearsal: its wall clock shows the opening time at the green light and runs with session time."""

    def __init__(
        self, entries: Sequence[TimetableEntry], setup: SessionSetup, clock: Clock,
        steps: Sequence[tuple[float, float]] = (),
    ) -> None:
        """Without entries, or without an opening time, there is no day and ``watch`` is None.

        Args:
            entries: the timetable of the day.
            setup: the session.
            clock: the session's clock.
            steps: the wall clock is set at these session seconds by so many seconds.
        """
        window = setup.regulations.window(setup.session)
        opens = window.opens_at if window is not None else None
        self._entries, self._clock, self._steps = entries, clock, steps
        self._wall = RehearsedWall(clock, opens.timestamp()) if entries and opens is not None else None
        self.watch = None if self._wall is None else StepWatch(
            stood_still_s=math.inf, elapsed=clock.now, awake=clock.now, wall=self._wall
        )

    def begin(self, host: Host) -> None:
        """Start the day."""
        if self._wall is None:
            return
        for t, seconds in self._steps:
            self._clock.call_at(t, partial(self._wall.step, seconds))
        timetable = ClockTimetable(self._clock, self._wall)
        DayWatch(host, self._clock, timetable).begin(self._entries, self._wall())
