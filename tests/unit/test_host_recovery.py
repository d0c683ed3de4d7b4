"""A restart: session time runs on, the gap is said first, nothing is told twice."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
import structlog

from pitwall.errors import JournalError
from pitwall.journal.memory import MemoryJournal
from pitwall.model.events import CarPositioned, ClockReported, Event, Restarted, Stamped, TimeReached
from pitwall.runtime.clock import LiveClock
from pitwall.runtime.host import Host
from pitwall.runtime.recovery import LATEST_T, resume_point
from pitwall.runtime.virtual_clock import VirtualClock
from tests.contract.test_clock_contract import CrankedLoop
from tests.replay.toy import Desk, Ear, Toy, command, crossing


@pytest.fixture(autouse=True)
def lines() -> Iterator[None]:
    """What is logged is captured."""
    with structlog.testing.capture_logs():
        yield


def stamped(seq: int, received_t: float, event: Event, wall_s: float | None = None) -> Stamped:
    """An event as stored."""
    return Stamped(seq=seq, received_t=received_t, wall_s=wall_s, event=event)


def report(t: float, rate: float = 1.0) -> ClockReported:
    """The official clock."""
    return ClockReported(id=f"k:{t}", t=t, remaining_s=max(0.0, 3600 - t), running=True, rate=rate)


def unread() -> float:
    """A live clock must not be read before it is anchored: it never goes back behind what it once said."""
    raise AssertionError("the clock was read")


@pytest.mark.parametrize(
    ("rate", "wall_gap", "t", "gap"),
    [(1.0, 20.0, 120.0, 20.0), (30.0, 2.0, 160.0, 60.0), (1.0, 0.0, 100.0, 0.0), (1.0, -3600.0, 100.0, 0.0)],
    ids=["live", "30-times", "at-once", "wall-set-back"],
)
def test_session_time_ran_on_by_the_time_of_day(rate: float, wall_gap: float, t: float, gap: float) -> None:
    """Live: last session second plus the wall time since, at the feed's rate; a wall clock set back is no gap."""
    events = [stamped(0, 90.0, report(90.0, rate), 1.7e9 - 10), stamped(1, 100.0, crossing(0, 99.0), 1.7e9)]
    point = resume_point(events, 1.7e9 + wall_gap, unread, 1.0)
    assert (point.t, point.rate, point.gap_s) == (t, rate, gap)


def test_without_clock_reports_the_new_clocks_rate_counts() -> None:
    """A feed that never gave a rate: the rate the clock was made with."""
    point = resume_point([stamped(0, 10.0, crossing(0, 9.0), 1.7e9)], 1.7e9 + 2, unread, 5.0)
    assert (point.t, point.rate) == (20.0, 5.0)


def test_in_virtual_time_the_driver_knows() -> None:
    """A journal without time of day: session time is the new clock's, never before the last event."""
    events = [stamped(0, 100.0, crossing(0, 99.0))]
    assert resume_point(events, None, lambda: 130.0, 1.0).gap_s == 30.0
    assert resume_point(events, None, lambda: 0.0, 1.0).t == 100.0
    assert resume_point(events, 1.7e9, lambda: 0.0, 1.0).gap_s == 0.0


async def killed_at(loop: CrankedLoop, seconds: float, rate: float = 1.0) -> MemoryJournal:
    """The journal of a live host that took a clock report and a crossing and was then killed."""
    journal = MemoryJournal()
    clock = LiveClock(monotonic=loop.monotonic, wall=lambda: loop.wall, loop=loop)
    host = Host(Toy(), journal, clock, Desk())
    host.submit(report(1000.0, rate))
    await host.drain()
    loop.pass_s(seconds)
    loop.wall += seconds
    host.submit(crossing(0, clock.now()))
    await host.drain()
    return journal


async def test_live_clock_is_right_at_once_after_a_kill() -> None:
    """Killed, the machine's monotonic clock starting over, 12 s later up again: session time stands where it must, with
    no clock report needed, and timers run from there."""
    journal = await killed_at(CrankedLoop(), 3.0)
    loop, ear = CrankedLoop(), Ear()
    loop.m, loop.wall = 7.0, 1.7e9 + 3 + 12
    clock = LiveClock(monotonic=loop.monotonic, wall=lambda: loop.wall, loop=loop)
    host = Host(Toy(), journal, clock, Desk(), [ear])
    point = await host.recover()
    assert point is not None
    assert point.gap_s == pytest.approx(12.0)
    assert clock.now() == pytest.approx(1015.0)
    host.submit(crossing(1, 1015.0))
    await host.drain()
    loop.pass_s(5.1)
    await host.drain()
    assert ear.ids == ["took:restarted:0", "remind:x:41:0", "lap:41:2", "remind:x:41:1"] or ear.ids == [
        "took:restarted:0", "lap:41:2", "remind:x:41:0", "remind:x:41:1"]
    times = [event.received_t for event in await journal.read()]
    assert times == sorted(times)


async def test_first_report_after_a_restart_is_followed() -> None:
    """Whatever the time of day led to, the first clock report corrects it."""
    journal = await killed_at(CrankedLoop(), 3.0)
    loop = CrankedLoop()
    loop.wall = 1.7e9 + 3 + 7200  # the wall clock was set wrong meanwhile
    clock = LiveClock(monotonic=loop.monotonic, wall=lambda: loop.wall, loop=loop)
    host = Host(Toy(), journal, clock, Desk())
    await host.recover()
    assert clock.now() == pytest.approx(8203.0)
    host.submit(report(9000.0))
    assert clock.now() == pytest.approx(9000.0)


