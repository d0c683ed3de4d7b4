"""A number of one's own reckoning: how it came about, and how far a rounded one may be off it.

Kinds: ``facts``, reckoned from the journal's rows; ``engine``, decided or worded by the engine, which the debrief only
passes on; ``plan``, what people wrote (plan, setup, comments); ``name``, part of a name; ``estimate``, near an estimate
of our own; ``axis``, the scale of a figure; ``fixed``, part of a sentence that is always the same; ``page``, the number
of a page.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any

NUMBER = re.compile(r"(?<![\w.])[−+-]?\d+(?::\d\d){0,2}(?:\.\d+)?")
DIGITS = re.compile(r"\d")


@dataclass(frozen=True)
class Own:
    """A value (number, moment, text, or the numbers of a text in their order), its kind, and how far off it may be."""

    value: Any
    kind: str = "facts"
    off: float = 1e-6


def engine(value: Any, off: float = 1e-6) -> Own:
    """Decided by the engine."""
    return Own(value, "engine", off)


def plan(value: Any) -> Own:
    """Written by people."""
    return Own(value, "plan")


def name(value: Any) -> Own:
    """A name."""
    return Own(value, "name")


def near(value: float | None, places: int, kind: str = "facts") -> Own | None:
    """A number that is rounded to so many places."""
    return None if value is None else Own(value, kind, 0.501 * 10**-places)


def seconds(text: str) -> float:
    """``1:23.456``, ``0:12:03`` and plain numbers."""
    sign = -1.0 if text[0] in "−-" else 1.0
    total = 0.0
    for part in text.lstrip("−-+").split(":"):
        total = 60 * total + float(part)
    return sign * total


def numbers(text: str) -> list[str]:
    """The numbers of a text as they are printed, names such as ``B1`` left out."""
    return NUMBER.findall(text)


def same(found: Any, own: Own) -> bool:
    """True where a value of the debrief is our own."""
    if isinstance(own.value, datetime):
        moment = datetime.fromisoformat(found) if isinstance(found, str) else found
        return abs((moment - own.value).total_seconds()) <= own.off and moment.utcoffset() == own.value.utcoffset()
    if isinstance(own.value, list):
        shown = [seconds(one) for one in numbers(found)]
        alike = (abs(one - ours) <= own.off for one, ours in zip(shown, own.value, strict=False))
        return len(shown) == len(own.value) and all(alike)
    if isinstance(own.value, int | float) and not isinstance(own.value, bool):
        return isinstance(found, int | float) and abs(found - own.value) <= own.off
    return bool(found == own.value)


class Account:
    """What was found of a debrief's numbers: how many of each kind, and those that nothing of our own explains."""

    def __init__(self) -> None:
        self.kinds: Counter[str] = Counter()
        self.lacking: list[str] = []

    def count(self, kind: str, text: Any) -> None:
        """So many numbers as stand in this value are accounted for."""
        self.kinds[kind] += max(1, len(DIGITS.findall(text) and numbers(text))) if isinstance(text, str) else 1

    def compare(self, found: Any, own: Any, path: str = "") -> None:
        """Go through a value of the debrief and our own beside it."""
        if isinstance(found, dict):
            for key, one in found.items():
                self.compare(one, own.get(key) if isinstance(own, dict) else None, f"{path}.{key}")
        elif isinstance(found, list):
            if isinstance(own, list) and len(own) != len(found):
                self.lacking.append(f"{path}: {len(found)} rows, {len(own)} of our own")
                return
            for at, one in enumerate(found):
                self.compare(one, own[at] if isinstance(own, list) else None, f"{path}[{at}]")
        elif found is None and isinstance(own, Own | int | float) and _has_number(_plain(own)):
            self.lacking.append(f"{path}: none, ours {_plain(own)!r}")
        elif _has_number(found):
            ours = own if isinstance(own, Own) or own is None else Own(own)
            if ours is None or not same(found, ours):
                self.lacking.append(f"{path}: {found!r}, ours {None if ours is None else ours.value!r}")
            else:
                self.count(ours.kind, found)


def _plain(own: Any) -> Any:
    return own.value if isinstance(own, Own) else own


def _has_number(value: Any) -> bool:
    if isinstance(value, str):
        return bool(DIGITS.search(value))
    return isinstance(value, int | float) and not isinstance(value, bool)


def leaves(value: Any) -> Iterator[Any]:
    """Every single value of nested ones."""
    if isinstance(value, dict | list):
        for one in value.values() if isinstance(value, dict) else value:
            yield from leaves(one)
    else:
        yield value
