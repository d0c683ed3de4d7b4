"""Draws the state diagrams in a document from the engine's tables: no diagram is kept by hand.

A document holds pairs of markers, ``<!-- diagram: call -->`` and ``<!-- end -->``; what lies between is replaced.
"""

from __future__ import annotations

import re
import sys
from pathlib import Path

from pitwall.engine.transitions import TABLES, diagram

_BLOCK = re.compile(r"(<!-- diagram: (\w+) -->\n).*?(<!-- end -->)", flags=re.DOTALL)


def redrawn(text: str) -> str:
    """The document with every diagram drawn anew.

    Raises:
        KeyError: when a marker names no table.
    """
    return _BLOCK.sub(lambda match: f"{match[1]}```mermaid\n{diagram(match[2])}\n```\n{match[3]}", text)


def drawn(text: str) -> tuple[str, ...]:
    """Names of the tables that the document draws, in order."""
    return tuple(match[1] for match in re.finditer(r"<!-- diagram: (\w+) -->", text))


def main(names: list[str]) -> int:
    """Redraw these files in place."""
    for name in names:
        path = Path(name)
        path.write_text(redrawn(path.read_text(encoding="utf-8")), encoding="utf-8")
    return 0


__all__ = ["TABLES", "drawn", "main", "redrawn"]

if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
