"""Parts start in order, stop in the reverse order, and one that misbehaves does not keep the others up."""

from __future__ import annotations

import asyncio
import json
import os
import signal
import subprocess
import sys
from collections.abc import Awaitable, Callable

import pytest

from pitwall.app import lifecycle
from pitwall.app.lifecycle import Lifecycle, stop_on_signals


def _part(log: list[str], name: str) -> tuple[Callable[[], Awaitable[None]], Callable[[], Awaitable[None]]]:
    async def start() -> None:
        log.append(f"+{name}")

    async def stop() -> None:
        log.append(f"-{name}")

    return start, stop


async def test_stop_is_the_reverse_of_start() -> None:
    """Three parts stop last started first."""
    log: list[str] = []
    async with Lifecycle() as life:
        for name in "abc":
            await life.start(name, *_part(log, name))
    assert log == ["+a", "+b", "+c", "-c", "-b", "-a"]


async def test_failed_start_stops_what_was_up() -> None:
    """When a part cannot start, its error comes through and the parts before it are stopped, it itself is not."""
    log: list[str] = []

    async def fail() -> None:
        raise RuntimeError("no port")

    async def compose() -> None:
        async with Lifecycle() as life:
            await life.start("a", *_part(log, "a"))
            await life.start("b", fail, _part(log, "b")[1])

    with pytest.raises(RuntimeError, match="no port"):
        await compose()
    assert log == ["+a", "-a"]


async def test_part_that_fails_or_hangs_while_stopping_does_not_keep_the_others() -> None:
    """A stop that raises and one that never ends are passed over."""
    log: list[str] = []

    async def broken() -> None:
        raise RuntimeError("broken")

    async def hangs() -> None:
        await asyncio.Event().wait()

    async with Lifecycle(stop_within_s=0.02) as life:
        await life.start("a", *_part(log, "a"))
        await life.start("b", None, broken)
        await life.start("c", None, hangs)
    assert log == ["+a", "-a"]


async def test_failure_of_background_work_ends_the_wait_with_its_error() -> None:
    """When a spawned part fails, wait() raises what it raised."""

    async def dies() -> None:
        raise ValueError("lost the world")

    async with Lifecycle() as life:
        life.spawn("world", dies())
        with pytest.raises(ValueError, match="lost the world"):
            await life.wait()


async def test_background_work_is_cancelled_at_the_end() -> None:
    """A spawned part that would go on for ever is ended with the rest, and a normal end stops nobody."""
    ended: list[str] = []

    async def short() -> None:
        ended.append("short")

    async def long() -> None:
        try:
            await asyncio.Event().wait()
        finally:
            ended.append("long")

    async with Lifecycle() as life:
        life.spawn("short", short())
        life.spawn("long", long())
        await asyncio.sleep(0)
        assert not life.stopping.is_set()
    assert ended == ["short", "long"]


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
async def test_signal_is_a_wish_to_stop(number: signal.Signals) -> None:
    """The first signal sets the event and does not end the process."""
    stopping = asyncio.Event()
    undo = stop_on_signals(stopping)
    try:
        os.kill(os.getpid(), number)
        await asyncio.wait_for(stopping.wait(), 20)
    finally:
        undo()


async def test_signals_fall_back_where_the_loop_has_none(monkeypatch: pytest.MonkeyPatch) -> None:
    """A loop without signal handlers gets plain ones, and what was there before is put back."""

    def none(*_: object) -> None:
        raise NotImplementedError

    monkeypatch.setattr(asyncio.get_running_loop(), "add_signal_handler", none)
    before = signal.getsignal(signal.SIGTERM)
    stopping = asyncio.Event()
    undo = stop_on_signals(stopping)
    os.kill(os.getpid(), signal.SIGTERM)
    await asyncio.wait_for(stopping.wait(), 20)
    undo()
    assert signal.getsignal(signal.SIGTERM) is before


def test_run_returns_what_the_work_returns() -> None:
    """run() drives a coroutine to its result."""

    async def answer() -> int:
        return 7

    assert lifecycle.run(answer()) == 7


@pytest.mark.parametrize(("format_", "is_json"), [("json", True), ("console", False)])
def test_logs_are_lines_on_standard_error(format_: str, is_json: bool) -> None:
    """A log entry is one line on standard error with its event and its values; below the level nothing is written."""
    code = (
        "from pitwall.app.logs import set_up_logs; import structlog, logging;"
        f"set_up_logs({format_!r}, 'warning'); log = structlog.get_logger('x');"
        "log.warning('feed is late', car='41'); log.info('not this');"
        "logging.getLogger('amqtt.broker').warning('nor this')"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == ""
    (line,) = done.stderr.splitlines()
    assert "feed is late" in line
    if is_json:
        entry = json.loads(line)
        assert (entry["event"], entry["car"], entry["level"]) == ("feed is late", "41", "warning")
