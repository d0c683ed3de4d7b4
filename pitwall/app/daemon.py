"""The daemon: one session's host with its edges. Every composition builds this one, with its clock, journal and bus."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager, nullcontext

from pitwall import __version__
from pitwall.app.comment_reading import reading_first
from pitwall.bus.codec import Message, message_for
from pitwall.bus.sink import BusSink
from pitwall.bus.source import BusSource
from pitwall.model.events import LinkChanged, SessionPrepared
from pitwall.model.outputs import ClockState, Health, Output
from pitwall.model.setup import SessionSetup
from pitwall.runtime.host import Host
from pitwall.runtime.ports import Adviser, Bus, Clock, Decider, Forecaster, Journal, Sink
from pitwall.runtime.steps import StepWatch

PULSE_S = 1.0


def offline_message(session: str) -> Message:
    """The daemon's will: what the broker says when the daemon vanishes, and the daemon itself when it ends."""
    message = message_for(session, Health(id="health:offline", t=0.0, state="offline", version=__version__))
    assert message is not None
    return message


class _LastClock:
    """Remembers the engine's last word on the session clock."""

    def __init__(self) -> None:
        self.state: ClockState | None = None

    def take(self, outputs: Sequence[Output]) -> None:
        for output in outputs:
            if isinstance(output, ClockState):
                self.state = output

    def restate(self, standing: Sequence[Output]) -> None:
        self.take(standing)


class Daemon:
    """Host, bus sink, bus source and pulse of one session."""

    def __init__(
        self,
        setup: SessionSetup,
        decider: Decider,
        *,
        clock: Clock,
        journal: Journal,
        bus: Bus,
        forecaster: Forecaster,
        sinks: Sequence[Sink] = (),
        follow_clock: bool = True,
        broker: str | None = None,
        store: str | None = None,
        watch: StepWatch | None = None,
        adviser: Adviser | None = None,
        unseen: Callable[[], AbstractContextManager[None]] = nullcontext,
    ) -> None:
        """Put the parts together; nothing happens before :meth:`prepare`.

        Args:
            setup: what is prepared when the journal is empty.
            decider: a fresh engine.
            clock, journal, bus, forecaster: this composition's.
            sinks: who else takes the outputs.
            follow_clock: False when the feed reads this very clock.
            broker, store: their names, for ``health``.
            watch: notices that the machine slept or that its wall clock was set.
            adviser: who searches for better plans; without one no advice is given.
            unseen: what the decider goes over its journal in; nobody is told of what comes of it there.
        """
        self.setup, self.clock, self.bus, self._unseen = setup, clock, bus, unseen
        self._last_clock = _LastClock()
        self._names = (broker, store)
        self._links = self._pulses = 0
        self.host = Host(decider, journal, clock, forecaster, (*sinks, self._last_clock), follow_clock=follow_clock,
                         watch=watch, adviser=adviser)
        self.sink = BusSink(bus, setup.session, self.host.submit, clock.now)
        self.host.add_sink(self.sink)
        submit = reading_first(self.host.submit, setup.circuit.all_turns)
        self.source = BusSource(bus, setup.session, submit, clock.now, setup.duration_s)
        bus.on_link(self._link)

    async def prepare(self, t: float, wall_start: str | None = None) -> bool:
        """Go on from the journal, or begin it with the setup. To be called before the bus starts.

        Args:
            t: session second now, for a session that begins.
            wall_start: RFC 3339 time of now, live only.

        Returns:
            True when an earlier life was gone on with.

        Raises:
            JournalError: when the journal cannot be read or written.
        """
        with self._unseen():
            resumed = await self.host.recover()
        if resumed is not None:
            return True
        self.host.submit(SessionPrepared(id="prepared", t=t, setup=self.setup, wall_start=wall_start))
        await self.host.drain()
        return False

    async def pulse(self) -> None:
        """Say once a second how we are, and what the clock shows when the engine has not just said so itself."""
        while True:
            self.beat()
            await asyncio.sleep(PULSE_S)

    def beat(self) -> None:
        """One beat of the pulse."""
        self.host.look()
        if not self.bus.connected:
            return
        self._pulses += 1
        self.sink.take([self.health()])
        shown = self._last_clock.state
        now = self.clock.now()
        if shown is not None and now - shown.t >= PULSE_S * self.clock.rate:
            spent = now - shown.t if shown.running else 0.0
            projected = {"id": f"clock:beat:{now:.3f}", "t": now, "remaining_s": max(0.0, shown.remaining_s - spent)}
            self.sink.take([shown.model_copy(update=projected)])

    def health(self) -> Health:
        """How the daemon is."""
        figures = self.host.health()
        broker, store = self._names
        return Health(
            id=f"health:{figures.t:.3f}:{self._pulses}",
            t=figures.t,
            state="online",
            version=__version__,
            lag_s=round(figures.lag_s, 3),
            feed_age_s=None if figures.feed_age_s is None else round(figures.feed_age_s, 3),
            feed_ages_s={feed: round(age, 1) for feed, age in figures.feed_ages_s.items()},
            store=figures.store if figures.store != "ok" else store,
            broker=broker,
            refused_payloads=self.source.refused,
            store_fails=figures.store != "ok",
            queued=figures.queue_depth,
            dropped=figures.dropped,
            poisoned=figures.poisoned,
            sink_failures=figures.sink_failures,
            turns=self.setup.circuit.all_turns,
        )

    def say_goodbye(self) -> None:
        """Publish ``offline``: a will is for those who vanish."""
        message = offline_message(self.setup.session)
        self.bus.publish(message.topic, message.payload, qos=message.qos, retain=message.retain)

    def _link(self, up: bool) -> None:
        self._links += 1
        # The count of stored events is part of the id: it grows over restarts, the count of links does not.
        self.host.submit(
            LinkChanged(id=f"link:{self.host.health().journaled}:{self._links}", t=self.clock.now(), connected=up)
        )
        if up:
            self.host.restate()
            self.beat()
