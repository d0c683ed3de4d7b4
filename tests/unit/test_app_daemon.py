"""The daemon around the host: begins or goes on, says how it is, restates on every link."""

from __future__ import annotations

import json
from collections.abc import Callable

from pitwall.app.daemon import Daemon, offline_message
from pitwall.bus.memory import MemoryBroker, MemoryBus
from pitwall.journal.memory import MemoryJournal
from pitwall.model.events import CarPitted, LinkChanged, PromptDelivered, Restarted, SessionPrepared, Stamped
from pitwall.model.outputs import ClockState, Output
from pitwall.runtime.virtual_clock import VirtualClock
from pitwall.testing import CAR, SESSION, ScriptedDecider, SilentForecaster, prompt, tiny_setup

ROOT = f"pitwall/1/{SESSION}"


def _clock_state(t: float) -> ClockState:
    return ClockState(id=f"clock:{t}", t=t, remaining_s=600.0 - t, running=True, rate=1.0, status="green",
                      pit_exit="open")


class Bench:
    """A daemon on virtual time with an in-memory bus and journal."""

    def __init__(
        self, decide: Callable[[Stamped], list[Output]] = lambda stamped: [], journal: MemoryJournal | None = None
    ) -> None:
        self.broker, self.clock = MemoryBroker(), VirtualClock(-5.0)
        self.bus = MemoryBus(self.broker, will=offline_message(SESSION))
        self.decider, self.journal = ScriptedDecider(decide), journal or MemoryJournal()
        self.daemon = Daemon(tiny_setup(), self.decider, clock=self.clock, journal=self.journal, bus=self.bus,
                             forecaster=SilentForecaster(), follow_clock=False, broker="mem", store="memory")

    async def start(self) -> bool:
        """Prepare, connect, take what that brought."""
        resumed = await self.daemon.prepare(-5.0, "2030-01-01T10:00:00Z")
        await self.bus.start()
        await self.daemon.host.drain()
        return resumed

    def retained(self, topic: str) -> dict[str, object]:
        """What is retained on one of the session's topics."""
        found = json.loads(self.broker.retained[f"{ROOT}/{topic}"])
        assert isinstance(found, dict)
        return found


async def test_first_fact_is_the_setup_then_the_link() -> None:
    """An empty journal begins with the whole setup; the link comes after it."""
    bench = Bench()
    assert await bench.start() is False
    events = [stamped.event for stamped in await bench.journal.read()]
    assert isinstance(events[0], SessionPrepared)
    assert events[0].setup == tiny_setup()
    assert events[0].wall_start == "2030-01-01T10:00:00Z"
    assert isinstance(events[1], LinkChanged)
    assert events[1].connected


async def test_journal_that_holds_something_is_gone_on_with() -> None:
    """A second life replays, says that it restarted, and does not prepare again."""
    first = Bench()
    await first.start()
    second = Bench(journal=first.journal)
    assert await second.start() is True
    events = [stamped.event for stamped in await second.journal.read()]
    assert sum(isinstance(event, SessionPrepared) for event in events) == 1
    assert sum(isinstance(event, Restarted) for event in events) == 1
    assert len({event.id for event in events}) == len(events), "link ids of two lives differ, or one would be dropped"


async def test_facts_from_the_bus_are_decided_and_answered_on_the_bus() -> None:
    """A pit message in, a prompt out, its delivery back in the journal."""
    bench = Bench(lambda stamped: [prompt()] if isinstance(stamped.event, CarPitted) else [])
    heard: list[str] = []
    feed = MemoryBus(bench.broker)
    await bench.start()
    await feed.start()
    feed.subscribe(f"{ROOT}/prompt/+", lambda topic, payload: heard.append(topic))
    feed.publish(f"{ROOT}/timing/pit", json.dumps({"id": "p1", "t": 1.0, "car": CAR, "where": "exit"}).encode())
    await bench.daemon.host.drain()
    assert heard == [f"{ROOT}/prompt/{CAR}"]
    last = (await bench.journal.read())[-1].event
    assert isinstance(last, PromptDelivered)
    assert last.prompt == prompt().id


async def test_health_is_retained_with_its_figures() -> None:
    """On the link and on each beat health says online, names store and broker, and counts refused payloads."""
    bench = Bench()
    await bench.start()
    bench.bus.publish(f"{ROOT}/timing/pit", b"rubbish")
    bench.daemon.beat()
    health = bench.retained("health")
    assert (health["state"], health["store"], health["broker"]) == ("online", "memory", "mem")
    assert health["refused_payloads"] == 1


async def test_vanishing_and_leaving_both_say_offline() -> None:
    """A cut link leaves the will, a goodbye the same words."""
    for leave in ("cut", "goodbye"):
        bench = Bench()
        await bench.start()
        if leave == "cut":
            bench.bus.cut()
        else:
            bench.daemon.say_goodbye()
            await bench.bus.stop()
        assert bench.retained("health")["state"] == "offline"


async def test_pulse_shows_the_clock_when_the_engine_is_silent() -> None:
    """After a second without a word from the engine the beat shows the clock; a fresh word is left alone."""
    bench = Bench(lambda stamped: [_clock_state(stamped.received_t)])
    await bench.start()
    said = bench.retained("clock")
    bench.daemon.beat()
    assert bench.retained("clock") == said
    bench.clock.run_until(-2.0)
    bench.daemon.beat()
    assert bench.retained("clock")["remaining_s"] == 602.0
    assert bench.retained("clock")["t"] == -2.0


async def test_link_that_returns_restates_what_stands() -> None:
    """After a break everything that stands is published again and the break is on record."""
    bench = Bench()
    await bench.start()
    bench.bus.cut()
    bench.decider.stands = (_clock_state(1.0),)
    bench.bus.restore()
    await bench.daemon.host.drain()
    assert bench.retained("clock")["t"] == 1.0
    links = [stamped.event for stamped in await bench.journal.read() if isinstance(stamped.event, LinkChanged)]
    assert [link.connected for link in links] == [True, False, True]


async def test_beat_without_a_link_says_nothing() -> None:
    """While the link is down a beat publishes nothing and breaks nothing."""
    bench = Bench()
    await bench.daemon.prepare(-5.0)
    bench.daemon.beat()
    assert bench.broker.retained == {}
