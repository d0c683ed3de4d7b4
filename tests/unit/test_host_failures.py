"""An engine that raises on everything: the host goes on, wakes it now and then, and no failure breeds another."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
import structlog

from pitwall.journal.memory import MemoryJournal
from pitwall.model.events import CarCrossed, Stamped, TimeReached
from pitwall.model.outputs import Output
from pitwall.runtime.host import Host
from pitwall.runtime.virtual_clock import VirtualClock
from pitwall.testing import RecordingSink, ScriptedDecider, SilentForecaster


@pytest.fixture(autouse=True)
def lines() -> Iterator[None]:
    """What is logged is captured."""
    with structlog.testing.capture_logs():
        yield


def _raise(stamped: Stamped) -> tuple[Output, ...]:
    raise RuntimeError(f"no rule for {stamped.event.type}")


async def _ten_minutes_of_failures(every_s: float) -> tuple[Host, ScriptedDecider]:
    decider, clock = ScriptedDecider(_raise), VirtualClock(0.0)
    host = Host(decider, MemoryJournal(), clock, SilentForecaster(), [RecordingSink()])
    for number in range(int(600 / every_s)):
        t = number * every_s
        fact = CarCrossed(id=f"x:{number}", t=t, car="41", loop="line")
        clock.call_at(t, lambda fact=fact: host.submit(fact))  # type: ignore[misc]  # bound now on purpose
    await clock.run_to(600.0, host.drain)
    return host, decider


async def test_many_failures_do_not_wake_one_another() -> None:
    """Three facts a second, each of which makes the engine raise: it is woken about once a second, not once for each
    failure there ever was."""
    host, decider = await _ten_minutes_of_failures(0.3)
    woken = sum(isinstance(one.event, TimeReached) for one in decider.facts)
    assert 300 <= woken <= 610
    assert host.health().wakeups_armed <= 2
    assert host.health().poisoned == len(decider.facts) == 2000 + woken


async def test_an_engine_that_raised_is_woken_though_nothing_comes() -> None:
    """A failure may have swallowed the engine's own wake-up: it is woken again and again even when no fact comes."""
    host, decider = await _ten_minutes_of_failures(600.0)
    woken = sum(isinstance(one.event, TimeReached) for one in decider.facts)
    assert 500 <= woken <= 601
    assert host.health().wakeups_armed == 1
