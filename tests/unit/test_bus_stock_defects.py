"""What amqtt 0.12.1 does as it comes: the reasons for ``bus/hardened.py``, each shown on the stock broker.

A test here fails when a newer amqtt has mended the defect: then the mending in ``bus/hardened.py`` may go, and its line
here. ``test_bus_broker_defects.py`` has the same scenes on our broker, with the right ending.
"""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Awaitable, Callable

import pytest
from amqtt.broker import Broker
from amqtt.contexts import Action
from websockets.asyncio.client import connect as websocket_connect

from pitwall.bus.broker import quieten
from tests.unit.test_bus_broker_defects import NOT_AUTHORISED, Raw, joined, packet, subscribed, text


class StockBroker(Broker):
    """The stock broker with two rules of its own in the place of plugins: 'wrong' is no token, viewers get public/#."""

    async def _authenticate(self, session: object, _: object) -> bool:
        session.is_anonymous = True  # type: ignore[attr-defined]  # as its plug-in for everybody does
        return session.password != "wrong"  # type: ignore[attr-defined]  # an amqtt session

    async def _topic_filtering(self, session: object, topic: str, action: Action) -> bool:
        return session.username != "viewer" or topic.startswith("public/")  # type: ignore[attr-defined]  # as above


class Stage:
    """A running stock broker and its clients."""

    def __init__(self, port: int, websocket_port: int) -> None:
        self.port, self.websocket_port, self.made = port, websocket_port, list[Raw]()

    async def raw(self) -> Raw:
        """A connection."""
        self.made.append(Raw(*await asyncio.open_connection("127.0.0.1", self.port)))
        return self.made[-1]

    async def client(self, client_id: str, **how: object) -> Raw:
        """A client that was let in."""
        return await joined(await self.raw(), client_id, **how)


@pytest.fixture
async def stage() -> AsyncIterator[Stage]:
    """A stock broker on a free port."""
    quieten()
    listeners = {"default": {"type": "tcp", "bind": "127.0.0.1:0"}, "ws": {"type": "ws", "bind": "127.0.0.1:0"}}
    broker = StockBroker({"listeners": listeners, "plugins": {}})
    await broker.start()
    ports = [next(iter(broker._servers[name].instance.sockets)).getsockname()[1] for name in listeners]
    running = Stage(*ports)
    yield running
    for raw in running.made:
        raw.writer.transport.abort()
    await asyncio.wait({asyncio.ensure_future(broker.shutdown())}, timeout=1)


async def keep_alive_never_expires(stage: Stage) -> None:
    """Silent for more than one and a half keep-alives, and still connected."""
    silent = await stage.client("silent", keepalive=1, will=("health", b"offline"))
    await silent.silence(1.8)


async def stranger_throws_out_the_owner(stage: Stage) -> None:
    """A wrong token with the owner's id: refused, but the owner hears nothing from then on."""
    owner, stranger = await stage.client("daemon"), await stage.raw()
    await subscribed(owner, "public/a")
    stranger.connect("daemon", user="x", token="wrong")
    assert await stranger.packet() == NOT_AUTHORISED
    other = await stage.client("other")
    await subscribed(other, "public/a")
    other.publish("public/a", b"x")
    assert await other.packet() == packet(0x30, text("public/a") + b"x")
    await owner.silence()


async def retained_messages_leak_past_the_rules(stage: Stage) -> None:
    """Whatever somebody subscribed to is shown to a newcomer who subscribed to nothing and may not read it."""
    owner = await stage.client("owner")
    owner.publish("secret/plan", b"run 3", retain=True)
    await subscribed(owner, "secret/plan")
    viewer = await stage.client("viewer", user="viewer", token="right")
    assert await viewer.packet() == packet(0x31, text("secret/plan") + b"run 3")


async def wills_pass_the_rules(stage: Stage) -> None:
    """A will on a topic that its owner may not publish to."""
    owner = await stage.client("owner")
    await subscribed(owner, "health")
    liar = await stage.client("liar", user="viewer", token="right", will=("health", b"offline"))
    liar.writer.transport.abort()
    assert await owner.packet() == packet(0x30, text("health") + b"offline")


async def shared_subscriptions_are_granted_and_deliver_nothing(stage: Stage) -> None:
    """``$share`` gets a yes and no message."""
    one = await stage.client("one")
    assert await subscribed(one, "$share/group/a") == 0
    one.publish("a", b"x")
    await one.silence()


async def mqtt_5_connections_hang(stage: Stage) -> None:
    """Neither CONNACK nor end."""
    raw = await stage.raw()
    raw.send(packet(0x10, text("MQTT") + b"\x05\x02\x00\x3c" + b"\x05\x11\x00\x00\x00\x0a" + text("five")))
    await raw.silence(0.4)


async def packets_have_no_cap(stage: Stage) -> None:
    """200 MB are waited for."""
    big = await stage.client("big")
    big.send(b"\x30\xff\xff\xff\x5f" + b"x" * 100_000)
    await big.silence(0.3)


async def mute_connections_stay(stage: Stage) -> None:
    """Nobody asks for a CONNECT; the hardened one does after a time that a test may shorten, this one has none."""
    raw = await stage.raw()
    await raw.silence(0.6)


async def second_subscription_keeps_the_first_qos(stage: Stage) -> None:
    """The same filter again at QoS 0 is granted and still served at QoS 1."""
    one = await stage.client("one")
    await subscribed(one, "t", qos=1)
    assert await subscribed(one, "t", qos=0) == 0
    one.publish("t", b"x")
    assert (await one.packet())[0] == 0x32


async def slow_readers_are_owed_without_end(stage: Stage) -> None:
    """A subscriber that acknowledges nothing is sent message after message."""
    feed, lazy = await stage.client("feed"), await stage.client("lazy")
    await subscribed(lazy, "t", qos=1)
    for number in range(300):
        feed.publish("t", b"%d" % number)
    for _ in range(300):
        assert (await lazy.packet())[0] == 0x32


async def half_a_packet_over_a_websocket_is_filled_up(stage: Stage) -> None:
    """A socket that closes within a packet: the rest is taken from copies of its last frame, and passed on."""
    watcher = await stage.client("watcher")
    await subscribed(watcher, "a")
    whole = packet(0x30, text("a") + b"abcdefgh")
    async with websocket_connect(f"ws://127.0.0.1:{stage.websocket_port}", subprotocols=["mqtt"]) as socket:  # type: ignore[list-item]  # a NewType of str
        await socket.send(packet(0x10, text("MQTT") + b"\x04\x02\x00\x3c" + text("screen")))
        await socket.recv()
        await socket.send(whole[:5])
        await socket.send(b"abcd")
    assert await watcher.packet() == whole[:5] + b"abcdabcd"


DEFECTS: list[Callable[[Stage], Awaitable[None]]] = [
    keep_alive_never_expires, stranger_throws_out_the_owner, retained_messages_leak_past_the_rules,
    wills_pass_the_rules, shared_subscriptions_are_granted_and_deliver_nothing, mqtt_5_connections_hang,
    packets_have_no_cap, mute_connections_stay, second_subscription_keeps_the_first_qos,
    slow_readers_are_owed_without_end, half_a_packet_over_a_websocket_is_filled_up,
]  # fmt: skip


@pytest.mark.parametrize("defect", DEFECTS, ids=lambda defect: defect.__name__)
async def test_stock_broker_still_has_the_defect(stage: Stage, defect: Callable[[Stage], Awaitable[None]]) -> None:
    """Each scene ends as wrongly as it did when the hardening was written."""
    await defect(stage)
