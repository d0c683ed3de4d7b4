"""Two ways to run a forecast function: in a worker thread beside a live loop, or inline after a fixed latency.

The function itself (``ForecastWanted -> ForecastAnswer``) is handed in: the runtime knows no forecast.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from functools import partial
from typing import Generic, Protocol, TypeVar

import structlog

from pitwall.model.outputs import ForecastAnswer, ForecastWanted
from pitwall.runtime.ports import Clock

log = structlog.get_logger(__name__)

ForecastFunction = Callable[[ForecastWanted], ForecastAnswer]
Answer = Callable[[ForecastAnswer], None]


class Question(Protocol):
    """What is asked of whoever does slow work."""

    @property
    def type(self) -> str:
        """Its kind."""

    @property
    def revision(self) -> int:
        """Its number."""


W = TypeVar("W", bound=Question)
A = TypeVar("A")


class InlineWork(Generic[W, A]):
    """For virtual time: works it out when ``latency_s`` session seconds have passed, on the driver's own thread."""

    def __init__(self, work: Callable[[W], A], clock: Clock, latency_s: float = 0.5) -> None:
        self._work, self._clock, self._latency_s = work, clock, latency_s
        self.failures = 0

    def ask(self, wanted: W, answer: Callable[[A], None]) -> None:
        """Answer ``latency_s`` from now; a failing function is logged and counted, and no answer comes."""
        self._clock.call_at(self._clock.now() + self._latency_s, partial(self._finish, wanted, answer))

    def _finish(self, wanted: W, answer: Callable[[A], None]) -> None:
        try:
            found = self._work(wanted)
        except Exception:
            self.failures += 1
            log.exception("forecast failed", question=wanted.type, revision=wanted.revision)
            return
        answer(found)


class InlineForecaster(InlineWork[ForecastWanted, ForecastAnswer]):
    """Forecasts in virtual time."""


class ThreadForecaster:
    """For a live loop: one worker thread, one question at a time, and only the newest waits.

    NumPy lets go of the interpreter lock while it works, so a thread disturbs timers little.
    A question that is overtaken while it waits is dropped: its answer would be for an old revision anyway.
    """

    def __init__(self, work: ForecastFunction) -> None:
        self._work = work
        self._pool = ThreadPoolExecutor(max_workers=1, thread_name_prefix="pitwall-forecast")
        self._busy = self._closed = False
        self._waiting: tuple[ForecastWanted, Answer] | None = None
        self.failures = 0
        self.overtaken = 0

    def ask(self, wanted: ForecastWanted, answer: Answer) -> None:
        """Start it, or let it wait for the one under way. Call on the host's loop; ``answer`` is called there."""
        if self._closed:
            return
        if self._busy:
            self.overtaken += self._waiting is not None
            self._waiting = (wanted, answer)
            return
        self._busy = True
        loop = asyncio.get_running_loop()
        future = self._pool.submit(self._work, wanted)
        future.add_done_callback(partial(self._hand_over, loop, wanted, answer))

    def close(self) -> None:
        """Start nothing more; what is under way ends by itself and is not answered."""
        self._closed, self._waiting = True, None
        self._pool.shutdown(wait=False, cancel_futures=True)

    def _hand_over(
        self, loop: asyncio.AbstractEventLoop, wanted: ForecastWanted, answer: Answer, future: Future[ForecastAnswer]
    ) -> None:
        # Runs in the worker thread; a loop that has closed meanwhile has nobody left to tell.
        if not loop.is_closed():
            loop.call_soon_threadsafe(self._finish, wanted, answer, future)

    def _finish(self, wanted: ForecastWanted, answer: Answer, future: Future[ForecastAnswer]) -> None:
        self._busy = False
        waiting, self._waiting = self._waiting, None
        if self._closed or future.cancelled():
            return
        if (failure := future.exception()) is not None:
            self.failures += 1
            log.error("forecast failed", revision=wanted.revision, exc_info=failure)
        else:
            answer(future.result())
        if waiting is not None:
            self.ask(*waiting)
