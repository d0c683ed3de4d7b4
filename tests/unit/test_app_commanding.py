"""One command from the shell: names and values are checked here, the daemon answers."""

from __future__ import annotations

import asyncio
from pathlib import Path

import pytest

from pitwall.app.call_words import CallWords
from pitwall.app.clients import Onlooker
from pitwall.app.commanding import _otherwise, _worded, arguments_from, command_from, give, give_to, moment
from pitwall.app.daemon import Daemon, offline_message
from pitwall.app.watching import find_session
from pitwall.bus.broker import EmbeddedBroker
from pitwall.bus.codec import message_for
from pitwall.bus.memory import MemoryBroker, MemoryBus
from pitwall.bus.mqtt import MqttBus
from pitwall.cli.main import main
from pitwall.engine.session import Session
from pitwall.errors import BrokerError, FileProblem, UserError
from pitwall.forecast.futures import forecast
from pitwall.journal.memory import MemoryJournal
from pitwall.model.events import CommandGiven
from pitwall.model.outputs import Answered, DeskState, Health, Prompt, Refused
from pitwall.runtime.forecaster import InlineForecaster
from pitwall.runtime.virtual_clock import VirtualClock
from tests.unit.engine_stage import setup

PROMPT = {"type": "prompt", "t": 0.0, "car": "41", "kind": "switch", "revision": 1, "text": "Now: engine 2.",
          "short": "engine 2", "say_from_s": 0.0, "spoken_s": 1.0, "priority": 50, "state": "due", "way": "full",
          "parts": [], "parts_said": 0, "medium": "two_way", "board": []}


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
    with pytest.raises(UserError, match=r"none\.yaml: no such file"):
        arguments_from([], tmp_path / "none.yaml")


@pytest.mark.parametrize(
    ("words", "command", "told"),
    [
        (["where"], "pit", "name=value"), (["wher=exit"], "pit", "did you mean 'where'"), ([], "crss", "'cross'"),
        ([], "bocks", "did you mean 'box'"), ([], "ross", "did you mean 'cross'"),
        (["where=out"], "pit", "where: found 'out', expected one of: entry, exit"),
        (["lap=x"], "set_car", "lap"), (["by=x"], "pit", "no argument 'by'"),
        (["changes=[{"], "amend", "cannot be read"),
        (["changes=[{do: set_laps, run: long, lapz: 3}]"], "amend", r"changes\[0\].*'lapz'.*did you mean 'laps'"),
        (["remaining_s=200000"], "clock", "remaining_s: found 200000, expected 172800 or less"),
        (["remaining_s=1:2:3:4"], "clock", "remaining_s: found '1:2:3:4', expected seconds such as 2480, or 41:20"),
        (["remaining_s=soon"], "clock", "remaining_s: found 'soon', expected seconds such as 2480"),
        (["lap=1:20"], "set_car", "lap: found '1:20', expected a whole number"),
    ],
)  # fmt: skip
def test_what_is_written_wrongly_is_told(words: list[str], command: str, told: str) -> None:
    """A slip is found before anything is sent, with the nearest name that there is."""
    with pytest.raises(UserError, match=told):
        command_from("41", command, "ann", arguments_from(words))


