"""The clients on the other side of the wire: the rehearsed world and whoever looks on."""

from __future__ import annotations

from typing import Any

from pitwall.app.clients import Onlooker, WorldLink
from pitwall.bus.codec import message_for
from pitwall.bus.memory import MemoryBroker, MemoryBus
from pitwall.bus.sink import BusSink
from pitwall.bus.source import BusSource
from pitwall.model.events import CommandGiven
from pitwall.model.outputs import Alert, Health, Output, Prompt
from pitwall.testing import CAR, SESSION, prompt


async def _bus(broker: MemoryBroker) -> MemoryBus:
    bus = MemoryBus(broker)
    await bus.start()
    return bus


def _sink(bus: MemoryBus, session: str = SESSION) -> BusSink:
    return BusSink(bus, session, lambda event: None, lambda: 0.0)


def _alert(**more: Any) -> Alert:
    values: dict[str, Any] = {"id": "overrun:41", "t": 1.0, "car": CAR, "kind": "overrun", "priority": "high",
                              "active": True, "text": "no", "help": "drop", "since_s": 1.0} | more
    return Alert(**values)


async def test_world_link_sends_facts_and_hears_decisions() -> None:
    """The world's side: a fact comes out as bytes on its topic, a decision comes in as a model, rubbish does not, and
    nor does the end of an alert."""
    broker, facts, heard = MemoryBroker(), [], []
    daemon, world = await _bus(broker), await _bus(broker)
    BusSource(daemon, SESSION, facts.append, lambda: 0.0)
    link = WorldLink(world, SESSION)
    link.listen(heard.append)
    sent = CommandGiven(id="c1", t=4.0, car=CAR, command="said", by="engineer", call="41-box-1")
    link.send(sent)
    _sink(daemon, SESSION).take([prompt(), _alert(), _alert(active=False)])
    daemon.publish(f"pitwall/1/{SESSION}/prompt/{CAR}", b"{}")
    assert facts == [sent]
    assert heard == [prompt(), _alert()], "the desk in the world hears prompts, answers, refusals and alerts"
    assert link.unreadable == 1


async def test_onlooker_takes_to_the_first_session_that_speaks() -> None:
    """Without a session named, a retained `offline` of an old one is not followed, the first living one is."""
    broker = MemoryBroker()
    daemon = await _bus(broker)
    old = message_for("practice-0", Health(id="h", t=1.0, state="offline", version="0"))
    assert old is not None
    daemon.publish(old.topic, old.payload, retain=True)
    heard: list[Output | Health] = []
    looker = Onlooker(await _bus(broker), None, heard.append, lambda alert: None)
    assert not looker.give(CommandGiven(id="c", t=1.0, car=CAR, command="said", by="me"))
    _sink(daemon, SESSION).take([prompt()])
    _sink(daemon, "practice-2").take([prompt("other")])
    assert looker.session == SESSION
    assert [item for item in heard if isinstance(item, Prompt)] == [prompt()]


async def test_onlooker_gives_commands_and_hears_of_cleared_alerts() -> None:
    """A command reaches the daemon; a cleared alert is named by its id; a broken link refuses the command."""
    broker, facts, over = MemoryBroker(), [], []
    daemon, mine = await _bus(broker), await _bus(broker)
    BusSource(daemon, SESSION, facts.append, lambda: 0.0)
    looker = Onlooker(mine, SESSION, lambda output: None, over.append)
    command = CommandGiven(id="c1", t=4.0, car=CAR, command="acknowledge", by="me", alert="overrun:41")
    assert looker.give(command)
    assert facts == [command]
    sink = _sink(daemon, SESSION)
    sink.take([_alert(), _alert(active=False)])
    assert over == ["overrun:41"]
    mine.cut()
    assert not looker.give(command)
