"""One call on its way from the engineer's mouth into the record."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from pitwall.model.outputs import Prompt
from pitwall.rehearsal.truth import SpokenCall


@dataclass
class Speech:
    """One call on its way from the engineer's mouth into the record."""

    prompt: Prompt
    record: SpokenCall
    ended: Callable[[bool, float], None]

    def note(self, **changes: object) -> None:
        """Add what became of it."""
        self.record = self.record.model_copy(update=changes)