@pytest.mark.parametrize("words", [("clock", "remaining_s=2480"), ("clock",), ("status", "status=green")])
def test_a_command_without_a_car_says_how_to_name_one(
    words: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    """What is of the whole session is easily given without one; the line as it must be is shown."""
    assert main(["command", *words, "--by", "ann"]) == 2
    line = f"pitwall command CAR {' '.join(words)}"
    assert capsys.readouterr().err == (
        f"pitwall: the car is missing: {line}; for what concerns the whole session any of the team's\n")


def test_a_car_without_a_command_says_what_there_is(capsys: pytest.CaptureFixture[str]) -> None:
    """The same slip the other way round."""
    assert main(["command", "41", "--by", "ann"]) == 2
    assert "what is car 41 to be told? the commands are said, skip" in capsys.readouterr().err


def test_seconds_may_be_written_as_a_clock_shows_them() -> None:
    """Minutes and seconds, and hours before them, beside plain seconds."""
    words = ["remaining_s=1:20", "opens_at_s=1:02:30.5", "for_s=90.5"]
    assert arguments_from(words) == {"remaining_s": 80.0, "opens_at_s": 3750.5, "for_s": 90.5}


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("- {do: drop_run, run: long}\n- {do: set_laps, run: long, lapz: 3}\n",
         r"changes\.yaml:2: \[1\].*unknown key 'lapz'.*did you mean 'laps'"),
        ("- {do: drop_rum, run: long}\n", r"changes\.yaml:1: \[0\]\.do: found 'drop_rum'.*did you mean 'drop_run'"),
        ("- {run: long}\n", r"changes\.yaml:1: \[0\]: found no key 'do', expected one of: insert_run"),
        ("- {do: set_run_fuel, run: long,\n   fuel_kg: lots}\n", r"changes\.yaml:2: \[0\]\.fuel_kg: found 'lots', "
         "expected a number"),
        ("do: drop_run\nrun: long\n", r"changes\.yaml:1: found keys and values, expected a list of changes, such as"),
        ("- [drop_run\n", r"changes\.yaml:\d+: "),
    ],
)  # fmt: skip
def test_a_file_of_changes_is_judged_like_any_file(tmp_path: Path, text: str, told: str) -> None:
    """File, line, what was found and expected, the nearest word; nothing of the libraries that read it."""
    file = tmp_path / "changes.yaml"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(UserError, match=told) as refused:
        arguments_from([], file)
    assert "while parsing" not in str(refused.value)
    assert "pydantic" not in str(refused.value).lower()
    assert not isinstance(refused.value, FileProblem), "nothing was sent: exit code 2"


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

    async def calls(self) -> tuple[Prompt, ...]:
        """The calls of car 41, as whoever looks on is told them."""
        found: list[DeskState] = []
        bus = MemoryBus(self.broker)
        Onlooker(bus, self.session, lambda told: found.append(told) if isinstance(told, DeskState) else None,
                 lambda alert: None)
        await bus.start()
        for _ in range(50):
            await asyncio.sleep(0)
        await bus.stop()
        return next(one.prompts for one in found if one.car == "41")

    async def ask(self, command: str, *words: str, at: str | None = None, ids: bool = False) -> Answered | Refused:
        """One command and its answer."""
        values = command_from("41", command, "ann", arguments_from(list(words)))
        asked = asyncio.ensure_future(
            give(MemoryBus(self.broker), self.session, values, moment(at) if at is not None else None, within_s=60.0,
                 ids=ids)
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


async def test_a_call_is_named_and_answered_by_its_words() -> None:
    """People see words, not ids: a call is meant by them, short or in full, and the answer tells them. A program that
    asks for ids is given them, and an id is taken as before."""
    running = await Running().start(0.0)
    await running.ask("status", "status=green", at="0")
    await running.clock.run_to(3.0, running.daemon.host.drain)
    due = await running.calls()
    first, second, third = due[:3]
    said = await running.ask("said", f"call={first.short}")
    assert isinstance(said, Answered)
    assert said.effect == f"'{first.short}' said"
    again = await running.ask("said", f"call={first.call}")
    assert isinstance(again, Answered)
    assert "said already, by ann" in again.effect
    in_full = await running.ask("skip", f"call={second.text.upper()}")
    assert isinstance(in_full, Answered)
    assert in_full.effect == f"'{second.short}' skipped"
    refused = await running.ask("said", "call=no such words")
    assert isinstance(refused, Refused)
    assert refused.reason.startswith("no call 'no such words' for car 41 (there are: '")
    assert f"'{third.short}'" in refused.reason
    assert third.call not in refused.reason
    raw = await running.ask("said", f"call={third.short}", ids=True)
    assert isinstance(raw, Answered)
    assert raw.effect == f"{third.call} said"


def test_so_long_ago_is_told_in_session_time_where_that_runs_otherwise() -> None:
    """In a rehearsal at four times life forty seconds are 160 of the session: right, and to be known."""
    noted = Answered(id="a", t=260.0, because="c", car="41", effect="comment 1 noted")
    for rate, effect in ((4.0, "comment 1 noted; 40 s ago at 4 times life: 1:40 of the session"), (1.0, noted.effect)):
        answer = _worded(noted, CallWords(), _otherwise(-40.0, rate, 100.0))
        assert isinstance(answer, Answered)
        assert answer.effect == effect
    assert _worded(noted, None, _otherwise(-40.0, 4.0, 100.0)) == noted, "a program is told no words"


def test_of_several_calls_with_the_same_words_none_is_guessed() -> None:
    """Two that wait to be said are told with their ids and times; with one of them over, the other is meant."""
    calls = CallWords()
    one, other = (Prompt.model_validate(PROMPT | {"call": f"main-1-{leg}-switch", "id": f"main-{leg}",
                                                  "say_by_s": 60.0 * leg}) for leg in (1, 2))
    for told in (one, other):
        calls.take(told)
    with pytest.raises(UserError, match="2 calls with the words 'engine 2' wait to be said: name one of "
                                        "call=main-1-1-switch by 1:00, call=main-1-2-switch by 2:00"):
        calls.call_named("41", "engine 2")
    calls.take(one.model_copy(update={"revision": 2, "state": "done"}))
    assert calls.call_named("41", "Engine 2") == other.call
    assert calls.call_named("58", "engine 2") == "engine 2"


def test_a_second_key_uses_up_no_call_that_is_still_to_come() -> None:
    """The words of one that is over name that one, so the answer is that it is over, though a later one has the same.
    Where nothing is known but one that is planned, its words alone are no key for it: its id is."""
    calls = CallWords()
    first, later = (Prompt.model_validate(PROMPT | {"call": f"main-1-{leg}-switch", "id": f"main-{leg}", "state": state,
                                                    "say_from_s": 60.0 * leg - 5, "say_by_s": 60.0 * leg})
                    for leg, state in ((1, "said"), (2, "planned")))
    calls.take(later)
    with pytest.raises(UserError, match="'engine 2' is still to come, from 1:55 on: name it by its id, "
                                        "call=main-1-2-switch"):
        calls.call_named("41", "engine 2")
    assert calls.call_named("41", later.call) == later.call
    calls.take(first)
    assert calls.call_named("41", "engine 2") == first.call
    for state in ("done", "skipped", "missed", "withdrawn"):
        calls.take(first.model_copy(update={"revision": 2, "state": state}))
        assert calls.call_named("41", "engine 2") == first.call
    calls.take(later.model_copy(update={"revision": 2, "state": "shown"}))
    assert calls.call_named("41", "engine 2") == later.call
    calls.take(later.model_copy(update={"revision": 3, "state": "done", "t": 120.0}))
    assert calls.call_named("41", "engine 2") == later.call, "of those that are over the last"


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
