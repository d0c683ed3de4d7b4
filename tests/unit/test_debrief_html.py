"""The debrief's page for the browser: alone in its file, whole, well formed, and safe with whatever people wrote."""

from __future__ import annotations

import base64
import hashlib
import re
from functools import cache
from html.parser import HTMLParser
from itertools import pairwise

import pytest

from pitwall.debrief.contents import document_of
from pitwall.debrief.html import as_html
from pitwall.debrief.lettering import REPLACEMENT, harmless
from pitwall.debrief.pages import drawings_of
from tests.unit.debrief_stage import HOSTILE, made

VOID = {"meta", "br", "link", "img", "input", "hr"}
ALLOWED = {
    "html", "head", "meta", "title", "style", "body", "header", "main", "nav", "ol", "ul", "li", "a", "h1", "h2", "h3",
    "p", "b", "span", "div", "table", "caption", "thead", "tbody", "tr", "th", "td", "figure", "figcaption",
    "svg", "g", "path", "use", "defs", "clippath", "rect", "pattern",
}


class Read(HTMLParser):
    """What a parser of the standard library finds: tags with attributes, words of elements, whole cells of tables, and
    what was left open."""

    def __init__(self, page: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.open: list[str] = []
        self.words: list[tuple[str, str]] = []
        self.wrong: list[str] = []
        self.cells: list[str] = []
        self.feed(page)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note it, and that it is open."""
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)
        if tag in ("td", "th"):
            self.cells.append("")

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note it."""
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        """Close what is open, which must be this."""
        if not self.open or self.open.pop() != tag:
            self.wrong.append(tag)

    def handle_data(self, data: str) -> None:
        """Note the words where they stand."""
        self.words.append((self.open[-1] if self.open else "", data))
        if {"td", "th"} & set(self.open):
            self.cells[-1] += data

    def named(self, tag: str) -> list[dict[str, str | None]]:
        """The attributes of each such element."""
        return [attributes for name, attributes in self.tags if name == tag]


@cache
def page_of(name: str) -> str:
    """Its page."""
    document = document_of(made(name))
    return as_html(document, drawings_of(document))


@pytest.mark.parametrize("name", ["full", "hostile", "empty"])
def test_the_page_is_whole_and_needs_nothing_else(name: str) -> None:
    """Every element is closed, none is of a kind that runs or fetches; no reference leaves the page."""
    read = Read(page_of(name))
    assert read.wrong == []
    assert read.open == []
    assert {tag for tag, _ in read.tags} <= ALLOWED
    ids = [str(attributes["id"]) for _, attributes in read.tags if "id" in attributes]
    assert len(ids) == len(set(ids))
    for tag, attributes in read.tags:
        assert not [one for one in attributes if one.startswith("on") or one in ("src", "srcset", "style")], tag
        for reference in (str(attributes.get(one, "#")) for one in ("href", "xlink:href")):
            assert reference[:1] == "#"
            assert reference[1:] in {"", *ids}
        for value in attributes.values():
            for target in re.findall(r"url\(([^)]*)\)", value or ""):
                assert target[1:] in ids
    assert "@import" not in page_of(name)
    assert "http" not in re.sub(r'xmlns(:xlink)?="http://www\.w3\.org/[\w/]+"|http-equiv', "", page_of(name))


def test_the_policy_lets_only_the_page_s_own_style_in() -> None:
    """The policy forbids all, and its hash (Content Security Policy Level 3, 6.7.3.3: SHA-256 of the element's text in
    base64) is that of the one style element."""
    page = page_of("full")
    style = re.findall(r"<style>(.*?)</style>", page, flags=re.DOTALL)
    digest = base64.b64encode(hashlib.sha256(style[0].encode()).digest()).decode()
    policy = next(one["content"] for one in Read(page).named("meta") if "http-equiv" in one)
    assert len(style) == 1
    assert policy is not None
    assert policy.startswith(f"default-src 'none'; style-src 'sha256-{digest}';")
    assert "url(" not in style[0]


@pytest.mark.parametrize("name", ["full", "hostile"])
def test_every_row_of_every_table_is_on_the_page(name: str) -> None:
    """Read back by a parser, each cell of the document's tables stands in a cell of the page, in its order."""
    read = Read(page_of(name))
    cells = " ¦ ".join(cell for cell in read.cells if cell)
    for table in document_of(made(name)).tables:
        assert table.rows, table.caption
        for row in table.rows:
            wanted = " ¦ ".join("\n".join(harmless(line) for line in cell.split("\n")) for cell in row if cell)
            assert wanted in cells, row


def test_whatever_people_wrote_is_there_as_text() -> None:
    """Markup, formulas and other scripts come back from the parser letter for letter; what could act is U+FFFD."""
    read = Read(page_of("hostile"))
    shown = harmless(HOSTILE)
    assert shown == HOSTILE.replace("\x00", REPLACEMENT).replace("\x1b", REPLACEMENT).replace("\u202e", REPLACEMENT) \
        .replace("\u202c", REPLACEMENT)
    assert sum(shown in words for words in (*read.cells, *(words for _, words in read.words))) >= 10
    assert not read.named("script")
    assert "\x00" not in page_of("hostile")


def test_tables_and_figures_are_told_to_those_who_do_not_see_them() -> None:
    """Headings go down one level at a time; each table has a caption and scopes; each figure is named and told."""
    read = Read(page_of("full"))
    levels = [int(tag[1]) for tag, _ in read.tags if re.fullmatch(r"h\d", tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))
    tables = len(read.named("table"))
    assert tables == len(read.named("caption")) == len(document_of(made("full")).tables)
    assert {one.get("scope") for one in read.named("th")} == {"col", "row", "rowgroup"}
    ids = {one.get("id") for _, one in read.tags}
    figures = read.named("figure")
    assert len(figures) == 8
    assert all(one["aria-labelledby"] in ids for one in figures)
    assert next(one for one in read.named("html"))["lang"] == "en"


def test_the_first_screen_answers_the_three_questions() -> None:
    """What was done and not and why, what comes next and what is open stand before any figure and any detail."""
    page = page_of("full")
    first = page[: page.index("<figure")]
    for words in ("what was done", "To do next", "Must: run baseline:", "2 of 3 timed laps not driven",
                  "Must: switch compare of baseline:", "Must: coast down of baseline once more, it was done badly:",
                  "Open: what the driver said and asked", "Asked and not answered:", "Alert, high:",
                  "Could, when there is time:"):
        assert words in first, words
    assert "run compare:" in first
    assert "gap?" not in first
