"""Which sheet and which column is which, by their names: written large or small, with blanks around them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from difflib import get_close_matches

from pitwall.sheets.columns import Column

GUIDE = "how to"
"""The sheet that explains the others; it is not read."""
LISTS = "lists"
"""The sheet with names of the event that other sheets offer; it is not read either."""


def same_name(name: str) -> str:
    """The name as names are compared."""
    return " ".join(name.casefold().split())


def near(name: str, choices: Sequence[str]) -> str:
    """``: did you mean 'x'?`` for the nearest choice, or nothing."""
    found = get_close_matches(same_name(name), choices, n=1, cutoff=0.6)
    return f": did you mean {found[0]!r}?" if found else ""


def yours(name: str) -> bool:
    """Guard: a name in brackets says that what stands there is for people, and is not read."""
    return same_name(name).startswith("(")


def as_yours(name: str) -> str:
    """What to do about a name that is none of ours, where people keep something for themselves there."""
    bracketed = f"({' '.join(name.split())})"
    return f"is it for yourself, such as remarks? Put the name in brackets, {bracketed}, and it is not read"


def headings(
    names: Sequence[str], columns: Sequence[Column]
) -> tuple[dict[int, Column], list[tuple[int, str, str | None]]]:
    """The columns by their place, counted from 0, and what is wrong with the first row: place, found, expected.

    Args:
        names: what stands in the first row.
        columns: those that the sheet may have.
    """
    known = {same_name(column.name): column for column in columns}
    found: dict[int, Column] = {}
    wrong: list[tuple[int, str, str | None]] = []
    for index, name in enumerate(names):
        column = known.get(same_name(name))
        if not name.strip() or yours(name):
            continue
        if column is None:
            wrong.append((index, f"a column {name!r}", f"one of: {', '.join(known)}{near(name, tuple(known))}"))
        elif column in found.values():
            wrong.append((index, f"a column {name!r} again", "each column once"))
        else:
            found[index] = column
    for column in columns:
        if column.needed and column not in found.values():
            wrong.append((0, f"no column {column.name!r}", "it, with its name in the first row"))
    return found, wrong


def sheets_there(
    ours: Sequence[str], others: Sequence[str], known: Sequence[str]
) -> Iterator[tuple[str, str, str]]:
    """What is wrong with the sheets of a file: the sheet, found, expected.

    A sheet with a name that is none of ours is left alone, unless one of ours is missing: then it may be that one.
    """
    missing = [sheet for sheet in known if sheet not in ours]
    for sheet in missing:
        maybe = get_close_matches(sheet, [same_name(other) for other in others], n=1, cutoff=0.6)
        if maybe:
            yield sheet, f"a sheet {maybe[0]!r}", f"the name {sheet!r} for it"
        elif sheet in ("plan", "runs"):
            there = f" (there are {', '.join(others)})" if others else ""
            yield sheet, f"no sheet {sheet!r}{there}", f"the sheets {', '.join(known)}"
