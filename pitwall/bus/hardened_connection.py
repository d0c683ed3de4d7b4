"""One connection of the embedded broker, amqtt's handler with its defects mended (``hardened`` lists them)."""

from __future__ import annotations

import asyncio
from typing import Any

from amqtt.errors import AMQTTError, MQTTError, NoDataError, ProtocolHandlerError
from amqtt.mqtt.pingreq import PingReqPacket
from amqtt.mqtt.protocol.broker_handler import BrokerProtocolHandler
from amqtt.mqtt.publish import PublishPacket
from amqtt.session import OutgoingApplicationMessage


class HardenedHandler(BrokerProtocolHandler):
    """One connection: drops it on a silent keep-alive, a protocol error, or a reader that falls too far behind."""

    pending_limit = 5000

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.finished = asyncio.Event()
        self._pending = 0
        self._dropped = False

    async def start(self) -> None:
        """Start; end at once if it was dropped before."""
        await super().start()
        if self._dropped:
            self.drop()

    async def stop(self) -> None:
        """Stop reading, then close. Python 3.11's ``wait_for`` may lose a cancellation: ask the reader again."""
        self._dropped = True
        reading = self._reader_task
        while reading is not None and reading is not asyncio.current_task() and not reading.done():
            reading.cancel()
            await asyncio.wait({reading}, timeout=0.1)
        await super().stop()

    def drop(self) -> None:
        """End this connection as one that broke: its will fires."""
        self._dropped = True
        if self._disconnect_waiter is not None and not self._disconnect_waiter.done():
            self._disconnect_waiter.set_result(None)

    def handle_read_timeout(self) -> None:
        """One and a half keep-alives without a packet [MQTT-3.1.2-24]."""
        self.drop()

    async def handle_publish(self, publish_packet: PublishPacket) -> None:
        """Take a message; a malformed one ends the connection."""
        await self._or_drop(super().handle_publish(publish_packet))

    async def handle_pingreq(self, pingreq: PingReqPacket) -> None:
        """Answer a ping."""
        await self._or_drop(super().handle_pingreq(pingreq))

    async def mqtt_publish(
        self, topic: str, data: bytes | bytearray, qos: int | None, retain: bool, ack_timeout: int | None = None
    ) -> OutgoingApplicationMessage:
        """Send a message; a connection with too many unsent or unacknowledged ones is dropped."""
        if self._dropped or self._pending >= self.pending_limit:
            self.drop()
            raise MQTTError(f"the connection is ending, or {self._pending} messages behind")
        self._pending += 1
        try:
            return await super().mqtt_publish(topic, data, qos, retain, ack_timeout)
        finally:
            self._pending -= 1

    async def _or_drop(self, work: Any) -> None:
        try:
            await work
        except (AMQTTError, MQTTError, NoDataError, ProtocolHandlerError, OSError, ValueError):
            self.drop()
