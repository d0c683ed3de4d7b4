"""Tables on paper: every cell is broken into lines that fit, heads stand on each page, no row is cut in two.

Cells are plain strings with breaks of our own, not paragraphs: a test day has ten thousand of them.
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from pitwall.debrief.document import Table
from pitwall.debrief.figures_style import INK, QUIET
from pitwall.debrief.lettering import drawable
from pitwall.debrief.paper_style import BAND, BOLD, CELL_PT, FONT, LEADING_PT, LINE, TEXT_WIDTH, style

if TYPE_CHECKING:
    from reportlab.platypus import Flowable

PADDING = 3.2
UNBROKEN = "\u00a0"
MOST_LINES = 60  # of one cell: more would not fit on a page; the rest of such a text is told to be in the page's file
NUMBERED = re.compile(r"(?<=\blap) (?=\d+\b)")
"""The blank between a lap and its number: no line ends there."""
TRUNCATED = "… (the rest is in the HTML file)"
Command = tuple[Any, ...]


def laid_out(table: Table) -> list[Flowable]:
    """The table with its caption, or the sentence that there is none."""
    from reportlab.platypus import LongTable, Paragraph

    caption = Paragraph(_escaped(table.caption), style("caption"))
    if not table.rows:
        return [Paragraph(f"<b>{_escaped(table.caption)}.</b> {_escaped(table.none)}", style("words"))]
    widths = column_widths(table)
    rows, commands = _rows(table, widths)
    grid = LongTable(rows, colWidths=widths, repeatRows=1, hAlign="LEFT", spaceAfter=4)
    grid.setStyle([*_looks(table), *commands])
    return [caption, grid]


def column_widths(table: Table) -> list[float]:
    """Points, by the columns' shares; together the share of the text's width that the table needs."""
    whole = sum(column.share for column in table.columns)
    return [TEXT_WIDTH * table.share * column.share / whole for column in table.columns]


def _rows(table: Table, widths: list[float]) -> tuple[list[list[str]], list[Command]]:
    heads = (column.head for column in table.columns)
    rows = [[broken(head, width - 2 * PADDING, BOLD) for head, width in zip(heads, widths, strict=True)]]
    commands: list[Command] = []
    for group in table.groups:
        if group.title:
            at = len(rows)
            rows.append([broken(group.title, sum(widths) - 2 * PADDING, BOLD), *[""] * (len(widths) - 1)])
            commands += [("SPAN", (0, at), (-1, at)), ("BACKGROUND", (0, at), (-1, at), BAND),
                         ("FONTNAME", (0, at), (-1, at), BOLD), ("ALIGN", (0, at), (-1, at), "LEFT"),
                         ("NOSPLIT", (0, at), (-1, at + 1))]
        rows += [[broken(cell, width - 2 * PADDING, BOLD if at == 0 and table.bold else FONT)
                  for at, (cell, width) in enumerate(zip(row, widths, strict=True))] for row in group.rows]
    return rows, commands


def _looks(table: Table) -> list[Command]:
    from reportlab.lib.colors import toColor  # read once: as a word it would be read for each of ten thousand cells

    first = BOLD if table.bold else FONT
    looks: list[Command] = [
        ("FONT", (0, 0), (-1, -1), FONT, CELL_PT, LEADING_PT), ("FONT", (0, 0), (-1, 0), BOLD, CELL_PT, LEADING_PT),
        ("FONT", (0, 1), (0, -1), first, CELL_PT, LEADING_PT), ("TEXTCOLOR", (0, 0), (-1, -1), toColor(INK)),
        ("VALIGN", (0, 0), (-1, -1), "TOP"), ("VALIGN", (0, 0), (-1, 0), "BOTTOM"),
        ("LEFTPADDING", (0, 0), (-1, -1), PADDING), ("RIGHTPADDING", (0, 0), (-1, -1), PADDING),
        ("TOPPADDING", (0, 0), (-1, -1), 1.4), ("BOTTOMPADDING", (0, 0), (-1, -1), 2.0),
        ("LINEBELOW", (0, 0), (-1, 0), 0.9, QUIET), ("LINEBELOW", (0, 1), (-1, -1), 0.35, LINE),
    ]
    looks += [("ALIGN", (at, 0), (at, -1), "RIGHT") for at, column in enumerate(table.columns) if column.right]
    return looks


@lru_cache(maxsize=4096)  # states, kinds and runs come again in every row
def broken(text: str, width: float, font: str) -> str:
    """The text in lines that are no wider, broken between words where it can be, else within one.

    Args:
        text: its own line breaks are kept.
        width: in points, at the size of cells.
        font: of the two.
    """
    lines = [line for part in text.split("\n") for line in _lines(drawable(part), width, font)]
    if len(lines) > MOST_LINES:
        lines = [*lines[: MOST_LINES - 2], *_lines(TRUNCATED, width, font)]
    return "\n".join(lines)


def _lines(text: str, width: float, font: str) -> list[str]:
    lines: list[str] = []
    line = ""
    for word in NUMBERED.sub(UNBROKEN, text).split(" "):
        longer = f"{line} {word}" if line else word
        if _wide(longer, font) <= width:
            line = longer
            continue
        if line:
            lines.append(line)
        line = word
        while _wide(line, font) > width and len(line) > 1:
            fits = _fitting(line, width, font)
            lines.append(line[:fits])
            line = line[fits:]
    return [one.replace(UNBROKEN, " ") for one in (*lines, line)]


def _fitting(word: str, width: float, font: str) -> int:
    """How many of its letters fit, at least one; after a mark that joins words where there is one."""
    fits = next((count for count in range(len(word) - 1, 1, -1) if _wide(word[:count], font) <= width), 1)
    joint = max(word.rfind(mark, 1, fits) for mark in "_-–/@.,")
    return joint + 1 if joint > 0 else fits


def _wide(text: str, font: str) -> float:
    from reportlab.pdfbase.pdfmetrics import stringWidth

    return float(stringWidth(text, font, CELL_PT))


def _escaped(text: str) -> str:
    from xml.sax.saxutils import escape

    return escape(drawable(text))
