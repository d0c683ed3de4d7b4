"""A YAML file as read: plain data, and the place of each path in it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from pitwall.errors import FilePath, Finding


@dataclass(frozen=True, slots=True)
class Mark:
    """A place in the text, counted from 1."""

    line: int
    column: int


@dataclass(frozen=True)
class Document:
    """A file as read: its data, and where each path of it stands (for a key, the place of the key).

    ``findings`` are faults that reading got past: a key named twice, of which the last counts.
    """

    name: str
    data: Any
    marks: dict[FilePath, Mark]
    findings: tuple[Finding, ...] = ()

    def mark(self, path: FilePath) -> Mark | None:
        """Where this path stands, or the nearest thing around it that the file has."""
        for length in range(len(path), -1, -1):
            found = self.marks.get(path[:length])
            if found is not None:
                return found
        return None

    def line(self, path: FilePath) -> int | None:
        """The line of this path, or of the nearest thing around it."""
        mark = self.mark(path)
        return mark.line if mark is not None else None


class ReadingStopped(Exception):
    """Reading stops here; carries the finding."""

    def __init__(self, found: Finding) -> None:
        self.finding = found
        super().__init__(found.found)
