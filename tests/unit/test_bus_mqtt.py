"""What the MQTT adapter adds to its library: clear refusals, bounds, and no stale message after a break."""

from __future__ import annotations

import asyncio
import hashlib
import socket
from collections.abc import AsyncIterator

import pytest
from structlog.testing import capture_logs

from pitwall.bus.broker import BrokerLimits, BrokerUser, EmbeddedBroker
from pitwall.bus.codec import Message
from pitwall.bus.connection import LinkSettings
from pitwall.bus.mqtt import MqttBus
from pitwall.errors import BrokerError, UserError
from tests.contract.bus_rigs import LinkProxy, eventually, free_port

QUICK = LinkSettings(keepalive_s=1, timeout_s=0.3, first_wait_s=0.02, longest_wait_s=0.2, queue=50)


@pytest.fixture
async def broker() -> AsyncIterator[EmbeddedBroker]:
    """An open embedded broker."""
    async with EmbeddedBroker() as running:
        yield running


@pytest.fixture
async def proxy(broker: EmbeddedBroker) -> AsyncIterator[LinkProxy]:
    """A relay to it."""
    relay = LinkProxy(broker.address.host, broker.address.port)
    await relay.start()
    yield relay
    await relay.stop()


async def started(address: str, settings: LinkSettings = QUICK, **more: object) -> MqttBus:
    """A bus that is connected."""
    bus = MqttBus(address, settings=settings, **more)  # type: ignore[arg-type]  # passed through
    await bus.start()
    return bus


async def test_no_broker_is_said_in_words() -> None:
    """Nobody listening: the error names the address and what to check; nothing keeps running."""
    port = free_port()
    bus = MqttBus(f"mqtt://127.0.0.1:{port}", settings=QUICK)
    with pytest.raises(BrokerError, match=rf"no broker answers at mqtt://127.0.0.1:{port} .*is it running"):
        await bus.start()
    assert not bus.connected
    assert len(asyncio.all_tasks()) == 1


async def test_a_listener_that_is_no_broker_is_said_in_words() -> None:
    """A port that accepts and stays silent: refused after the time-out."""
    server = await asyncio.start_server(lambda reader, writer: None, "127.0.0.1", 0)
    port = server.sockets[0].getsockname()[1]
    with pytest.raises(BrokerError, match="no broker answers"):
        await started(f"mqtt://127.0.0.1:{port}")
    server.close()


async def test_a_bad_address_is_refused_at_once() -> None:
    """The address is read before anything is tried."""
    with pytest.raises(UserError, match="mqtt://"):
        MqttBus("127.0.0.1")


async def test_a_refused_login_is_an_error_on_every_attempt() -> None:
    """A wrong token is refused in words, each time; the right one is let in."""
    token = hashlib.sha256(b"right").hexdigest()
    limits = BrokerLimits(users={"desk": BrokerUser(token)})
    async with EmbeddedBroker(limits=limits) as guarded:
        place = f"127.0.0.1:{guarded.address.port}"
        bus = MqttBus(f"mqtt://desk:wrong@{place}", settings=QUICK)
        for _ in range(2):
            with pytest.raises(BrokerError, match=f"mqtt://{place} refused us: not authorised") as caught:
                await bus.start()
            assert "wrong" not in str(caught.value)
        bus = await started(f"mqtt://desk:right@{place}")
        assert bus.connected
        await bus.stop()


async def test_a_refused_subscription_is_an_error() -> None:
    """A user who may not read what the bus subscribes to learns which filter it was."""
    limits = BrokerLimits(users={"desk": BrokerUser(hashlib.sha256(b"t").hexdigest(), may_read=("public/#",))})
    async with EmbeddedBroker(limits=limits) as guarded:
        bus = MqttBus(f"mqtt://desk:t@127.0.0.1:{guarded.address.port}", settings=QUICK)
        bus.subscribe("secret/a", lambda topic, payload: None)
        with pytest.raises(BrokerError, match="subscription to secret/a"):
            await bus.start()
        late = await started(f"mqtt://desk:t@127.0.0.1:{guarded.address.port}")
        with capture_logs() as logs:
            late.subscribe("secret/b", lambda topic, payload: None)
            await eventually(lambda: bool(logs), "the log line")
        assert logs[0]["filter"] == "secret/b"
        assert late.connected
        await late.stop()


