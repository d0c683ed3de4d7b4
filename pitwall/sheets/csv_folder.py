"""The tables as a folder of CSV files (RFC 4180), one a sheet.

A text that a spreadsheet would take for a formula gets an apostrophe before it, which is taken off again. Files that a
spreadsheet has saved are read as they come: with commas, semicolons or tabs, and after semicolons with decimal commas.
"""

from __future__ import annotations

import csv
import io
import itertools
import re
from collections.abc import Sequence
from pathlib import Path

from pitwall.errors import UserError
from pitwall.sheets.columns import PLAN, Cell
from pitwall.sheets.headings import same_name
from pitwall.sheets.tables import SHEETS, Filed, not_there

FORMULA_SIGNS = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")
"""A cell that begins with one of these, full width or not, is no plain text to spreadsheets."""
_ESCAPED = (*FORMULA_SIGNS, "'")
MOST_BYTES = 4 << 20
_SAID = re.compile(r"sep=([,;\t])\r?\n", re.IGNORECASE)
"""A first line with which some files tell a spreadsheet what is between their cells; it shows no row for it."""


def write_csv(folder: Path, tables: dict[str, list[list[Cell]]]) -> None:
    """Write one file a sheet.

    Raises:
        UserError: when the folder cannot be made or written to.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for sheet in SHEETS:
            with (folder / f"{sheet}.csv").open("w", encoding="utf-8", newline="") as file:
                csv.writer(file).writerows([_safe(cell) for cell in row] for row in tables[sheet])
    except OSError as problem:
        raise UserError(f"{folder}: cannot be written ({problem.strerror})") from None


def _safe(cell: Cell) -> str:
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, int | float):
        return repr(cell)
    return f"'{cell}" if str(cell).startswith(_ESCAPED) else str(cell)


def _as_meant(cell: str) -> str:
    return cell[1:] if cell.startswith("'") and cell[1:].startswith(_ESCAPED) else cell


def read_csv(folder: Path) -> Filed:
    """The cells of each file that is there.

    Raises:
        UserError: when a file cannot be read.
    """
    try:
        files = sorted(path for path in folder.iterdir() if path.suffix.lower() == ".csv")
    except OSError as problem:
        raise UserError(f"{folder}: cannot be read ({problem.strerror})") from None
    ours: dict[str, Path] = {}
    for path in files:
        name = same_name(path.stem)
        if name in SHEETS and name in ours:
            both = f"{ours[name].name} and {path.name}"
            raise UserError(f"{folder}: {both} are both the sheet {name!r}: keep one of them")
        ours[name] = path
    found: dict[str, Sequence[Sequence[Cell]]] = {}
    commas = False
    for sheet in SHEETS:
        if sheet in ours:
            text = _text_of(ours[sheet])
            said = _SAID.match(text)
            text = text if said is None else text[said.end() :]
            sign = _separator(text, sheet) if said is None else said[1]
            found[sheet] = _rows(ours[sheet], text, sign, after=0 if said is None else 1)
            commas = commas or sign == ";"
    others = tuple(path.name for path in files if same_name(path.stem) not in SHEETS)
    notes = tuple(f"{folder.name}: {name} is none of the plan's files and is not read" for name in others)
    notes += not_there(folder.name, found)
    return Filed(found, tuple(Path(name).stem for name in others), notes, decimal_comma=commas)


def _text_of(path: Path) -> str:
    try:
        with path.open("rb") as file:
            raw = file.read(MOST_BYTES + 1)
    except OSError as problem:
        raise UserError(f"{path}: cannot be read ({problem.strerror})") from None
    if len(raw) > MOST_BYTES:
        raise UserError(f"{path}: is larger than {MOST_BYTES >> 20} MiB: no plan is")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as problem:
        line = raw.count(b"\n", 0, problem.start) + 1
        raise UserError(f"{path}:{line}: is not UTF-8: save it as 'CSV UTF-8'") from None


def _separator(text: str, sheet: str) -> str:
    """What stands between the cells: the sign that makes names of columns of the first line; of no use, the comma."""
    known = {*SHEETS[sheet], *(column.name for column in PLAN if sheet == "plan")}
    first = text.splitlines()[0] if text else ""

    def names(sign: str) -> int:
        return sum(same_name(cell.strip('"')) in known for cell in first.split(sign))

    return max((",", ";", "\t"), key=names)


def _two_as_one(row: Sequence[str]) -> str | None:
    """Two cells of digits side by side that may be one number with a decimal comma; None where there are none."""
    pairs = (f"{one.strip()},{other.strip()}" for one, other in itertools.pairwise(row))
    return next((pair for pair in pairs if re.fullmatch(r"\d+,\d{1,3}", pair, re.ASCII)), None)


def _cells(row: Sequence[str]) -> int:
    """How many cells a row has up to its last that is not empty."""
    return max((at for at, cell in enumerate(row, 1) if cell.strip()), default=0)


def _rows(path: Path, text: str, sign: str, after: int) -> list[list[Cell]]:
    # ``after``: lines of the file before this text.
    reader = csv.reader(io.StringIO(text, newline=""), strict=True, delimiter=sign)
    try:
        read: list[list[str]] = []
        for row in reader:
            pair = _two_as_one(row) if sign == "," and read and _cells(row) > _cells(read[0]) else None
            if pair is not None:
                raise UserError(f"{path}:{reader.line_num + after}: has more cells than there are headings: if {pair} "
                                f'is one number with a decimal comma, write "{pair}" in quotation marks, or part the '
                                "cells of the file by ;")
            read.append(row)
        return [[_as_meant(cell) for cell in row] for row in read]
    except csv.Error as problem:
        raise UserError(f"{path}:{reader.line_num + after}: cannot be read as CSV ({problem})") from None
