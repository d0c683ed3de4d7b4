"""Streams between a socket and amqtt, which reads as many bytes as a packet claims to have and waits for ever to close.

The reader takes one whole packet at a time, refuses one above the cap before reading it, and never lets a malformed
packet reach into the next one. The writer closes within a bounded time, whether or not the other side reads.
"""

from __future__ import annotations

import asyncio
import ssl
from collections.abc import Callable

from amqtt.adapters import ReaderAdapter, WriterAdapter
from websockets.asyncio.server import ServerConnection
from websockets.exceptions import ConnectionClosed

_CLOSE_WITHIN_S = 1.0
_CONNECT = 0x10


class PacketRefused(Exception):
    """A packet above the cap, with a malformed length or in a text frame; ends the connection."""


class FramedReader(ReaderAdapter):
    """Serves reads from one whole packet; takes the next one when it is used up."""

    def __init__(self, inner: ReaderAdapter, most_bytes: int) -> None:
        self._inner, self._most = inner, most_bytes
        self._packet = b""
        self._at = 0

    async def read(self, n: int = -1) -> bytes:
        """Up to ``n`` bytes of the packet in hand; fewer when it claims more than it has, and at the end."""
        if self._at >= len(self._packet):
            self._packet, self._at = await self._next_packet(), 0
        end = len(self._packet) if n < 0 else self._at + n
        found = self._packet[self._at : end]
        self._at += len(found)
        return found

    def feed_eof(self) -> None:
        """Pass it on."""
        self._inner.feed_eof()

    async def peek(self) -> bytes:
        """The whole packet in hand, unread; empty at the end of the stream."""
        if self._at >= len(self._packet):
            self._packet, self._at = await self._next_packet(), 0
        return self._packet[self._at :]

    async def _next_packet(self) -> bytes:
        head = await self._exactly(1)
        length, shift = 0, 0
        while head:
            byte = await self._exactly(1)
            if not byte:
                return b""
            head += byte
            length += (byte[0] & 0x7F) << shift
            shift += 7
            if byte[0] < 0x80:
                break
            if shift > 21:
                raise PacketRefused("the length of a packet has more than four bytes")
        if length > self._most:
            raise PacketRefused(f"a packet of {length} bytes: at most {self._most} are taken")
        body = await self._exactly(length) if length else b""
        return head + body if head and len(body) == length else b""

    async def _exactly(self, n: int) -> bytes:
        try:
            found = await self._inner.read(n)
        except (asyncio.IncompleteReadError, OSError):
            return b""
        return found if len(found) == n else b""


class BinaryFrames(ReaderAdapter):
    """Bytes from the binary frames of a WebSocket; in the place of amqtt's, which goes on with copies of the last
    frame when the connection ends within a packet."""

    def __init__(self, connection: ServerConnection) -> None:
        self._connection, self._buffer, self._over = connection, bytearray(), False

    async def read(self, n: int = -1) -> bytes:
        """Exactly ``n`` bytes (all of the next frame when negative); fewer at the end."""
        while len(self._buffer) < max(n, 1) and not self._over:
            try:
                frame = await self._connection.recv()
            except ConnectionClosed:
                self.feed_eof()
                break
            if isinstance(frame, str):
                raise PacketRefused("a text frame: MQTT goes in binary ones [MQTT-6.0.0-1]")
            self._buffer += frame
        found = bytes(self._buffer[: len(self._buffer) if n < 0 else n])
        del self._buffer[: len(found)]
        return found

    def feed_eof(self) -> None:
        """Nothing more is coming."""
        self._over = True


class ClosingWriter(WriterAdapter):
    """Passes everything on; ``close`` aborts the connection when it cannot be closed in time."""

    def __init__(self, inner: WriterAdapter, abort: Callable[[], None]) -> None:
        self._inner, self.abort = inner, abort

    def write(self, data: bytes) -> None:
        """Pass it on."""
        self._inner.write(data)

    async def drain(self) -> None:
        """Pass it on."""
        await self._inner.drain()

    def get_peer_info(self) -> tuple[str, int] | None:
        """Pass it on."""
        return self._inner.get_peer_info()

    def get_ssl_info(self) -> ssl.SSLObject | None:
        """Pass it on."""
        return self._inner.get_ssl_info()

    async def close(self) -> None:
        """Close, or abort after a second: the other side may not be reading."""
        try:
            await asyncio.wait_for(self._inner.close(), _CLOSE_WITHIN_S)
        except (TimeoutError, OSError):
            self.abort()


def protocol_level(packet: bytes) -> int | None:
    """The protocol level that a CONNECT packet asks for (4 is MQTT 3.1.1, 5 is MQTT 5); None when it is no CONNECT."""
    if not packet or packet[0] != _CONNECT:
        return None
    start = 1
    while start < len(packet) and packet[start] >= 0x80:
        start += 1
    start += 1
    name_length = int.from_bytes(packet[start : start + 2], "big")
    level_at = start + 2 + name_length
    name = packet[start + 2 : level_at]
    return packet[level_at] if name in (b"MQTT", b"MQIsdp") and level_at < len(packet) else None


def refusal_of_level(level: int) -> bytes:
    """The CONNACK for a protocol level that we do not speak, in the form which that level understands.

    MQTT 5, 3.2.2.2: reason code 0x84, unsupported protocol version. MQTT 3.1.1, 3.2.2.3: return code 1.
    """
    return b"\x20\x03\x00\x84\x00" if level >= 5 else b"\x20\x02\x00\x01"
