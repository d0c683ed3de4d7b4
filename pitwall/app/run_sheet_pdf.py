"""The run sheet on one page of A4: upright in one column or across in two, whichever allows the larger letters.

Letters are never smaller than seven points: what does not fit at that size goes on to further pages, and each says so.
"""

from __future__ import annotations

import io
from dataclasses import dataclass

from reportlab.lib.pagesizes import A4, landscape
from reportlab.pdfgen.canvas import Canvas

from pitwall.app.print_fonts import REGULAR
from pitwall.app.run_sheet import RunSheet
from pitwall.app.run_sheet_parts import SMALLEST, Look, Part, blocks, foot, head

MARGIN, GUTTER = 34.0, 22.0
LARGEST, STEP = 11.0, 0.25
Columns = list[list[Part]]


@dataclass(frozen=True)
class Paper:
    """A sheet of paper with its columns; points."""

    size: tuple[float, float]
    columns: int

    @property
    def inner(self) -> float:
        """Width between the margins."""
        return self.size[0] - 2 * MARGIN

    @property
    def column(self) -> float:
        """Width of a column."""
        return (self.inner - GUTTER * (self.columns - 1)) / self.columns

    def pages(self, columns: Columns) -> int:
        """How many pages so many columns take."""
        return -(-len(columns) // self.columns)


PAPERS = (Paper(A4, 1), Paper(landscape(A4), 2))


def sheet_pdf(sheet: RunSheet) -> bytes:
    """The sheet as a PDF; the same sheet gives the same bytes."""
    one = any(paper.pages(_fill(sheet, paper, SMALLEST, whole=False)) == 1 for paper in PAPERS)
    fewest = 1 if one else min(paper.pages(_fill(sheet, paper, SMALLEST, whole=True)) for paper in PAPERS)
    size = LARGEST
    while size > SMALLEST:
        for paper in PAPERS:
            for whole in (True, False) if one else (True,):  # over several pages each run stays together
                columns = _fill(sheet, paper, size, whole)
                if paper.pages(columns) <= fewest:
                    return _drawn(sheet, paper, size, columns)
        size -= STEP
    whole = not one
    paper = min(PAPERS, key=lambda paper: paper.pages(_fill(sheet, paper, SMALLEST, whole)))
    return _drawn(sheet, paper, SMALLEST, _fill(sheet, paper, SMALLEST, whole))


def _fill(sheet: RunSheet, paper: Paper, size: float, whole: bool) -> Columns:
    """The parts column by column; a run goes over to the next whole if so wanted and a column can hold it."""
    wide = Look(size, paper.inner)
    room = paper.size[1] - 2 * MARGIN - head(sheet, wide).height - foot(sheet, wide).height
    columns: Columns = [[]]
    left = room
    for goes_on, block in blocks(sheet, Look(size, paper.column)):
        height = sum(part.height for part in block)
        pieces = [block] if whole and height <= room else [block[:2], *([part] for part in block[2:])]
        for number, piece in enumerate(pieces):
            height = sum(part.height for part in piece)
            if height > left and columns[-1]:
                columns.append([goes_on] if number else [])
                left = room - sum(part.height for part in columns[-1])
            columns[-1] += piece
            left -= height
    return columns


def _drawn(sheet: RunSheet, paper: Paper, size: float, columns: Columns) -> bytes:
    made = io.BytesIO()
    canvas = Canvas(made, pagesize=paper.size, invariant=1)
    canvas.setTitle(sheet.title)
    canvas.setSubject("run sheet")
    wide = Look(size, paper.inner)
    above, below = head(sheet, wide), foot(sheet, wide)
    pages = [columns[at : at + paper.columns] for at in range(0, len(columns), paper.columns)]
    for number, page in enumerate(pages, start=1):
        top = paper.size[1] - MARGIN
        above.draw(canvas, MARGIN, top)
        for index, parts in enumerate(page):
            y = top - above.height
            for part in parts:
                part.draw(canvas, MARGIN + index * (paper.column + GUTTER), y)
                y -= part.height
        below.draw(canvas, MARGIN, MARGIN + below.height)
        if len(pages) > 1:
            canvas.setFont(REGULAR, SMALLEST)
            canvas.drawRightString(paper.size[0] - MARGIN, MARGIN - 12, f"page {number} of {len(pages)}")
        canvas.showPage()
    canvas.save()
    return made.getvalue()
