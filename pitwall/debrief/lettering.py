"""Text on pages: whoever wrote it, it stays text; and what the paper's font cannot draw is told, not lost.

A run's purpose or a driver's words come from anywhere. Control characters and those that turn the direction of the text
around are shown as U+FFFD, the replacement character (Unicode 15, section 23.8). Escaping is the renderer's business.
"""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

REPLACEMENT = "\ufffd"
TURNS = frozenset("\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")  # Bidi_Control, UAX 9
SEPARATORS = frozenset("\u2028\u2029\t\n\r\v\f\x85")


def harmless(text: str) -> str:
    """One line of text without what could act: breaks become spaces, controls and lone surrogates U+FFFD."""
    return "".join(_harmless(one) for one in text)


def drawable(text: str) -> str:
    """The same in the letters of the paper's font; what it lacks stands as its code point: ``[U+4E2D]``."""
    known = _known()
    return "".join(one if ord(one) in known else f"[U+{ord(one):04X}]" for one in harmless(text))


def short(text: str, most: int) -> str:
    """At most so many letters of it, with an ellipsis where something is left out."""
    return text if len(text) <= most else f"{text[: most - 1].rstrip()}…"


def font_file(name: str) -> Path:
    """A font that matplotlib brings: ``DejaVuSans`` or ``DejaVuSans-Bold``, the same on every machine."""
    import matplotlib

    return Path(matplotlib.get_data_path(), "fonts", "ttf", f"{name}.ttf")


def _harmless(one: str) -> str:
    if one in SEPARATORS:
        return " "
    code = ord(one)
    control = code < 0x20 or 0x7F <= code < 0xA0 or 0xD800 <= code < 0xE000 or code & 0xFFFE == 0xFFFE
    return REPLACEMENT if control or one in TURNS else one


@lru_cache(maxsize=1)  # reading the font's table of letters takes some milliseconds
def _known() -> frozenset[int]:
    from matplotlib.ft2font import FT2Font

    both = (frozenset(FT2Font(str(font_file(name))).get_charmap()) for name in ("DejaVuSans", "DejaVuSans-Bold"))
    return frozenset.intersection(*both)
