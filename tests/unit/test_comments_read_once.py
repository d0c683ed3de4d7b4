"""How a comment was read is a fact: a replay obeys the journal, whatever the rules of shorthand are by then."""

from __future__ import annotations

import asyncio
from typing import Any

import pytest

from pitwall.app.commanding import arguments_from, command_from, give
from pitwall.app.comment_reading import reading_first
from pitwall.app.daemon import Daemon, offline_message
from pitwall.bus.codec import fact_from, message_for_fact
from pitwall.bus.memory import MemoryBroker, MemoryBus
from pitwall.comments.shorthand import parse
from pitwall.engine import comment_commands
from pitwall.engine.session import Session
from pitwall.errors import PayloadError
from pitwall.journal.codec import decode, encode
from pitwall.journal.memory import MemoryJournal
from pitwall.journal.replay import decisions
from pitwall.model.comments import Comment, Remark
from pitwall.model.events import CommandGiven, CommentRead, Event, SessionPrepared, Stamped
from pitwall.model.outputs import Answered, CommentNoted, Output, Refused
from pitwall.runtime.virtual_clock import VirtualClock
from pitwall.testing import SilentForecaster
from tests.unit.engine_stage import CAR, setup

TYPED = ("t4 mid us 3: worse with wear", "us t4 wobble", "rears hot", "t9 os exit 2")
"""Four lines; the second is refused."""


class Desk:
    """A daemon on an in-memory broker, and a desk that types comments at it."""

    def __init__(self, journal: MemoryJournal | None = None) -> None:
        self.broker, self.clock, self.journal = MemoryBroker(), VirtualClock(0.0), journal or MemoryJournal()
        self.session = setup().session
        self.daemon = Daemon(
            setup(), Session(), clock=self.clock, journal=self.journal, follow_clock=False,
            bus=MemoryBus(self.broker, offline_message(self.session)), forecaster=SilentForecaster(),
        )

    async def start(self) -> Desk:
        """Prepared, or gone on with, and linked."""
        await self.daemon.prepare(0.0)
        await self.daemon.bus.start()
        await self.daemon.host.drain()
        return self

    async def ask(self, *words: str) -> Answered | Refused:
        """One comment and its answer."""
        values = command_from(CAR, "comment", "ann", arguments_from(list(words)))
        asked = asyncio.ensure_future(give(MemoryBus(self.broker), self.session, values, None, within_s=60.0))
        while not asked.done():
            await asyncio.sleep(0)
            await self.daemon.host.drain()
        return await asked


async def typed() -> MemoryJournal:
    """The journal of a desk that typed those lines, and completed the second comment later."""
    desk = await Desk().start()
    for line in TYPED:
        await desk.ask(f"shorthand={line}")
    answer = await desk.ask("comment=2", "text=since lap 4")
    assert isinstance(answer, Answered)
    return desk.journal


def outputs(events: list[Stamped]) -> list[Output]:
    """All that a fresh engine decides on them."""
    return [one for decided in decisions(events, Session()) for one in decided.outputs]


def last_words(events: list[Stamped]) -> dict[int, Comment]:
    """Each comment as it stands at the end."""
    return {one.comment.comment: one.comment for one in outputs(events) if isinstance(one, CommentNoted)}


def understands_nothing(*_: Any) -> Any:
    """Rules by which no line can be read."""
    raise AssertionError("a replay asked how shorthand is read")


async def test_how_a_comment_reads_stands_before_it_in_the_journal() -> None:
    """Its remarks and its free text, or why it cannot be read; nothing of a comment without shorthand."""
    events = [one.event for one in await (await typed()).read()]
    readings = [one for one in events if isinstance(one, CommentRead)]
    assert [one.remarks for one in readings if one.problem is None] == [
        (Remark(turn=4, phase="mid", what="understeer", severity=3),),
        (Remark(about="tyres", what="hot", axle="rear"),),
        (Remark(turn=9, phase="exit", what="oversteer", severity=2),),
    ]  # fmt: skip
    assert (readings[0].text, readings[1].remarks) == ("worse with wear", None)
    assert "'wobble'" in (readings[1].problem or "")
    for one in readings:
        behind = events[events.index(one) + 1]
        assert isinstance(behind, CommandGiven)
        assert behind.id == one.command
    assert len(readings) == len(TYPED)


async def test_a_replay_asks_no_rules(monkeypatch: pytest.MonkeyPatch) -> None:
    """By rules that refuse every line the same journal has the same outputs, word for word, also once it was stored."""
    events = await (await typed()).read()
    before = outputs(events)
    monkeypatch.setattr(comment_commands, "parse", understands_nothing)
    assert outputs(events) == before
    assert outputs([decode(encode(one)) for one in events]) == before
    assert [one.text for one in last_words(events).values()] == ["worse with wear", "since lap 4", ""]


