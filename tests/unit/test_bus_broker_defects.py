"""The defects of amqtt 0.12.1 that the embedded broker mends, one test each, over raw MQTT 3.1.1 packets."""

from __future__ import annotations

import asyncio
import hashlib
import logging
import sys
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

import numpy as np
import pytest
from paho.mqtt import client as paho
from paho.mqtt.enums import CallbackAPIVersion
from websockets.asyncio.client import connect as websocket_connect

from pitwall.bus.broker import BrokerLimits, BrokerUser, EmbeddedBroker
from pitwall.errors import BrokerError
from tests.contract.bus_rigs import eventually

HANGS_S = 20.0  # no timing check: only what never comes fails
ACCEPTED, NOT_AUTHORISED = b"\x20\x02\x00\x00", b"\x20\x02\x00\x05"


def text(value: str | bytes) -> bytes:
    """A length-prefixed MQTT string."""
    raw = value.encode() if isinstance(value, str) else value
    return len(raw).to_bytes(2, "big") + raw


def packet(head: int, body: bytes) -> bytes:
    """A control packet: type and flags, remaining length, body."""
    length, rest = b"", len(body)
    while True:
        rest, low = rest >> 7, rest & 0x7F
        length += bytes([low | (0x80 if rest else 0)])
        if not rest:
            return bytes([head]) + length + body


