"""A debrief as one page for the browser: nothing is fetched, nothing runs, and hostile text stays text.

The page carries its own style and figures. Its policy (Content Security Policy Level 3) forbids everything but that one
style, named by its hash, so that no text in it could act even if it were written wrongly here.
"""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Iterable
from html import escape
from pathlib import Path

from pitwall.debrief.document import Block, Column, Document, Picture, Points, Section, Table, Words
from pitwall.debrief.figures_style import Drawing
from pitwall.debrief.lettering import harmless

LONGEST_WORD = 22
"""Letters of a word that stands in one piece; a longer one is nobody's word, and may be broken anywhere."""
MANY_COLUMNS = 6
LONG = re.compile(rf"[^\s]{{{LONGEST_WORD + 1},}}")
JOINED = re.compile(r"[^\s-]+(?:-[^\s-]+)+|lap \d+")
PIECES = re.compile(r"(\blap \d+|\s+)")
STYLE_FILE = Path(__file__).with_name("page.css")


def as_html(document: Document, drawings: dict[str, Drawing]) -> str:
    """The whole page.

    Args:
        document: what stands on it.
        drawings: the document's pictures, by their keys.
    """
    style = STYLE_FILE.read_text(encoding="utf-8")
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    policy = f"default-src 'none'; style-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'"
    return "\n".join([
        "<!DOCTYPE html>", '<html lang="en">', "<head>", '<meta charset="utf-8">',
        f'<meta http-equiv="Content-Security-Policy" content="{policy}">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        f"<title>{_text(document.title)}</title>", f"<style>{style}</style>", "</head>", "<body>", "<header>",
        f"<h1>{_text(document.title)}</h1>", *(_words(one) for one in document.facts), "</header>",
        *_contents(document.sections), "<main>",
        *(part for at, section in enumerate(document.sections) for part in _section(at, section, drawings)),
        "</main>", "</body>", "</html>", "",
    ])


def _text(text: str) -> str:
    """One line of harmless text, escaped for an element or an attribute in double quotes."""
    return escape(harmless(text), quote=True)


def _cell(text: str) -> str:
    """Text that may have several lines; the style keeps them. Words stay in one piece, those with a hyphen too."""
    return "\n".join("".join(_piece(one) for one in PIECES.split(line)) for line in text.split("\n"))


def _piece(word: str) -> str:
    """A word, or the blanks between two."""
    if LONG.fullmatch(word):
        return f'<span class="long">{_text(word)}</span>'
    return f'<span class="one">{_text(word)}</span>' if JOINED.fullmatch(word) else _text(word)


def _contents(sections: Iterable[Section]) -> list[str]:
    links = [f'<li><a href="#part-{at}">{_text(one.heading)}</a></li>'
             for at, one in enumerate(sections) if one.level == 2]
    return ['<nav aria-label="Contents">', "<ol>", *links, "</ol>", "</nav>"]


def _section(at: int, section: Section, drawings: dict[str, Drawing]) -> list[str]:
    new = ' class="new"' if section.new_page else ""
    return [f'<h{section.level} id="part-{at}"{new}>{_text(section.heading)}</h{section.level}>',
            *(_block(one, drawings) for one in section.blocks)]


def _block(block: Block, drawings: dict[str, Drawing]) -> str:
    if isinstance(block, Words):
        return _words(block)
    if isinstance(block, Points):
        return "\n".join(["<ul>", *(f"<li>{_led(one)}</li>" for one in block.points), "</ul>"])
    if isinstance(block, Table):
        return _table(block)
    return _picture(block, drawings[block.key])


def _words(words: Words) -> str:
    return f"<p>{_led(words)}</p>"


def _led(words: Words) -> str:
    return f"<b>{_text(words.lead)}</b> {_text(words.text)}" if words.lead else _text(words.text)


def _picture(picture: Picture, drawing: Drawing) -> str:
    key = picture.key
    return (f'<figure aria-labelledby="{_text(key)}-caption"><figcaption id="{_text(key)}-caption"><b>'
            f"{_text(picture.caption)}</b><span>{_text(picture.told)}</span></figcaption>\n"
            f"{drawing.as_svg(_text(key))}\n</figure>")


def _table(table: Table) -> str:
    if not table.rows:
        return f'<p class="none"><b>{_text(table.caption)}.</b> {_text(table.none)}</p>'
    heads = "".join(f'<th scope="col"{_class(column)}>{_text(column.head)}</th>' for column in table.columns)
    lines = [f'<div class="wide" tabindex="0" role="region" aria-label="{_text(table.caption)}"><table{_looks(table)}>',
             f"<caption>{_text(table.caption)}</caption>", f"<thead><tr>{heads}</tr></thead>"]
    for group in table.groups:
        lines.append("<tbody>")
        if group.title:
            lines.append(f'<tr class="group"><th scope="rowgroup" colspan="{len(table.columns)}">{_text(group.title)}'
                         "</th></tr>")
        lines += [_row(row, table.columns) for row in group.rows]
        lines.append("</tbody>")
    return "\n".join([*lines, "</table></div>"])


def _row(row: tuple[str, ...], columns: tuple[Column, ...]) -> str:
    first = f'<th scope="row"{_class(columns[0])}>{_cell(row[0])}</th>'
    rest = (f"<td{_class(column)}>{_cell(cell)}</td>" for cell, column in zip(row[1:], columns[1:], strict=True))
    return f"<tr>{first}{''.join(rest)}</tr>"


def _looks(table: Table) -> str:
    classes = [name for name, wanted in (
        ("narrow", table.share < 1), ("sentences", not table.bold), ("many", len(table.columns) >= MANY_COLUMNS),
    ) if wanted]
    return f' class="{" ".join(classes)}"' if classes else ""


def _class(column: Column) -> str:
    if column.right:
        return ' class="number"'
    return ' class="whole"' if column.whole else ""
