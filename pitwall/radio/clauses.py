"""A sentence cut where a speaker would take breath: behind a full stop, a semicolon or a comma, never inside a clause.

What stands before a colon names the place and stays with what follows it.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Callable

LEAST_WORDS = 2  # a single word on its own is not understood (common practice, no source)

_BOUNDARY = re.compile(r"(?<=[.;,!?])\s+")


def clauses(text: str) -> tuple[str, ...]:
    """The clauses of a text, in order; one of fewer than ``LEAST_WORDS`` words is joined to its neighbour."""
    found: list[str] = []
    for piece in _BOUNDARY.split(text.strip()):
        if found and len(found[-1].split()) < LEAST_WORDS:
            found[-1] = f"{found[-1]} {piece}"
        else:
            found.append(piece)
    if len(found) > 1 and len(found[-1].split()) < LEAST_WORDS:
        found[-2:] = [f"{found[-2]} {found[-1]}"]
    return tuple(found)


def in_parts(text: str, parts: int, length: Callable[[str], float]) -> tuple[str, ...] | None:
    """The text in so many parts, the longest of them as short as can be; None when it has too few clauses."""
    pieces = clauses(text)
    if parts < 2 or len(pieces) < parts:
        return None
    cuts = itertools.combinations(range(1, len(pieces)), parts - 1)
    ways = [
        tuple(" ".join(pieces[begin:end]) for begin, end in itertools.pairwise((0, *cut, len(pieces)))) for cut in cuts
    ]
    return min(ways, key=lambda way: max(map(length, way)))
