"""One contract for every bus: the in-memory twin behaves like MQTT on the embedded broker and on any mosquitto.

Clause numbers are those of MQTT 5.0 (OASIS), as listed with the published values; 3.1.1 has the same rules.
"""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable
from contextlib import AbstractAsyncContextManager
from pathlib import Path

import pytest

from pitwall.bus.codec import Message
from pitwall.errors import UserError
from pitwall.runtime.ports import Bus
from tests.contract.bus_rigs import Rig, child_rig, embedded_rig, eventually, memory_rig, mosquitto_rig


@pytest.fixture(params=["memory", "embedded", "mosquitto", "child"])
async def rig(request: pytest.FixtureRequest, tmp_path: Path) -> AsyncIterator[Rig]:
    """One rig after the other."""
    makers: dict[str, Callable[[], AbstractAsyncContextManager[Rig]]] = {
        "memory": memory_rig,
        "embedded": embedded_rig,
        "mosquitto": lambda: mosquitto_rig(tmp_path),
        "child": lambda: child_rig(tmp_path),
    }
    async with makers[request.param]() as running:
        yield running


class Ear:
    """Subscribes and remembers what came."""

    def __init__(self, bus: Bus, *topic_filters: str) -> None:
        self.heard: list[tuple[str, bytes]] = []
        for topic_filter in topic_filters:
            bus.subscribe(topic_filter, lambda topic, payload: self.heard.append((topic, payload)))

    async def hears(self, *wanted: tuple[str, bytes]) -> None:
        """Wait for exactly these messages, in this order."""
        await eventually(lambda: len(self.heard) >= len(wanted), f"{len(wanted)} messages, heard {self.heard}")
        assert self.heard == list(wanted)


async def settled(rig: Rig, bus: Bus, ear: Ear) -> None:
    """Everything sent before this call by ``bus`` has reached ``ear`` (which must hear ``probe``)."""
    bus.publish("probe", b"probe")
    await eventually(lambda: ear.heard[-1:] == [("probe", b"probe")], "the probe")
    ear.heard.pop()


async def test_a_bus_satisfies_the_port(rig: Rig) -> None:
    """Each implementation has the methods of the Bus port and starts unconnected."""
    bus = await rig.client()
    assert isinstance(bus, Bus)
    assert bus.connected is False
    await bus.start()
    assert bus.connected is True
    await bus.stop()
    assert bus.connected is False


async def test_a_message_reaches_every_subscriber_and_says_sent(rig: Rig) -> None:
    """Two clients and the sender itself hear a message; ``sent`` is called once."""
    buses = [await rig.client() for _ in range(3)]
    ears = [Ear(bus, "a/b") for bus in buses]
    for bus in buses:
        await bus.start()
    taken: list[str] = []
    buses[0].publish("a/b", b"x", sent=lambda: taken.append("x"))
    for ear in ears:
        await ear.hears(("a/b", b"x"))
    await eventually(lambda: taken == ["x"], "sent")


async def test_order_is_kept_over_a_burst(rig: Rig) -> None:
    """300 messages of mixed QoS-1 topics arrive in the order in which they were published."""
    one, two = await rig.client(), await rig.client()
    ear = Ear(two, "burst/+")
    await two.start()
    await one.start()
    wanted = [(f"burst/{number % 3}", str(number).encode()) for number in range(300)]
    for topic, payload in wanted:
        one.publish(topic, payload)
    await ear.hears(*wanted)


async def test_retained_message_is_shown_to_late_subscribers_and_replaced(rig: Rig) -> None:
    """MQTT 5.0 3.3.1-5: a later retained message replaces the earlier one; a newcomer sees the last only."""
    one, two = await rig.client(), await rig.client()
    own = Ear(one, "state/#", "probe")
    await one.start()
    one.publish("state/a", b"old", retain=True)
    one.publish("state/a", b"new", retain=True)
    one.publish("state/fleeting", b"gone")
    await settled(rig, one, own)
    ear = Ear(two, "state/#", "probe")
    await two.start()
    await eventually(lambda: bool(ear.heard), "the retained message")
    await settled(rig, two, ear)
    assert ear.heard == [("state/a", b"new")]


async def test_empty_retained_message_clears(rig: Rig) -> None:
    """MQTT 5.0 3.3.1-6: a retained message of zero bytes removes the stored one; present subscribers see it pass."""
    one, two = await rig.client(), await rig.client()
    own = Ear(one, "state/a", "probe")
    await one.start()
    one.publish("state/a", b"x", retain=True)
    one.publish("state/a", b"", retain=True)
    await settled(rig, one, own)
    assert own.heard == [("state/a", b"x"), ("state/a", b"")]
    late = Ear(two, "state/a", "probe")
    await two.start()
    await settled(rig, two, late)
    assert late.heard == []


async def test_subscription_made_while_connected_shows_what_is_retained(rig: Rig) -> None:
    """A handler added on a living link gets the retained message, then what follows."""
    bus = await rig.client()
    probe = Ear(bus, "probe")
    await bus.start()
    bus.publish("state/a", b"1", retain=True)
    await settled(rig, bus, probe)
    ear = Ear(bus, "state/+")
    await eventually(lambda: ear.heard == [("state/a", b"1")], "the retained message")
    bus.publish("state/a", b"2", retain=True)
    await ear.hears(("state/a", b"1"), ("state/a", b"2"))


