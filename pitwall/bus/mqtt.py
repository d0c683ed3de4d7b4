"""The bus over MQTT 3.1.1, through aiomqtt. See ``connection.py`` for one attempt; here is what spans attempts.

* What is published while the link is down is dropped and counted: state is published again on return, and nothing old
  is still under way.
* A message that the broker does not acknowledge in time ends the link, as the loss of the link ends the waiting. Time
  in which our own loop stood still does not count: the broker may have answered long ago, or live in this very loop.
* Both queues are bounded. A short keep-alive shows a half-open link within seconds.

On Windows the event loop must be the selector one (aiomqtt watches sockets): ``app`` chooses it where it makes one.
"""

from __future__ import annotations

import asyncio
import math
from collections import deque
from collections.abc import Callable, Coroutine
from dataclasses import dataclass
from typing import Any

import aiomqtt
import structlog

from pitwall.bus.address import BrokerAddress, parse_address
from pitwall.bus.codec import Message
from pitwall.bus.connection import (
    LinkSettings,
    SubscriptionRefused,
    abandon,
    broken_off,
    code_of,
    fresh_client,
    leave,
)
from pitwall.bus.delivery import check_filter, dispatch, guarded, tell_link
from pitwall.bus.patience import Unheard, answered_within
from pitwall.errors import BrokerError
from pitwall.runtime.ports import LinkHandler, MessageHandler

_log = structlog.get_logger(__name__)


@dataclass(frozen=True)
class _Outgoing:
    message: Message
    sent: Callable[[], None] | None


