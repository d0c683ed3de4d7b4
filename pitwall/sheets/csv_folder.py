"""The tables as a folder of CSV files (RFC 4180), one a sheet.

A text that a spreadsheet would take for a formula gets an apostrophe before it, which is taken off again.
"""

from __future__ import annotations

import csv
from pathlib import Path

from pitwall.errors import UserError
from pitwall.sheets.columns import Cell
from pitwall.sheets.tables import SHEETS

FORMULA_SIGNS = ("=", "+", "-", "@", "\t", "\r", "'")
"""A cell that begins with one of these is no plain text to spreadsheets; the apostrophe is ours to double."""


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
    return f"'{cell}" if cell.startswith(FORMULA_SIGNS) else cell


def read_csv(folder: Path) -> dict[str, list[list[Cell]]]:
    """The cells of each file that is there.

    Raises:
        UserError: when a file cannot be read.
    """
    found: dict[str, list[list[Cell]]] = {}
    for sheet in SHEETS:
        path = folder / f"{sheet}.csv"
        if not path.exists():
            continue
        try:
            with path.open(encoding="utf-8-sig", newline="") as file:
                found[sheet] = [[cell.removeprefix("'") if cell.startswith("'") else cell for cell in row]
                                for row in csv.reader(file, strict=True)]
        except UnicodeDecodeError:
            raise UserError(f"{path}: is not UTF-8: save it as 'CSV UTF-8'") from None
        except (OSError, csv.Error) as problem:
            raise UserError(f"{path}: cannot be read as CSV ({problem})") from None
    return found
