"""Restarting at every index: proved on the toy engine; the real engine's journals use the same harness."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
import structlog

from pitwall.journal.memory import MemoryJournal
from pitwall.journal.replay import decisions, digest, replay
from pitwall.model.events import CarCrossed, Restarted, Stamped
from pitwall.model.outputs import Answered, Output
from pitwall.runtime.forecaster import InlineForecaster
from pitwall.runtime.host import Host
from pitwall.runtime.virtual_clock import VirtualClock
from tests.replay.harness import recovered, restart_equals
from tests.replay.toy import Ear, Toy, answer_of, script


@pytest.fixture(autouse=True)
def lines() -> Iterator[None]:
    """What is logged is captured: printing pretty tracebacks would take most of the time."""
    with structlog.testing.capture_logs():
        yield


async def rehearse(until: float = 200.0, journal: MemoryJournal | None = None) -> tuple[MemoryJournal, Ear, Toy]:
    """The scripted session on virtual time, from the start."""
    clock, ear, toy = VirtualClock(), Ear(), Toy()
    journal = MemoryJournal() if journal is None else journal
    host = Host(toy, journal, clock, InlineForecaster(answer_of, clock, 0.5), [ear])
    for t, event in script():
        clock.call_at(t, lambda event=event: host.submit(event))
    await clock.run_to(until, host.drain)
    return journal, ear, toy


async def test_same_facts_same_outputs() -> None:
    """A replay of the journal gives, output for output, what the live host released, broken event included."""
    journal, ear, toy = await rehearse()
    events = await journal.read()
    again, outputs = replay(events, Toy)
    assert [output for output in outputs if isinstance(output, Answered)] == [
        output for output in ear.taken if isinstance(output, Answered)]
    assert again.counts == toy.counts
    assert again.counts["boom"] == 1
    assert [decided.failed for decided in decisions(events, Toy())].count(True) == 1


async def test_same_script_same_digest() -> None:
    """Twice the same session on virtual time: the journals are equal to the byte."""
    first, second = await rehearse(), await rehearse()
    assert digest(await first[0].read()) == digest(await second[0].read())


async def test_restart_before_every_event_changes_no_later_decision() -> None:
    """For every index of the journal: recover there, hand over the rest, and every later output is the same."""
    events = await (await rehearse())[0].read()
    assert len(events) > 40
    assert await restart_equals(events, Toy, range(1, len(events))) is None


async def test_harness_notices_a_forgetful_engine() -> None:
    """The harness can fail: an engine that loses its count at a restart is found out."""

    class Forgetful(Toy):
        def handle(self, stamped: Stamped) -> tuple[Output, ...]:
            if isinstance(stamped.event, Restarted):
                self.counts.clear()
            return super().handle(stamped)

    events = await (await rehearse())[0].read()
    difference = await restart_equals(events, Forgetful, range(1, len(events)))
    assert difference is not None
    assert difference.got != difference.expected


@pytest.mark.parametrize("stop", [9.0, 12.0, 32.9, 33.2, 47.0, 56.5, 80.0, 96.0])
async def test_killed_and_restarted_session_ends_the_same(stop: float) -> None:
    """Killed at any moment and started again at once, the session's later wake-ups, forecasts and answers all come;
    none comes twice."""
    whole = (await rehearse())[1].ids
    clock, first_ear, second_ear = VirtualClock(), Ear(), Ear()
    journal = MemoryJournal()
    hosts = [Host(Toy(), journal, clock, InlineForecaster(answer_of, clock, 0.5), [first_ear])]
    for t, event in script():
        clock.call_at(t, lambda event=event: hosts[-1].submit(event))

    async def settle() -> None:
        await hosts[-1].drain()

    await clock.run_to(stop, settle)
    hosts[0].stop()  # its process is gone: what its timers would have brought never comes
    hosts.append(Host(Toy(), journal, clock, InlineForecaster(answer_of, clock, 0.5), [second_ear]))
    await hosts[1].recover()
    await clock.run_to(200.0, settle)
    later = [name for name in second_ear.ids if not name.startswith("took:restarted")]
    assert sorted(first_ear.ids + later) == sorted(whole)


async def test_recovery_tells_nobody_what_was_told() -> None:
    """While the journal is replayed the sinks are off: all they get is the answer to the restart, then what stands."""
    events = await (await rehearse())[0].read()
    _, ear, _ = await recovered(events, Toy)
    assert ear.ids == ["took:restarted:0"]
    assert len(ear.restated) == 1


async def test_crossing_sent_again_after_a_restart_is_known() -> None:
    """Ids survive the restart: the feed's repetition of an old crossing is dropped."""
    events = await (await rehearse())[0].read()
    journal, clock = MemoryJournal(events), VirtualClock(events[-1].received_t)
    host = Host(Toy(), journal, clock, InlineForecaster(answer_of, clock), [])
    await host.recover()
    before = host.health().journaled
    for stamped in events:
        if isinstance(stamped.event, CarCrossed):
            host.submit(stamped.event)
    await host.drain()
    assert host.health().journaled == before
    assert host.health().duplicates == 18
