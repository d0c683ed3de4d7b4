"""Decisions out and facts in, over the in-memory bus."""

from __future__ import annotations

import json
from typing import Any

import pytest
from structlog.testing import capture_logs

from pitwall.bus.codec import Cleared, message_for_fact, output_from
from pitwall.bus.memory import MemoryBroker, MemoryBus
from pitwall.bus.sink import BusSink, delivery_id
from pitwall.bus.source import BusSource
from pitwall.model.events import CarPitted, Event, PromptDelivered
from pitwall.model.outputs import Alert, ClockState, Health, PlanState, Prompt, Refused, WakeAt
from pitwall.runtime.ports import Sink

ROOT = "pitwall/1/fp1/"


def prompt(call: str = "c1", revision: int = 0, **more: Any) -> Prompt:
    """A box prompt."""
    return Prompt(
        id=f"{call}.{revision}", t=10, car="41", call=call, revision=revision, kind="box", text="Box, box", short="BOX",
        say_from_s=11, say_by_s=20, spoken_s=1, priority=90, state="shown", **more,
    )  # fmt: skip


def alert(name: str, active: bool = True) -> Alert:
    """An alert."""
    return Alert(id=name, t=5, kind="overrun", priority="high", active=active, text="late", help="drop one", since_s=5)


def plan(car: str) -> PlanState:
    """An empty plan."""
    return PlanState(id=f"plan.{car}", t=1, car=car, revision=0, runs=())


class Desk:
    """A daemon's sink and source on one bus, and an onlooker on another."""

    def __init__(self, broker: MemoryBroker | None = None, duration_s: float = 0.0) -> None:
        self.broker = broker or MemoryBroker()
        self.bus, self.onlooker = MemoryBus(self.broker), MemoryBus(self.broker)
        self.submitted: list[Event] = []
        self.now = 100.0
        self.sink = BusSink(self.bus, "fp1", self.submitted.append, lambda: self.now)
        self.source = BusSource(self.bus, "fp1", self.submitted.append, lambda: self.now, duration_s)
        self.heard: list[tuple[str, bytes]] = []
        self.onlooker.subscribe("pitwall/#", lambda topic, payload: self.heard.append((topic, payload)))

    async def start(self) -> Desk:
        """Connect both."""
        await self.onlooker.start()
        await self.bus.start()
        return self

    def outputs(self) -> list[Any]:
        """What the onlooker heard, decoded."""
        return [output_from(topic, payload) for topic, payload in self.heard]

    def outputs_of(self, topic: str) -> list[Any]:
        """What the onlooker heard on one of the session's topics, decoded."""
        return [output_from(full, payload) for full, payload in self.heard if full == ROOT + topic]


async def test_outputs_are_published_in_order() -> None:
    """Each output with a topic arrives as it was decided; those without one stay inside."""
    desk = await Desk().start()
    as_port: Sink = desk.sink
    first, second = prompt(), plan("41")
    as_port.take([first, WakeAt(t=3), second])
    assert desk.outputs() == [first, second]


async def test_a_delivered_prompt_comes_back_as_a_fact() -> None:
    """Once the broker took a prompt, ``PromptDelivered`` is submitted with an id made from the prompt's."""
    desk = await Desk().start()
    desk.sink.take([prompt("c1", 2), alert("a")])
    assert desk.submitted == [PromptDelivered(id="delivered:c1.2", t=100.0, prompt="c1.2")]


async def test_a_prompt_that_was_not_taken_is_not_called_delivered() -> None:
    """While the link is down nothing is submitted, and nothing comes later."""
    desk = await Desk().start()
    desk.bus.cut()
    desk.sink.take([prompt()])
    desk.bus.restore()
    assert desk.submitted == []
    assert desk.heard == []
    assert desk.bus.dropped == 1


def test_delivery_ids_fit() -> None:
    """The id of a delivery is never longer than an id may be, and differs for different prompts."""
    assert delivery_id("p") == "delivered:p"
    long = delivery_id("x" * 127)
    assert len(long) <= 128
    assert long != delivery_id("x" * 126)


async def test_an_alert_that_is_over_is_cleared() -> None:
    """Its topic gets an empty retained message and the broker holds nothing more."""
    desk = await Desk().start()
    desk.sink.take([alert("a"), alert("a", active=False)])
    assert desk.outputs() == [alert("a"), Cleared(ROOT + "alert/a", Alert, {"alert": "a"})]
    assert desk.broker.retained == {}


