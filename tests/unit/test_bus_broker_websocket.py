"""The embedded broker's WebSocket listener has the same defences as its plain one, over raw MQTT packets in frames."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

import pytest
from websockets.asyncio.client import ClientConnection
from websockets.asyncio.client import connect as websocket_connect
from websockets.exceptions import ConnectionClosed

from pitwall.bus.broker import BrokerLimits, EmbeddedBroker
from tests.unit.test_bus_broker_defects import ACCEPTED, clients, joined, packet, subscribed, text

CONNECT = packet(0x10, text("MQTT") + b"\x04\x02\x00\x3c" + text("screen"))


@pytest.fixture
async def broker() -> AsyncIterator[EmbeddedBroker]:
    """An open broker with both listeners and short time-outs."""
    limits = BrokerLimits(connect_s=0.3, packet_bytes=4096, pending=50)
    async with EmbeddedBroker(websocket_port=0, limits=limits) as running:
        yield running


@asynccontextmanager
async def screen(broker: EmbeddedBroker) -> AsyncIterator[ClientConnection]:
    """A WebSocket that speaks MQTT, not yet connected as a client."""
    assert broker.websocket_address is not None
    async with websocket_connect(broker.websocket_address, subprotocols=["mqtt"], max_size=None) as socket:  # type: ignore[list-item]  # a NewType of str
        yield socket


async def closed(socket: ClientConnection) -> bool:
    """True when the broker ends the connection within two seconds without a word."""
    try:
        async with asyncio.timeout(20):
            await socket.recv()
    except ConnectionClosed:
        return True
    return False


async def test_packets_may_span_frames_and_share_them(broker: EmbeddedBroker) -> None:
    """MQTT 3.1.1, 6 [MQTT-6.0.0-2]: a receiver must not assume that packets are aligned with frames."""
    async with screen(broker) as socket, clients(broker, 1) as (feed,):
        for byte in CONNECT:
            await socket.send(bytes([byte]))
        assert await socket.recv() == ACCEPTED
        subscribe, ping = packet(0x82, b"\x00\x01" + text("a/#") + b"\x00"), b"\xc0\x00"
        await socket.send(subscribe + ping)
        answers = b""
        while len(answers) < 7:
            answers += bytes(await socket.recv())  # type: ignore[arg-type]  # binary frames
        assert answers == b"\x90\x03\x00\x01\x00\xd0\x00"
        await joined(feed, "feed")
        feed.publish("a/b", b"x" * 3000)
        heard = b""
        while len(heard) < 3000:
            heard += bytes(await socket.recv())  # type: ignore[arg-type]  # binary frames
        assert heard == packet(0x30, text("a/b") + b"x" * 3000)


async def test_a_socket_that_never_speaks_is_dropped(broker: EmbeddedBroker) -> None:
    """No CONNECT in time, or half of one."""
    async with screen(broker) as mute, screen(broker) as slow:
        await slow.send(CONNECT[:5])
        assert await closed(mute)
        assert await closed(slow)


async def test_packets_above_the_cap_end_the_socket(broker: EmbeddedBroker) -> None:
    """A claim of 200 MB is refused when its length is read, and so is one frame above every bound."""
    async with screen(broker) as claims, screen(broker) as sends:
        for socket in (claims, sends):
            await socket.send(CONNECT.replace(b"screen", b"claims" if socket is claims else b"sends!"))
            assert await socket.recv() == ACCEPTED
        await claims.send(b"\x30\xff\xff\xff\x5f")
        assert await closed(claims)
        await sends.send(packet(0x30, text("a") + b"y" * 3_000_000))
        assert await closed(sends)


async def test_keepalive_expires_and_the_will_fires_on_a_half_open_socket(broker: EmbeddedBroker) -> None:
    """A screen that goes silent is dropped after one and a half keep-alives, and its will is published."""
    async with clients(broker, 1) as (watcher,), screen(broker) as silent:
        await joined(watcher, "watcher")
        await subscribed(watcher, "health")
        will = text("health") + text("offline")
        await silent.send(packet(0x10, text("MQTT") + b"\x04\x06\x00\x01" + text("silent") + will))
        assert await silent.recv() == ACCEPTED
        assert await watcher.packet(3.5) == packet(0x30, text("health") + b"offline")
        assert await closed(silent)


async def test_mqtt_5_over_a_socket_hears_that_it_is_not_spoken(broker: EmbeddedBroker) -> None:
    """In its own language, before the connection ends."""
    async with screen(broker) as five:
        await five.send(packet(0x10, text("MQTT") + b"\x05\x02\x00\x3c" + b"\x05\x11\x00\x00\x00\x0a" + text("five")))
        assert await five.recv() == b"\x20\x03\x00\x84\x00"
        assert await closed(five)


async def test_text_frames_end_the_socket(broker: EmbeddedBroker) -> None:
    """MQTT goes in binary frames [MQTT-6.0.0-1], before CONNECT and after it."""
    async with screen(broker) as early, screen(broker) as late:
        await early.send("hello")
        await late.send(CONNECT)
        assert await late.recv() == ACCEPTED
        await late.send("hello")
        assert await closed(early)
        assert await closed(late)


async def test_half_a_packet_before_the_end_is_no_packet(broker: EmbeddedBroker) -> None:
    """A socket that closes within a packet: nothing of it is passed on, least of all copies of its last frame."""
    async with clients(broker, 1) as (watcher,):
        await joined(watcher, "watcher")
        await subscribed(watcher, "#")
        async with screen(broker) as socket:
            await socket.send(CONNECT)
            assert await socket.recv() == ACCEPTED
            whole = packet(0x30, text("a") + b"abcdefgh")
            await socket.send(whole[:5])
            await socket.send(b"abcd")
        await watcher.silence()
        watcher.send(b"\xc0\x00")
        assert await watcher.packet() == b"\xd0\x00"
