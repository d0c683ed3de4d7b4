"""One contract for every forecaster: inline on virtual time, in a thread beside a live loop.

Asked one by one, each question is answered once. Of questions that come while one is under way the newest is answered;
an older one may be overtaken and is then counted. A question whose work raises is counted and answered by nobody.
"""

from __future__ import annotations

import asyncio
import threading
from collections.abc import AsyncIterator, Iterator, Sequence
from typing import Any

import pytest
import structlog

from pitwall.journal.memory import MemoryJournal
from pitwall.model.events import ForecastReady
from pitwall.model.outputs import ForecastAnswer, ForecastWanted
from pitwall.runtime.forecaster import InlineForecaster, ThreadForecaster
from pitwall.runtime.host import Host
from pitwall.runtime.ports import Forecaster
from pitwall.runtime.virtual_clock import VirtualClock
from tests.contract.bus_rigs import eventually
from tests.replay.toy import Ear, Toy, answer_of, crossing, wanted

HANGS_S = 60.0
SEED_PER_REVISION = 7
"""``answer_of`` makes the answer's seed from the revision: so an answer says whose it is."""


class Rig:
    """A forecaster, what it was asked and what it answered. Work can be held up, and fails on chosen revisions."""

    def __init__(self) -> None:
        self.clock = VirtualClock(100.0)
        self.fails: set[int] = set()
        self.asked = 0
        self.answers: list[int] = []
        self.within_ask = 0
        self.foreign_threads = 0
        self._asking = False
        self._gate = threading.Event()
        self._gate.set()
        self._thread = threading.get_ident()
        self.forecaster: Any = self.make()

    def make(self) -> Forecaster:
        """The forecaster under test, over :meth:`work`."""
        raise NotImplementedError

    @property
    def overtaken(self) -> int:
        """Questions that a newer one took the place of."""
        return 0

    def work(self, asked: ForecastWanted) -> ForecastAnswer:
        """The forecast: a function of the question, once the gate is open."""
        assert self._gate.wait(HANGS_S)
        if asked.revision in self.fails:
            raise ZeroDivisionError(f"no forecast {asked.revision}")
        return answer_of(asked)

    def hold(self) -> None:
        """Let no work end."""
        self._gate.clear()

    def ask(self, revision: int) -> None:
        """Ask; note the answer."""
        self._asking = True
        self.asked += 1
        self.forecaster.ask(wanted(revision, self.clock.now()), self.answered)
        self._asking = False

    def answered(self, answer: ForecastAnswer) -> None:
        """Note whose answer it is, and whether it came as it should."""
        self.within_ask += self._asking
        self.foreign_threads += threading.get_ident() != self._thread
        self.answers.append(answer.seed // SEED_PER_REVISION)

    async def let_work(self) -> None:
        """Give the work its time without going back to the loop."""

    async def settle(self) -> None:
        """Let the work end and every question come to its end: answered, overtaken or failed."""
        self._gate.set()
        self.clock.run_until(self.clock.now() + 5.0)
        await eventually(
            lambda: len(self.answers) + self.overtaken + self.forecaster.failures >= self.asked, "every question's end"
        )
        # Whatever came twice would come now.
        self.clock.run_until(self.clock.now() + 5.0)
        await asyncio.sleep(0)

    def close(self) -> None:
        """Let go."""
        self._gate.set()


class Inline(Rig):
    """On the driver's thread after a fixed latency."""

    def make(self) -> Forecaster:
        """Half a session second."""
        return InlineForecaster(self.work, self.clock, 0.5)


class Threaded(Rig):
    """In a worker thread."""

    def make(self) -> Forecaster:
        """One thread."""
        self._done = threading.Semaphore(0)
        return ThreadForecaster(self._work_and_tell)

    @property
    def overtaken(self) -> int:
        """As the forecaster counts."""
        return int(self.forecaster.overtaken)

    async def let_work(self) -> None:
        """Wait for the thread, blocking the loop."""
        assert self._done.acquire(timeout=HANGS_S)

    def close(self) -> None:
        """End the thread."""
        super().close()
        self.forecaster.close()

    def _work_and_tell(self, asked: ForecastWanted) -> ForecastAnswer:
        try:
            return self.work(asked)
        finally:
            self._done.release()


@pytest.fixture(params=[Inline, Threaded], ids=["inline", "thread"])
async def rig(request: pytest.FixtureRequest) -> AsyncIterator[Rig]:
    """Each kind."""
    made: Rig = request.param()
    yield made
    made.close()


@pytest.fixture(autouse=True)
def lines() -> Iterator[None]:
    """What is logged is captured."""
    with structlog.testing.capture_logs():
        yield


async def test_questions_asked_one_by_one_are_each_answered_once(rig: Rig) -> None:
    """Every question gets its own answer, on the thread that asked."""
    for revision in (1, 2, 3, 5, 8):
        rig.ask(revision)
        await rig.settle()
    assert rig.answers == [1, 2, 3, 5, 8]
    assert (rig.foreign_threads, rig.overtaken, rig.forecaster.failures) == (0, 0, 0)


async def test_no_answer_comes_from_within_ask(rig: Rig) -> None:
    """Not even when the work is over before ``ask`` has returned to the loop: the host is not entered twice."""
    rig.ask(1)
    await rig.let_work()
    assert rig.answers == []
    await rig.settle()
    assert (rig.answers, rig.within_ask) == ([1], 0)


async def test_of_a_burst_the_newest_is_answered_last_and_nothing_twice(rig: Rig) -> None:
    """Answers keep the order of the questions; those without one are counted as overtaken, and the newest never is."""
    rig.hold()
    for revision in range(1, 21):
        rig.ask(revision)
    assert rig.answers == []
    await rig.settle()
    assert rig.answers[-1] == 20
    assert rig.answers == sorted(set(rig.answers))
    assert len(rig.answers) + rig.overtaken == 20


async def test_work_that_raises_answers_nobody_and_stops_nothing(rig: Rig) -> None:
    """The failure is counted, not raised into the loop or the clock, and the next question is answered."""
    loose: list[Any] = []
    asyncio.get_running_loop().set_exception_handler(lambda loop, context: loose.append(context))
    rig.fails = {1, 3}
    for revision in (1, 2, 3, 4):
        rig.ask(revision)
        await rig.settle()
    assert rig.answers == [2, 4]
    assert rig.forecaster.failures == 2
    assert loose == []


async def test_newest_question_is_answered_though_the_one_under_way_fails(rig: Rig) -> None:
    """A failure does not take the question that waited behind it along."""
    rig.fails = {1}
    rig.hold()
    rig.ask(1)
    rig.ask(2)
    await rig.settle()
    assert rig.answers == [2]


async def test_asking_again_while_an_answer_arrives(rig: Rig) -> None:
    """The host may ask as soon as it hears: that question is one like any other."""
    first = rig.answered

    def answered(answer: ForecastAnswer) -> None:
        first(answer)
        if len(rig.answers) < 3:
            rig.ask(len(rig.answers) + 1)

    rig.answered = answered  # type: ignore[method-assign]  # this rig asks again by itself
    rig.ask(1)
    for _ in range(3):
        await rig.settle()
    assert rig.answers == [1, 2, 3]


async def test_a_host_outlives_a_forecast_that_raises(rig: Rig) -> None:
    """Its questions fail, its decisions go on; the first that can be answered comes back as one event."""
    toy, journal, ear = Toy(), MemoryJournal(), Ear()
    host = Host(toy, journal, rig.clock, rig.forecaster, [ear], follow_clock=False)

    async def crosses(numbers: Sequence[int]) -> None:
        """The toy asks at every third crossing; then its question comes to its end."""
        for number in numbers:
            host.submit(crossing(number, rig.clock.now()))
        failures = rig.forecaster.failures
        await host.drain()
        rig.clock.run_until(rig.clock.now() + 1.0)
        await eventually(lambda: rig.forecaster.failures > failures or host.health().queue_depth > 0, "its end")
        await host.drain()

    rig.fails = {1, 2}
    await crosses(range(3))
    await crosses(range(3, 6))
    assert rig.forecaster.failures == 2
    await crosses(range(6, 9))
    ready = [one.event for one in await journal.read() if isinstance(one.event, ForecastReady)]
    assert [one.revision for one in ready] == [3]
    assert toy.counts["41"] == 9
    assert "forecast:3" in ear.ids
    assert (host.health().poisoned, host.health().forecast_failures) == (0, 0)
