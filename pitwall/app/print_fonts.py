"""The letters of printed pages: DejaVu Sans as matplotlib brings it, free to embed, with most alphabets in it."""

from __future__ import annotations

from functools import lru_cache
from importlib.util import find_spec
from pathlib import Path

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

from pitwall.errors import UserError

REGULAR, BOLD = "pitwall-regular", "pitwall-bold"
_FILES = {REGULAR: "DejaVuSans.ttf", BOLD: "DejaVuSans-Bold.ttf"}
_NOT_THERE = "\u25a1"


@lru_cache(maxsize=1)
def known_letters() -> frozenset[int]:
    """Make the fonts known to reportlab, once; the code points that both can draw.

    Raises:
        UserError: when matplotlib's folder of fonts is not where it should be.
    """
    letters: list[set[int]] = []
    for name, file in _FILES.items():
        font = TTFont(name, str(_folder() / file))
        pdfmetrics.registerFont(font)
        letters.append(set(font.face.charToGlyph))
    return frozenset(set.intersection(*letters))


def _folder() -> Path:
    # Looked up without importing it: matplotlib takes half a second to come up, and only its files are wanted.
    found = find_spec("matplotlib")
    places = found.submodule_search_locations if found is not None else None
    folder = Path(next(iter(places or ["."]))) / "mpl-data" / "fonts" / "ttf"
    if not (folder / _FILES[REGULAR]).exists():
        raise UserError(f"{folder}: no fonts there: install matplotlib, which brings them")
    return folder


def drawable(text: str) -> str:
    """The text with a small box for each character that the fonts lack, and a blank for line ends and the like."""
    letters = known_letters()
    return "".join(
        sign if ord(sign) in letters and sign.isprintable() else " " if sign.isspace() or not sign.isprintable()
        else _NOT_THERE for sign in text
    )


def width_of(text: str, font: str, size: float) -> float:
    """Points that a text takes in a line."""
    known_letters()
    return float(pdfmetrics.stringWidth(text, font, size))


def lines_of(text: str, font: str, size: float, width: float) -> list[str]:
    """The text broken into lines of at most this width; a word that is longer than a line is broken itself."""
    lines, line = [], ""
    for word in drawable(text).split():
        joined = f"{line} {word}" if line else word
        if width_of(joined, font, size) <= width:
            line = joined
            continue
        if line:
            lines.append(line)
        line = word
        while width_of(line, font, size) > width and len(line) > 1:
            fits = next(n for n in range(len(line) - 1, 0, -1) if n == 1 or width_of(line[:n], font, size) <= width)
            lines.append(line[:fits])
            line = line[fits:]
    return [*lines, line] if line or not lines else lines
