"""The in-memory twin of the bus: retained messages, wildcards, wills and a link that can be cut, without a socket.

Delivery is synchronous: when ``publish`` returns to a caller outside any handler, everybody has heard. A publish from
within a handler joins one queue and is delivered after the message in hand, so order is the same for all clients and
a handler is never entered twice.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable

from pitwall.bus.codec import Message
from pitwall.bus.delivery import check_filter, deliver, guarded, tell_link
from pitwall.bus.topics import matches
from pitwall.runtime.ports import LinkHandler, MessageHandler


class MemoryBroker:
    """Holds the retained messages and passes messages on; several :class:`MemoryBus` share one."""

    def __init__(self) -> None:
        self.retained: dict[str, bytes] = {}
        self._clients: list[MemoryBus] = []
        self._waiting: deque[Callable[[], None]] = deque()
        self._delivering = False

    def attach(self, client: MemoryBus) -> None:
        """A client's link came."""
        self._clients.append(client)

    def detach(self, client: MemoryBus) -> None:
        """A client's link went."""
        self._clients.remove(client)

    def post(self, message: Message, sent: Callable[[], None] | None = None) -> None:
        """Take a message: store or clear it if retained, tell the sender, pass it on to whoever subscribed."""
        self._do(lambda: self._pass_on(message, sent))

    def show_retained(self, client: MemoryBus, topic_filter: str, handler: MessageHandler) -> None:
        """Give one new subscription what is retained."""
        self._do(lambda: self._retained_to(client, topic_filter, handler))

    def _do(self, action: Callable[[], None]) -> None:
        self._waiting.append(action)
        if self._delivering:
            return
        self._delivering = True
        try:
            while self._waiting:
                self._waiting.popleft()()
        finally:
            self._delivering = False

    def _pass_on(self, message: Message, sent: Callable[[], None] | None) -> None:
        if message.retain and message.payload:
            self.retained[message.topic] = message.payload
        elif message.retain:
            self.retained.pop(message.topic, None)
        if sent is not None:
            guarded(sent, "sent callback failed", topic=message.topic)
        for client in tuple(self._clients):
            client.hear(message.topic, message.payload)

    def _retained_to(self, client: MemoryBus, topic_filter: str, handler: MessageHandler) -> None:
        for topic, payload in tuple(self.retained.items()):
            if client.connected and matches(topic_filter, topic):
                deliver(handler, topic, payload)


class MemoryBus:
    """One client of a :class:`MemoryBroker`; satisfies ``runtime.ports.Bus``."""

    def __init__(self, broker: MemoryBroker, will: Message | None = None) -> None:
        self._broker, self._will = broker, will
        self._subscriptions: list[tuple[str, MessageHandler]] = []
        self._takers: dict[str, tuple[MessageHandler, ...]] = {}  # by topic; forgotten when a subscription comes
        self._link_handlers: list[LinkHandler] = []
        self._connected = False
        self.dropped = 0

    @property
    def connected(self) -> bool:
        """True between :meth:`start` and :meth:`stop` or :meth:`cut`."""
        return self._connected

    def publish(
        self, topic: str, payload: bytes, *, qos: int = 1, retain: bool = False, sent: Callable[[], None] | None = None
    ) -> None:
        """Pass a message on at once; dropped and counted while the link is down."""
        if not self._connected:
            self.dropped += 1
            return
        self._broker.post(Message(topic, payload, qos, retain), sent)

    def subscribe(self, topic_filter: str, handler: MessageHandler) -> None:
        """Deliver matching messages to ``handler``, retained ones first; survives a cut link.

        Raises:
            UserError: when the filter is malformed.
        """
        check_filter(topic_filter)
        self._subscriptions.append((topic_filter, handler))
        self._takers.clear()
        if self._connected:
            self._broker.show_retained(self, topic_filter, handler)

    def on_link(self, handler: LinkHandler) -> None:
        """Tell ``handler`` when the link comes or goes."""
        self._link_handlers.append(handler)

    async def start(self) -> None:
        """Connect."""
        self.restore()

    async def stop(self) -> None:
        """Say goodbye: the will is not published."""
        self._unlink()

    def cut(self) -> None:
        """For tests: break the link without a goodbye. The broker publishes the will."""
        if self._unlink() and self._will is not None:
            self._broker.post(self._will)

    def restore(self) -> None:
        """For tests: the link comes back, with every subscription and what is retained for it."""
        if self._connected:
            return
        self._connected = True
        self._broker.attach(self)
        tell_link(self._link_handlers, True)
        for topic_filter, handler in tuple(self._subscriptions):
            self._broker.show_retained(self, topic_filter, handler)

    def hear(self, topic: str, payload: bytes) -> None:
        """Called by the broker: deliver to every handler whose filter takes the topic."""
        takers = self._takers.get(topic)
        if takers is None:
            takers = tuple(handler for wanted, handler in self._subscriptions if matches(wanted, topic))
            self._takers[topic] = takers
        for handler in takers:
            deliver(handler, topic, payload)

    def _unlink(self) -> bool:
        if not self._connected:
            return False
        self._connected = False
        self._broker.detach(self)
        tell_link(self._link_handlers, False)
        return True