class Raw:
    """A client that sends what it is told and reads whole packets."""

    def __init__(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self.reader, self.writer = reader, writer

    def send(self, data: bytes) -> None:
        """Send bytes as they are."""
        self.writer.write(data)

    def connect(
        self, client_id: str, keepalive: int = 60, user: str = "", token: str = "", clean: bool = True,
        will: tuple[str, bytes] | None = None,
    ) -> None:
        """Send CONNECT."""
        flags = (0x02 if clean else 0) | (0xC0 if user else 0) | (0x24 if will else 0)
        body = text("MQTT") + bytes([4, flags]) + keepalive.to_bytes(2, "big") + text(client_id)
        if will:
            body += text(will[0]) + text(will[1])
        if user:
            body += text(user) + text(token)
        self.send(packet(0x10, body))

    def subscribe(self, topic_filter: str, qos: int = 0) -> None:
        """Send SUBSCRIBE with packet id 1."""
        self.send(packet(0x82, b"\x00\x01" + text(topic_filter) + bytes([qos])))

    def publish(self, topic: str, payload: bytes, retain: bool = False) -> None:
        """Send PUBLISH at QoS 0."""
        self.send(packet(0x31 if retain else 0x30, text(topic) + payload))

    async def packet(self, within_s: float = 20.0) -> bytes:
        """The next packet; empty when the broker closed."""
        async with asyncio.timeout(within_s):
            try:
                whole = await self.reader.readexactly(1)
                length, shift = 0, 0
                while True:
                    byte = await self.reader.readexactly(1)
                    whole += byte
                    length |= (byte[0] & 0x7F) << shift
                    shift += 7
                    if byte[0] < 0x80:
                        return whole + await self.reader.readexactly(length)
            except (asyncio.IncompleteReadError, ConnectionError):
                return b""

    async def silence(self, for_s: float = 0.15) -> None:
        """Nothing arrives for a while."""
        with pytest.raises(TimeoutError):
            await self.packet(for_s)


@asynccontextmanager
async def clients(broker: EmbeddedBroker, count: int) -> AsyncIterator[list[Raw]]:
    """Some raw connections."""
    made = [Raw(*await asyncio.open_connection(broker.address.host, broker.address.port)) for _ in range(count)]
    try:
        yield made
    finally:
        for raw in made:
            raw.writer.transport.abort()


async def joined(raw: Raw, client_id: str, **how: object) -> Raw:
    """Connect and expect to be accepted."""
    raw.connect(client_id, **how)  # type: ignore[arg-type]  # passed through
    assert (await raw.packet())[:2] == ACCEPTED[:2]
    return raw


async def subscribed(raw: Raw, topic_filter: str, qos: int = 0) -> int:
    """Subscribe and return the code."""
    raw.subscribe(topic_filter, qos)
    answer = await raw.packet()
    assert answer[:4] == b"\x90\x03\x00\x01"
    return answer[4]


def user(token: str, publish: tuple[str, ...] = ("#",), read: tuple[str, ...] = ("#",)) -> BrokerUser:
    """A user with this token."""
    return BrokerUser(hashlib.sha256(token.encode()).hexdigest(), publish, read)


@pytest.fixture
async def broker() -> AsyncIterator[EmbeddedBroker]:
    """An open broker with small limits."""
    async with EmbeddedBroker(limits=BrokerLimits(connect_s=30.0, packet_bytes=4096, pending=50)) as running:
        yield running


@pytest.fixture
async def hasty() -> AsyncIterator[EmbeddedBroker]:
    """One that does not wait long for a first packet."""
    async with EmbeddedBroker(limits=BrokerLimits(connect_s=0.3, packet_bytes=4096, pending=50)) as running:
        yield running


USERS = {
    "owner": user("owner-token"),
    "viewer": user("viewer-token", publish=("own/#",), read=("public/#",)),
}


@pytest.fixture
async def guarded() -> AsyncIterator[EmbeddedBroker]:
    """A broker with two users."""
    async with EmbeddedBroker(limits=BrokerLimits(users=USERS)) as running:
        yield running


async def test_keepalive_expires_and_the_will_fires(broker: EmbeddedBroker) -> None:
    """A client that goes silent is dropped after one and a half keep-alives, and its will is published."""
    async with clients(broker, 2) as (silent, watcher):
        await joined(watcher, "watcher")
        await subscribed(watcher, "health")
        await joined(silent, "silent", keepalive=1, will=("health", b"offline"))
        assert await watcher.packet(3.5) == packet(0x30, text("health") + b"offline")
        assert await silent.packet() == b""


async def test_pings_keep_a_quiet_client(broker: EmbeddedBroker) -> None:
    """A client that pings within its keep-alive is still there when one that came after it and is silent is dropped."""

    async def dropped(raw: Raw) -> None:
        assert await raw.packet(HANGS_S) == b""

    async with clients(broker, 2) as (raw, silent):
        await joined(raw, "pinging", keepalive=1)
        await joined(silent, "silent", keepalive=1)
        gone = asyncio.ensure_future(dropped(silent))
        pings = 0
        while not gone.done():
            raw.send(b"\xc0\x00")
            assert await raw.packet() == b"\xd0\x00"
            pings += 1
            await asyncio.wait([gone], timeout=0.5)
        await gone
        raw.send(b"\xc0\x00")
        assert await raw.packet() == b"\xd0\x00"
        assert pings >= 2


async def test_a_wrong_token_does_not_throw_out_the_owner_of_an_id(guarded: EmbeddedBroker) -> None:
    """Take-over comes after authentication: the owner keeps link and subscription."""
    async with clients(guarded, 3) as (owner, stranger, other):
        await joined(owner, "daemon", user="owner", token="owner-token")
        assert await subscribed(owner, "public/a") == 0
        stranger.connect("daemon", user="owner", token="wrong")
        assert await stranger.packet() == NOT_AUTHORISED
        assert await stranger.packet() == b""
        await joined(other, "other", user="owner", token="owner-token")
        other.publish("public/a", b"still here")
        assert await owner.packet() == packet(0x30, text("public/a") + b"still here")


async def test_the_rightful_owner_takes_over(guarded: EmbeddedBroker) -> None:
    """A second connection with the same id and a right token ends the first, whose will fires [MQTT-3.1.4-2]."""
    async with clients(guarded, 3) as (first, second, watcher):
        await joined(watcher, "watcher", user="owner", token="owner-token")
        await subscribed(watcher, "health")
        await joined(first, "daemon", user="owner", token="owner-token", will=("health", b"offline"))
        await joined(second, "daemon", user="owner", token="owner-token")
        assert await first.packet() == b""
        assert await watcher.packet() == packet(0x30, text("health") + b"offline")
        await subscribed(second, "public/a")
        watcher.publish("public/a", b"x")
        assert await second.packet() == packet(0x30, text("public/a") + b"x")


async def test_two_newcomers_of_one_id_leave_one_connection(broker: EmbeddedBroker) -> None:
    """Ten clients that connect with one id at the same moment: one stays, nine are closed."""
    async with clients(broker, 10) as crowd:
        for raw in crowd:
            raw.connect("same")

        async def until_closed(raw: Raw) -> None:
            while await raw.packet():
                pass

        ends = [asyncio.create_task(until_closed(raw)) for raw in crowd]
        await eventually(lambda: sum(end.done() for end in ends) == 9, "nine closed")
        assert broker.sessions == 1
        left = next(end for end in ends if not end.done())
        left.cancel()
        await asyncio.wait({left})


async def test_no_password_in_the_users_table_means_no_entry(guarded: EmbeddedBroker) -> None:
    """Without a user, or with one that is unknown, the answer is 'not authorised'."""
    async with clients(guarded, 2) as (nobody, unknown):
        nobody.connect("a")
        unknown.connect("b", user="ghost", token="")
        assert await nobody.packet() == NOT_AUTHORISED
        assert await unknown.packet() == NOT_AUTHORISED


async def test_a_login_does_not_hold_up_the_loop(guarded: EmbeddedBroker) -> None:
    """Twenty logins at once get each its own verdict, and no slow password hash is ever loaded for them."""
    async with clients(guarded, 20) as crowd:
        for number, raw in enumerate(crowd):
            raw.connect(f"login-{number}", user="owner", token="owner-token" if number % 2 else "wrong")
        answers = [await raw.packet() for raw in crowd]
    assert answers == [NOT_AUTHORISED, ACCEPTED] * 10
    assert "pitwall.bus.broker" in sys.modules
    assert not any(name.startswith("amqtt.plugins.authentication") for name in sys.modules)


async def test_retained_messages_do_not_leak_past_the_access_rules(guarded: EmbeddedBroker) -> None:
    """On connecting, a client gets nothing it did not subscribe to; on subscribing, nothing it may not read."""
    async with clients(guarded, 2) as (owner, viewer):
        await joined(owner, "owner", user="owner", token="owner-token")
        await subscribed(owner, "secret/plan")
        owner.publish("secret/plan", b"run 3", retain=True)
        owner.publish("public/clock", b"12:00", retain=True)
        assert await owner.packet() == packet(0x30, text("secret/plan") + b"run 3")
        await joined(viewer, "viewer", user="viewer", token="viewer-token")
        await viewer.silence()
        assert await subscribed(viewer, "secret/plan") == 0x80
        assert await subscribed(viewer, "#") == 0x80
        assert await subscribed(viewer, "public/+") == 0
        assert await viewer.packet() == packet(0x31, text("public/clock") + b"12:00")
        await viewer.silence()


async def test_a_will_obeys_the_publish_rules(guarded: EmbeddedBroker) -> None:
    """A will on a topic that its owner may not publish to does not fire; one on an allowed topic does."""
    async with clients(guarded, 3) as (owner, liar, honest):
        await joined(owner, "owner", user="owner", token="owner-token")
        await subscribed(owner, "#")
        await joined(liar, "liar", user="viewer", token="viewer-token", will=("health", b"offline"))
        await joined(honest, "honest", user="viewer", token="viewer-token", will=("own/health", b"bye"))
        liar.writer.transport.abort()
        await owner.silence()
        honest.writer.transport.abort()
        assert await owner.packet() == packet(0x30, text("own/health") + b"bye")


async def test_publishing_where_one_may_not_reaches_nobody(guarded: EmbeddedBroker) -> None:
    """A message on a forbidden topic is dropped; the link stays."""
    async with clients(guarded, 2) as (owner, viewer):
        await joined(owner, "owner", user="owner", token="owner-token")
        await subscribed(owner, "#")
        await joined(viewer, "viewer", user="viewer", token="viewer-token")
        viewer.publish("desk/41/command", b"box")
        viewer.publish("own/note", b"hello")
        assert await owner.packet() == packet(0x30, text("own/note") + b"hello")


async def test_shared_and_malformed_subscriptions_are_refused(broker: EmbeddedBroker) -> None:
    """``$share`` would be granted and deliver nothing: it gets 0x80, as do misplaced wildcards."""
    async with clients(broker, 1) as (raw,):
        await joined(raw, "a")
        for bad in ("$share/group/a", "a/#/b", "a+"):
            assert await subscribed(raw, bad) == 0x80


async def test_a_second_subscription_replaces_the_first(broker: EmbeddedBroker) -> None:
    """The same filter at another QoS: one delivery, at the new QoS [MQTT-3.8.4-3]."""
    async with clients(broker, 1) as (raw,):
        await joined(raw, "a")
        await subscribed(raw, "t", qos=1)
        await subscribed(raw, "t", qos=0)
        raw.publish("t", b"x")
        assert await raw.packet() == packet(0x30, text("t") + b"x")
        await raw.silence(0.05)


async def test_mqtt_5_connection_gets_a_proper_refusal(broker: EmbeddedBroker) -> None:
    """An MQTT 5 client hears 'unsupported protocol version' in its own language and is closed, not left hanging."""
    async with clients(broker, 2) as (raw, old):
        raw.send(packet(0x10, text("MQTT") + b"\x05\x02\x00\x3c" + b"\x05\x11\x00\x00\x00\x0a" + text("five")))
        assert await raw.packet() == b"\x20\x03\x00\x84\x00"
        assert await raw.packet() == b""
        old.send(packet(0x10, text("MQIsdp") + b"\x03\x02\x00\x3c" + text("three")))
        assert await old.packet() == b"\x20\x02\x00\x01"
    reasons: list[str] = []
    client = paho.Client(CallbackAPIVersion.VERSION2, protocol=paho.MQTTv5)
    client.on_connect = lambda client, data, flags, reason, properties: reasons.append(str(reason))
    client.connect_async(broker.address.host, broker.address.port)
    client.loop_start()
    await eventually(lambda: bool(reasons), "an answer")
    client.disconnect()
    await asyncio.to_thread(client.loop_stop)
    assert reasons[0] == "Unsupported protocol version"


async def test_a_connection_that_never_speaks_is_dropped(hasty: EmbeddedBroker) -> None:
    """No CONNECT in time, or only part of one: closed. So is a first packet that is no CONNECT."""
    async with clients(hasty, 3) as (mute, slow, rude):
        slow.send(b"\x10\x20\x00")
        rude.send(b"\xc0\x00")
        for raw in (mute, slow, rude):
            assert await raw.packet() == b""


async def test_packets_above_the_cap_end_the_connection(broker: EmbeddedBroker) -> None:
    """A packet that claims 200 MB is refused when its length is read; a client below the cap is not touched."""
    async with clients(broker, 3) as (big, early, good):
        await joined(good, "good")
        await subscribed(good, "t")
        await joined(big, "big")
        big.send(b"\x30\xff\xff\xff\x5f")
        early.send(b"\x10\xff\xff\xff\x5f")
        assert await big.packet() == b""
        assert await early.packet() == b""
        good.publish("t", b"y" * 4000)
        assert len(await good.packet()) == 4006


async def test_subscriptions_may_change_while_messages_pass(broker: EmbeddedBroker) -> None:
    """Clients that come, subscribe and go during a stream neither end the stream nor lose a neighbour's message."""
    async with clients(broker, 2) as (feed, steady):
        await joined(feed, "feed")
        await joined(steady, "steady")
        await subscribed(steady, "t/#")

        async def churn() -> None:
            for number in range(30):
                async with clients(broker, 2) as (one, two):
                    await joined(one, f"one-{number}")
                    await joined(two, f"two-{number}")
                    await subscribed(one, "t/#")
                    await subscribed(two, f"t/{number}")
                    two.send(b"\xe0\x00")

        turning = asyncio.create_task(churn())
        wanted, heard = 0, 0
        while not turning.done():
            for _ in range(10):
                feed.publish("t/x", b"%d" % wanted)
                wanted += 1
            for _ in range(10):
                assert await steady.packet() == packet(0x30, text("t/x") + b"%d" % heard)
                heard += 1
        await turning
        assert wanted == heard > 100


async def test_a_reader_too_far_behind_is_dropped(broker: EmbeddedBroker) -> None:
    """A subscriber that never acknowledges is dropped at the bound; memory does not grow with its debts."""
    async with clients(broker, 2) as (feed, lazy):
        await joined(feed, "feed")
        await joined(lazy, "lazy")
        await subscribed(lazy, "t", qos=1)
        for number in range(200):
            feed.publish("t", b"%d" % number)
        seen = 0
        while await lazy.packet():
            seen += 1
        assert 1 <= seen <= 50
        feed.send(b"\xc0\x00")
        assert await feed.packet() == b"\xd0\x00"


async def test_protocol_errors_close_the_link_and_fire_the_will(broker: EmbeddedBroker) -> None:
    """A message to a ``$`` topic or at QoS 3 ends the connection as a broken one."""
    bad = (packet(0x30, text("$SYS/a") + b"x"), packet(0x36, text("a") + b"\x00\x01x"))
    async with clients(broker, 1) as (watcher,):
        await joined(watcher, "watcher")
        await subscribed(watcher, "gone")
        for wrong in bad:
            async with clients(broker, 1) as (raw,):
                await joined(raw, "liar", will=("gone", b"x"))
                raw.send(wrong)
                assert await raw.packet() == b""
                assert await watcher.packet() == packet(0x30, text("gone") + b"x")


async def test_a_busy_connection_can_be_stopped(broker: EmbeddedBroker) -> None:
    """Taking over from a client that never stops sending works each time: it does not hang."""
    async with clients(broker, 1) as (first,):
        busy = await joined(first, "busy")
        for _ in range(12):
            for _ in range(300):
                busy.publish("t", b"x")
            await asyncio.sleep(0)
            async with asyncio.timeout(HANGS_S):
                link = await asyncio.open_connection(broker.address.host, broker.address.port)
                busy = await joined(Raw(*link), "busy")
        busy.writer.transport.abort()


async def test_2000_mutated_packets_do_not_disturb_others(
    broker: EmbeddedBroker, capfd: pytest.CaptureFixture[str]
) -> None:
    """Random damage to valid packets: a well-behaved client is served throughout, nothing reaches standard error."""
    dice = np.random.default_rng(7)
    connect = packet(0x10, text("MQTT") + b"\x04\x02\x00\x0a" + text("fuzz"))
    rest = [
        packet(0x82, b"\x00\x01" + text("a/#") + b"\x01"), packet(0x32, text("a/b") + b"\x00\x02" + b"payload"),
        packet(0xA2, b"\x00\x03" + text("a/#")), b"\xc0\x00", packet(0x34, text("a/c") + b"\x00\x04" + b"two"),
        packet(0x62, b"\x00\x04"), packet(0x40, b"\x00\x01"), b"\xe0\x00",
    ]
    async with clients(broker, 1) as (good,):
        await joined(good, "good")
        await subscribed(good, "good/t")
        sent = 0
        while sent < 2000:
            async with clients(broker, 1) as (raw,):
                if dice.random() < 0.8:
                    raw.send(connect)
                for _ in range(20):
                    data = bytearray(rest[dice.integers(len(rest))] if dice.random() < 0.9 else connect)
                    for _ in range(dice.integers(1, 4)):
                        data[dice.integers(len(data))] = dice.integers(256)
                    raw.send(bytes(data))
                    sent += 1
                await asyncio.sleep(0)
            if sent % 400 == 0:
                good.publish("good/t", b"%d" % sent)
                assert await good.packet() == packet(0x30, text("good/t") + b"%d" % sent)
    assert capfd.readouterr().err == ""


async def test_broker_noise_becomes_debug_lines(broker: EmbeddedBroker, capfd: pytest.CaptureFixture[str]) -> None:
    """What amqtt logs does not reach the root logger or standard error."""
    logging.getLogger("amqtt.broker").error("something")
    assert capfd.readouterr().err == ""


async def test_websocket_listener_speaks_mqtt() -> None:
    """The same broker over a WebSocket: CONNECT is accepted."""
    async with EmbeddedBroker(websocket_port=0) as running:
        assert running.websocket_address is not None
        async with websocket_connect(running.websocket_address, subprotocols=["mqtt"]) as socket:  # type: ignore[list-item]  # a NewType of str
            await socket.send(packet(0x10, text("MQTT") + b"\x04\x02\x00\x0a" + text("screen")))
            assert await asyncio.wait_for(socket.recv(), 20) == ACCEPTED


async def test_stop_ends_silent_connections_and_frees_the_port() -> None:
    """Stopping takes no longer because of connections that never spoke; the port can be used again at once."""
    broker = EmbeddedBroker()
    await broker.start()
    port = broker.address.port
    async with clients(broker, 2) as (mute, talker):
        await joined(talker, "talker")
        await asyncio.wait_for(broker.stop(), 2)
        assert await mute.packet() == b""
    async with EmbeddedBroker(port=port) as again:
        assert again.address.port == port


async def test_errors_name_the_remedy() -> None:
    """A port in use, a host beyond loopback and a broker that is not running each say what to do."""
    async with EmbeddedBroker() as first:
        with pytest.raises(BrokerError, match="choose another port"):
            await EmbeddedBroker(port=first.address.port).start()
    with pytest.raises(BrokerError, match="loopback only"):
        EmbeddedBroker(host="0.0.0.0")
    with pytest.raises(BrokerError, match="not running"):
        _ = EmbeddedBroker().address
    assert EmbeddedBroker(host="127.0.0.1").websocket_address is None
