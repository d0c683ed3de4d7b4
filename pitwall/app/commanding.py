"""One command to a running daemon, and its one answer: what scripts, keypads and a second seat use."""

from __future__ import annotations

import asyncio
import json
import os
import re
import socket
from contextlib import suppress
from dataclasses import replace
from difflib import get_close_matches
from pathlib import Path
from typing import Any, get_args

import yaml
from pydantic import ValidationError

from pitwall.app.call_words import CallWords
from pitwall.app.change_files import findings_in, read_changes
from pitwall.app.clients import Onlooker
from pitwall.app.musts_after import MustsAfter, changed_the_plan
from pitwall.app.plain_words import findings_from, near, shown
from pitwall.app.watching import SPEAKS_WITHIN_S, find_session
from pitwall.bus.address import BrokerAddress
from pitwall.bus.codec import message_for_fact
from pitwall.bus.mqtt import MqttBus
from pitwall.errors import BrokerError, FileProblem, Finding, UserError
from pitwall.model.commands import CommandGiven
from pitwall.model.outputs import Answered, ClockState, DeskState, Health, Output, Refused
from pitwall.model.units import clock_text
from pitwall.runtime.ports import Bus

ANSWERED_WITHIN_S = 10.0
DESK_WITHIN_S = 2.0  # for the words of the car's calls, which a broker keeps and hands out at once
HEAD = ("id", "type", "car", "command", "by", "t")
LISTS = ("sectors",)
OF_CALLS = ("said", "skip", "defer", "repeat", "confirm")
"""Commands whose answer names a call."""
_CLOCK = re.compile(r"(-)?(?:(\d{1,2}):)?(\d{1,4}):([0-5]\d(?:\.\d+)?)", re.ASCII)
_COLONS = re.compile(r"[-+]?[\d_]+(?::\d+)+(?:\.\d*)?", re.ASCII)
WORDS = frozenset({
    "call", "alert", "run", "item", "proposal", "text", "loop", "switch", "tyres", "where", "status", "pit_exit",
    "lap_kind", "alternate", "shorthand",
})
"""Arguments that are taken as they stand: a run named 1 is a name."""


def names_of_commands() -> tuple[str, ...]:
    """Every command that the desk may give."""
    groups = get_args(CommandGiven.model_fields["command"].annotation)
    return tuple(word for group in groups for word in (get_args(group) or (group,)))


def names_of_arguments() -> tuple[str, ...]:
    """Every argument that some command takes."""
    return tuple(name for name in CommandGiven.model_fields if name not in HEAD)


def arguments_from(words: list[str], changes: Path | None = None) -> dict[str, Any]:
    """Read ``name=value`` words; numbers, true and false are read as in YAML, a list of sectors is joined by commas.

    Args:
        words: as they stand on the command line.
        changes: a JSON or YAML file with the list for ``changes``.

    Raises:
        UserError: naming the word, and the nearest argument that there is.
    """
    found: dict[str, Any] = {}
    for word in words:
        name, equals, text = word.partition("=")
        if not equals:
            raise UserError(f"{word!r}: arguments are written name=value, such as where=entry")
        if name not in names_of_arguments():
            hint = near(name, names_of_arguments()) or f"there are {', '.join(sorted(names_of_arguments()))}"
            raise UserError(f"no argument {name!r}: {hint}")
        found[name] = _value(name, text)
    if changes is not None:
        try:
            found["changes"] = read_changes(changes)
        except FileProblem as problem:
            raise UserError(str(problem)) from None  # nothing was sent: the command is given wrongly
    return found


def _value(name: str, text: str) -> Any:
    if name in LISTS:
        return [part.strip() for part in text.split(",") if part.strip()]
    return text if name in WORDS else _parsed(name, text)


def _parsed(name: str, text: str) -> Any:
    if name.endswith("_s"):
        return _seconds(name, text)
    if _COLONS.fullmatch(text):
        return text  # YAML would take 1:2:3 for a number to the base of sixty
    try:
        return yaml.safe_load(text)
    except yaml.YAMLError:
        raise UserError(f"{name}={text!r} cannot be read") from None


