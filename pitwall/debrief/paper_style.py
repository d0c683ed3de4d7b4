"""The paper's looks: A4, one font of two weights, greys, and a head and a foot on every page."""

from __future__ import annotations

from functools import lru_cache
from typing import IO, TYPE_CHECKING, Any

from pitwall.debrief.figures_style import INK, LIGHT, QUIET
from pitwall.debrief.lettering import font_file

if TYPE_CHECKING:
    from reportlab.lib.styles import ParagraphStyle
    from reportlab.pdfgen.canvas import Canvas
    from reportlab.platypus import BaseDocTemplate

MM = 72 / 25.4
PAGE = (210 * MM, 297 * MM)
MARGIN, HEAD, FOOT = 16 * MM, 20 * MM, 17 * MM
TEXT_WIDTH = PAGE[0] - 2 * MARGIN
FONT, BOLD = "Pitwall", "Pitwall-Bold"
CELL_PT, LEADING_PT = 6.8, 8.4
BAND, LINE = LIGHT, "#b5b5b5"

SIZES: dict[str, dict[str, Any]] = {
    "title": {"fontName": BOLD, "fontSize": 15, "leading": 18, "spaceAfter": 5},
    "heading2": {"fontName": BOLD, "fontSize": 11.5, "leading": 14, "spaceBefore": 9, "spaceAfter": 3},
    "heading3": {"fontName": BOLD, "fontSize": 9, "leading": 11, "spaceBefore": 8, "spaceAfter": 2},
    "words": {"fontSize": 8, "leading": 10.4, "spaceAfter": 2},
    "point": {"fontSize": 8, "leading": 10.4, "spaceAfter": 1.5, "leftIndent": 9, "bulletIndent": 1},
    "caption": {"fontName": BOLD, "fontSize": 7.4, "leading": 9.2, "spaceBefore": 5, "spaceAfter": 2},
}


def register_fonts() -> None:
    """Have DejaVu Sans embedded: the letters of most of the world's alphabets, on every machine the same."""
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    if FONT in pdfmetrics.getRegisteredFontNames():
        return
    for name, file in ((FONT, "DejaVuSans"), (BOLD, "DejaVuSans-Bold")):
        pdfmetrics.registerFont(TTFont(name, str(font_file(file))))
    pdfmetrics.registerFontFamily(FONT, normal=FONT, bold=BOLD, italic=FONT, boldItalic=BOLD)


@lru_cache(maxsize=16)
def style(name: str) -> ParagraphStyle:
    """One of ``SIZES``."""
    from reportlab.lib.styles import ParagraphStyle

    given: dict[str, Any] = {"fontName": FONT, "bulletFontName": FONT, "textColor": INK}
    return ParagraphStyle(name, **{**given, "splitLongWords": 1, **SIZES[name]})


def sheet(out: IO[bytes], title: str, running: str) -> tuple[BaseDocTemplate, type[Canvas]]:
    """The pages, and the canvas to build them on: the session's name at the top, number and count at the bottom."""
    from reportlab.pdfgen.canvas import Canvas
    from reportlab.platypus import BaseDocTemplate, Frame, PageTemplate

    class Numbered(Canvas):
        """Writes heads and feet when the count of pages is known."""

        def __init__(self, *given: Any, **named: Any) -> None:
            super().__init__(*given, **{**named, "invariant": 1, "initialFontName": FONT, "pageCompression": 1,
                                        "lang": "en"})
            self.setTitle(title)
            self.setAuthor("")
            self.setSubject(running)
            self.setCreator("pitwall")
            self._finished: list[dict[str, Any]] = []

        def showPage(self) -> None:
            self._finished.append(dict(self.__dict__))
            self._startPage()  # type: ignore[attr-defined]  # the stubs leave it out

        def save(self) -> None:
            for number, page in enumerate(self._finished, 1):
                self.__dict__.update(page)
                _head_and_foot(self, running, number, len(self._finished))
                super().showPage()
            super().save()

    class Outlined(BaseDocTemplate):
        """Makes bookmarks of the headings."""

        def afterFlowable(self, flowable: Any) -> None:
            outline = getattr(flowable, "pitwall_outline", None)
            if outline is not None:
                self.parts = getattr(self, "parts", 0) + 1
                key = f"part-{self.parts}"
                self.canv.bookmarkPage(key)
                self.canv.addOutlineEntry(outline[0], key, outline[1])

    made = Outlined(out, pagesize=PAGE, title=title)
    frame = Frame(MARGIN, FOOT, TEXT_WIDTH, PAGE[1] - HEAD - FOOT, 0, 0, 0, 0)
    made.addPageTemplates([PageTemplate("page", [frame])])
    return made, Numbered


def _head_and_foot(canvas: Any, running: str, number: int, count: int) -> None:
    canvas.setFont(FONT, 7)
    canvas.setFillColor(QUIET)
    canvas.setStrokeColor(LINE)
    canvas.setLineWidth(0.5)
    top = PAGE[1] - 13 * MM
    canvas.drawString(MARGIN, top, _fitting(running))
    canvas.line(MARGIN, top - 4, PAGE[0] - MARGIN, top - 4)
    canvas.drawRightString(PAGE[0] - MARGIN, 10 * MM, f"page {number} of {count}")


def _fitting(words: str) -> str:
    from reportlab.pdfbase.pdfmetrics import stringWidth

    while words and stringWidth(words, FONT, 7) > TEXT_WIDTH:
        words = f"{words[:-2].rstrip('…')}…"
    return words
