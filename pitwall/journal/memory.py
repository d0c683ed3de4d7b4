"""The journal's in-memory twin: for virtual time and tests; gone with the process."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from pitwall.errors import JournalError
from pitwall.journal.sequence import check_follows
from pitwall.model.events import Stamped


class MemoryJournal:
    """Keeps the events themselves: they are frozen, so what is read is what was written."""

    def __init__(self, events: Iterable[Stamped] = ()) -> None:
        """Start with these events.

        Raises:
            JournalError: when they are not numbered from zero without a gap.
        """
        self._events: list[Stamped] = list(events)
        check_follows(self._events, 0)
        self._closed = False

    async def append(self, batch: Sequence[Stamped]) -> None:
        """Store the batch.

        Raises:
            JournalError: when the numbers do not follow on, or the journal is closed.
        """
        if self._closed:
            raise JournalError("the journal is closed; open it again to write")
        check_follows(batch, len(self._events))
        self._events.extend(batch)

    async def read(self, start: int = 0) -> tuple[Stamped, ...]:
        """Every event from number ``start`` on."""
        return tuple(self._events[max(0, start):])

    async def close(self) -> None:
        """Refuse further writing; what is stored can still be read."""
        self._closed = True

    async def forget(self) -> None:
        """Close, and hold nothing any more: whoever read the events has them.

        A host and its bus hold one another, so what a journal of theirs holds would wait for the search for garbage.
        """
        await self.close()
        self._events.clear()
