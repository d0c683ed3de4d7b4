"""A debrief's page read back: sentences, tables, figures and attributes, each where it stands."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from html.parser import HTMLParser

SENTENCES = ("p", "li", "figcaption")
HEADS = ("h1", "h2", "h3", "title", "caption")
TECHNICAL = {"id", "class", "href", "scope", "colspan", "tabindex", "role", "lang", "charset", "http-equiv", "content",
             "name", "aria-labelledby"}
"""Attributes that say nothing of the session: how the page hangs together, and its policy."""


@dataclass
class Table:
    """A table of the page: heads, rows of cells, and the titles of its groups."""

    heads: list[str] = field(default_factory=list)
    rows: list[list[str]] = field(default_factory=list)
    groups: list[str] = field(default_factory=list)


@dataclass
class Page:
    """What stands on a page, in order. ``told`` are attributes that are read out; ``figures`` the drawings by key;
    ``captions`` those sentences that tell what a figure shows."""

    heads: list[str] = field(default_factory=list)
    sentences: list[str] = field(default_factory=list)
    captions: list[str] = field(default_factory=list)
    tables: dict[str, Table] = field(default_factory=dict)
    told: list[str] = field(default_factory=list)
    other: list[str] = field(default_factory=list)
    figures: dict[str, str] = field(default_factory=dict)


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.page, self._open, self._words = Page(), list[str](), list[str]()
        self._table, self._row, self._group = Table(), list[str](), False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        for name, value in attrs:
            if name not in TECHNICAL and value:
                self.page.told.append(value)
        if tag in ("br", "span"):
            self._words.append(" ")
        if tag in ("meta", "br"):
            return
        self._open.append(tag)
        if tag == "table":
            self._table = Table()
        elif tag == "tr":
            self._row, self._group = [], ("class", "group") in attrs
        if tag in (*SENTENCES, *HEADS, "td", "th"):
            self._words = []

    def handle_endtag(self, tag: str) -> None:
        self._open.pop()
        words = "".join(self._words).strip()
        if tag in SENTENCES:
            self.page.heads.append(words) if "nav" in self._open else self.page.sentences.append(words)
            self.page.captions += [words] if tag == "figcaption" else []
        elif tag in HEADS:
            self.page.heads.append(words)
            if tag == "caption":
                self.page.tables[words] = self._table
        elif tag in ("td", "th"):
            self._row.append(words)
        elif tag == "tr" and self._group:
            self._table.groups += self._row
        elif tag == "tr" and "thead" in self._open:
            self._table.heads = self._row
        elif tag == "tr":
            self._table.rows.append(self._row)

    def handle_data(self, data: str) -> None:
        inside = set(self._open) & {*SENTENCES, *HEADS, "td", "th"}
        if inside:
            self._words.append(data)
        elif "style" not in self._open and data.strip():
            self.page.other.append(data.strip())


def read(html: str) -> Page:
    """The page, without its drawings; these stand apart."""
    figures = dict(re.findall(r'<figure aria-labelledby="([^"]+)-caption">.*?(<svg.*?</svg>)', html, re.DOTALL))
    reader = _Reader()
    reader.feed(re.sub(r"<svg.*?</svg>", "", html, flags=re.DOTALL))
    reader.page.figures = figures
    return reader.page
