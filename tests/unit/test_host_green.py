"""Waiting for the green light: a session that begins late, and a feed that begins long after the daemon."""

from __future__ import annotations

import pytest

from pitwall.journal.memory import MemoryJournal
from pitwall.model.events import (
    CarCrossed,
    CarPitted,
    CarPositioned,
    ClockReported,
    CommandGiven,
    Event,
    SessionPrepared,
    StatusChanged,
)
from pitwall.model.rules import Regulations
from pitwall.model.setup import SessionSetup
from pitwall.runtime.clock import LiveClock
from pitwall.runtime.host import Host
from tests.contract.test_clock_contract import CrankedLoop
from tests.replay.toy import Desk, Toy

SETUP = SessionSetup.model_validate({
    "event": "test", "session": "p1", "team": "t", "cars": {}, "plans": {}, "procedures": {},
    "regulations": Regulations.model_validate({"regulations": 1, "sessions": [{"session": "p1", "duration_s": 3600}]}),
    "circuit": {"circuit": 1, "name": "c", "lap_s": 90, "loops": [{"loop": "line"}],
                "pit": {"entry_share": 0.9, "exit_share": 0.1, "last_chance_share": 0.88}},
})


class Live:
    """A live host on a hand-cranked machine."""

    def __init__(self, journal: MemoryJournal | None = None, wall: float = 1.7e9) -> None:
        self.loop = CrankedLoop()
        self.loop.wall = wall
        self.clock = LiveClock(-60.0, monotonic=self.loop.monotonic, wall=lambda: self.loop.wall, loop=self.loop)
        self.journal = journal or MemoryJournal()
        self.host = Host(Toy(), self.journal, self.clock, Desk())

    async def take(self, event: Event) -> float:
        """Submit and drain; session time then."""
        self.host.submit(event)
        await self.host.drain()
        return self.clock.now()

    async def prepared(self, t: float = -60.0) -> Live:
        """With the session prepared at ``t``."""
        await self.take(SessionPrepared(id="prepared", t=t, setup=SETUP))
        return self

    def pass_s(self, seconds: float) -> None:
        """Let real time pass."""
        self.loop.pass_s(seconds)
        self.loop.wall += seconds


def report(t: float, name: str = "k:1") -> ClockReported:
    """The official clock."""
    return ClockReported(id=name, t=t, remaining_s=3600 - max(0.0, t), running=t >= 0)


async def test_time_runs_up_to_green_and_waits_there() -> None:
    """Prepared a minute before: after an hour without a word from the feed it is still zero."""
    live = await Live().prepared()
    live.pass_s(30)
    assert live.clock.now() == pytest.approx(-30.0)
    live.pass_s(3600)
    assert live.clock.now() == 0.0


async def test_feed_that_begins_an_hour_after_the_daemon_is_followed_without_a_freeze() -> None:
    """The feed counts from -20: time waits those 20 s at zero and then runs with the feed."""
    live = await Live().prepared()
    live.pass_s(3600)
    await live.take(report(-20.0))
    live.pass_s(20.0)
    assert live.clock.now() == pytest.approx(0.0)
    assert await live.take(report(0.5, "k:2")) == pytest.approx(0.5)
    live.pass_s(10)
    assert live.clock.now() == pytest.approx(10.5)


async def test_daemon_that_starts_in_mid_session_jumps_to_the_feeds_time() -> None:
    """The first report says 1500: so it is."""
    live = await Live().prepared(t=1800.0)
    assert await live.take(report(1500.0)) == pytest.approx(1500.0)
    live.pass_s(5)
    assert live.clock.now() == pytest.approx(1505.0)


@pytest.mark.parametrize(
    ("event", "t"),
    [
        (StatusChanged(id="s", t=0.0, status="green"), 0.0),
        (StatusChanged(id="s", t=-3.0, status="green"), 0.0),
        (StatusChanged(id="s", t=812.0, status="red"), 812.0),
        (ClockReported(id="k", t=75.0, remaining_s=3525.0, running=True), 75.0),
    ],
    ids=["green", "green-early", "red", "running-clock"],
)
async def test_status_or_running_clock_lets_time_run(event: Event, t: float) -> None:
    """The first fact that says that the session is under way starts time, at that fact's second."""
    live = await Live().prepared()
    live.pass_s(600)
    assert await live.take(event) == pytest.approx(t)
    live.pass_s(7)
    assert live.clock.now() == pytest.approx(t + 7)


