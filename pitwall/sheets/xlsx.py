"""The tables in a spreadsheet file (Office Open XML, ECMA-376): written and read, with not one formula."""

from __future__ import annotations

import re
import warnings
import zipfile
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date, time, timedelta
from pathlib import Path
from typing import Any

from openpyxl import Workbook, load_workbook
from openpyxl.utils import get_column_letter
from openpyxl.utils.exceptions import InvalidFileException
from openpyxl.worksheet.worksheet import Worksheet

from pitwall.errors import UserError
from pitwall.sheets.columns import Cell, Unreadable
from pitwall.sheets.csv_folder import FORMULA_SIGNS
from pitwall.sheets.headings import GUIDE, LISTS, same_name, yours
from pitwall.sheets.sheet_dress import dress, guide
from pitwall.sheets.tables import SHEETS, Filed, cell_text, not_there

MOST_ROWS, MOST_COLUMNS = 5000, 200
MOST_BYTES = 24 << 20
MOST_CHARACTERS = 32_767
"""In one cell: what spreadsheets keep."""
WHOLE_DIGITS = 15
"""Of a number: what spreadsheets keep."""
NO_NAMES: Mapping[str, Sequence[str]] = {}
_NEEDS_ESCAPE = re.compile("[\x00-\x08\x0b-\x1f\ufffe\uffff]|_(?=x[0-9A-Fa-f]{4}_)")
_ESCAPE = re.compile("_x([0-9A-Fa-f]{4})_")
_TRUTHS = {"=TRUE()": True, "=FALSE()": False}
"""How some spreadsheets save a truth value."""
_LEADING_NOUGHTS = re.compile("0{2,}")


def write_xlsx(path: Path, tables: dict[str, list[list[Cell]]], names: Mapping[str, Sequence[str]] = NO_NAMES) -> None:
    """Write the tables, behind a sheet that says how to fill them in.

    Args:
        path: the file.
        tables: the rows of each sheet.
        names: what the event knows: ``procedures``, ``drivers`` and so on, offered where one of them is wanted.

    Raises:
        UserError: when the file cannot be written, or a text is longer than a cell can hold.
    """
    book = Workbook()
    first = book.active
    assert isinstance(first, Worksheet)
    first.title = GUIDE
    guide(first)
    offered = {name: f"{LISTS}!${get_column_letter(at)}$2:${get_column_letter(at)}${len(known) + 1}"
               for at, (name, known) in enumerate(names.items(), start=1) if known}
    for sheet in SHEETS:
        made = book.create_sheet(sheet)
        for number, row in enumerate(tables[sheet], start=1):
            for at, value in enumerate(row, start=1):
                _put(made, sheet, number, at, value)
        dress(made, sheet, offered)
    if offered:
        _list(book.create_sheet(LISTS), names)
    try:
        book.save(path)
    except OSError as problem:
        raise UserError(f"{path}: cannot be written ({problem.strerror})") from None


def _list(sheet: Worksheet, names: Mapping[str, Sequence[str]]) -> None:
    for at, (name, known) in enumerate(names.items(), start=1):
        for row, one in enumerate((name, *known), start=1):
            _put(sheet, LISTS, row, at, one)


def _put(sheet: Worksheet, name: str, row: int, column: int, value: Cell) -> None:
    if value is None:
        return
    cell = sheet.cell(row, column)
    if isinstance(value, bool):
        value = cell_text(value)  # yes or no, as the list of words there has it
    elif isinstance(value, float) and float(f"{value:.{WHOLE_DIGITS}g}") != value:
        value = repr(value)  # the digits that a spreadsheet would cut off are kept as text
    elif isinstance(value, int) and abs(value) >= 10**WHOLE_DIGITS:
        value = str(value)
    if isinstance(value, int | float):
        cell.value = value
        return
    assert isinstance(value, str), "nothing unreadable is ever written"
    written = _NEEDS_ESCAPE.sub(lambda found: f"_x{ord(found[0]):04X}_", value)
    if len(written) > MOST_CHARACTERS:
        where = f"{name} {get_column_letter(column)}{row}"
        raise UserError(f"{where}: a text of {len(written)} characters, a cell holds {MOST_CHARACTERS}")
    cell.value = written
    # A text that begins with '=' would be taken for a formula: it is said to be text, and marked as quoted.
    cell.data_type = "s"
    cell.quotePrefix = value.startswith(FORMULA_SIGNS)


