"""What the screen's server answers a page: what its user may send, how a comment reads that is being typed."""

from __future__ import annotations

import typing

import pytest

from pitwall.app.brokers import RunningBroker
from pitwall.app.screen_answers import COMMANDS, MOST_OFFERED, MOST_READ, rights_told, shorthand_told
from pitwall.bus.address import parse_address
from pitwall.bus.users import account_of
from pitwall.model.commands import CommandGiven

ADDRESS = parse_address("mqtt://127.0.0.1:1883")
READ = shorthand_told(range(1, 14))


def test_commands_are_those_of_the_wire() -> None:
    """All of them, each once: what the model of a command lets through."""
    groups = typing.get_args(CommandGiven.model_fields["command"].annotation)
    assert sorted(COMMANDS) == sorted({name for group in groups for name in typing.get_args(group)})


def test_without_users_everybody_is_the_desk() -> None:
    """A broker of ours on this machine alone: whoever opens the page may give every command."""
    told = rights_told(RunningBroker("embedded", ADDRESS))({})
    assert told == {"known": True, "role": "desk", "reads": True, "commands": list(COMMANDS)}


def test_of_a_broker_elsewhere_nobody_here_knows() -> None:
    """Its users are its own business: the page may try every command, and is told that nobody knows."""
    told = rights_told(RunningBroker("elsewhere", ADDRESS, asks=True))({"name": "ann", "token": "secret"})
    assert told == {"known": False, "role": None, "reads": True, "commands": list(COMMANDS)}


@pytest.mark.parametrize("asked", [{"name": ["ann"], "token": 1}, {"name": "ann", "token": None}, {"name": "bob"}])
def test_whatever_a_page_sends_is_answered(asked: dict[str, object]) -> None:
    """Fields of another kind are the token of nobody."""
    accounts = {"ann": account_of("desk", "secret")}
    answer = rights_told(RunningBroker("mosquitto", ADDRESS, asks=True, accounts=accounts))
    assert answer(asked) == {"known": True, "role": None, "reads": False, "commands": []}
    assert answer({"name": "ann", "token": "secret"})["role"] == "desk"


@pytest.mark.parametrize(("text", "no_turn"), [
    ("t14 mid us 3", True), ("turn 70 us", True), ("us t4 3, t77 2; t20 lock", True), ("t8-15 us", True),
    ("t14 was ours", False), ("it floats", False), ("14 laps", False), ("t4 us", False),
])  # fmt: skip
def test_a_turn_that_is_not_there_is_told_from_words(text: str, no_turn: bool) -> None:
    """What would read if its turns were there is a slip of the finger; a sentence with such a word in it is words."""
    assert READ({"text": text})["no_turn"] is no_turn


def test_nobody_knows_turns_that_nobody_numbered() -> None:
    """Without the circuit's turns none is refused."""
    told = shorthand_told(())({"text": "t14 us"})
    assert (told["reads"], told["wrong"], told["no_turn"]) == ("turn 14: understeer", "", False)


def test_what_is_typed_is_read_and_gone_on_with() -> None:
    """Remarks in words; and the words that may come next, each with its place, so that it can be put in."""
    told = READ({"text": "t4 mid us 3, exit os"})
    assert told["reads"] == "turn 4 mid: understeer, severity 3; turn 4 exit: oversteer"
    text = "t4 unders"
    (one,) = READ({"text": text})["offers"]
    assert READ({"text": text[: one["at"]] + one["word"]})["reads"] == "turn 4: understeer"
    assert len(READ({"text": ""})["offers"]) == MOST_OFFERED
    assert READ({"text": "it floats"})["offers"] == []


def test_a_long_text_is_left_to_the_daemon() -> None:
    """While a long one is typed nothing is read of it: that would be much work for each key."""
    told = READ({"text": "t4 us " * MOST_READ})
    assert told == {"reads": "", "wrong": "", "no_turn": False, "offers": []}
