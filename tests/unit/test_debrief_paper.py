"""The debrief on paper: A4, every row there, heads and page numbers, nothing over the edge, always the same bytes."""

from __future__ import annotations

import hashlib
import io
import os
import re
import subprocess
import sys
from functools import cache
from pathlib import Path
from typing import Any, get_args

import pytest
from pypdf import PdfReader

from pitwall.debrief import pages
from pitwall.debrief import wording as say
from pitwall.debrief.contents import document_of
from pitwall.debrief.lettering import drawable
from pitwall.debrief.model import Debrief
from pitwall.debrief.paper import as_pdf
from pitwall.debrief.paper_style import MARGIN, PAGE
from pitwall.debrief.paper_tables import CELL_PT, PADDING, broken, column_widths
from pitwall.model.debrief_rows import Evidence, SwitchEvidence
from pitwall.model.outputs import AlertPriority, CallState
from pitwall.model.plan import CallClass, LapKind, Want
from tests.unit.debrief_stage import HOSTILE, full, made

A4 = (595.28, 841.89)
"""Points of 1/72 inch: 210 mm by 297 mm (ISO 216)."""
SMALLEST_PT = 6.0
"""Common practice, no source: smaller print is not read in a garage."""


@cache
def paper_of(name: str) -> bytes:
    """Its paper."""
    return _paper(made(name))


def _paper(debrief: Debrief) -> bytes:
    document = document_of(debrief)
    return as_pdf(document, pages.drawings_of(document))


def bare(text: str) -> str:
    """Without white space: where lines are broken does not matter."""
    return re.sub(r"\s+", "", text)


@pytest.mark.parametrize("name", ["full", "hostile"])
def test_every_row_of_every_table_is_on_paper(name: str) -> None:
    """Each cell of the document's tables is in the text that another program reads out of the file."""
    reader = PdfReader(io.BytesIO(paper_of(name)))
    text = bare("".join(page.extract_text() for page in reader.pages))
    for table in document_of(made(name)).tables:
        assert bare(drawable(table.caption)) in text
        for row in table.rows:
            for cell in row:
                for line in cell.split("\n"):
                    assert _lines_in(drawable(line), text), (table.caption, line)


def _lines_in(cell: str, text: str) -> bool:
    """All words there: the lines of neighbouring cells may stand between the lines of one."""
    return all(bare(word)[:8] in text for word in cell.split())


@pytest.mark.parametrize("name", ["full", "hostile", "empty"])
def test_pages_are_a4_with_head_and_number(name: str) -> None:
    """Each page names the session, the day, the team and the cars, and says which of how many it is."""
    pages = PdfReader(io.BytesIO(paper_of(name))).pages
    assert len(pages) >= 2
    for number, page in enumerate(pages, 1):
        assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx(A4, abs=0.01)
        text = page.extract_text()
        assert f"page {number} of {len(pages)}" in text
        assert "Saltmarsh Park spring test, practice-1" in text
        assert "Gannet, car" in text


@pytest.mark.parametrize("name", ["full", "hostile"])
def test_nothing_is_written_over_the_edge(name: str) -> None:
    """Every piece of text begins and ends within the margins, and none is smaller than six points."""
    for page in PdfReader(io.BytesIO(paper_of(name))).pages:
        for text, left, bottom, size in _pieces(page):
            assert size >= SMALLEST_PT, text
            assert left >= MARGIN - 1, text
            assert left + _widest(text, size) <= PAGE[0] - MARGIN + 1, text
            assert 20 <= bottom <= PAGE[1] - 20, text


def _widest(text: str, size: float) -> float:
    from reportlab.pdfbase.pdfmetrics import stringWidth

    return max(float(stringWidth(line, "Pitwall", size)) for line in text.split("\n"))


def _pieces(page: Any) -> list[tuple[str, float, float, float]]:
    """Text, left and bottom edge and size of what the page itself says; figures have a test of their own."""
    page["/Resources"].get_object().pop("/XObject", None)
    found: list[tuple[str, float, float, float]] = []

    def note(text: str, page_matrix: list[float], text_matrix: list[float], _: Any, size: float) -> None:
        if text.strip():
            a, b, c, d, e, f = page_matrix
            x, y = text_matrix[4], text_matrix[5]
            scale = (abs(text_matrix[0] * text_matrix[3] - text_matrix[1] * text_matrix[2]) * abs(a * d - b * c)) ** 0.5
            found.append((text, a * x + c * y + e, b * x + d * y + f, size * scale))

    page.extract_text(visitor_text=note)
    return found


def test_a_cell_is_broken_into_lines_that_fit() -> None:
    """Between words where there are any, else after a mark that joins words, else anywhere; nothing is lost."""
    from reportlab.pdfbase.pdfmetrics import stringWidth

    paper_of("empty")  # registers the fonts
    texts = ("held back: car 33 is alongside or just ahead", "holds-1-constant_speed_hold-0", "x" * 90, HOSTILE, "")
    for text in texts:
        for width in (20.0, 40.0, 75.0):
            lines = broken(text, width, "Pitwall").split("\n")
            assert bare("".join(lines)) == bare(drawable(text))
            assert all(stringWidth(line, "Pitwall", CELL_PT) <= width or len(line) <= 1 for line in lines)


