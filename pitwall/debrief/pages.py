"""A debrief as a page for the browser and as paper, from the same document and the same drawings."""

from __future__ import annotations

from importlib import import_module

from pitwall.debrief.contents import document_of
from pitwall.debrief.document import Document, Picture
from pitwall.debrief.figures_style import Drawing
from pitwall.debrief.html import as_html
from pitwall.debrief.model import Debrief
from pitwall.debrief.paper import as_pdf
from pitwall.debrief.paper_style import register_fonts

LOADED = ("matplotlib.figure", "matplotlib.backends.backend_svg", "matplotlib.backends.backend_pdf",
          "reportlab.platypus", "pypdf")


def page_of(debrief: Debrief) -> str:
    """The HTML page; the same debrief gives the same text."""
    document = document_of(debrief)
    return as_html(document, drawings_of(document))


def paper_of(debrief: Debrief) -> bytes:
    """The PDF, which says the same; the same debrief gives the same bytes."""
    document = document_of(debrief)
    return as_pdf(document, drawings_of(document))


def drawings_of(document: Document) -> dict[str, Drawing]:
    """Each picture of the document, drawn, by its key."""
    return {block.key: Drawing(block.make) for section in document.sections for block in section.blocks
            if isinstance(block, Picture)}


def load_all() -> None:
    """Load what draws and prints, which otherwise is loaded when the first page is made."""
    for name in LOADED:
        import_module(name)
    register_fonts()