async def test_wildcards(rig: Rig) -> None:
    """MQTT 5.0 4.7.1-1/-2: ``+`` takes one level, ``#`` the rest and its parent."""
    bus = await rig.client()
    plus, rest, probe = Ear(bus, "w/+/c"), Ear(bus, "v/#"), Ear(bus, "probe")
    await bus.start()
    for topic in ("w/b/c", "w/b/d", "w/c", "w/b/b/c", "v", "v/a", "v/a/b", "vv"):
        bus.publish(topic, topic.encode())
    await settled(rig, bus, probe)
    assert [topic for topic, _ in plus.heard] == ["w/b/c"]
    assert [topic for topic, _ in rest.heard] == ["v", "v/a", "v/a/b"]


async def test_leading_wildcards_do_not_take_dollar_topics(rig: Rig) -> None:
    """MQTT 5.0 4.7.2-1: ``#`` and ``+/...`` never match a topic that starts with ``$``."""
    bus = await rig.client()
    ear = Ear(bus, "#")
    await bus.start()
    bus.publish("plain", b"x")
    await eventually(lambda: ("plain", b"x") in ear.heard, "the plain message")
    assert [topic for topic, _ in ear.heard if topic.startswith("$")] == []


async def test_malformed_filters_are_refused_where_they_are_made(rig: Rig) -> None:
    """A misplaced wildcard or a shared subscription raises at once, with the remedy."""
    bus = await rig.client()
    for bad in ("a/#/b", "a+/b", "", "$share/group/a"):
        with pytest.raises(UserError):
            bus.subscribe(bad, lambda topic, payload: None)


async def test_a_failing_handler_breaks_nothing(rig: Rig) -> None:
    """An exception in one handler neither ends the link nor keeps the message from the next handler."""
    bus = await rig.client()

    def fails(topic: str, payload: bytes) -> None:
        raise RuntimeError("on purpose")

    bus.subscribe("a", fails)
    bus.on_link(lambda up: fails("", b""))
    ear = Ear(bus, "b", "probe")
    await bus.start()
    bus.publish("a", b"1")
    bus.publish("b", b"2")
    await settled(rig, bus, ear)
    assert ear.heard == [("b", b"2")]
    assert bus.connected


async def test_publishing_from_a_handler_keeps_one_order_for_all(rig: Rig) -> None:
    """A reply published from within a handler comes after the message that caused it, for every listener."""
    one, two = await rig.client(), await rig.client()
    ear = Ear(two, "talk/#")
    one.subscribe("talk/ask", lambda topic, payload: one.publish("talk/answer", payload))
    await two.start()
    await one.start()
    one.publish("talk/ask", b"1")
    await ear.hears(("talk/ask", b"1"), ("talk/answer", b"1"))


async def test_link_loss_and_return(rig: Rig) -> None:
    """The link's going and coming are told; subscriptions work again afterwards without being made anew."""
    one, two = await rig.client(), await rig.client()
    told: list[bool] = []
    one.on_link(told.append)
    ear = Ear(one, "a", "probe")
    await one.start()
    await two.start()
    rig.cut(one)
    await eventually(lambda: told == [True, False], "the loss")
    assert one.connected is False
    rig.restore(one)
    await eventually(lambda: told == [True, False, True], "the return")
    two.publish("a", b"after")
    await ear.hears(("a", b"after"))


async def test_nothing_stale_arrives_after_the_return(rig: Rig) -> None:
    """What was published while the link was down is dropped and counted, never delivered later."""
    one, two = await rig.client(), await rig.client()
    ear = Ear(two, "call/#", "probe")
    await one.start()
    await two.start()
    rig.cut(one)
    await eventually(lambda: not one.connected, "the loss")
    called: list[str] = []
    for number in range(5):
        one.publish("call/box", str(number).encode(), sent=lambda: called.append("sent"))
    assert one.dropped == 5
    rig.restore(one)
    await eventually(lambda: one.connected, "the return")
    await settled(rig, one, ear)
    assert ear.heard == []
    assert called == []


async def test_will_fires_on_a_cut_link_and_not_on_goodbye(rig: Rig) -> None:
    """The broker publishes the will, retained, when a link breaks; a client that says goodbye leaves none."""
    will = Message("health", b"offline", 1, True)
    one, two = await rig.client(will), await rig.client()
    ear = Ear(two, "health", "probe")
    await two.start()
    await one.start()
    one.publish("health", b"online", retain=True)
    await ear.hears(("health", b"online"))
    rig.cut(one)
    await ear.hears(("health", b"online"), ("health", b"offline"))
    rig.restore(one)
    await eventually(lambda: one.connected, "the return")
    await one.stop()
    await settled(rig, two, ear)
    assert ear.heard == [("health", b"online"), ("health", b"offline")]


async def test_stop_sends_what_is_queued_first(rig: Rig) -> None:
    """Messages published just before ``stop`` still arrive."""
    one, two = await rig.client(), await rig.client()
    ear = Ear(two, "last/+")
    await two.start()
    await one.start()
    for number in range(40):
        one.publish(f"last/{number}", b"x")
    await one.stop()
    await ear.hears(*[(f"last/{number}", b"x") for number in range(40)])
    one.publish("last/late", b"x")
    assert one.dropped == 1
