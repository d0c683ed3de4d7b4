"""The two ways to run a forecast."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Iterator

import pytest
import structlog

from pitwall.model.outputs import ForecastAnswer, ForecastWanted
from pitwall.runtime.forecaster import InlineForecaster, ThreadForecaster
from pitwall.runtime.virtual_clock import VirtualClock
from tests.replay.toy import answer_of, wanted


@pytest.fixture(autouse=True)
def lines() -> Iterator[None]:
    """What is logged is captured."""
    with structlog.testing.capture_logs():
        yield


def failing(asked: ForecastWanted) -> ForecastAnswer:
    """A forecast that breaks on odd revisions."""
    if asked.revision % 2:
        raise ZeroDivisionError("odd")
    return answer_of(asked)


def test_inline_answers_after_the_latency_never_within_ask() -> None:
    """The answer comes from the clock, at the fixed latency, in the order of asking."""
    clock = VirtualClock(10.0)
    forecaster = InlineForecaster(answer_of, clock, latency_s=0.5)
    got: list[tuple[float, int]] = []
    for revision in (1, 2):
        forecaster.ask(wanted(revision, 10.0), lambda answer: got.append((clock.now(), answer.seed)))
    assert got == []
    clock.run_until(11.0)
    assert got == [(10.5, 7), (10.5, 14)]


def test_inline_failure_is_counted_and_answers_nothing() -> None:
    """A breaking forecast takes neither clock nor later questions with it."""
    clock = VirtualClock()
    forecaster = InlineForecaster(failing, clock)
    got: list[ForecastAnswer] = []
    for revision in (1, 2):
        forecaster.ask(wanted(revision, 0.0), got.append)
    clock.run_until(1.0)
    assert [answer.seed for answer in got] == [14]
    assert forecaster.failures == 1


async def test_thread_answers_on_the_loop() -> None:
    """The work is done in another thread, the answer arrives in the loop's own."""
    workers: list[int] = []

    def work(asked: ForecastWanted) -> ForecastAnswer:
        workers.append(threading.get_ident())
        return answer_of(asked)

    forecaster = ThreadForecaster(work)
    done: asyncio.Future[tuple[int, ForecastAnswer]] = asyncio.get_running_loop().create_future()
    forecaster.ask(wanted(3, 0.0), lambda answer: done.set_result((threading.get_ident(), answer)))
    assert not done.done()
    thread, answer = await asyncio.wait_for(done, 30)
    assert thread == threading.get_ident() != workers[0]
    assert answer.seed == 21
    forecaster.close()


async def test_only_the_newest_question_waits() -> None:
    """While one is worked on, later questions overtake each other: the first and the last are answered."""
    gate, got, last = threading.Event(), [], asyncio.Event()

    def work(asked: ForecastWanted) -> ForecastAnswer:
        assert gate.wait(5)
        return answer_of(asked)

    def answered(answer: ForecastAnswer) -> None:
        got.append(answer.seed)
        if answer.seed == 35:
            last.set()

    forecaster = ThreadForecaster(work)
    for revision in range(1, 6):
        forecaster.ask(wanted(revision, 0.0), answered)
    gate.set()
    await asyncio.wait_for(last.wait(), 30)
    assert got == [7, 35]
    assert forecaster.overtaken == 3
    forecaster.close()


async def test_thread_failure_is_counted_and_the_next_is_answered() -> None:
    """A breaking forecast leaves the thread free for the next question."""
    forecaster = ThreadForecaster(failing)
    done: asyncio.Future[ForecastAnswer] = asyncio.get_running_loop().create_future()
    forecaster.ask(wanted(1, 0.0), done.set_result)
    forecaster.ask(wanted(2, 0.0), done.set_result)
    assert (await asyncio.wait_for(done, 30)).seed == 14
    assert forecaster.failures == 1
    forecaster.close()


async def test_closing_with_work_under_way_answers_nobody() -> None:
    """After closing, neither the question under way nor the one that waited nor a later one is answered."""
    gate, got = threading.Event(), []

    def work(asked: ForecastWanted) -> ForecastAnswer:
        gate.wait(5)
        return answer_of(asked)

    forecaster = ThreadForecaster(work)
    forecaster.ask(wanted(1, 0.0), got.append)
    forecaster.ask(wanted(2, 0.0), got.append)
    forecaster.close()
    forecaster.ask(wanted(3, 0.0), got.append)
    gate.set()
    await asyncio.get_running_loop().run_in_executor(None, forecaster._pool.shutdown)
    await asyncio.sleep(0)
    await asyncio.sleep(0)
    assert got == []
