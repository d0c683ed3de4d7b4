"""Restart a host in the middle and see that nothing changes: the tools of every replay test.

``restart_equals`` takes a journal and a number: a fresh host recovers from the first events and is given the rest. What
it decides on the rest must be what the uninterrupted engine decided on it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from pitwall.journal.memory import MemoryJournal
from pitwall.journal.replay import decisions
from pitwall.model.events import Restarted, Stamped
from pitwall.model.outputs import Output
from pitwall.runtime.apply import apply
from pitwall.runtime.host import Host
from pitwall.runtime.ports import Decider
from pitwall.runtime.virtual_clock import VirtualClock
from tests.replay.toy import Desk, Ear

MakeDecider = Callable[[], Decider]


@dataclass(frozen=True)
class Difference:
    """The first place where a restarted engine decided otherwise."""

    restarted_before: int
    seq: int
    expected: tuple[Output, ...]
    got: tuple[Output, ...]


async def recovered(events: Sequence[Stamped], make: MakeDecider) -> tuple[Decider, Ear, MemoryJournal]:
    """A host recovered from these events, at the last event's moment: its engine, what its sink got, its journal."""
    decider, ear, journal = make(), Ear(), MemoryJournal(events)
    clock = VirtualClock(events[-1].received_t)
    await Host(decider, journal, clock, Desk(), [ear]).recover()
    return decider, ear, journal


async def restart_equals(
    events: Sequence[Stamped], make: MakeDecider, at: Iterable[int], same: Callable[[Output], object] = lambda o: o
) -> Difference | None:
    """Restart before each event number in ``at``; None when every later decision is the same.

    Args:
        events: A journal without restarts.
        make: Makes a fresh engine.
        at: Event numbers, from 1 on.
        same: What of an output must be the same; the whole output by default, None leaves it out.
    """

    def compared(outputs: Iterable[Output]) -> list[object]:
        return [found for found in map(same, outputs) if found is not None]

    expected = [decided.outputs for decided in decisions(events, make())]
    for index in at:
        decider, _, journal = await recovered(events[:index], make)
        assert isinstance((await journal.read(index))[0].event, Restarted)
        for stamped in events[index:]:
            got = apply(decider, stamped.model_copy(update={"seq": stamped.seq + 1})).outputs
            if compared(got) != compared(expected[stamped.seq]):
                return Difference(index, stamped.seq, expected[stamped.seq], got)
    return None
