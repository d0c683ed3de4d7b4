"""The ports: what the host needs from the outside, as Protocols. Each has a real adapter and an in-memory twin.

Nothing here imports an adapter, and adapters import nothing else of the runtime.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Protocol, runtime_checkable

from pitwall.model.advice import AdviceAnswer
from pitwall.model.events import Event, Stamped
from pitwall.model.outputs import AdviceWanted, ForecastAnswer, ForecastWanted, Output
from pitwall.model.timetable import Reached, TimetableEntry


class Wakeup(Protocol):
    """A wake-up that was armed."""

    def cancel(self) -> None:
        """Forget it; harmless when it has already happened."""


@runtime_checkable
class Clock(Protocol):
    """The only source of "now". Session seconds; monotonic between two anchors, whatever the wall clock does."""

    @property
    def rate(self) -> float:
        """Session seconds that pass in one real second."""

    def now(self) -> float:
        """Session seconds. Never goes back."""

    def anchor(self, t: float, rate: float = 1.0) -> None:
        """Say that it is session second ``t`` now and that time runs at ``rate``; armed wake-ups are re-timed."""

    def wait_at(self, t: float | None) -> None:
        """Let time not pass ``t`` until told otherwise (None); it then runs on from where it stands. Virtual time takes
        no notice: its driver moves it."""

    def wall_s(self) -> float | None:
        """Unix seconds, for the journal only (a restart measures its gap with it); None in virtual time."""

    def call_at(self, t: float, action: Callable[[], None]) -> Wakeup:
        """Call ``action`` once ``now() >= t``, never earlier. Equal times run in the order in which they were armed."""


@runtime_checkable
class Journal(Protocol):
    """Append-only store of stamped events, numbered from zero without a gap."""

    async def append(self, batch: Sequence[Stamped]) -> None:
        """Store the batch as one commit; durable when this returns.

        Raises:
            JournalError: when it could not be written, or the numbers do not follow on.
        """

    async def read(self, start: int = 0) -> tuple[Stamped, ...]:
        """Every event from number ``start`` on, in order.

        Raises:
            JournalError: when the store is damaged or of a newer version.
        """

    async def close(self) -> None:
        """Flush and release the store."""


MessageHandler = Callable[[str, bytes], None]
LinkHandler = Callable[[bool], None]


@runtime_checkable
class Bus(Protocol):
    """A link to the message bus. ``publish`` never blocks and never raises for a broken link."""

    @property
    def connected(self) -> bool:
        """True while the broker answers."""

    def publish(
        self, topic: str, payload: bytes, *, qos: int = 1, retain: bool = False, sent: Callable[[], None] | None = None
    ) -> None:
        """Queue a message; ``sent`` is called once the broker took it. While the link is down messages are dropped
        and counted: state is published again on reconnection, so nothing stale arrives late."""

    def subscribe(self, topic_filter: str, handler: MessageHandler) -> None:
        """Deliver matching messages to ``handler(topic, payload)``; survives reconnections."""

    def on_link(self, handler: LinkHandler) -> None:
        """Tell ``handler`` when the link comes (True) or goes (False)."""

    async def start(self) -> None:
        """Connect; returns once connected or raises.

        Raises:
            BrokerError: when the broker is not there or refuses us.
        """

    async def stop(self) -> None:
        """Send what is queued (bounded wait), say goodbye, release the link."""


class Forecaster(Protocol):
    """Answers forecasts off the host's thread; in virtual time inline with a fixed latency."""

    def ask(self, wanted: ForecastWanted, answer: Callable[[ForecastAnswer], None]) -> None:
        """Work it out; ``answer`` is called later, on the host's loop, never from within ``ask``."""


class Adviser(Protocol):
    """Searches for better plans off the host's thread; in virtual time inline with a fixed latency."""

    def ask(self, wanted: AdviceWanted, answer: Callable[[AdviceAnswer], None]) -> None:
        """Work it out; ``answer`` is called later, on the host's loop, never from within ``ask``. A question that is
        overtaken by a newer one may go without an answer."""


class Timetable(Protocol):
    """The day by the wall clock. What is on session time (every call and prompt) rides the ``Clock`` instead.

    The wall clock may be set at any moment and the machine may sleep, so an entry is judged by the wall clock alone,
    each time somebody looks: when its alarm rings, and whenever ``review`` is called.

    * Its moment lies ahead: it is armed for it.
    * Its moment has come, at most ``grace_s`` ago: it is told, once, with how late it is.
    * Its moment lies further back: it is told once as passed. Nothing is dropped in silence.
    * What was told is never told again, however often the wall clock is set back over its moment. What a wrong clock
      only reported as passed is told in its time, or late within its grace, once the clock is put right.
    """

    def start(self, entries: Sequence[TimetableEntry], reached: Callable[[Reached], None]) -> None:
        """Judge these entries and arm what lies ahead; ``reached`` is called on the host's loop, in order of time."""

    def review(self) -> None:
        """The wall clock was set, or the machine slept: judge every entry that was not told yet again."""

    def ahead(self) -> tuple[TimetableEntry, ...]:
        """What is still to come, in order of time."""

    def stop(self) -> None:
        """Forget every alarm; harmless when there is none."""


class Sink(Protocol):
    """Takes what the engine decided. A sink that fails is logged and never blocks the engine."""

    def take(self, outputs: Sequence[Output]) -> None:
        """Deliver these outputs, in order."""

    def restate(self, standing: Sequence[Output]) -> None:
        """The link came back: publish every retained state and outstanding prompt again; clear what is not ours."""


class Decider(Protocol):
    """The pure engine as the host sees it (``engine.session.Session`` is the one there is)."""

    def handle(self, stamped: Stamped) -> tuple[Output, ...]:
        """Advance by one fact."""

    def standing(self) -> tuple[Output, ...]:
        """Every retained state and outstanding prompt as it stands."""

    def open_wishes(self) -> tuple[Output, ...]:
        """The wake-up and the unanswered questions that a restarted host must ask for again."""


Submit = Callable[[Event], None]