class MqttBus:
    """One client of a broker; satisfies ``runtime.ports.Bus``.

    Filters of one bus should not overlap: brokers differ in how often they then deliver (ids make copies harmless).
    """

    def __init__(
        self,
        address: BrokerAddress | str,
        client_id: str | None = None,
        will: Message | None = None,
        settings: LinkSettings | None = None,
    ) -> None:
        self.address = parse_address(address) if isinstance(address, str) else address
        self._client_id, self._will = client_id, will
        self._settings = settings or LinkSettings()
        self._subscriptions: list[tuple[str, MessageHandler]] = []
        self._link_handlers: list[LinkHandler] = []
        self._outgoing: deque[_Outgoing] = deque()
        self._in_flight = 0
        self._wake, self._idle, self._stopping = asyncio.Event(), asyncio.Event(), asyncio.Event()
        self._client: aiomqtt.Client | None = None
        self._run_task: asyncio.Task[None] | None = None
        self._tasks: set[asyncio.Task[None]] = set()
        self.dropped = 0
        self.lost_incoming = 0

    @property
    def connected(self) -> bool:
        """True while the broker answers."""
        return self._client is not None

    def publish(
        self, topic: str, payload: bytes, *, qos: int = 1, retain: bool = False, sent: Callable[[], None] | None = None
    ) -> None:
        """Queue a message; dropped and counted while the link is down or the queue is full."""
        if self._client is None or self._stopping.is_set() or len(self._outgoing) >= self._settings.queue:
            self.dropped += 1
            return
        self._outgoing.append(_Outgoing(Message(topic, payload, qos, retain), sent))
        self._idle.clear()
        self._wake.set()

    def subscribe(self, topic_filter: str, handler: MessageHandler) -> None:
        """Deliver matching messages to ``handler``; made anew on each connection.

        Raises:
            UserError: when the filter is malformed.
        """
        check_filter(topic_filter)
        self._subscriptions.append((topic_filter, handler))
        if self._client is not None:
            self._in_background(self._subscribe_late(self._client, topic_filter))

    def on_link(self, handler: LinkHandler) -> None:
        """Tell ``handler`` when the link comes (True) or goes (False)."""
        self._link_handlers.append(handler)

    async def start(self) -> None:
        """Connect once; later losses are mended in the background.

        Raises:
            BrokerError: when the broker is not there or refuses us, with the reason.
        """
        self._stopping.clear()
        first: asyncio.Future[None] = asyncio.get_running_loop().create_future()
        self._run_task = asyncio.create_task(self._run(first))
        try:
            await first
        except BaseException:
            await self.stop()
            raise

    async def stop(self) -> None:
        """Send what is queued (at most the time-out), say goodbye, release the link. Harmless when never started."""
        if self._run_task is None:
            return
        if self.connected:
            try:
                await asyncio.wait_for(self._idle.wait(), self._settings.timeout_s)
            except TimeoutError:
                _log.warning("stopped with messages unsent", count=len(self._outgoing) + self._in_flight)
        self._stopping.set()
        await self._run_task
        self._run_task = None

    async def _run(self, first: asyncio.Future[None]) -> None:
        loop = asyncio.get_running_loop()
        failures = 0
        while not self._stopping.is_set():
            since = loop.time()
            try:
                await self._connection(first)
            except Exception as error:  # whatever ends a link must not end the daemon
                failure = broken_off(self.address, error)
                if not first.done():
                    first.set_exception(failure)
                    return
                _log.warning("the link to the broker is down", reason=str(failure))
            # A link that held counts as a success; one that falls at once must not be made again in a tight loop.
            failures = 1 if loop.time() - since > self._settings.longest_wait_s else failures + 1
            await self._pause(self._settings.wait_s(failures))

    async def _pause(self, seconds: float) -> None:
        try:
            await asyncio.wait_for(self._stopping.wait(), seconds)
        except TimeoutError:
            return

    async def _connection(self, first: asyncio.Future[None]) -> None:
        """One connection from CONNECT to its end; raises what ended it, returns when we are stopping."""
        client = fresh_client(self.address, self._client_id, self._will, self._settings, self._lost_one)
        try:
            await client.__aenter__()
        except BaseException:
            abandon(client)
            raise
        try:
            await self._subscribe(client, [topic_filter for topic_filter, _ in self._subscriptions])
            await self._serve(client, first)
        finally:
            self._link_gone()
            await leave(client)

    async def _serve(self, client: aiomqtt.Client, first: asyncio.Future[None]) -> None:
        self._client = client
        self._idle.set()
        if not first.done():
            first.set_result(None)
        tell_link(self._link_handlers, True)
        failed: asyncio.Future[None] = asyncio.get_running_loop().create_future()
        parts: list[asyncio.Future[Any]] = [
            asyncio.create_task(self._listen(client)),
            asyncio.create_task(self._send_all(client, failed)),
            asyncio.create_task(self._stopping.wait()),
            failed,
        ]
        try:
            done, _ = await asyncio.wait(parts, return_when=asyncio.FIRST_COMPLETED)
            for part in done:
                part.result()
        finally:
            for part in (*parts, *self._tasks):
                part.cancel()
            await asyncio.gather(*parts, *self._tasks, return_exceptions=True)

    async def _listen(self, client: aiomqtt.Client) -> None:
        async for message in client.messages:
            payload = message.payload
            dispatch(self._subscriptions, str(message.topic), bytes(payload) if isinstance(payload, bytes) else b"")

    async def _send_all(self, client: aiomqtt.Client, failed: asyncio.Future[None]) -> None:
        """Send in order, several under way at once."""
        window = asyncio.Semaphore(self._settings.in_flight)
        while True:
            self._wake.clear()
            while self._outgoing:
                await window.acquire()
                self._in_flight += 1
                self._in_background(self._send(client, self._outgoing.popleft(), window, failed))
            await self._wake.wait()

    async def _send(
        self, client: aiomqtt.Client, item: _Outgoing, window: asyncio.Semaphore, failed: asyncio.Future[None]
    ) -> None:
        message, taken = item.message, False
        try:
            work = client.publish(message.topic, message.payload, message.qos, message.retain, timeout=math.inf)
            await answered_within(work, self._settings.timeout_s)
            taken = True
        except ValueError as error:  # a topic that the protocol forbids: our fault, the link is fine
            _log.error("message cannot be published", topic=message.topic, reason=str(error))
        except (aiomqtt.MqttError, Unheard) as error:
            if not failed.done():
                failed.set_exception(error)
        finally:
            self._in_flight -= 1
            self.dropped += not taken
            window.release()
            if not self._outgoing and not self._in_flight:
                self._idle.set()
        if taken and item.sent is not None:
            guarded(item.sent, "sent callback failed", topic=message.topic)

    def _in_background(self, work: Coroutine[Any, Any, None]) -> None:
        task = asyncio.create_task(work)
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    def _link_gone(self) -> None:
        was_up, self._client = self._client is not None, None
        self.dropped += len(self._outgoing) + self._in_flight  # in flight still: cancelled before their first step
        self._outgoing.clear()
        self._in_flight = 0
        self._idle.set()
        if was_up:
            tell_link(self._link_handlers, False)

    async def _subscribe_late(self, client: aiomqtt.Client, topic_filter: str) -> None:
        try:
            await self._subscribe(client, [topic_filter])
        except (aiomqtt.MqttError, BrokerError) as error:
            _log.error("subscription failed", filter=topic_filter, reason=str(error))

    async def _subscribe(self, client: aiomqtt.Client, topic_filters: list[str]) -> None:
        names = list(dict.fromkeys(topic_filters))
        if not names:
            return
        granted = await client.subscribe([(name, 1) for name in names])
        refused = [name for name, code in zip(names, granted, strict=False) if code_of(code) >= 0x80]
        if refused:
            raise SubscriptionRefused(
                f"it refuses the subscription to {', '.join(refused)}: give this user the right to read"
            )

    def _lost_one(self) -> None:
        self.lost_incoming += 1
        if self.lost_incoming in (1, 10, 100) or self.lost_incoming % 1000 == 0:
            _log.error("incoming messages lost: the queue is full", count=self.lost_incoming)
