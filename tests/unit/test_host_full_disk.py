"""A store that cannot write: nothing is decided, and everybody who looks at the health is told so and since when."""

from __future__ import annotations

import asyncio
from collections.abc import Iterator, Sequence

import pytest
import structlog

from pitwall.app.daemon import Daemon, offline_message
from pitwall.bus.codec import output_from
from pitwall.bus.memory import MemoryBroker, MemoryBus
from pitwall.errors import JournalError
from pitwall.journal.memory import MemoryJournal
from pitwall.model.events import CarCrossed, CarPitted, SessionPrepared, Stamped
from pitwall.model.outputs import Health, Output
from pitwall.runtime.virtual_clock import VirtualClock
from pitwall.testing import SESSION, ScriptedDecider, SilentForecaster, prompt, tiny_setup

HEALTH = f"pitwall/1/{SESSION}/health"


class FullDisk(MemoryJournal):
    """A journal whose disk can be filled and emptied, or made to hang until ``gate`` is set."""

    def __init__(self) -> None:
        super().__init__()
        self.full = False
        self.gate: asyncio.Event | None = None

    async def append(self, batch: Sequence[Stamped]) -> None:
        """Refuse while full; else store once the gate, if any, opens."""
        if self.gate is not None:
            await self.gate.wait()
        if self.full:
            raise JournalError("j.sqlite: could not be written (database or disk is full)")
        await super().append(batch)


class Bench:
    """A daemon on virtual time over a :class:`FullDisk`."""

    def __init__(self) -> None:
        self.broker, self.clock, self.disk = MemoryBroker(), VirtualClock(0.0), FullDisk()
        self.bus = MemoryBus(self.broker, will=offline_message(SESSION))
        self.decider = ScriptedDecider(_decide)
        self.daemon = Daemon(tiny_setup(), self.decider, clock=self.clock, journal=self.disk, bus=self.bus,
                             forecaster=SilentForecaster(), follow_clock=False, store="j.sqlite")

    async def start(self) -> Bench:
        """Prepared, connected, and the disk full from now on."""
        await self.daemon.prepare(0.0)
        await self.bus.start()
        await self.daemon.host.drain()
        self.disk.full = True
        return self

    async def crosses(self, number: int) -> None:
        """A crossing comes and the host tries to store what waits."""
        self.daemon.host.submit(CarCrossed(id=f"x:{number}", t=self.clock.now(), car="41", loop="line"))
        with pytest.raises(JournalError):
            await self.daemon.host.drain()

    def health(self) -> Health:
        """What a client reads after one more beat."""
        self.daemon.beat()
        found = output_from(HEALTH, self.broker.retained[HEALTH])
        assert isinstance(found, Health)
        return found


def _decide(stamped: Stamped) -> list[Output]:
    if isinstance(stamped.event, CarPitted):
        raise RuntimeError("no rule for this")
    return [prompt()] if isinstance(stamped.event, SessionPrepared) else []


@pytest.fixture(autouse=True)
def lines() -> Iterator[None]:
    """What is logged is captured."""
    with structlog.testing.capture_logs():
        yield


async def test_lag_grows_while_the_store_fails_and_ends_with_it() -> None:
    """The lag is the age of the oldest event that waits, not that of the last one that got through."""
    bench = await Bench().start()
    assert (bench.health().lag_s, bench.health().store_fails) == (0.0, False)
    for second in range(0, 40, 10):
        bench.clock.run_until(float(second))
        await bench.crosses(second)
    health = bench.health()
    assert (health.state, health.lag_s, health.queued) == ("online", 30.0, 4)
    assert health.store_fails
    assert health.store == "cannot write: j.sqlite: could not be written (database or disk is full)"
    bench.disk.full = False
    await bench.daemon.host.drain()
    assert [fact.event.id for fact in bench.decider.facts[-4:]] == ["x:0", "x:10", "x:20", "x:30"]
    bench.daemon.host.submit(CarCrossed(id="x:new", t=30.0, car="41", loop="line"))
    await bench.daemon.host.drain()
    health = bench.health()
    assert (health.store_fails, health.store, health.lag_s, health.queued) == (False, "j.sqlite", 0.0, 0)


async def test_lag_grows_while_the_store_hangs() -> None:
    """A disk that answers nothing at all shows as lag too: the batch in hand waits as well."""
    bench = await Bench().start()
    bench.disk.full, bench.disk.gate = False, asyncio.Event()
    bench.daemon.host.submit(CarCrossed(id="x:1", t=0.0, car="41", loop="line"))
    drained = asyncio.ensure_future(bench.daemon.host.drain())
    await asyncio.sleep(0)
    bench.clock.run_until(12.0)
    assert bench.health().lag_s == 12.0
    bench.disk.gate.set()
    await drained
    assert bench.decider.facts[-1].event.id == "x:1"


async def test_health_carries_what_went_wrong() -> None:
    """Events on which the engine raised, outputs that a sink did not take and refused chatter are on the wire."""
    bench = await Bench().start()
    bench.disk.full = False

    class Deaf:
        def take(self, outputs: Sequence[Output]) -> None:
            raise OSError("gone")

        def restate(self, standing: Sequence[Output]) -> None:
            raise OSError("gone")

    bench.daemon.host.add_sink(Deaf())
    bench.daemon.host.submit(CarPitted(id="p:1", t=0.0, car="41", where="exit"))
    await bench.daemon.host.drain()
    health = bench.health()
    # The sink failed twice: on the word of the failed event, and when everything that stands was said again.
    assert (health.poisoned, health.sink_failures, health.dropped) == (1, 2, 0)