def _seconds(name: str, text: str) -> float:
    """Seconds as such, or as minutes and seconds, or with hours before them."""
    clock = _CLOCK.fullmatch(text.strip())
    if clock is not None:
        sign, hours, minutes, seconds = clock.groups()
        if hours is None or int(minutes) < 60:
            whole = int(hours or 0) * 3600 + int(minutes) * 60 + float(seconds)
            return -whole if sign else whole
    with suppress(ValueError):
        return int(text) if text.strip().isdecimal() else float(text)
    raise UserError(f"{name}: found {shown(text)}, expected seconds such as 2480, or 41:20, or 1:02:30")


def command_from(car: str, command: str, by: str, arguments: dict[str, Any]) -> dict[str, Any]:
    """A command as it goes over the wire, checked; without ``t`` it happens when the daemon takes it.

    Raises:
        UserError: with what is wrong and what was expected.
    """
    if command not in names_of_commands():
        hint = _nearest_command(command) or f"there are {', '.join(names_of_commands())}"
        raise UserError(f"no command {command!r}: {hint}")
    values = {"car": car, "command": command, "by": by, **arguments}
    try:
        CommandGiven.model_validate({"id": "checked", "t": 0.0, **values})
    except ValidationError as failure:
        changes = [replace(one, path=("changes", *one.path)) for one in _changes_in(arguments)]
        found = changes or findings_from(failure, values, CommandGiven)
        raise UserError("; ".join(one.text() for one in found)) from None
    return values


def _nearest_command(word: str) -> str | None:
    """The command that was meant: one that begins likewise, rather than one that only shares more letters: ``bocks``
    is "box", not "clock"."""
    likewise = [name for name in names_of_commands() if name[:1] == word[:1].lower()]
    anywhere = near(word, names_of_commands())
    looser = get_close_matches(word.lower(), likewise, n=1, cutoff=0.5) if anywhere is not None else []
    return near(word, likewise) or (f"did you mean {looser[0]!r}?" if looser else anywhere)


def _changes_in(arguments: dict[str, Any]) -> list[Finding]:
    return findings_in(arguments["changes"]) if "changes" in arguments else []


def moment(text: str) -> tuple[float, bool]:
    """Read when it happened: ``-20s`` or ``-20`` is so long ago, a plain number is a session second.

    Returns:
        Seconds, and whether they count back from now.

    Raises:
        UserError: when it is neither; ``+20s`` would be ahead, and is more likely meant as so long ago.
    """
    bare = text.strip().removesuffix("s")
    if bare.startswith("+"):
        raise UserError(f"--at {text!r} lies ahead: so long ago is -{bare[1:]}s, a session second {bare[1:]}")
    with suppress(ValueError):
        seconds = float(bare)
        if abs(seconds) <= 172_800:
            return seconds, bare.startswith("-")
    raise UserError(f"--at {text!r}: expected a session second such as 754.5, or how long ago, such as -20s")


class _Heard:
    """What was heard of the session while a command waits for its answer."""

    def __init__(self, command: str, car: str, loop: asyncio.AbstractEventLoop) -> None:
        self.command, self.car, self.calls = command, car, CallWords()
        self.answer: asyncio.Future[Answered | Refused] = loop.create_future()
        self.clock: asyncio.Future[ClockState] = loop.create_future()
        self.desk: asyncio.Future[DeskState] = loop.create_future()
        self.musts = MustsAfter(car, loop)

    def hear(self, output: Output | Health) -> None:
        """Take a message."""
        self.calls.take(output)
        self.musts.hear(output)
        if isinstance(output, Answered | Refused) and output.because == self.command and not self.answer.done():
            self.answer.set_result(output)
        if isinstance(output, ClockState) and not self.clock.done():
            self.clock.set_result(output)
        if isinstance(output, DeskState) and output.car == self.car and not self.desk.done():
            self.desk.set_result(output)


