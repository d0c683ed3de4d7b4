"""The in-memory bus where it promises more than MQTT does: synchronous delivery in one order."""

from __future__ import annotations

from structlog.testing import capture_logs

from pitwall.bus.codec import Message
from pitwall.bus.memory import MemoryBroker, MemoryBus


async def pair() -> tuple[MemoryBus, MemoryBus]:
    """Two connected clients of one broker."""
    broker = MemoryBroker()
    one, two = MemoryBus(broker), MemoryBus(broker)
    await one.start()
    await two.start()
    return one, two


async def test_everybody_has_heard_when_publish_returns() -> None:
    """No waiting, no loop: a rehearsal in virtual time depends on it."""
    one, two = await pair()
    heard: list[str] = []
    two.subscribe("a", lambda topic, payload: heard.append(topic))
    one.publish("a", b"x")
    assert heard == ["a"]


async def test_replies_wait_for_their_turn() -> None:
    """Two listeners that each reply from within a handler: everybody hears the question, then the replies in order."""
    one, two = await pair()
    one_heard: list[str] = []
    two_heard: list[str] = []

    def replying(bus: MemoryBus, heard: list[str], name: str) -> None:
        def on_message(topic: str, payload: bytes) -> None:
            heard.append(topic)
            if topic == "ask":
                bus.publish(f"reply/{name}", b"")
                heard.append(f"{name} done")

        bus.subscribe("#", on_message)

    replying(one, one_heard, "one")
    replying(two, two_heard, "two")
    one.publish("ask", b"")
    assert one_heard == ["ask", "one done", "reply/one", "reply/two"]
    assert two_heard == ["ask", "two done", "reply/one", "reply/two"]


async def test_sent_is_told_before_anybody_hears() -> None:
    """The broker has taken a message before it passes it on: the sender knows first."""
    one, two = await pair()
    order: list[str] = []
    two.subscribe("a", lambda topic, payload: order.append("heard"))
    one.publish("a", b"x", sent=lambda: order.append("sent"))
    assert order == ["sent", "heard"]


async def test_a_long_chain_of_replies_does_not_deepen_the_stack() -> None:
    """10,000 messages, each caused by the one before, pass without recursion."""
    one, _ = await pair()
    count = 0

    def again(topic: str, payload: bytes) -> None:
        nonlocal count
        count += 1
        if count < 10_000:
            one.publish("loop", b"")

    one.subscribe("loop", again)
    one.publish("loop", b"")
    assert count == 10_000


async def test_a_client_that_was_cut_hears_nothing_and_gets_the_state_on_return() -> None:
    """Fleeting messages of the gap are lost, retained ones are shown; the will has fired once."""
    broker = MemoryBroker()
    one, two = MemoryBus(broker, Message("health", b"offline", 1, True)), MemoryBus(broker)
    heard: list[tuple[str, bytes]] = []
    wills: list[bytes] = []
    one.subscribe("#", lambda topic, payload: heard.append((topic, payload)))
    two.subscribe("health", lambda topic, payload: wills.append(payload))
    await one.start()
    await two.start()
    one.cut()
    one.cut()
    two.publish("fleeting", b"x")
    two.publish("state", b"y", retain=True)
    one.restore()
    assert heard == [("health", b"offline"), ("state", b"y")]
    assert wills == [b"offline"]


async def test_a_failing_sent_callback_does_not_stop_the_message() -> None:
    """Whatever the sender's callback raises is logged; the listeners still hear."""
    one, two = await pair()
    heard: list[str] = []
    two.subscribe("a", lambda topic, payload: heard.append(topic))

    def fails() -> None:
        raise RuntimeError("on purpose")

    with capture_logs() as logs:
        one.publish("a", b"x", sent=fails)
    assert heard == ["a"]
    assert logs[0]["event"] == "sent callback failed"
