"""Whoever looks on hears how each call ended, whatever the link did; a standstill of ours is no lost link.

Without these a call whose end was under way, or was decided, while the daemon's link was down stood open for ever in
the eyes of everybody who had heard it begin.
"""

from __future__ import annotations

import asyncio
from typing import Any

import pytest
from structlog.testing import capture_logs

from pitwall.bus.broker import EmbeddedBroker
from pitwall.bus.mqtt import MqttBus
from pitwall.bus.patience import Unheard, answered_within
from pitwall.bus.sink import MOST_OWED
from pitwall.model.outputs import Answered, Prompt
from tests.contract.bus_rigs import eventually
from tests.unit.test_bus_sink_source import Desk, plan, prompt


def ended(state: str, call: str = "c1", revision: int = 1) -> Prompt:
    """The next word on a call."""
    return prompt(call, revision).model_copy(update={"state": state})


ANSWER = Answered(id="a", t=12, because="command", car="41", effect="noted")


class Clockwork:
    """The loop's clock, which a test may move on as a standstill of the machine does."""

    def __init__(self, patch: pytest.MonkeyPatch) -> None:
        loop = asyncio.get_running_loop()
        true, self.stood_s = loop.time, 0.0
        patch.setattr(loop, "time", lambda: true() + self.stood_s)

    def stand_still(self, seconds: float) -> None:
        """The loop had no turn for so long."""
        self.stood_s += seconds


@pytest.mark.parametrize("state", ["unconfirmed", "missed", "skipped", "withdrawn", "done"])
async def test_the_end_of_a_call_is_told_after_a_break_of_the_link(state: str) -> None:
    """Decided while the link was down, it does not stand any more: it is told all the same, before what stands."""
    desk = await Desk().start()
    desk.sink.take([prompt()])
    desk.bus.cut()
    desk.sink.take([ended(state), ANSWER])
    desk.bus.restore()
    desk.sink.restate([plan("41")])
    assert desk.outputs() == [prompt(), ended(state), ANSWER, plan("41")]


async def test_what_was_told_is_not_told_again() -> None:
    """A link that flaps has neither an end nor an answer told twice, and a call that was taken none at all."""
    desk = await Desk().start()
    desk.sink.take([prompt("c2"), ended("done", "c2")])
    desk.bus.cut()
    desk.sink.take([ended("missed")])
    for _ in range(3):
        desk.bus.restore()
        desk.sink.restate([])
        desk.bus.cut()
    assert desk.outputs() == [prompt("c2"), ended("done", "c2"), ended("missed")]


async def test_an_end_is_kept_over_a_return_that_breaks_off() -> None:
    """A link that is gone again before the broker took the word: it is still owed, and called delivered only then."""
    desk = await Desk().start()
    desk.bus.cut()
    desk.sink.take([ended("missed")])
    desk.sink.restate([])
    assert desk.submitted == []
    desk.bus.restore()
    desk.sink.restate([])
    assert desk.outputs() == [ended("missed")]
    assert [fact.id for fact in desk.submitted] == ["delivered:c1.1"]


@pytest.mark.parametrize("state", ["planned", "shown", "due", "said"])
async def test_an_open_call_of_before_the_break_is_never_told_late(state: str) -> None:
    """It comes as it stands at the return, or not at all: an old "box now" must not arrive."""
    desk = await Desk().start()
    desk.bus.cut()
    desk.sink.take([ended(state), ended("due", "c2")])
    desk.bus.restore()
    desk.sink.restate([ended("due", "c2", 2)])
    assert desk.outputs() == [ended("due", "c2", 2)]


async def test_words_owed_are_bounded() -> None:
    """A broker that is away for a day: the latest words are kept, the older given up, counted and logged."""
    desk = await Desk().start()
    desk.bus.cut()
    with capture_logs() as logs:
        desk.sink.take([ended("done", f"c{number}") for number in range(MOST_OWED + 3)])
    desk.bus.restore()
    desk.sink.restate([])
    assert [one.call for one in desk.outputs()] == [f"c{number}" for number in range(3, MOST_OWED + 3)]
    assert desk.sink.unpublished == len(logs) == 3


async def test_a_standstill_of_this_machine_does_not_end_a_healthy_link(monkeypatch: pytest.MonkeyPatch) -> None:
    """Messages under way as the loop stands still for longer than the time-out: the link stays and they arrive."""
    async with EmbeddedBroker() as broker:
        bus, links = MqttBus(broker.address), list[bool]()
        heard: list[bytes] = []
        bus.subscribe("call", lambda topic, payload: heard.append(payload))
        bus.on_link(links.append)
        await bus.start()
        clock = Clockwork(monkeypatch)
        words = [b"%d" % number for number in range(40)]
        for word in words:
            bus.publish("call", word)
        await asyncio.sleep(0)
        await asyncio.sleep(0)
        clock.stand_still(3.0)
        bus.publish("call", b"end")
        await eventually(lambda: heard[-1:] == [b"end"], f"the last word: {len(heard)} heard, the link {links}")
        assert heard == [*words, b"end"]
        assert (links, bus.dropped) == ([True], 0)
        await bus.stop()


async def test_an_answer_that_came_during_a_standstill_counts(monkeypatch: pytest.MonkeyPatch) -> None:
    """However long the loop stood still, what needs a few more turns to be read is waited for."""
    clock = Clockwork(monkeypatch)

    async def answer() -> str:
        await asyncio.sleep(0)
        clock.stand_still(3600.0)
        for _ in range(8):
            await asyncio.sleep(0)
        return "taken"

    assert await answered_within(answer(), 2.0) == "taken"


async def test_silence_is_noticed_in_time_and_the_work_given_up() -> None:
    """With its turns, the loop waits as long as it was told to, no longer; a failure of the work comes as it is."""
    told: list[Any] = []

    async def never() -> None:
        try:
            await asyncio.Event().wait()
        finally:
            told.append("given up")

    async def fails() -> None:
        raise ValueError("on purpose")

    with pytest.raises(Unheard):
        await answered_within(never(), 0.02)
    await eventually(lambda: told == ["given up"], "the end of the work")
    with pytest.raises(ValueError, match="on purpose"):
        await answered_within(fails(), 2.0)
