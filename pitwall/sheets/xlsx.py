"""The tables in a spreadsheet file (Office Open XML, ECMA-376), with lists to choose from and not one formula."""

from __future__ import annotations

from pathlib import Path
from zipfile import BadZipFile

from openpyxl import Workbook, load_workbook
from openpyxl.comments import Comment
from openpyxl.styles import Font, PatternFill
from openpyxl.utils import get_column_letter
from openpyxl.utils.exceptions import IllegalCharacterError, InvalidFileException
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.worksheet import Worksheet

from pitwall.errors import UserError
from pitwall.sheets.columns import ITEMS, PLAN, RUNS, TYRES, Cell, Column
from pitwall.sheets.tables import SHEETS

ROWS_WITH_LISTS = 200
LEAST_WIDTH, MOST_WIDTH = 8, 44
MOST_ROWS, MOST_COLUMNS = 5000, 200
COLUMNS: dict[str, tuple[Column, ...]] = {"runs": RUNS, "items": ITEMS, "tyres": TYRES}
_HEAD = PatternFill("solid", fgColor="E7E5DF")


def write_xlsx(path: Path, tables: dict[str, list[list[Cell]]]) -> None:
    """Write the tables.

    Raises:
        UserError: when the file cannot be written, or a text holds a character that no spreadsheet can hold.
    """
    book = Workbook()
    book.remove(book.active)  # type: ignore[arg-type]  # a new workbook has one sheet, which is active
    for sheet in SHEETS:
        made = book.create_sheet(sheet)
        for number, row in enumerate(tables[sheet], start=1):
            for at, value in enumerate(row, start=1):
                _put(made, sheet, number, at, value)
        _dress(made, sheet)
    try:
        book.save(path)
    except OSError as problem:
        raise UserError(f"{path}: cannot be written ({problem.strerror})") from None


def _put(sheet: Worksheet, name: str, row: int, column: int, value: Cell) -> None:
    cell = sheet.cell(row, column)
    if isinstance(value, float) and float(f"{value:.15g}") != value:
        value = repr(value)  # spreadsheets keep fifteen digits of a number: the others are kept as text
    try:
        cell.value = value
    except IllegalCharacterError:
        raise UserError(
            f"{name} {get_column_letter(column)}{row}: {value!r} holds a control character: no spreadsheet can keep it"
        ) from None
    if isinstance(value, str):
        # A text that begins with '=' would be taken for a formula: it is said to be text, and marked as quoted.
        cell.data_type = "s"
        cell.quotePrefix = value[:1] in "=+-@\t\r"


def _dress(sheet: Worksheet, name: str) -> None:
    sheet.freeze_panes = "B2"
    for cell in sheet[1]:
        cell.font, cell.fill = Font(bold=True), _HEAD
    for letter, values in ((get_column_letter(at), values) for at, values in enumerate(sheet.iter_cols(values_only=True), 1)):
        longest = max(len(str(value or "")) for value in values)
        sheet.column_dimensions[letter].width = max(LEAST_WIDTH, min(MOST_WIDTH, longest + 2))
    shift = 2 if name in ("items", "tyres") else 1
    for at, column in enumerate(COLUMNS.get(name, ()), start=shift):
        letter = get_column_letter(at)
        _explain(sheet, column, f"{letter}1", f"{letter}2:{letter}{ROWS_WITH_LISTS}")
    for row, column in enumerate(PLAN if name == "plan" else (), start=2):
        _explain(sheet, column, f"A{row}", f"B{row}")


def _explain(sheet: Worksheet, column: Column, head: str, cells: str) -> None:
    if column.choices:
        _choose(sheet, column, cells)
    if column.note:
        sheet[head].comment = Comment(column.note, "pitwall")


def _choose(sheet: Worksheet, column: Column, where: str) -> None:
    rule = DataValidation(
        type="list", formula1=f'"{",".join(column.choices)}"', allow_blank=True, showErrorMessage=True,
        errorTitle=column.name, error=f"one of: {', '.join(column.choices)}",
    )  # fmt: skip
    rule.add(where)
    sheet.add_data_validation(rule)


def read_xlsx(path: Path) -> dict[str, list[list[Cell]]]:
    """The cells of the sheets that a plan has.

    Raises:
        UserError: when it is no spreadsheet, or holds formulas: what they would give is not known here.
    """
    try:
        book = load_workbook(path, data_only=False)
    except (OSError, BadZipFile, InvalidFileException, KeyError, ValueError) as problem:
        raise UserError(f"{path}: cannot be read as a spreadsheet ({problem}): expected a .xlsx file") from None
    found: dict[str, list[list[Cell]]] = {}
    for sheet in SHEETS:
        if sheet not in book.sheetnames:
            continue
        page = book[sheet]
        rows = min(page.max_row, MOST_ROWS)
        found[sheet] = [
            [_value(path, sheet, cell) for cell in row]
            for row in page.iter_rows(max_row=rows, max_col=min(page.max_column, MOST_COLUMNS))
        ]
    return found


def _value(path: Path, sheet: str, cell: object) -> Cell:
    value, kind = getattr(cell, "value", None), getattr(cell, "data_type", "n")
    quoted = bool(getattr(cell, "quotePrefix", False))
    if kind == "f" and not quoted:
        where = f"{path}: {sheet} {getattr(cell, 'coordinate', '')}"
        raise UserError(f"{where}: found a formula, expected its value: copy and paste as values")
    return value if isinstance(value, str | int | float | bool) or value is None else str(value)