async def test_restate_publishes_everything_that_stands() -> None:
    """On a returned link state and outstanding prompts are published again with the same ids."""
    desk = await Desk().start()
    desk.sink.take([prompt(), alert("a"), plan("41")])
    desk.bus.cut()
    desk.sink.take([alert("a", active=False), alert("b")])
    desk.heard.clear()
    desk.bus.restore()
    desk.sink.restate([prompt(), alert("b"), plan("41")])
    outputs = desk.outputs()
    assert outputs[:3] == [prompt(), alert("b"), plan("41")]
    assert Cleared(ROOT + "alert/a", Alert, {"alert": "a"}) in outputs
    assert set(desk.broker.retained) == {ROOT + "alert/b", ROOT + "plan/41"}


async def test_state_of_an_earlier_life_is_cleared() -> None:
    """A retained alert and the plan of a car that no longer runs, both of before a restart, vanish at ``restate``."""
    before = await Desk().start()
    before.sink.take([alert("old"), plan("58"), plan("41")])
    await before.bus.stop()
    now = await Desk(before.broker).start()
    assert ROOT + "alert/old" in now.broker.retained, "nothing is cleared before we know what stands"
    with capture_logs() as logs:
        now.sink.restate([plan("41")])
    assert set(now.broker.retained) == {ROOT + "plan/41"}
    assert [line["topic"] for line in logs] == [ROOT + "alert/old", ROOT + "plan/58"]


async def test_a_strangers_retained_message_on_our_topics_is_cleared() -> None:
    """After ``restate`` a retained message on a state topic that we do not hold does not stay."""
    desk = await Desk().start()
    desk.sink.restate([])
    desk.onlooker.publish(ROOT + "alert/ghost", b"{}", retain=True)
    desk.onlooker.publish("pitwall/1/other/alert/x", b"{}", retain=True)
    assert set(desk.broker.retained) == {"pitwall/1/other/alert/x"}, "another session's topics are not ours"


async def test_health_is_left_to_broker_and_host() -> None:
    """``restate`` neither clears nor repeats ``health``: the broker may hold our will there."""
    desk = await Desk().start()
    desk.sink.take([Health(id="h", t=0, state="online", version="1")])
    desk.sink.restate([])
    assert set(desk.broker.retained) == {ROOT + "health"}
    assert len(desk.heard) == 1


async def test_an_output_that_cannot_be_published_holds_up_nothing() -> None:
    """An alert without an id is logged and counted; what follows is published."""
    desk = await Desk().start()
    with capture_logs() as logs:
        desk.sink.take([alert(""), plan("41")])
    assert desk.outputs() == [plan("41")]
    assert desk.sink.unpublished == 1
    assert "without an id" in logs[0]["reason"]


async def test_facts_are_submitted() -> None:
    """What a feed publishes arrives as the fact it was."""
    desk = await Desk().start()
    fact = CarPitted(id="p1", t=50, car="41", where="entry")
    message = message_for_fact("fp1", fact)
    desk.onlooker.publish(message.topic, message.payload)
    assert desk.submitted == [fact]
    assert desk.source.taken == 1


async def test_another_sessions_facts_are_not_ours() -> None:
    """A feed of another session on the same broker is not heard."""
    desk = await Desk().start()
    message = message_for_fact("fp2", CarPitted(id="p1", t=50, car="41", where="entry"))
    desk.onlooker.publish(message.topic, message.payload)
    assert desk.submitted == []


@pytest.mark.parametrize(("now", "t"), [
    (-60.0, -21_000.0), (-60.0, 10_700.0), (-60.0, 3600.0), (3500.0, -21_000.0), (9000.0, 15_000.0), (80_000.0, 0.0),
    (-80_000.0, 0.0),
])
async def test_times_of_this_session_are_taken(now: float, t: float) -> None:
    """Early words, a feed that is ahead of us, overtime, and a retained word of a day ago in a very long session."""
    desk = await Desk(duration_s=3600.0).start()
    desk.now = now
    message = message_for_fact("fp1", CarPitted(id="p1", t=t, car="41", where="entry"))
    desk.onlooker.publish(message.topic, message.payload)
    assert [fact.t for fact in desk.submitted] == [t]