async def test_small_packets_are_not_held_back(broker: EmbeddedBroker) -> None:
    """TCP_NODELAY is set on our socket."""
    bus = await started(str(broker.address))
    assert bus._client is not None
    link = bus._client._client.socket()
    assert isinstance(link, socket.socket)
    assert link.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY) != 0
    await bus.stop()


async def test_each_attempt_has_a_client_of_its_own(proxy: LinkProxy) -> None:
    """After a break another client object serves: nothing of the old one can be sent."""
    bus = await started(f"mqtt://127.0.0.1:{proxy.port}")
    first = bus._client
    proxy.cut()
    await eventually(lambda: not bus.connected, "the loss")
    proxy.restore()
    await eventually(lambda: bus.connected, "the return")
    assert bus._client is not first
    await bus.stop()


async def test_an_unacknowledged_message_ends_the_link_and_is_not_sent_again(
    broker: EmbeddedBroker, proxy: LinkProxy
) -> None:
    """A broker that no longer answers is noticed by a publish within the time-out; the message never arrives."""
    onlooker = await started(str(broker.address))
    heard: list[bytes] = []
    onlooker.subscribe("call", lambda topic, payload: heard.append(payload))
    patient = LinkSettings(keepalive_s=30, timeout_s=0.2, first_wait_s=0.02)
    bus = await started(f"mqtt://127.0.0.1:{proxy.port}", patient)
    told: list[bool] = []
    bus.on_link(told.append)
    taken: list[str] = []
    proxy.silent = True
    for number in range(20):
        bus.publish("call", b"box %d" % number, sent=lambda: taken.append("sent"))
    await eventually(lambda: told == [False], "the loss", within_s=20.0)
    assert bus.dropped == 20
    proxy.restore()
    await eventually(lambda: bus.connected, "the return")
    bus.publish("call", b"new")
    await eventually(lambda: heard == [b"new"], "the new message alone")
    assert taken == []
    await bus.stop()
    await onlooker.stop()


async def test_a_half_open_link_is_noticed_by_the_keepalive(proxy: LinkProxy) -> None:
    """With nothing to publish, a silent broker is noticed within some keep-alives."""
    bus = await started(f"mqtt://127.0.0.1:{proxy.port}")
    proxy.silent = True
    await eventually(lambda: not bus.connected, "the loss", within_s=20.0)
    await bus.stop()


async def test_the_outgoing_queue_is_bounded(broker: EmbeddedBroker) -> None:
    """More at once than the queue holds: what does not fit is dropped and counted, the rest arrives in order."""
    bus = await started(str(broker.address))
    heard: list[bytes] = []
    bus.subscribe("q", lambda topic, payload: heard.append(payload))
    for number in range(80):
        bus.publish("q", b"%d" % number)
    assert bus.dropped == 30
    await eventually(lambda: len(heard) == 50, "the 50 that fitted")
    assert heard == [b"%d" % number for number in range(50)]
    await bus.stop()


async def test_the_incoming_queue_is_bounded(broker: EmbeddedBroker) -> None:
    """When a handler holds up the loop, what the queue cannot take is counted and logged, not kept without end."""
    bus = await started(str(broker.address))
    bus.subscribe("flood", lambda topic, payload: None)
    client = bus._client
    assert client is not None
    with capture_logs() as logs:
        for _ in range(60):
            client._queue.put_nowait(object())  # type: ignore[arg-type]  # never looked at: the queue is what is tested
    assert bus.lost_incoming == 10
    assert [line["count"] for line in logs] == [1, 10]
    while not client._queue.empty():
        client._queue.get_nowait()
    await bus.stop()


