"""A debrief as a page for the browser and as paper, from one document and one drawing of each figure."""

from __future__ import annotations

from pitwall.debrief.contents import document_of
from pitwall.debrief.document import Document, Picture
from pitwall.debrief.figures_style import Drawing
from pitwall.debrief.html import as_html
from pitwall.debrief.model import Debrief
from pitwall.debrief.paper import as_pdf


def pages_of(debrief: Debrief) -> tuple[str, bytes]:
    """The HTML page and the PDF, which say the same; the same debrief gives the same bytes."""
    document = document_of(debrief)
    drawings = drawings_of(document)
    return as_html(document, drawings), as_pdf(document, drawings)


def drawings_of(document: Document) -> dict[str, Drawing]:
    """Each picture of the document, drawn, by its key."""
    return {block.key: Drawing(block.make) for section in document.sections for block in section.blocks
            if isinstance(block, Picture)}