@pytest.mark.parametrize(("now", "t"), [(-60.0, 11_000.0), (3500.0, 90_000.0), (3500.0, -22_000.0), (9000.0, 17_000.0)])
async def test_a_time_of_another_day_is_refused_in_a_sentence(now: float, t: float) -> None:
    """Hours outside the session and away from now: counted, answered on ``refused``, never submitted."""
    desk = await Desk(duration_s=3600.0).start()
    desk.now = now
    message = message_for_fact("fp1", CarPitted(id="p1", t=t, car="41", where="entry"))
    desk.onlooker.publish(message.topic, message.payload)
    assert (desk.submitted, desk.source.refused, desk.source.taken) == ([], 1, 0)
    (answer,) = [one for one in desk.outputs_of("refused") if isinstance(one, Refused)]
    assert answer.because == "p1"
    assert f"field 't' is {t:.0f} and it is session second {now:.0f}: expected " in answer.reason
    assert answer.reason.endswith("set the sender's clock or its zero")


async def test_a_hand_typed_command_gets_the_time_of_now() -> None:
    """A command without ``t`` carries the receiver's session second."""
    desk = await Desk().start()
    desk.onlooker.publish(ROOT + "desk/41/command", b'{"id":"c","command":"box","by":"me"}')
    assert [(fact.id, fact.t) for fact in desk.submitted] == [("c", 100.0)]


async def test_a_refused_message_is_answered_with_the_reason() -> None:
    """It is counted, logged, and answered on ``refused`` with its id and car; the host never sees it."""
    desk = await Desk().start()
    with capture_logs() as logs:
        desk.onlooker.publish(ROOT + "desk/41/command", b'{"id":"c","command":"bocks","by":"me"}')
    answers = [output_from(topic, payload) for topic, payload in desk.heard if topic == ROOT + "refused"]
    assert len(answers) == 1
    answer = answers[0]
    assert isinstance(answer, Refused)
    assert (answer.because, answer.car, answer.t) == ("c", "41", 100.0)
    assert answer.reason.startswith(ROOT + "desk/41/command: field 'command' is \"bocks\": expected ")
    assert desk.submitted == []
    assert desk.source.refused == 1
    assert logs[0]["log_level"] == "warning"


async def test_the_same_bad_message_is_answered_each_time() -> None:
    """Two refusals never share an id, or a receiver would drop the second."""
    desk = await Desk().start()
    for _ in range(2):
        desk.onlooker.publish(ROOT + "timing/pit", b'{"id":"x"}')
    ids = [json.loads(payload)["id"] for topic, payload in desk.heard if topic == ROOT + "refused"]
    assert len(set(ids)) == 2


async def test_a_flood_of_nonsense_is_answered_in_part() -> None:
    """1,000 unreadable messages get 30 answers; one with an id is always answered."""
    desk = await Desk().start()
    for _ in range(1000):
        desk.onlooker.publish(ROOT + "timing/pit", b"\xff")
    desk.onlooker.publish(ROOT + "timing/pit", b'{"id":"mine"}')
    answers = [json.loads(payload) for topic, payload in desk.heard if topic == ROOT + "refused"]
    assert len(answers) == 31
    assert answers[0]["because"] == "unknown"
    assert answers[-1]["because"] == "mine"
    assert desk.source.refused == 1001


async def test_a_failing_host_does_not_break_the_bus() -> None:
    """An exception while submitting is logged; the next message still arrives."""
    broker = MemoryBroker()
    bus = MemoryBus(broker)
    taken: list[Event] = []

    def submit(event: Event) -> None:
        if event.id == "bad":
            raise RuntimeError("on purpose")
        taken.append(event)

    BusSource(bus, "fp1", submit, lambda: 0.0)
    await bus.start()
    with capture_logs() as logs:
        for name in ("bad", "good"):
            message = message_for_fact("fp1", CarPitted(id=name, t=1, car="41", where="exit"))
            bus.publish(message.topic, message.payload)
    assert [event.id for event in taken] == ["good"]
    assert logs[0]["event"] == "message handler failed"


async def test_clock_and_prompts_use_the_qos_of_the_table(monkeypatch: pytest.MonkeyPatch) -> None:
    """The sink publishes with the row's QoS and retain flag."""
    desk = await Desk().start()
    seen: list[tuple[str, int, bool]] = []
    monkeypatch.setattr(
        desk.bus, "publish", lambda topic, payload, *, qos, retain, sent=None: seen.append((topic, qos, retain))
    )
    clock = ClockState(id="e", t=1, remaining_s=60, running=True, rate=1, status="green", pit_exit="open")
    desk.sink.take([clock, prompt()])
    assert seen == [(ROOT + "clock", 0, True), (ROOT + "prompt/41", 1, False)]
