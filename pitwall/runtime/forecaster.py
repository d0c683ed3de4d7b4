"""Two ways to do slow work: in a pool of one worker beside a live loop, or inline after a fixed latency.

For a forecast the worker is a thread; for advice it is a process (``runtime/adviser.py``). The function itself
(``ForecastWanted -> ForecastAnswer``) is handed in: the runtime knows no forecast.
"""

from __future__ import annotations

import asyncio
import contextlib
from abc import ABC, abstractmethod
from collections.abc import Callable
from concurrent.futures import BrokenExecutor, Executor, Future, ThreadPoolExecutor
from functools import partial
from typing import Generic, Protocol, TypeVar

import structlog

from pitwall.model.outputs import ForecastAnswer, ForecastWanted
from pitwall.runtime.ports import Clock

log = structlog.get_logger(__name__)

ForecastFunction = Callable[[ForecastWanted], ForecastAnswer]


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


class PooledWork(ABC, Generic[W, A]):
    """For a live loop: one worker, one question at a time, and only the newest waits.

    A question that is overtaken while it waits is dropped: its answer would be for an old revision anyway.
    """

    def __init__(self, make_pool: Callable[[], Executor]) -> None:
        self._make_pool = make_pool
        self._pool = make_pool()
        self._busy = self._closed = False
        self._waiting: tuple[W, Callable[[A], None]] | None = None
        self.failures = 0
        self.overtaken = 0

    @abstractmethod
    def submit(self, wanted: W) -> Future[A]:
        """Give the question to the worker."""

    def ask(self, wanted: W, answer: Callable[[A], None]) -> None:
        """Start it, or let it wait for the one under way. Call on the host's loop; ``answer`` is called there."""
        if self._closed:
            return
        if self._busy:
            self.overtaken += self._waiting is not None
            self._waiting = (wanted, answer)
            return
        loop = asyncio.get_running_loop()
        try:
            future = self.submit(wanted)
        except BrokenExecutor:
            self.renew()
            future = self.submit(wanted)
        self._busy = True
        future.add_done_callback(partial(self._hand_over, loop, wanted, answer))

    def renew(self) -> None:
        """The worker is gone: take another."""
        self._pool.shutdown(wait=False, cancel_futures=True)
        self._pool = self._make_pool()

    def close(self) -> None:
        """Start nothing more; what is under way ends by itself and is not answered."""
        self._closed, self._waiting = True, None
        self._pool.shutdown(wait=False, cancel_futures=True)

    def _hand_over(
        self, loop: asyncio.AbstractEventLoop, wanted: W, answer: Callable[[A], None], future: Future[A]
    ) -> None:
        # Runs in a thread of the pool; a loop that has closed meanwhile has nobody left to tell.
        if not loop.is_closed():
            with contextlib.suppress(RuntimeError):  # it closes at this very moment
                loop.call_soon_threadsafe(self._finish, wanted, answer, future)

    def _finish(self, wanted: W, answer: Callable[[A], None], future: Future[A]) -> None:
        self._busy = False
        waiting, self._waiting = self._waiting, None
        if self._closed or future.cancelled():
            return
        if (failure := future.exception()) is not None:
            self.failures += 1
            log.error("forecast failed", question=wanted.type, revision=wanted.revision, exc_info=failure)
            if isinstance(failure, BrokenExecutor):
                self.renew()
        else:
            answer(future.result())
        if waiting is not None:
            self.ask(*waiting)


class ThreadForecaster(PooledWork[ForecastWanted, ForecastAnswer]):
    """Forecasts in a thread: NumPy lets go of the interpreter lock while it works, so timers are little disturbed."""

    def __init__(self, work: ForecastFunction) -> None:
        super().__init__(lambda: ThreadPoolExecutor(max_workers=1, thread_name_prefix="pitwall-forecast"))
        self._work = work

    def submit(self, wanted: ForecastWanted) -> Future[ForecastAnswer]:
        """Give it to the thread."""
        return self._pool.submit(self._work, wanted)
