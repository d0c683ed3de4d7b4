"""One contract for every sink: the bus, the report's recorder, the sinks of the tests.

``take`` keeps the order and never raises, ``restate`` may come at any time and again, and two of the same leave what
one leaves.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
import structlog

from pitwall.app.report import Recorder
from pitwall.bus.codec import output_from
from pitwall.bus.memory import MemoryBroker, MemoryBus
from pitwall.bus.sink import BusSink
from pitwall.model.events import Event
from pitwall.model.outputs import (
    Alert,
    Answered,
    CarOutlook,
    ClockState,
    DeskState,
    FieldState,
    ForecastState,
    Output,
    PlanState,
    Prompt,
    Refused,
    WakeAt,
)
from pitwall.runtime.ports import Sink
from pitwall.testing import RecordingSink, prompt
from tests.replay.toy import Ear, wanted

ROOT = "pitwall/1/practice-1"


def alert(name: str, active: bool = True) -> Alert:
    """An alert that began at 5."""
    return Alert(id=name, t=5, kind="overrun", priority="high", active=active, text="late", help="drop one", since_s=5)


def forecast(number: int) -> ForecastState:
    """The forecast of one question."""
    outlook = CarOutlook(car="41", musts_chance=number / 10, runs=(), spare_q50_s=0.0)
    return ForecastState(id=f"forecast-41-{number}", t=number, car="41", plan_revision=0, outlook=outlook)


CLOCK = ClockState(id="k", t=1, remaining_s=60, running=True, rate=1, status="green", pit_exit="open")
PLAN = PlanState(id="plan.41", t=1, car="41", revision=0, runs=())
DESK = DeskState(id="desk.41", t=1, car="41", state="garage", run=None, lap_number=0, lap_kind=None, prompts=(),
                 switches=(), arrivals=())
EVERYTHING: tuple[Output, ...] = (
    CLOCK, PLAN, DESK, FieldState(id="f", t=1, cars=()), alert("overrun-41"), forecast(1), prompt(),
    Answered(id="a", t=1, because="c", car="41", effect="noted"), Refused(id="r", t=1, because="c", reason="no"),
    WakeAt(t=3), wanted(1, 1.0), alert("overrun-41", active=False), alert(""),
)
"""One of every kind, those that stay inside and one that cannot be published among them."""


class Rig:
    """A sink and a look at what it made of what it took."""

    def __init__(self) -> None:
        self.sink: Any = self.make()

    def make(self) -> Sink:
        """The sink under test."""
        raise NotImplementedError

    def calls(self) -> list[str]:
        """Ids of the prompts that it passed on or kept, in its order."""
        raise NotImplementedError

    def state(self) -> Any:
        """What it holds now, to be compared."""
        raise NotImplementedError

    def taken(self) -> Any:
        """What it holds of what it took; all of its state, unless it keeps restatements apart."""
        return self.state()

    async def start(self) -> None:
        """Connect, if it needs to."""

    def cut(self) -> None:
        """Break its link, if it has one."""


class OnBus(Rig):
    """The bus sink on an in-memory broker, with an onlooker."""

    def make(self) -> Sink:
        """A link and an onlooker's."""
        self.broker, self.submitted, self.heard = MemoryBroker(), list[Event](), list[Any]()
        self.bus, self.onlooker = MemoryBus(self.broker), MemoryBus(self.broker)
        self.onlooker.subscribe(f"{ROOT}/#", lambda topic, payload: self.heard.append(output_from(topic, payload)))
        return BusSink(self.bus, "practice-1", self.submitted.append, lambda: 9.0)

    async def start(self) -> None:
        """Both links."""
        await self.onlooker.start()
        await self.bus.start()

    def cut(self) -> None:
        """The daemon's link."""
        self.bus.cut()

    def calls(self) -> list[str]:
        """What the onlooker heard."""
        return [one.id for one in self.heard if isinstance(one, Prompt)]

    def state(self) -> Any:
        """What the broker retains: what a client sees that comes now."""
        return dict(self.broker.retained)


class Recorded(Rig):
    """The recorder of the rehearsal's report."""

    def make(self) -> Sink:
        """Empty."""
        return Recorder()

    def calls(self) -> list[str]:
        """The histories of its calls, which begin in the order of their first prompt."""
        return [one.id for history in self.sink.calls.values() for one in history]

    def state(self) -> Any:
        """Everything that the report is made from."""
        held = self.sink
        return ({call: list(told) for call, told in held.calls.items()}, dict(held.plans), list(held.alerts),
                list(held.forecasts))