def test_a_lap_keeps_its_number() -> None:
    """Where a line ends, a lap's name goes to the next one with its number; an ordinary blank stands between them."""
    for name in ("cool-down lap 1", "maps, timed lap 2", "session lap 12"):
        for width in range(45, 90, 5):
            assert "lap\n" not in broken(name, width, "Pitwall"), (name, width)
            assert broken(name, width, "Pitwall").replace("\n", " ") == name


def test_words_of_ours_are_never_broken() -> None:
    """The heads of all tables, and each state and kind that a column can hold, fit the column between two spaces."""
    paper_of("empty")  # registers the fonts
    words = {"outcome": (*say.OUTCOMES.values(), *get_args(CallState)), "wanted": get_args(Want),
             "kind": get_args(CallClass), "status": tuple(say.STATUSES.values()),
             "clean": (*say.CLEAN.values(), "switch wrong;", "switch unverified;"),
             "priority": get_args(AlertPriority), "known": get_args(SwitchEvidence),
             "known from": tuple(f"{one}:" for one in get_args(Evidence)),
             "session time, from and to": ("0:16:43.62 (−12.34 +12.34)",), "time of day": ("12:34:56.78",),
             "on the lap, m": ("4310 (4304–4316)",), "speed, km/h": ("(246.8–247.1)",), "said": ("−0:00:39",),
             "session time": ("−0:01:00",), "time": ("12:34.567",), "expected": ("1:32.749 −10.86 +13.14",),
             "lap": ("123",), "ahead, s": ("123.4",)}
    for table in document_of(made("full")).tables:
        for column, width in zip(table.columns, column_widths(table), strict=True):
            kinds = get_args(LapKind) if table.columns[0].head == "lap" and column.head == "kind" else ()
            for text in (column.head, *(kinds or words.get(column.head, ()))):
                lines = broken(text, width - 2 * PADDING, "Pitwall-Bold" if text == column.head else "Pitwall")
                assert lines.replace("\n", " ") == text, (table.caption, column.head)


def test_text_without_end_is_cut_and_says_so() -> None:
    """A cell that would be longer than a page ends with where the rest is."""
    text = "word " * 500
    lines = broken(text, 60.0, "Pitwall").split("\n")
    assert len(lines) < 70
    assert "rest is in the HTML" in " ".join(lines)
    assert len(PdfReader(io.BytesIO(_paper(full(text)))).pages) > 3


def test_the_first_sheet_answers_the_three_questions() -> None:
    """Of both cars: what was done, what comes next, and what the driver left open; figures begin on the next sheet."""
    first = PdfReader(io.BytesIO(paper_of("full"))).pages[0]
    text = first.extract_text()
    for name in ("41", "58"):
        assert f"Car {name}: what was done" in text
    assert text.count("To do next") == 2
    assert text.count("Open: what the driver said and asked") == 2
    assert "wheelspin, severity 4" in text
    assert "/XObject" not in first["/Resources"].get_object()


def test_chapters_can_be_jumped_to() -> None:
    """The file's outline has the document's chapters in their order."""
    outline: list[Any] = PdfReader(io.BytesIO(paper_of("full"))).outline
    chapters = [str(one.title) for one in outline if not isinstance(one, list)]
    assert chapters == [one.heading for one in document_of(made("full")).sections if one.level == 2]


def test_figures_are_vectors_and_fonts_travel_along() -> None:
    """No picture made of dots; every font that is used is embedded."""
    reader = PdfReader(io.BytesIO(paper_of("full")))
    forms = [form.get_object() for page in reader.pages
             for form in page["/Resources"].get_object().get("/XObject", {}).values()]
    assert len(forms) == 8
    assert {str(form["/Subtype"]) for form in forms} == {"/Form"}
    assert not [image for page in reader.pages for image in page.images]
    for holder in (*forms, *reader.pages):
        for font in holder["/Resources"].get_object().get("/Font", {}).get_object().values():
            told = font.get_object()
            if told["/Subtype"] == "/Type3":
                continue  # drawn in the file itself
            assert "/FontFile2" in told["/FontDescriptor"].get_object(), told["/BaseFont"]


def test_the_same_debrief_gives_the_same_bytes() -> None:
    """In another process with another order of hashes, page and paper are the same to the byte."""
    program = ("import hashlib; from tests.unit.debrief_stage import full; from pitwall.debrief import pages; "
               "made = pages.page_of(full()).encode() + pages.paper_of(full()); "
               "print(hashlib.sha256(made).hexdigest())")
    other = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True,
                          cwd=Path(__file__).parents[2], env={**os.environ, "PYTHONHASHSEED": "7"})
    here = pages.page_of(full()).encode() + paper_of("full")
    assert other.stdout.strip() == hashlib.sha256(here).hexdigest()
