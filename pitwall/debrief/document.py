"""What stands on the pages of a debrief: headings, sentences, tables and figures, before anybody lays them out.

The page for the browser (``html``) and the paper (``paper``) are made from one document: they say the same.
Text is text here: escaping, fonts and colours are the business of those who lay it out. A cell may have several lines.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from matplotlib.figure import Figure

Row = tuple[str, ...]


@dataclass(frozen=True)
class Words:
    """A paragraph; ``lead`` is its first words, in bold."""

    text: str
    lead: str = ""


@dataclass(frozen=True)
class Points:
    """A list of short sentences, each with its first words in bold."""

    points: tuple[Words, ...]


@dataclass(frozen=True)
class Column:
    """A column of a table. ``share`` of the width against the other columns'; numbers stand to the right.

    The lines of a ``whole`` column are never broken where there is another way.
    """

    head: str
    share: float
    right: bool = False
    whole: bool = False


@dataclass(frozen=True)
class Group:
    """Rows that belong together, under a title of their own if they have one."""

    rows: tuple[Row, ...]
    title: str = ""


@dataclass(frozen=True)
class Table:
    """A table. The first cell of a row is its heading. ``none`` is the sentence that stands in place of no rows.

    ``share`` is that of the text's width which it needs; ``bold`` whether the rows' headings are names, not sentences.
    """

    caption: str
    columns: tuple[Column, ...]
    groups: tuple[Group, ...]
    none: str
    share: float = 1.0
    bold: bool = True

    @property
    def rows(self) -> tuple[Row, ...]:
        """Every row, without the groups."""
        return tuple(row for group in self.groups for row in group.rows)


@dataclass(frozen=True)
class Picture:
    """A figure. ``told`` says in words what it shows, for those who do not see it."""

    key: str
    caption: str
    told: str
    make: Callable[[], Figure]


Block = Words | Points | Table | Picture


@dataclass(frozen=True)
class Section:
    """A heading with what belongs to it; level 2 is a chapter, level 3 stands within one."""

    heading: str
    level: int
    blocks: tuple[Block, ...]
    new_page: bool = False


@dataclass(frozen=True)
class Document:
    """A whole debrief. ``running`` stands at the top of every page of paper, ``facts`` under the title."""

    title: str
    running: str
    facts: tuple[Words, ...]
    sections: tuple[Section, ...]

    @property
    def tables(self) -> tuple[Table, ...]:
        """Every table, in order."""
        return tuple(block for section in self.sections for block in section.blocks if isinstance(block, Table))


def table(
    caption: str, columns: tuple[Column, ...], rows: Sequence[Row], none: str, *, share: float = 1.0, bold: bool = True
) -> Table:
    """A table without groups."""
    return Table(caption, columns, (Group(tuple(rows)),) if rows else (), none, share, bold)