class Toyed(Rig):
    """The toy's ear."""

    def make(self) -> Sink:
        """Empty."""
        return Ear()

    def calls(self) -> list[str]:
        """What it took."""
        return [one.id for one in self.sink.taken if isinstance(one, Prompt)]

    def state(self) -> Any:
        """What it took, and what stands by its last word."""
        return list(self.sink.taken), self.sink.restated[-1:]

    def taken(self) -> Any:
        """An ear keeps what stands apart."""
        return list(self.sink.taken)


class Remembered(Toyed):
    """The sink that we give to those who test against us."""

    def make(self) -> Sink:
        """Empty."""
        return RecordingSink()


KINDS = {"bus": OnBus, "recorder": Recorded, "toy": Toyed, "testing": Remembered}


@pytest.fixture(params=list(KINDS))
async def rig(request: pytest.FixtureRequest) -> Rig:
    """Each kind, connected."""
    made: Rig = KINDS[request.param]()
    await made.start()
    return made


@pytest.fixture(autouse=True)
def lines() -> Iterator[None]:
    """What is logged is captured."""
    with structlog.testing.capture_logs():
        yield


async def test_takes_every_kind_of_output_without_raising(rig: Rig) -> None:
    """Also nothing at all, also what has no topic or no name; what comes after an unusable one is taken."""
    rig.sink.take([])
    rig.sink.restate([])
    rig.sink.take(EVERYTHING)
    rig.sink.take([prompt("41-release-1")])
    assert rig.calls() == ["41-box-1.1", "41-release-1.1"]


async def test_takes_and_restates_without_a_link(rig: Rig) -> None:
    """A broken link raises nothing and blocks nothing."""
    rig.cut()
    rig.sink.take(EVERYTHING)
    rig.sink.restate([CLOCK, PLAN])
    rig.sink.take([])


async def test_order_is_kept(rig: Rig) -> None:
    """A hundred prompts in batches of every size come out as they went in."""
    prompts = [prompt(f"41-box-{number}") for number in range(100)]
    begin = 0
    for size in range(1, 15):
        rig.sink.take(prompts[begin : begin + size])
        begin += size
    assert begin >= len(prompts)
    assert rig.calls() == [one.id for one in prompts]


async def test_one_call_keeps_the_order_of_its_revisions(rig: Rig) -> None:
    """Shown, due, said: the last word is the last."""
    told = [prompt(revision=revision, state=state) for revision, state in enumerate(("shown", "due", "said"), 1)]
    rig.sink.take(told)
    assert rig.calls() == ["41-box-1.1", "41-box-1.2", "41-box-1.3"]


async def test_batches_leave_what_one_take_leaves(rig: Rig) -> None:
    """How the host cuts its batches makes no difference."""
    rig.sink.take(EVERYTHING)
    other: Rig = type(rig)()
    await other.start()
    for output in EVERYTHING:
        other.sink.take([output])
    assert rig.state() == other.state()


async def test_restating_again_changes_nothing(rig: Rig) -> None:
    """A link that flaps has what stands told again and again: it stands once."""
    standing = [CLOCK, PLAN, DESK, alert("overrun-41"), forecast(1), forecast(2), prompt()]
    rig.sink.take(standing)
    rig.sink.restate(standing)
    once = rig.state()
    for _ in range(3):
        rig.sink.restate(standing)
    assert rig.state() == once


async def test_restating_what_was_just_taken_changes_nothing_that_stands(rig: Rig) -> None:
    """For one that counts or retains, a restart's first word is not news."""
    standing = [CLOCK, PLAN, alert("overrun-41"), forecast(1)]
    rig.sink.take(standing)
    before = rig.taken()
    rig.sink.restate(standing)
    assert rig.taken() == before


async def test_the_callers_list_is_not_kept(rig: Rig) -> None:
    """The host may use its list again: what was taken stays taken."""
    outputs = [PLAN, prompt()]
    rig.sink.take(outputs)
    rig.sink.restate(outputs)
    before = rig.state()
    outputs.clear()
    assert rig.state() == before