@pytest.mark.parametrize(
    "event",
    [
        CarCrossed(id="x", t=5.0, car="41", loop="line"),
        CarPitted(id="p", t=1800.0, car="41", where="exit"),
        CarPositioned(id="o", t=5.0, car="41", distance_m=10.0),
        StatusChanged(id="s", t=5.0, pit_exit="open"),
        StatusChanged(id="s", t=5.0, status="waiting"),
        ClockReported(id="k", t=0.0, remaining_s=3600.0, running=False),
        ClockReported(id="k", t=-20.0, remaining_s=3600.0, running=True),
    ],
    ids=["crossing", "pit", "position", "pit-exit", "waiting", "stopped-clock", "countdown"],
)
async def test_whatever_else_comes_before_green_does_not_start_it(event: Event) -> None:
    """A car that crosses a loop with a time after zero, or a clock that stands, leaves time waiting for the green."""
    live = await Live().prepared()
    live.pass_s(600)
    await live.take(event)
    live.pass_s(300)
    assert live.clock.now() == pytest.approx(0.0, abs=1e-9)
    assert await live.take(StatusChanged(id="green", t=0.0, status="green")) == pytest.approx(0.0)
    live.pass_s(7)
    assert live.clock.now() == pytest.approx(7.0)


async def test_waiting_words_do_not_start_it() -> None:
    """Status 'waiting' and a clock still before zero leave time waiting."""
    live = await Live().prepared()
    live.pass_s(600)
    await live.take(StatusChanged(id="s", t=-5.0, status="waiting", pit_exit="closed"))
    live.pass_s(600)
    assert live.clock.now() == 0.0


async def test_wakeups_beyond_green_wait_with_it() -> None:
    """A wake-up at 10 s comes ten seconds after the green light, whenever that is, and nothing spins meanwhile."""
    live = await Live().prepared()
    seen: list[float] = []
    live.clock.call_at(-10.0, lambda: seen.append(live.clock.now()))
    live.clock.call_at(10.0, lambda: seen.append(live.clock.now()))
    live.pass_s(500)
    assert seen == [pytest.approx(-10.0)]
    assert [timer for timer in live.loop.timers if timer.live] == []
    await live.take(StatusChanged(id="s", t=0.0, status="green"))
    live.pass_s(9.9)
    assert len(seen) == 1
    live.pass_s(0.2)
    assert seen[1] == pytest.approx(10.0)


async def test_restart_while_waiting_waits_on_and_after_green_runs_on() -> None:
    """Killed before the green light and up an hour later: still waiting. Killed after it: time went on."""
    live = await Live().prepared()
    again = Live(live.journal, wall=1.7e9 + 3600)
    await again.host.recover()
    assert again.clock.now() == 0.0
    await again.take(StatusChanged(id="s", t=0.0, status="green"))
    third = Live(live.journal, wall=1.7e9 + 3600 + 40)
    await third.host.recover()
    assert third.clock.now() == pytest.approx(40.0)


def by_hand(t: float, name: str = "c:1", **more: object) -> CommandGiven:
    """A command of the desk."""
    return CommandGiven.model_validate({"id": name, "t": t, "car": "41", "by": "ann", **more})


@pytest.mark.asyncio
async def test_green_by_hand_is_session_zero() -> None:
    """A desk that says green before or while time waits at zero begins the session at the moment of the press."""
    live = await Live().prepared()
    live.pass_s(20)
    assert await live.take(by_hand(-41.0, command="status", status="green")) == pytest.approx(1.0)
    waited = await Live().prepared()
    waited.pass_s(300)
    assert await waited.take(by_hand(0.0, command="status", status="yellow", sectors=("1",))) == 0.0
    assert await waited.take(by_hand(0.0, "c:2", command="status", status="green")) == 0.0
    waited.pass_s(10)
    assert waited.clock.now() == pytest.approx(10.0)


@pytest.mark.asyncio
async def test_clock_by_hand_joins_in_the_middle() -> None:
    """A clock that shows 41:20 of an hour puts session time at 18:40; one that shows the whole hour says nothing."""
    live = await Live().prepared()
    live.pass_s(300)
    assert await live.take(by_hand(0.0, command="clock", remaining_s=3600)) == 0.0
    assert await live.take(by_hand(0.0, "c:2", command="clock", remaining_s=2480)) == pytest.approx(1120.0)
    live.pass_s(5)
    assert live.clock.now() == pytest.approx(1125.0)


@pytest.mark.asyncio
async def test_green_by_hand_holds_after_a_restart() -> None:
    """A daemon killed after a green by hand goes on in running session time."""
    first = await Live().prepared()
    first.pass_s(60)
    await first.take(by_hand(0.0, command="status", status="green"))
    second = Live(first.journal, wall=first.loop.wall + 30)
    await second.host.recover()
    assert second.clock.now() == pytest.approx(30.0)
    second.pass_s(5)
    assert second.clock.now() == pytest.approx(35.0)