def read_xlsx(path: Path) -> Filed:
    """The cells of the sheets that a plan has.

    Raises:
        UserError: when it is no spreadsheet, or one larger than any plan.
    """
    try:
        with zipfile.ZipFile(path) as parts:
            if sum(part.file_size for part in parts.infolist()) > MOST_BYTES:
                raise UserError(f"{path}: holds more than a plan can: delete the empty rows below the tables")
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of decorations that the library does not keep: only cells are wanted
            book = load_workbook(path, data_only=False)
    except UserError:
        raise
    except (OSError, zipfile.BadZipFile, InvalidFileException) as problem:
        raise UserError(f"{path}: cannot be read as a spreadsheet ({problem}): expected a .xlsx file") from None
    except Exception as problem:  # a damaged part: the library raises what its parser happens to
        raise UserError(f"{path}: is damaged ({type(problem).__name__}: {problem}): save it anew as .xlsx") from None
    pages = {same_name(name): book[name] for name in book.sheetnames if isinstance(book[name], Worksheet)}
    found = {sheet: _rows(path, pages[sheet]) for sheet in SHEETS if sheet in pages}
    others = tuple(name for name in book.sheetnames if same_name(name) not in (*SHEETS, GUIDE, LISTS))
    notes = [f"{path.name}: sheet {name!r} is none of the plan's and is not read" for name in others]
    notes += [note for sheet in found for note in _hidden(path, pages[sheet])]
    return Filed(found, others, (*notes, *not_there(path.name, found)))


def _rows(path: Path, page: Worksheet) -> list[list[Cell]]:
    """The rows down to the last cell with anything in it."""
    values = {(cell.row, cell.column): _value(cell) for cell in page._cells.values() if cell.value is not None}
    values.update(_merged(page))
    rows = max((row for row, _ in values), default=0)
    columns = max((column for _, column in values), default=0)
    if rows > MOST_ROWS or columns > MOST_COLUMNS:
        where = f"{get_column_letter(columns)}{rows}"
        most = f"{get_column_letter(MOST_COLUMNS)}{MOST_ROWS}"
        raise UserError(f"{path.name}: {page.title}: cells as far as {where}, expected none beyond {most}")
    return [[values.get((row, column)) for column in range(1, columns + 1)] for row in range(1, rows + 1)]


def _merged(page: Worksheet) -> Iterator[tuple[tuple[int, int], Unreadable]]:
    """The cells of each group of merged ones that holds anything: for which of them it is meant nobody can tell."""
    for group in page.merged_cells.ranges:
        value = page.cell(group.min_row, group.min_col).value
        if value is not None and not (group.min_row == 1 and yours(str(value))):
            words = Unreadable(f"merged cells ({group.coord})", "each value in a cell of its own")
            for row in range(group.min_row, min(group.max_row, MOST_ROWS) + 1):
                for column in range(group.min_col, min(group.max_col, MOST_COLUMNS) + 1):
                    yield (row, column), words
                    words = replace(words, again=True)


def _hidden(path: Path, page: Worksheet) -> Iterator[str]:
    kinds: tuple[tuple[str, Any], ...] = (("row", page.row_dimensions), ("column", page.column_dimensions))
    for kind, dimensions in kinds:
        hidden = [str(name) for name, dimension in dimensions.items() if dimension.hidden]
        if hidden:
            more = f"{kind}s {', '.join(hidden)} are" if len(hidden) > 1 else f"{kind} {hidden[0]} is"
            yield f"{path.name}: {page.title}: {more} hidden, and read like all others"


def _value(cell: Any) -> Cell:
    value, kind = cell.value, cell.data_type
    if kind == "f" and value in _TRUTHS:
        return _TRUTHS[value]
    if kind == "f":
        return Unreadable("a formula", "its value: copy, and paste as values")
    if kind == "e":
        return Unreadable(f"the error {value}", "a value")
    if isinstance(value, date | time | timedelta):
        made = "a date" if isinstance(value, date) else "a time of day"
        return Unreadable(f"{made} ({value})", "text or a number: format the cell as text and write it again, a time "
                          "of the session such as +00:08:00")
    if isinstance(value, str):
        return _ESCAPE.sub(lambda found: chr(int(found[1], 16)), value)
    if isinstance(value, int | float) and not isinstance(value, bool):
        return _number(value, str(cell.number_format))
    return value if isinstance(value, bool) else Unreadable(f"{type(value).__name__}", "text or a number")


def _number(value: int | float, shown_as: str) -> Cell:
    if "%" in shown_as:
        return Unreadable(f"{value:.2%}, which is {value!r} to the spreadsheet",
                          "a number: format the cell as text and write it again")
    if abs(value) >= 10**WHOLE_DIGITS:
        return Unreadable(f"{value!r}", f"text, or a number of {WHOLE_DIGITS} digits: a spreadsheet keeps no more")
    if _LEADING_NOUGHTS.fullmatch(shown_as):
        return Unreadable(f"{value!r} shown with noughts before it",
                          "text or a number: format the cell as text and write it again")
    return value