async def test_gap_is_said_before_what_fell_into_it() -> None:
    """The engine hears of the gap first and of overdue wake-ups after it, each stamped after the gap."""
    toy = Toy()
    journal = MemoryJournal([stamped(0, 100.0, crossing(0, 99.0))])
    clock = VirtualClock(160.0)
    host = Host(toy, journal, clock, Desk())
    await host.recover()
    await clock.run_to(160.0, host.drain)
    kinds = [(type(s.event), s.received_t) for s in await journal.read(1)]
    assert kinds == [(Restarted, 160.0), (TimeReached, 160.0)]
    restarted = (await journal.read(1))[0].event
    assert isinstance(restarted, Restarted)
    assert restarted.gap_s == 60.0
    assert [s.event.id for s in toy.handled] == [s.event.id for s in await journal.read()]


async def test_unanswered_forecast_is_asked_again_once() -> None:
    """A question without an answer in the journal goes to the forecaster again; an answered one does not."""
    open_question = [stamped(n, float(n), crossing(n, float(n))) for n in range(3)]
    desk = Desk()
    host = Host(Toy(), MemoryJournal(open_question), VirtualClock(5.0), desk)
    await host.recover()
    assert [wanted.revision for wanted, _ in desk.asked] == [1]
    desk.answer_all()
    await host.drain()
    second = Desk()
    await Host(Toy(), host._journal, VirtualClock(6.0), second).recover()
    assert second.asked == []


async def test_own_ids_go_on_after_a_restart() -> None:
    """What the host makes before and after two restarts has ids of its own each time, and all of it is journaled."""
    journal, clock = MemoryJournal(), VirtualClock()
    for start in (0.0, 50.0, 100.0):
        host = Host(Toy(), journal, clock, desk := Desk())
        await host.recover()
        await clock.run_to(start, host.drain)
        for n in range(3):
            host.submit(crossing(int(start) + n, start))
        await host.drain()
        desk.answer_all()
        await clock.run_to(start + 20.0, host.drain)
        host.stop()
    ids = [s.event.id for s in await journal.read()]
    assert len(ids) == len(set(ids))
    kinds = [s.event.type for s in await journal.read()]
    assert (kinds.count("time_reached"), kinds.count("forecast_ready"), kinds.count("restarted")) == (3, 3, 2)


async def test_first_start_has_nothing_to_recover() -> None:
    """An empty journal: no gap, no event, the session begins."""
    journal = MemoryJournal()
    assert await Host(Toy(), journal, VirtualClock(), Desk()).recover() is None
    assert await journal.read() == ()


async def test_event_that_broke_the_engine_breaks_it_again_and_no_more() -> None:
    """A poisoned event in the journal is counted on recovery and skipped; the state is what the live host had."""
    live, journal = Toy(), MemoryJournal()
    host = Host(live, journal, VirtualClock(), Desk())
    for event in (crossing(0, 0.0), command("c:1", 0.0, "boom"), crossing(1, 0.0)):
        host.submit(event)
    await host.drain()
    again = Toy()
    second = Host(again, journal, VirtualClock(), Desk())
    await second.recover()
    assert again.counts == live.counts
    assert second.health().poisoned == 1


async def test_restart_on_the_day_after_is_survived() -> None:
    """A journal of yesterday: the gap is what it is, the restart is stamped no later than a fact may be."""
    journal = MemoryJournal([stamped(0, 3600.0, crossing(0, 3600.0), 1.7e9)])
    loop = CrankedLoop()
    loop.wall = 1.7e9 + 400_000
    clock = LiveClock(monotonic=loop.monotonic, wall=lambda: loop.wall, loop=loop)
    host = Host(Toy(), journal, clock, Desk())
    point = await host.recover()
    assert point is not None
    assert point.gap_s == pytest.approx(400_000)
    loop.pass_s(1)
    await host.drain()
    events = [s.event for s in await journal.read(1)]
    assert [event.type for event in events] == ["restarted", "time_reached"]
    assert events[0].t == LATEST_T


async def test_position_of_before_the_restart_still_thins() -> None:
    """Thinning goes on where it stood: a position a moment after the last journaled one is dropped."""

    def position(n: int, t: float) -> CarPositioned:
        return CarPositioned(id=f"p:{n}", t=t, car="41", distance_m=1.0)

    host = Host(Toy(), MemoryJournal([stamped(0, 5.0, position(0, 5.0))]), VirtualClock(5.1), Desk())
    await host.recover()
    host.submit(position(1, 5.1))
    host.submit(position(2, 5.3))
    await host.drain()
    assert host.health().thinned == 1
    assert host.health().journaled == 3


async def test_damaged_journal_stops_the_start_in_words() -> None:
    """A journal that cannot be read is the caller's to tell: recovery raises and nothing was written."""

    class Damaged(MemoryJournal):
        async def read(self, start: int = 0) -> tuple[Stamped, ...]:
            raise JournalError("j.sqlite: damaged; move it away")

    with pytest.raises(JournalError, match="move it away"):
        await Host(Toy(), Damaged(), VirtualClock(), Desk()).recover()
