"""The day beside a daemon: each moment becomes one fact, over steps, sleeps and restarts; the export is carried out."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime

import pytest
import structlog

from pitwall.app.day_watch import DayWatch, WriteOut, fact_id
from pitwall.errors import UserError
from pitwall.journal.memory import MemoryJournal
from pitwall.model.events import SessionPrepared, TimetableReached
from pitwall.model.timetable import EntryKind, TimetableEntry
from pitwall.runtime.clock import LiveClock
from pitwall.runtime.host import Host
from pitwall.runtime.steps import StepWatch
from pitwall.runtime.timetable import ClockTimetable
from pitwall.testing import RecordingSink, ScriptedDecider, SilentForecaster, tiny_setup
from tests.contract.test_timetable_contract import NOON, Loop

HOUR = 3600.0


@pytest.fixture(autouse=True)
def lines() -> Iterator[None]:
    """Logs are captured."""
    with structlog.testing.capture_logs():
        yield


def entry(name: str, after_s: float, grace_s: float = 600.0, kind: EntryKind = "reminder") -> TimetableEntry:
    """An entry so many seconds after noon."""
    return TimetableEntry(name=name, kind=kind, text=f"{name} now", grace_s=grace_s,
                          moment=datetime.fromtimestamp(NOON + after_s, UTC))


DAY = (entry("old", -HOUR), entry("briefing", 900), entry("warm_up", 2400), entry("fire_up", 3300),
       entry("export", 7200, 43_200, "export"))


class Life:
    """One life of a daemon with the day beside it, on a hand-cranked loop; it begins at noon or where it is told."""

    def __init__(self, journal: MemoryJournal, at_s: float = 0.0, write_out: WriteOut | None = None) -> None:
        self.loop, self.journal = Loop(), journal
        self.loop.wall_offset += at_s
        self.clock = LiveClock(0.0, monotonic=self.loop.monotonic, wall=self.loop.wall, loop=self.loop)
        watch = StepWatch(elapsed=self.loop.monotonic, awake=self.loop.monotonic, wall=self.loop.wall)
        self.host = Host(ScriptedDecider(), journal, self.clock, SilentForecaster(), [RecordingSink()],
                         follow_clock=False, watch=watch)
        self.day = DayWatch(self.host, self.clock, ClockTimetable(self.clock, self.loop.wall), write_out)

    async def begin(self) -> None:
        """As the daemon does: recover or prepare, then the day."""
        if await self.host.recover() is None:
            self.host.submit(SessionPrepared(id="prepared", t=0.0, setup=tiny_setup()))
            await self.host.drain()
        self.day.begin(DAY, self.host.begun_wall_s or self.loop.wall())
        await self.host.drain()

    async def runs(self, seconds: float) -> None:
        """Let time pass, with a look now and then."""
        for _ in range(int(seconds // 5)):
            self.loop.pass_s(5)
            self.host.look()
            await self.host.drain()

    async def told(self) -> list[tuple[str, int, bool]]:
        """Facts of the timetable in the journal: entry, how late in seconds, passed."""
        facts = [stamped.event for stamped in await self.journal.read()]
        return [(one.entry, round(one.late_s), one.passed) for one in facts if isinstance(one, TimetableReached)]


async def test_moments_become_facts() -> None:
    """Each moment is one fact with its words; what was over before the journal began is nobody's omission; without
    somebody to write out there is no export."""
    life = Life(MemoryJournal())
    await life.begin()
    await life.runs(3 * HOUR)
    assert await life.told() == [("briefing", 0, False), ("warm_up", 0, False), ("fire_up", 0, False)]
    fact = next(one.event for one in await life.journal.read() if isinstance(one.event, TimetableReached))
    assert (fact.text, fact.kind, fact.due) == ("briefing now", "reminder", DAY[1].moment)
    assert fact.t == pytest.approx(900, abs=1)


async def test_restart_tells_nothing_twice_and_what_was_slept_through_late_or_passed() -> None:
    """The daemon dies after the briefing and comes back 37 minutes later: nothing again, one passed, one on time."""
    journal = MemoryJournal()
    first = Life(journal)
    await first.begin()
    await first.runs(1000)
    second = Life(journal, at_s=3210)
    await second.begin()
    await second.runs(HOUR)
    assert await second.told() == [("briefing", 0, False), ("warm_up", 810, True), ("fire_up", 0, False)]
    third = Life(journal, at_s=8000)
    await third.begin()
    await third.runs(HOUR)
    assert await third.told() == await second.told()


async def test_restart_within_the_grace_tells_late() -> None:
    """Away from 14:50 to 16 minutes past: the briefing that was due meanwhile is told with how late it is."""
    journal = MemoryJournal()
    first = Life(journal)
    await first.begin()
    await first.runs(600)
    second = Life(journal, at_s=1000)
    await second.begin()
    assert await second.told() == [("briefing", 100, False)]


@pytest.mark.parametrize("step", [HOUR, -HOUR])
async def test_set_wall_clock_is_noticed_by_the_host(step: float) -> None:
    """The clock is set by an hour: the host's look has the day judged again, by itself."""
    life = Life(MemoryJournal())
    await life.begin()
    await life.runs(1000)
    life.loop.wall_offset += step
    await life.runs(10)
    if step > 0:
        assert await life.told() == [("briefing", 0, False), ("warm_up", 2205, True), ("fire_up", 1305, True)]
        return
    await life.runs(HOUR + 1380)
    assert await life.told() == [("briefing", 0, False)]
    await life.runs(20)
    assert (await life.told())[1:] == [("warm_up", 0, False)]


async def test_export_is_carried_out_and_told() -> None:
    """At its time the journals are written out, once, and the fact says what came of it."""
    written: list[int] = []

    def write_out() -> str:
        written.append(1)
        return "1 journal with 7 facts written out in there"

    life = Life(MemoryJournal(), write_out=write_out)
    await life.begin()
    await life.runs(7300)
    await life.day.end()
    await life.host.drain()
    last = (await life.journal.read())[-1].event
    assert isinstance(last, TimetableReached)
    assert (last.kind, last.text) == ("export", "End of the day: 1 journal with 7 facts written out in there")
    assert written == [1]
    again = Life(life.journal, at_s=7400, write_out=write_out)
    await again.begin()
    await again.runs(HOUR)
    assert written == [1]


async def test_export_that_fails_is_told_and_stops_nobody() -> None:
    """A stick that is full: the fact says so and how to do it by hand."""

    def write_out() -> str:
        raise UserError("/media/stick: cannot be written (No space left on device); give another folder")

    life = Life(MemoryJournal(), write_out=write_out)
    await life.begin()
    await life.runs(7300)
    await life.day.end()
    await life.host.drain()
    last = (await life.journal.read())[-1].event
    assert isinstance(last, TimetableReached)
    assert "No space left on device" in last.text
    assert "pitwall export does it by hand" in last.text


async def test_export_of_a_laptop_that_slept_is_done_late() -> None:
    """Three hours late is within the grace of an export: better late than never."""
    journal, written = MemoryJournal(), list[int]()
    first = Life(journal)
    await first.begin()
    second = Life(journal, at_s=7200 + 3 * HOUR, write_out=lambda: written.append(1) or "written")
    await second.begin()
    await second.day.end()
    assert written == [1]


def test_ids_tell_reached_from_passed() -> None:
    """A moment that a wrong clock reported as passed can still be told: the two facts differ."""
    assert fact_id(DAY[1], passed=True) != fact_id(DAY[1], passed=False)
    assert fact_id(DAY[1], passed=False) == f"timetable:briefing:{NOON + 900:.0f}"
