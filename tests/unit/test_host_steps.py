"""The host notices that the machine slept or that the wall clock was set: a gap is a fact, a set clock is none."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import pytest
import structlog

from pitwall.journal.memory import MemoryJournal
from pitwall.model.events import ClockReported, Resumed, TimeReached
from pitwall.model.outputs import WakeAt
from pitwall.runtime.clock import LiveClock
from pitwall.runtime.host import Host
from pitwall.runtime.steps import StepWatch, TimeStep
from pitwall.testing import RecordingSink, ScriptedDecider, SilentForecaster
from tests.contract.test_timetable_contract import Loop
from tests.replay.toy import crossing


@pytest.fixture(autouse=True)
def lines() -> Iterator[None]:
    """Logs are captured."""
    with structlog.testing.capture_logs():
        yield


class Laptop:
    """A machine that can sleep and have its wall clock set, with a host on its live clock."""

    def __init__(self, journal: MemoryJournal | None = None, rate: float = 1.0, stops_asleep: bool = True) -> None:
        self.loop, self.asleep_s, self.stops_asleep = Loop(), 0.0, stops_asleep
        elapsed: Callable[[], float] = lambda: self.loop.m + self.asleep_s  # noqa: E731  # a reading in one line
        self.clock = LiveClock(0.0, rate, monotonic=elapsed, wall=lambda: self.loop.wall() + self.asleep_s,
                               loop=self.loop)
        self.journal = journal or MemoryJournal()
        self.decider = ScriptedDecider(lambda stamped: [WakeAt(t=100.0)] if stamped.seq == 0 else [])
        watch = StepWatch(elapsed=elapsed, awake=self.loop.monotonic, wall=lambda: self.loop.wall() + self.asleep_s)
        self.host = Host(self.decider, self.journal, self.clock, SilentForecaster(), [RecordingSink()],
                         follow_clock=False, watch=watch)
        self.steps: list[TimeStep] = []
        self.host.on_step(self.steps.append)

    async def runs(self, seconds: float) -> None:
        """Awake, with a look every second."""
        for _ in range(int(seconds)):
            self.loop.pass_s(1)
            self.host.look()
            await self.host.drain()

    def sleeps(self, seconds: float) -> None:
        """The lid is shut; timers stand still or run out, as the system does it."""
        if self.stops_asleep:
            self.asleep_s += seconds
        else:
            self.loop.m += seconds

    async def facts(self) -> list[tuple[str, float]]:
        """What is in the journal: kind and when it was taken, in whole seconds."""
        return [(stamped.event.type, round(stamped.received_t)) for stamped in await self.journal.read()]


@pytest.mark.parametrize("stops_asleep", [True, False])
async def test_sleep_is_a_fact_before_everything_that_waited(stops_asleep: bool) -> None:
    """After a sleep the gap is taken first: before the wake-up that it swallowed, before what came in while nobody
    listened; session time counts the sleep."""
    laptop = Laptop(stops_asleep=stops_asleep)
    laptop.host.submit(crossing(1, 0.0))
    await laptop.runs(10)
    laptop.sleeps(600)
    laptop.host.submit(crossing(2, 500.0))
    laptop.clock.retime()
    laptop.loop.pass_s(0.0)
    await laptop.host.drain()
    assert await laptop.facts() == [("car_crossed", 1), ("resumed", 610), ("car_crossed", 610), ("time_reached", 610)]
    gap = next(stamped.event for stamped in await laptop.journal.read() if isinstance(stamped.event, Resumed))
    assert gap.gap_s == pytest.approx(600, abs=1.5)
    assert [round(step.gap_s) for step in laptop.steps] == [600]


async def test_gap_is_in_session_seconds() -> None:
    """At thirty times life ten seconds asleep are five minutes of the session."""
    laptop = Laptop(rate=30.0)
    await laptop.runs(2)
    laptop.sleeps(10)
    laptop.host.look()
    await laptop.host.drain()
    (gap,) = [stamped.event for stamped in await laptop.journal.read() if isinstance(stamped.event, Resumed)]
    assert gap.gap_s == pytest.approx(300, abs=1)


@pytest.mark.parametrize("seconds", [3600.0, -3600.0])
async def test_wall_clock_set_is_no_fact_and_moves_nothing(seconds: float) -> None:
    """Set by an hour, session time runs on, no fact is made, nothing rings early or late; who asked is told."""
    laptop = Laptop()
    laptop.host.submit(crossing(1, 0.0))
    await laptop.runs(10)
    laptop.loop.wall_offset += seconds
    await laptop.runs(100)
    assert await laptop.facts() == [("car_crossed", 1), ("time_reached", 100)]
    assert [step.wall_s for step in laptop.steps] == [pytest.approx(seconds)]
    assert laptop.clock.now() == pytest.approx(110)


async def test_time_that_waits_for_green_loses_nothing_in_a_sleep() -> None:
    """While session time stands at zero a sleep is a gap of no session seconds."""
    laptop = Laptop()
    laptop.clock.wait_at(0.0)
    await laptop.runs(2)
    laptop.sleeps(600)
    laptop.host.look()
    await laptop.host.drain()
    (gap,) = [stamped.event for stamped in await laptop.journal.read() if isinstance(stamped.event, Resumed)]
    assert (gap.gap_s, laptop.clock.now()) == (0.0, 0.0)


async def test_ids_of_gaps_go_on_after_a_restart() -> None:
    """A second life numbers its own facts on from the first one's: none is taken for a copy."""
    first = Laptop()
    first.host.submit(crossing(1, 0.0))
    await first.runs(3)
    first.sleeps(60)
    await first.runs(1)
    second = Laptop(first.journal)
    await second.host.recover()
    await second.runs(3)
    second.sleeps(60)
    await second.runs(1)
    gaps = [stamped.event.id for stamped in await first.journal.read() if isinstance(stamped.event, Resumed)]
    assert len(gaps) == len(set(gaps)) == 2
    assert not any(isinstance(stamped.event, TimeReached) and stamped.event.id in gaps
                   for stamped in await first.journal.read())


