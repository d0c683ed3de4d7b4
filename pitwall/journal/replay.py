"""From a journal back to decisions: the same step as the live host takes, with nobody listening.

Crash recovery, the regression tests and the debrief all stand on this: same facts, same outputs.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

from pitwall.errors import JournalError
from pitwall.journal.codec import decode, digest, encode
from pitwall.journal.sequence import check_stored
from pitwall.model.events import Stamped
from pitwall.model.outputs import Output
from pitwall.model.units import clock_text
from pitwall.runtime.apply import apply
from pitwall.runtime.ports import Decider

__all__ = ["Decided", "Lines", "decisions", "digest", "read_lines", "read_lines_to_the_cut", "replay", "write_lines"]

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


@dataclass(frozen=True, slots=True)
class Lines:
    """What a journal written as text holds; ``cut`` says in a sentence what its end lacks; empty: nothing."""

    events: tuple[Stamped, ...]
    cut: str = ""


def read_lines(path: Path) -> tuple[Stamped, ...]:
    """Read a journal written by ``write_lines``; blank lines are skipped.

    Raises:
        JournalError: when the file cannot be read, a line is damaged, cut or newer, or an event is missing.
    """
    return _decoded(path, _lines_of(path))


def read_lines_to_the_cut(path: Path) -> Lines:
    """The same of a file whose last line may be cut, as when the machine lost power: what is whole, and what is not.

    Only an end without a line end, that is no JSON, is taken for a cut; anything else that cannot be read is damage.

    Raises:
        JournalError: as ``read_lines``, but for the cut; also when no line is whole.
    """
    lines = [line for line in (one.strip(b"\0") for one in _lines_of(path)) if line]  # zeros: it was never written
    if not lines or lines[-1].endswith((b"\n", b"\r")) or _is_json(lines[-1]):
        return Lines(_decoded(path, lines))
    events = _decoded(path, lines[:-1]) if any(line.strip() for line in lines[:-1]) else _decoded(path, lines)
    left = len(lines[-1])
    last = f"fact {events[-1].seq}, at {clock_text(events[-1].received_t)}"
    return Lines(events, f"The journal is cut: line {len(lines)} ends after {left} bytes, in the middle of a fact. "
                         f"All before it was read, to {last}; what came after it is not in the file.")


def _lines_of(path: Path) -> list[bytes]:
    try:
        return path.read_bytes().splitlines(keepends=True)
    except OSError as problem:
        raise JournalError(f"{path}: cannot be read ({problem.strerror}); check the name and your rights") from problem


def _decoded(path: Path, lines: Sequence[bytes]) -> tuple[Stamped, ...]:
    whole = (line.rstrip(b"\r\n") for line in lines)
    events = tuple(decode(line, f"{path}, line {number}") for number, line in enumerate(whole, 1) if line.strip())
    check_stored(events, 0, str(path))
    return events


def _is_json(line: bytes) -> bool:
    try:
        json.loads(line)
    except (ValueError, RecursionError):
        return False
    return True
