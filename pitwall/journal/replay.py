"""From a journal back to decisions: the same step as the live host takes, with nobody listening.

Crash recovery, the regression tests and the debrief all stand on this: same facts, same outputs.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

from pitwall.errors import JournalError
from pitwall.journal.codec import decode, digest, encode
from pitwall.journal.sequence import check_stored
from pitwall.model.events import Stamped
from pitwall.model.outputs import Output
from pitwall.runtime.apply import apply
from pitwall.runtime.ports import Decider

__all__ = ["Decided", "decisions", "digest", "read_lines", "replay", "write_lines"]

D = TypeVar("D", bound=Decider)


@dataclass(frozen=True, slots=True)
class Decided:
    """What one event led to; ``failed`` marks an event on which the engine raised."""

    stamped: Stamped
    outputs: tuple[Output, ...]
    failed: bool


def decisions(events: Iterable[Stamped], decider: Decider) -> Iterable[Decided]:
    """Hand the events to ``decider`` one by one and yield what each led to."""
    for stamped in events:
        step = apply(decider, stamped)
        yield Decided(stamped, step.outputs, step.failure is not None)


def replay(events: Iterable[Stamped], make: Callable[[], D]) -> tuple[D, tuple[Output, ...]]:
    """A fresh decider after all these events, and every output on the way, in order."""
    decider = make()
    outputs = tuple(output for decided in decisions(events, decider) for output in decided.outputs)
    return decider, outputs


def write_lines(path: Path, events: Iterable[Stamped]) -> int:
    """Write a journal as text, one record a line (golden journals, sending one to somebody). Returns the count."""
    lines = [encode(stamped) + b"\n" for stamped in events]
    path.write_bytes(b"".join(lines))
    return len(lines)


def read_lines(path: Path) -> tuple[Stamped, ...]:
    """Read a journal written by ``write_lines``; blank lines are skipped.

    Raises:
        JournalError: when the file cannot be read, a line is damaged or of a newer version, or an event is missing.
    """
    try:
        lines = path.read_bytes().splitlines()
    except OSError as problem:
        raise JournalError(f"{path}: cannot be read ({problem.strerror}); check the name and your rights") from problem
    events = tuple(decode(line, f"{path}, line {number}") for number, line in enumerate(lines, 1) if line.strip())
    check_stored(events, 0, str(path))
    return events
