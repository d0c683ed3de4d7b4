"""The one rule of every journal: numbers follow on from zero without a gap."""

from __future__ import annotations

from collections.abc import Sequence

from pitwall.errors import JournalError
from pitwall.model.events import Stamped


def check_follows(batch: Sequence[Stamped], expected: int) -> None:
    """Check that the batch begins at ``expected`` and has no gap.

    Raises:
        JournalError: when it does not.
    """
    for number, stamped in enumerate(batch, expected):
        if stamped.seq != number:
            raise JournalError(
                f"event {stamped.event.id!r} carries number {stamped.seq} where {number} follows;"
                " two writers share this journal, or one did not read it before writing"
            )


def check_stored(events: Sequence[Stamped], start: int, place: str) -> None:
    """Check what was read back: numbered from ``start`` on without a gap.

    Raises:
        JournalError: when an event is missing.
    """
    for number, stamped in enumerate(events, start):
        if stamped.seq != number:
            raise JournalError(
                f"{place}: event {number} is missing ({stamped.seq} follows). The journal was edited or is damaged;"
                " move it away to start a new one, and keep it for the debrief."
            )