async def give(
    bus: Bus, session: str, values: dict[str, Any], at: tuple[float, bool] | None = None,
    within_s: float = ANSWERED_WITHIN_S, *, ids: bool = False,
) -> Answered | Refused:
    """Give a command over a bus that is not started yet, and wait for its answer. A call may be named by its words.

    Args:
        bus: where the daemon is.
        session: whose topics.
        values: the command, checked.
        at: when it happened, and whether that counts back from now.
        within_s: how long an answer may take.
        ids: the answer names calls by their ids, for programs; else by their words.

    Raises:
        UserError: when several calls have the words of the one that is named.
        BrokerError: when there is no link, or nobody answers in time.
    """
    loop = asyncio.get_running_loop()
    values = {"id": f"{values['by']}-{socket.gethostname()}-{os.getpid()}-{loop.time() * 1e6:.0f}"[-128:], **values}
    heard = _Heard(values["id"], values["car"], loop)
    Onlooker(bus, session, heard.hear, lambda alert: None)
    await bus.start()
    try:
        t, told = None if at is None else at[0], ""
        if at is not None and at[1]:
            now = await asyncio.wait_for(heard.clock, min(SPEAKS_WITHIN_S, within_s))
            t = now.t + at[0] * now.rate
            told = _otherwise(at[0], now.rate, t)
        if values["command"] in OF_CALLS:
            with suppress(TimeoutError):  # a car of which nothing is known has no calls either: the daemon says so
                await asyncio.wait_for(asyncio.shield(heard.desk), min(DESK_WITHIN_S, within_s))
        if "call" in values:
            values["call"] = heard.calls.call_named(values["car"], values["call"])
        _publish(bus, session, values, t)
        answer = await asyncio.wait_for(heard.answer, within_s)
        if isinstance(answer, Answered) and not ids and changed_the_plan(values["command"], answer):
            told += await heard.musts.words(answer)
        return _worded(answer, heard.calls if not ids else None, told)
    except TimeoutError:
        raise BrokerError(f"no answer within {within_s:.0f} s: does the daemon run? (pitwall watch shows it)") from None
    finally:
        await bus.stop()


def _otherwise(ago_s: float, rate: float, t: float) -> str:
    """Of which second of the session it is, where that runs at another speed than the clock on the wall."""
    return "" if rate == 1.0 else f"; {-ago_s:g} s ago at {rate:g} times life: {clock_text(t)} of the session"


def _worded(answer: Answered | Refused, calls: CallWords | None, told: str) -> Answered | Refused:
    """The answer in words, where they are known, with what else is to be told of what was done."""
    if calls is None:
        return answer
    if isinstance(answer, Answered):
        return answer.model_copy(update={"effect": f"{calls.told(answer.effect)}{told}"})
    return answer.model_copy(update={"reason": calls.told(answer.reason)})


def _publish(bus: Bus, session: str, values: dict[str, Any], t: float | None) -> None:
    """Send it; without a time it happens when the daemon takes it, which is nearer the truth than our idea of now."""
    message = message_for_fact(session, CommandGiven.model_validate({"t": 0.0 if t is None else t, **values}))
    fields = json.loads(message.payload)
    if t is None:
        del fields["t"]
    bus.publish(message.topic, json.dumps(fields).encode(), qos=message.qos, retain=message.retain)


async def give_to(
    address: BrokerAddress | str, session: str | None, values: dict[str, Any], at: tuple[float, bool] | None = None,
    *, ids: bool = False,
) -> Answered | Refused:
    """Give a command to the daemon on a broker: the one of this session, or the one that speaks there.

    Raises:
        UserError: when no daemon speaks there, or only one of another session.
        BrokerError: when no broker or daemon answers.
    """
    return await give(MqttBus(address), await find_session(address, session), values, at, ids=ids)


def as_json(answer: Answered | Refused) -> str:
    """The answer as one JSON object."""
    return json.dumps(answer.model_dump(mode="json"), indent=2)
