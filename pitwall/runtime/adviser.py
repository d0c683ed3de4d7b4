"""Who answers questions for advice: a process beside a live loop, or in virtual time inline, after a fixed latency.

A search is mostly Python: in a thread it would hold the loop's timers up. The function itself (``AdviceQuestion ->
AdviceAnswer``) is handed in: the runtime knows no forecast. It is found by its name in the worker, so it must be one of
a module.
"""

from __future__ import annotations

import asyncio
import contextlib
import multiprocessing
import os
import signal
import threading
from collections.abc import Callable
from concurrent.futures import Future, ProcessPoolExecutor
from multiprocessing.connection import Connection

import structlog

from pitwall.model.advice import AdviceAnswer, AdviceQuestion
from pitwall.model.outputs import AdviceWanted
from pitwall.runtime.forecaster import InlineWork, PooledWork
from pitwall.runtime.ports import Clock

log = structlog.get_logger(__name__)

AdviceFunction = Callable[[AdviceQuestion], AdviceAnswer]


class InlineAdviser(InlineWork[AdviceWanted, AdviceAnswer]):
    """Advice in virtual time."""

    def __init__(self, work: AdviceFunction, clock: Clock, latency_s: float = 2.0) -> None:
        super().__init__(lambda wanted: work(wanted.question), clock, latency_s)


class ProcessAdviser(PooledWork[AdviceWanted, AdviceAnswer]):
    """Advice in a process of its own. It starts with the first question, or before it at :meth:`warm_up`: then the
    question finds it warm.

    The worker holds one end of a pipe and ends as soon as the other end is gone: at ``close``, and also when the daemon
    was killed. Nothing waits for a search that nobody wants any more, and none is left behind.
    """

    def __init__(self, work: AdviceFunction) -> None:
        self._work = work
        self._lifeline: Connection | None = None
        self._warm: Future[str] | None = None
        super().__init__(self._start)

    def submit(self, wanted: AdviceWanted) -> Future[AdviceAnswer]:
        """Give it to the process."""
        return self._pool.submit(self._work, wanted.question)

    def warm_up(self) -> None:
        """Start the process now, unless it runs or nobody wants it any more."""
        if self._warm is None and not self._closed:
            self._warm = self._pool.submit(warm, self._work)
            self._warm.add_done_callback(_told)

    async def until_warm(self, most_s: float = 10.0) -> None:
        """Start it and wait until it can take a question, or is known not to come; not for ever."""
        self.warm_up()
        if self._warm is not None:
            with contextlib.suppress(Exception):
                await asyncio.wait_for(asyncio.shield(asyncio.wrap_future(self._warm)), most_s)

    def close(self) -> None:
        """Start nothing more, and end the process at once."""
        super().close()
        self._let_go()

    async def gone(self) -> None:
        """End the process at once, and wait until nothing of it is left in this one either.

        Python's own end wakes the thread that looks after a pool: if that thread is just closing what it would be woken
        by, a traceback stands in the log of a daemon that ended as it should.
        """
        self._closed, self._waiting = True, None
        self._let_go()
        await asyncio.to_thread(self._pool.shutdown, wait=True, cancel_futures=True)

    def _start(self) -> ProcessPoolExecutor:
        self._let_go()
        # Not a fork: this process has threads, and one of them may hold a lock at that moment.
        context = multiprocessing.get_context("spawn")
        theirs, self._lifeline = context.Pipe(duplex=False)
        return ProcessPoolExecutor(max_workers=1, mp_context=context, initializer=live_by, initargs=(theirs,))

    def _let_go(self) -> None:
        if self._lifeline is not None:
            self._lifeline.close()
            self._lifeline = None


def live_by(lifeline: Connection) -> None:
    """In the worker: leave Ctrl-C to the daemon, and end when the other end of this pipe is gone."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with, args=(lifeline,), daemon=True, name="pitwall-lifeline").start()


def _end_with(lifeline: Connection) -> None:
    with contextlib.suppress(EOFError, OSError):
        lifeline.recv_bytes()
    os._exit(0)  # nothing to tidy up: the worker only computes


def warm(work: AdviceFunction) -> str:
    """In the worker: the function has been found, and with it all that it imports."""
    return work.__name__


def _told(future: Future[str]) -> None:
    if not future.cancelled() and (failure := future.exception()) is not None:
        log.warning("the process for advice did not start", exc_info=failure)
