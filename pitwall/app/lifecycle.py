"""Start order, stop order, signals: how a composition of parts lives and ends.

Parts start in the order in which they are added and stop in the reverse one. A part that fails to stop, or takes too
long, is logged and never keeps the others from stopping.
"""

from __future__ import annotations

import asyncio
import contextlib
import signal
import sys
from collections.abc import Awaitable, Callable, Coroutine
from typing import Any, TypeVar

import structlog

_log = structlog.get_logger(__name__)

STOP_WITHIN_S = 5.0

T = TypeVar("T")


class Lifecycle:
    """An ordered set of running parts with one wish to stop; use it as ``async with Lifecycle() as life``."""

    def __init__(self, stop_within_s: float = STOP_WITHIN_S) -> None:
        self.stopping = asyncio.Event()
        self._stop_within_s = stop_within_s
        self._stops: list[tuple[str, Callable[[], Awaitable[None]]]] = []
        self._failure: BaseException | None = None
        self._undo_signals: Callable[[], None] | None = None

    async def __aenter__(self) -> Lifecycle:
        return self

    async def __aexit__(self, *_: object) -> None:
        await self.stop()

    async def start(
        self, name: str, start: Callable[[], Awaitable[None]] | None, stop: Callable[[], Awaitable[None]]
    ) -> None:
        """Start a part and remember how to stop it. A part that fails to start is not stopped; what came before is."""
        if start is not None:
            await start()
        self._stops.append((name, stop))

    def stop_on_signals(self) -> None:
        """From now on SIGINT and SIGTERM are a wish to stop."""
        self._undo_signals = stop_on_signals(self.stopping)

    def spawn(
        self, name: str, work: Coroutine[Any, Any, None], stop: Callable[[], Awaitable[None]] | None = None
    ) -> asyncio.Task[None]:
        """Run ``work`` in the background as a part. When it fails, all stops and :meth:`wait` raises its error.

        Args:
            name: for logs.
            work: what runs.
            stop: ends it in order; it is cancelled afterwards in any case.
        """
        task = asyncio.create_task(work, name=name)

        def ended(done: asyncio.Task[None]) -> None:
            if not done.cancelled() and done.exception() is not None:
                self._failure = self._failure or done.exception()
                self.stopping.set()

        async def cancel() -> None:
            task.cancel()
            with contextlib.suppress(asyncio.CancelledError, Exception):
                await task

        task.add_done_callback(ended)
        self._stops.append((name, cancel))
        if stop is not None:
            self._stops.append((name, stop))
        return task

    async def wait(self) -> None:
        """Return when somebody wishes to stop.

        Raises:
            BaseException: the error of a spawned part that failed.
        """
        await self.stopping.wait()
        if self._failure is not None:
            raise self._failure

    async def wait_until(self, done: Callable[[], bool], look_every_s: float = 0.05) -> bool:
        """Return True once ``done()``, False when somebody wishes to stop before.

        Raises:
            BaseException: the error of a spawned part that failed.
        """
        while not done():
            with contextlib.suppress(TimeoutError):
                await asyncio.wait_for(self.wait(), look_every_s)
                return False
        return True

    async def stop(self) -> None:
        """Stop every part, last started first."""
        self.stopping.set()
        while self._stops:
            name, stop = self._stops.pop()
            try:
                await asyncio.wait_for(stop(), self._stop_within_s)
            except TimeoutError:
                _log.error("part did not stop in time", part=name, within_s=self._stop_within_s)
            except Exception:
                _log.exception("part failed to stop", part=name)
        if self._undo_signals is not None:
            self._undo_signals()
            self._undo_signals = None


def stop_on_signals(stopping: asyncio.Event) -> Callable[[], None]:
    """Let SIGINT and SIGTERM set ``stopping``; returns what undoes it. A second signal ends the process at once."""
    loop = asyncio.get_running_loop()
    numbers = [signal.SIGINT, signal.SIGTERM]

    def wished(number: int) -> None:
        stopping.set()
        loop.remove_signal_handler(number)

    def undo() -> None:
        for number in numbers:
            loop.remove_signal_handler(number)

    try:
        for number in numbers:
            loop.add_signal_handler(number, wished, number)
    except (NotImplementedError, RuntimeError):
        return _stop_on_signals_fallback(loop, stopping, numbers)
    return undo


def _stop_on_signals_fallback(
    loop: asyncio.AbstractEventLoop, stopping: asyncio.Event, numbers: list[signal.Signals]
) -> Callable[[], None]:
    # Windows has no loop signal handlers. The plain handler runs between byte codes, so it only wakes the loop.
    before: list[tuple[signal.Signals, Any]] = []
    ctrl_break = getattr(signal, "SIGBREAK", None)  # the one that another process of Windows can send
    for number in [*numbers, *([] if ctrl_break is None else [ctrl_break])]:
        with contextlib.suppress(ValueError):  # not in the main thread: somebody else handles signals there
            before.append((number, signal.signal(number, lambda *_: loop.call_soon_threadsafe(stopping.set))))

    def undo() -> None:
        for number, handler in before:
            signal.signal(number, handler)

    return undo


def run(work: Coroutine[Any, Any, T]) -> T:
    """``asyncio.run`` with the loop that the MQTT client needs: on Windows the selector loop, not the proactor."""
    if sys.platform == "win32":
        with asyncio.Runner(loop_factory=asyncio.SelectorEventLoop) as runner:
            return runner.run(work)
    return asyncio.run(work)