async def test_knows_what_an_earlier_life_took() -> None:
    """An id in the journal is known after a restart, one that never came is not."""
    first = Laptop()
    first.host.submit(crossing(1, 0.0))
    await first.host.drain()
    second = Laptop(first.journal)
    await second.host.recover()
    assert second.host.knows(crossing(1, 0.0).id)
    assert not second.host.knows("timetable:briefing")


async def test_feed_sets_session_time_right_where_a_sleep_cannot_be_told() -> None:
    """On a system without a clock that goes on asleep, session time stands still in a sleep, and no gap is invented;
    two clock messages of the feed, in agreement, bring it to where the session is."""
    loop = Loop()
    asleep = {"s": 0.0}
    clock = LiveClock(0.0, monotonic=loop.monotonic, wall=loop.wall, loop=loop)
    watch = StepWatch(elapsed=loop.monotonic, awake=loop.monotonic, wall=lambda: loop.wall() + asleep["s"])
    store = MemoryJournal()
    host = Host(ScriptedDecider(), store, clock, SilentForecaster(), [], watch=watch)

    async def reported(t: float, number: int) -> None:
        host.submit(ClockReported(id=f"clock-{number}", t=t, remaining_s=3600 - t, running=True))
        await host.drain()

    await reported(0.0, 0)
    loop.pass_s(10)
    asleep["s"] += 1800
    host.look()
    assert clock.now() == pytest.approx(10)
    await reported(1810.0, 1)
    assert clock.now() == pytest.approx(10)
    loop.pass_s(1)
    await reported(1811.0, 2)
    assert clock.now() == pytest.approx(1811)
    assert {stamped.event.type for stamped in await store.read()} == {"clock_reported"}


async def test_host_without_a_watch_looks_at_nothing() -> None:
    """In virtual time, where nothing sleeps, a look is nothing."""
    laptop = Laptop()
    host = Host(laptop.decider, laptop.journal, laptop.clock, SilentForecaster(), [], follow_clock=False)
    laptop.sleeps(600)
    host.look()
    await host.drain()
    assert await laptop.facts() == []