async def test_a_topic_that_cannot_be_published_does_not_end_the_link(broker: EmbeddedBroker) -> None:
    """A wildcard in a topic is our own fault: logged, counted, and the next message goes out."""
    bus = await started(str(broker.address))
    heard: list[str] = []
    bus.subscribe("ok", lambda topic, payload: heard.append(topic))
    with capture_logs() as logs:
        bus.publish("bad/#", b"x")
        bus.publish("ok", b"x")
        await eventually(lambda: heard == ["ok"], "the good one")
    assert logs[0]["event"] == "message cannot be published"
    assert bus.dropped == 1
    assert bus.connected
    await bus.stop()


def test_back_off_doubles_up_to_a_bound() -> None:
    """0.1, 0.2, 0.4 ... 5 s, without chance."""
    waits = [LinkSettings().wait_s(failures) for failures in range(1, 9)]
    assert waits == [0.1, 0.2, 0.4, 0.8, 1.6, 3.2, 5.0, 5.0]
    assert LinkSettings().wait_s(10_000) == 5.0


async def test_it_waits_longer_and_longer_for_a_broker_that_is_away(proxy: LinkProxy) -> None:
    """While the broker refuses, attempts are logged with the reason; the link returns when it does."""
    bus = await started(f"mqtt://127.0.0.1:{proxy.port}")
    with capture_logs() as logs:
        proxy.cut()
        await eventually(lambda: len(logs) >= 3, "three attempts")
        proxy.restore()
        await eventually(lambda: bus.connected, "the return")
    assert all("mqtt://127.0.0.1" in line["reason"] for line in logs)
    await bus.stop()


async def test_stop_while_reconnecting_is_quick(proxy: LinkProxy) -> None:
    """Stopping does not wait for a broker that is away, stopping twice does no harm, and it stays stopped."""
    bus = await started(f"mqtt://127.0.0.1:{proxy.port}")
    links: list[bool] = []
    bus.on_link(links.append)
    proxy.cut()
    await eventually(lambda: not bus.connected, "the loss")
    await asyncio.wait_for(bus.stop(), 20)
    await bus.stop()
    proxy.restore()
    # A second client that comes back after the same break: by then the stopped one would be back as well.
    later = await started(f"mqtt://127.0.0.1:{proxy.port}")
    proxy.cut()
    await eventually(lambda: not later.connected, "the second loss")
    proxy.restore()
    await eventually(lambda: later.connected, "the return of the one that was not stopped")
    await later.stop()
    assert not bus.connected
    assert links == [False]


async def test_it_can_be_started_again(broker: EmbeddedBroker) -> None:
    """Start, stop, start: subscriptions still stand."""
    bus = await started(str(broker.address))
    heard: list[bytes] = []
    bus.subscribe("again", lambda topic, payload: heard.append(payload))
    await bus.stop()
    await bus.start()
    bus.publish("again", b"x")
    await eventually(lambda: heard == [b"x"], "the message")
    await bus.stop()


async def test_the_daemons_will_says_offline(broker: EmbeddedBroker, proxy: LinkProxy) -> None:
    """A will given to the bus is published, retained, when its link is cut."""
    onlooker = await started(str(broker.address))
    heard: list[bytes] = []
    onlooker.subscribe("pitwall/1/fp1/health", lambda topic, payload: heard.append(payload))
    will = Message("pitwall/1/fp1/health", b"offline", 1, True)
    bus = await started(f"mqtt://127.0.0.1:{proxy.port}", will=will)
    proxy.cut()
    await eventually(lambda: heard == [b"offline"], "the will")
    await bus.stop()
    await onlooker.stop()


async def test_nothing_reaches_standard_error(proxy: LinkProxy, capfd: pytest.CaptureFixture[str]) -> None:
    """Breaks and returns leave no library's complaint on standard error."""
    bus = await started(f"mqtt://127.0.0.1:{proxy.port}")
    for _ in range(3):
        for number in range(40):
            bus.publish("t", b"%d" % number)
        proxy.cut()
        await eventually(lambda: not bus.connected, "the loss")
        proxy.restore()
        await eventually(lambda: bus.connected, "the return")
    await bus.stop()
    assert capfd.readouterr().err == ""
