"""A debrief on A4 paper: the same document as a PDF, readable in grey, with the table's heads on every page.

Tables are laid out by reportlab; figures are drawn by matplotlib and laid onto the pages as they are, as vectors. Fonts
travel in the file. The same document gives the same bytes: no dates, no random names.
"""

from __future__ import annotations

import io
from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from pitwall.debrief.document import Block, Document, Picture, Points, Section, Table, Words
from pitwall.debrief.figures_style import Drawing
from pitwall.debrief.lettering import drawable
from pitwall.debrief.paper_figures import lay_on
from pitwall.debrief.paper_style import FOOT, HEAD, PAGE, register_fonts, sheet, style
from pitwall.debrief.paper_tables import laid_out

if TYPE_CHECKING:
    from reportlab.platypus import Flowable

HEADING_PT, CAPTION_PT, TABLE_START_PT, LINE_PT = 26.0, 26.0, 76.0, 14.0
CHAPTER_PT = 0.5 * (PAGE[1] - HEAD - FOOT)
"""A chapter begins on a page of its own, unless as much of this one is left: no page holds a line or two alone."""
Placed = list[tuple[int, float, float, str]]
"""Where each figure goes: page from 0, left and bottom edge in points, its key."""


def as_pdf(document: Document, drawings: dict[str, Drawing]) -> bytes:
    """The whole file.

    Args:
        document: what stands in it.
        drawings: the document's pictures, by their keys.
    """
    register_fonts()
    placed: Placed = []
    out = io.BytesIO()
    pages, canvas = sheet(out, drawable(document.title), drawable(document.running))
    parts = [*_opening(document), *(part for one in document.sections for part in _section(one, drawings, placed))]
    pages.build(parts, canvasmaker=canvas)
    return _with_figures(out.getvalue(), drawings, placed)


def _opening(document: Document) -> list[Flowable]:
    from reportlab.platypus import Paragraph, Spacer

    return [Paragraph(_markup(document.title), style("title")), *(_words(one) for one in document.facts), Spacer(1, 4)]


def _section(section: Section, drawings: dict[str, Drawing], placed: Placed) -> list[Flowable]:
    from reportlab.platypus import CondPageBreak, Paragraph

    heading: Any = Paragraph(_markup(section.heading), style(f"heading{section.level}"))
    heading.pitwall_outline = (drawable(section.heading), section.level - 2)  # the sheet makes a bookmark of it
    room = HEADING_PT + (_room_wanted(section.blocks[0], drawings) if section.blocks else 0.0)
    parts: list[Flowable] = [CondPageBreak(CHAPTER_PT if section.new_page else room), heading]
    for block in section.blocks:
        parts += [CondPageBreak(_room_wanted(block, drawings)), *_block(block, drawings, placed)]
    return parts


def _room_wanted(block: Block, drawings: dict[str, Drawing]) -> float:
    """How much of a page there must be left to begin this: a head is not parted from what follows, nor a figure."""
    if isinstance(block, Picture):
        return drawings[block.key].height_pt + CAPTION_PT
    return TABLE_START_PT if isinstance(block, Table) and block.rows else LINE_PT


def _block(block: Block, drawings: dict[str, Drawing], placed: Placed) -> list[Flowable]:
    from reportlab.platypus import Paragraph

    if isinstance(block, Words):
        return [_words(block)]
    if isinstance(block, Points):
        return [Paragraph(_led(one), style("point"), bulletText="•") for one in block.points]
    if isinstance(block, Table):
        return laid_out(block)
    return _picture(block, drawings[block.key], placed)


def _words(words: Words) -> Flowable:
    from reportlab.platypus import Paragraph

    return Paragraph(_led(words), style("words"))


def _markup(text: str) -> str:
    from xml.sax.saxutils import escape

    return escape(drawable(text))


def _led(words: Words) -> str:
    lead = f"<b>{_markup(words.lead)}</b> " if words.lead else ""
    return lead + _markup(words.text)


def _picture(picture: Picture, drawing: Drawing, placed: Placed) -> list[Flowable]:
    from reportlab.platypus import Paragraph

    caption = Paragraph(_markup(picture.caption), style("caption"))
    return [caption, _room_for(picture.key, drawing, placed)]


def _room_for(key: str, drawing: Drawing, placed: Placed) -> Flowable:
    """An empty box of the figure's size, which notes where it came to stand."""
    from reportlab.platypus import Flowable

    class Room(Flowable):
        def wrap(self, *_: float) -> tuple[float, float]:
            return drawing.width_pt, drawing.height_pt + 6

        def draw(self) -> None:
            left, bottom = self.canv.absolutePosition(0, 3)
            placed.append((self.canv.getPageNumber() - 1, left, bottom, key))

    return Room()


def _with_figures(pdf: bytes, drawings: dict[str, Drawing], placed: Iterable[tuple[int, float, float, str]]) -> bytes:
    from pypdf import PdfWriter

    writer = PdfWriter(clone_from=io.BytesIO(pdf))
    for number, (page, left, bottom, key) in enumerate(placed):
        lay_on(writer, page, drawings[key].as_pdf(), f"/Figure{number}", (left, bottom))
    out = io.BytesIO()
    writer.write(out)
    return out.getvalue()
