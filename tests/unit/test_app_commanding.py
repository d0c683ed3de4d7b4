"""One command from the shell: names and values are checked here, the daemon answers."""

from __future__ import annotations

import asyncio
from pathlib import Path

import pytest

from pitwall.app.commanding import arguments_from, command_from, give, give_to, moment
from pitwall.app.daemon import Daemon, offline_message
from pitwall.app.watching import find_session
from pitwall.bus.broker import EmbeddedBroker
from pitwall.bus.codec import message_for
from pitwall.bus.memory import MemoryBroker, MemoryBus
from pitwall.bus.mqtt import MqttBus
from pitwall.engine.session import Session
from pitwall.errors import BrokerError, UserError
from pitwall.forecast.futures import forecast
from pitwall.journal.memory import MemoryJournal
from pitwall.model.events import CommandGiven
from pitwall.model.outputs import Answered, Health, Refused
from pitwall.runtime.clock import VirtualClock
from pitwall.runtime.forecaster import InlineForecaster
from tests.unit.engine_stage import setup


def test_arguments_are_read_as_what_they_are() -> None:
    """Numbers, true and false, lists of sectors and names each come out as the command needs them."""
    words = ["remaining_s=2480", "running=true", "sectors=1, 2", "run=1", "position=3", "text=a=b"]
    assert arguments_from(words) == {"remaining_s": 2480, "running": True, "sectors": ["1", "2"], "run": "1",
                                     "position": 3, "text": "a=b"}


def test_changes_come_from_a_file(tmp_path: Path) -> None:
    """The list of changes of amend is read from YAML or JSON."""
    file = tmp_path / "changes.yaml"
    file.write_text("- {do: drop_run, run: long}\n")
    values = command_from("41", "amend", "ann", arguments_from(["text=rain"], file))
    assert values["changes"] == [{"do": "drop_run", "run": "long"}]
    with pytest.raises(UserError, match="cannot be read"):
        arguments_from([], tmp_path / "none.yaml")


@pytest.mark.parametrize(
    ("words", "command", "told"),
    [
        (["where"], "pit", "name=value"), (["wher=exit"], "pit", "did you mean 'where'"), ([], "crss", "'cross'"),
        (["where=out"], "pit", "'entry' or 'exit'"),
        (["lap=x"], "set_car", "lap"), (["by=x"], "pit", "no argument 'by'"),
        (["changes=[{"], "amend", "cannot be read"),
    ],
)  # fmt: skip
def test_what_is_written_wrongly_is_told(words: list[str], command: str, told: str) -> None:
    """A slip is found before anything is sent, with the nearest name that there is."""
    with pytest.raises(UserError, match=told):
        command_from("41", command, "ann", arguments_from(words))


@pytest.mark.parametrize(("text", "read"), [("-20s", (-20.0, True)), ("-0.5", (-0.5, True)), ("754.5", (754.5, False))])
def test_moments(text: str, read: tuple[float, bool]) -> None:
    """With a minus it counts back from now, without it is a session second."""
    assert moment(text) == read
    with pytest.raises(UserError, match="such as"):
        moment("soon")


class Running:
    """A daemon on an in-memory broker and a virtual clock; ``ask`` gives it a command from a bus of its own."""

    def __init__(self) -> None:
        self.broker, self.clock, self.journal = MemoryBroker(), VirtualClock(-10.0), MemoryJournal()
        prepared = setup()
        self.session = prepared.session
        self.daemon = Daemon(
            prepared, Session(), clock=self.clock, journal=self.journal, follow_clock=False,
            bus=MemoryBus(self.broker, offline_message(prepared.session)),
            forecaster=InlineForecaster(forecast, self.clock, 0.5),
        )

    async def start(self, until: float) -> Running:
        """Prepared, linked, and at that session second."""
        await self.daemon.prepare(-10.0)
        await self.daemon.bus.start()
        await self.clock.run_to(until, self.daemon.host.drain)
        return self

    async def ask(self, command: str, *words: str, at: str | None = None) -> Answered | Refused:
        """One command and its answer."""
        values = command_from("41", command, "ann", arguments_from(list(words)))
        asked = asyncio.ensure_future(
            give(MemoryBus(self.broker), self.session, values, moment(at) if at is not None else None, within_s=5.0)
        )
        while not asked.done():
            await asyncio.sleep(0)
            await self.daemon.host.drain()
        return await asked


async def test_one_command_one_answer() -> None:
    """The daemon's effect or refusal comes back; when it happened is now, a moment ago, or a session second."""
    running = await Running().start(100.0)
    assert isinstance(await running.ask("status", "status=green", at="0"), Answered)
    exit_ = await running.ask("pit", "where=exit", at="-20s")
    assert isinstance(exit_, Answered)
    assert "pit exit at 1:20.0" in exit_.effect
    refused = await running.ask("pit", "where=exit", at="101")
    assert isinstance(refused, Refused)
    given = [one.event for one in await running.journal.read() if isinstance(one.event, CommandGiven)]
    assert [(one.command, one.t, one.by) for one in given] == [
        ("status", 0.0, "ann"), ("pit", 80.0, "ann"), ("pit", 101.0, "ann")
    ]


async def test_a_misspelt_session_is_told_at_once() -> None:
    """Who names a session that no daemon there serves hears which ones there are, instead of waiting for an answer."""
    async with EmbeddedBroker() as broker:
        prepared = setup()
        bus = MqttBus(broker.address, will=offline_message(prepared.session))
        await bus.start()
        online = message_for(prepared.session, Health(id="health:1", t=0.0, state="online", version="1"))
        assert online is not None
        bus.publish(online.topic, online.payload, qos=1, retain=True)
        values = command_from("41", "undo", "ann", {})
        with pytest.raises(UserError, match=rf"no session 'prac'; the daemon there serves {prepared.session}"):
            await give_to(broker.address, "prac", values)
        assert await find_session(broker.address, prepared.session) == prepared.session
        await bus.stop()


async def test_nobody_there() -> None:
    """Without a daemon there is no answer, and that is said."""
    values = command_from("41", "undo", "ann", {})
    with pytest.raises(BrokerError, match="does the daemon run"):
        await give(MemoryBus(MemoryBroker()), "p1", values, within_s=0.05)
