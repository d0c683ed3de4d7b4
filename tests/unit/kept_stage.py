"""A session by hand whose facts are kept, to make a journal of."""

from __future__ import annotations

from pathlib import Path

from pitwall.journal.replay import write_lines
from pitwall.model import events as ev
from pitwall.model.outputs import Output
from tests.unit.engine_stage import Stage


class Kept(Stage):
    """A session whose facts are kept, to make a journal of."""

    def handle(self, event: ev.Event) -> tuple[Output, ...]:
        """Give one fact now, and keep it."""
        self.facts: list[ev.Stamped]
        if not hasattr(self, "facts"):
            self.facts = []
        self.facts.append(ev.Stamped(seq=len(self.facts), received_t=self.now, event=event))
        return super().handle(event)

    def journal(self, folder: Path) -> Path:
        """The journal so far, as text."""
        path = folder / "session.jsonl"
        write_lines(path, self.facts)
        return path