async def test_an_old_journal_is_read_by_the_rules_of_today(monkeypatch: pytest.MonkeyPatch) -> None:
    """It has no such facts. Where the rules are other ones by now a later number is of another comment."""
    events = [one for one in await (await typed()).read() if not isinstance(one.event, CommentRead)]
    assert [one.text for one in last_words(events).values()] == ["worse with wear", "since lap 4", ""]
    monkeypatch.setattr(comment_commands, "parse", lambda text, turns: parse(text.replace(" wobble", ""), turns))
    now = last_words(events)
    assert [one.text for one in now.values()] == ["worse with wear", "since lap 4", "", ""]
    assert now[2].remarks == (Remark(turn=4, what="understeer"),), "that day it was the hot rears"


async def test_one_life_after_another_by_other_rules(monkeypatch: pytest.MonkeyPatch) -> None:
    """A daemon that comes back with rules of its own keeps what the one before it accepted, and its numbers."""
    journal = await typed()
    monkeypatch.setattr(comment_commands, "parse", lambda text, turns: parse(text.replace(" wobble", ""), turns))
    desk = await Desk(journal).start()
    answer = await desk.ask("shorthand=us t4 wobble")
    assert isinstance(answer, Answered)
    assert answer.effect == "comment 4 noted"


async def test_words_or_shorthand_are_decided_as_they_were_that_day(monkeypatch: pytest.MonkeyPatch) -> None:
    """What was kept as words stays words, and the answer tells the same reason."""
    desk = await Desk().start()
    told = await desk.ask("text=it wallows", "shorthand=it wallows")
    assert isinstance(told, Answered)
    assert "not counted" in told.effect
    monkeypatch.setattr(comment_commands, "parse", understands_nothing)
    events = await desk.journal.read()
    assert [one.effect for one in outputs(events) if isinstance(one, Answered)] == [told.effect]


def test_only_the_daemon_says_how_a_comment_reads() -> None:
    """No message brings it in."""
    with pytest.raises(PayloadError, match="never sent over the bus"):
        message_for_fact("fp1", CommentRead(id="r", t=0.0, car=CAR, command="c"))


async def test_nobody_takes_the_id_of_a_reading() -> None:
    """A message with such an id is refused and told why, so the reading of the comment behind it is stored."""
    desk = await Desk().start()
    fact = {"command": "comment", "by": "ann"}
    taken = message_for_fact(desk.session, CommandGiven(id="read:c2", t=0.0, car=CAR, text="hello", **fact))
    typed = message_for_fact(desk.session, CommandGiven(id="c2", t=0.0, car=CAR, shorthand="us t4", **fact))
    for one in (taken, typed):
        desk.daemon.bus.publish(one.topic, one.payload, qos=one.qos, retain=False)
    for _ in range(20):
        await asyncio.sleep(0)
        await desk.daemon.host.drain()
    events = [one.event for one in await desk.journal.read()]
    assert [(one.id, one.type) for one in events if one.id.endswith("c2")] == [
        ("read:c2", "comment_read"), ("c2", "command_given")]
    with pytest.raises(PayloadError, match="id \"read:c2\" begins with 'read:', as only the daemon's own do: give it "
                                           "another"):
        fact_from(taken.topic, taken.payload, 0.0)


def test_of_another_car_it_is_of_no_matter() -> None:
    """The command itself is refused."""
    session = Session()
    facts: list[Event] = [
        SessionPrepared(id="p", t=0.0, setup=setup()), CommentRead(id="r", t=1.0, car="99", command="c"),
        CommandGiven(id="c", t=1.0, car="99", command="comment", by="ann", shorthand="us t4"),
    ]  # fmt: skip
    stamped = [Stamped(seq=seq, received_t=fact.t, event=fact) for seq, fact in enumerate(facts)]
    told = [one for decided in decisions(stamped, session) for one in decided.outputs]
    assert [one.reason.split(";")[0] for one in told if isinstance(one, Refused)] == ["no plan for car 99"]


def test_a_reader_that_fails_loses_no_comment(monkeypatch: pytest.MonkeyPatch) -> None:
    """And a long id of a command still gives the fact an id that may be."""
    taken: list[Event] = []
    submit = reading_first(taken.append, ())
    long = CommandGiven(id="c" * 128, t=1.0, car=CAR, command="comment", by="ann", shorthand="us t4")
    submit(long)
    assert [type(one) for one in taken] == [CommentRead, CommandGiven]
    monkeypatch.setattr(comment_commands, "parse", understands_nothing)
    submit(long)
    assert taken[2:] == [long]
