"""What makes a spreadsheet of a plan easy to fill in: headings, lists of words, limits, and a sheet that explains."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from openpyxl.comments import Comment
from openpyxl.styles import Alignment, Border, Font, PatternFill, Side
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.properties import PageSetupProperties
from openpyxl.worksheet.worksheet import Worksheet

from pitwall.sheets.columns import PLAN, Column
from pitwall.sheets.tables import TABLES

LAST_ROW = 200
"""Down to here cells are formatted, and checked while one types."""
REMARK = "(what it means)"
"""Of the third column of the sheet plan; in brackets, so it is not read."""
LEAST_WIDTH, MOST_WIDTH = 8, 44
TEXT_FORMAT = "@"
_HEAD = PatternFill("solid", fgColor="E7E5DF")
_LINE = Border(bottom=Side("thin", color="8A8A8A"))
_STRONG = Font(name="Calibri", size=11, bold=True)
_NEEDED = Font(name="Calibri", size=11, bold=True, underline="single")

INTRODUCTION = (
    "A run plan for one car and one session. YAML is what pitwall reads at an event: turn this file into it with",
    "pitwall plan convert PLAN.xlsx PLAN.yaml, which tells every mistake with its sheet and cell.",
    "",
    "Fill in four sheets: plan (one value a row), runs (a run a row, in the order in which they are driven),",
    "items (a procedure a row, beside the name of its run) and tyres (a set a row).",
    "An empty cell means what is usual. Names that are underlined are needed. Columns may be moved; those that nobody",
    "uses may be deleted. A column, or a row of the sheet plan, with its name in brackets, such as (remarks), is for",
    "you and is not read.",
    "Times of the session are seconds or text such as +00:08:00. Values, no formulas; no merged cells; decimal points.",
    "Text that would read as something else stands in double quotes, such as \"3\" in switches or with.",
    "",
)


def dress(sheet: Worksheet, name: str, offered: Mapping[str, str]) -> None:
    """Headings that stay in sight, widths, formats, lists and limits.

    Args:
        sheet: to be dressed.
        name: which one it is.
        offered: list of the event -> where its names stand in the file.
    """
    offered = {**offered, **{other: f"{other}!$A$2:$A${LAST_ROW}" for other in TABLES}}
    sheet.freeze_panes = "B2"
    _lay_on_paper(sheet)
    if name == "plan":
        for row, words in enumerate((REMARK, *(column.note for column in PLAN)), start=1):
            sheet.cell(row, 3, words)
    for cell in sheet[1]:
        cell.font, cell.fill, cell.border = _STRONG, _HEAD, _LINE
    for at, values in enumerate(sheet.iter_cols(values_only=True), start=1):
        letter, longest = get_column_letter(at), max(len(str(value or "")) for value in values)
        sheet.column_dimensions[letter].width = max(LEAST_WIDTH, min(MOST_WIDTH, longest + 2))
    for at, column in enumerate(TABLES.get(name, ()), start=1):
        letter = get_column_letter(at)
        _explain(sheet, column, f"{letter}1")
        _limit(sheet, column, f"{letter}2:{letter}{LAST_ROW}", offered)
        if column.kind not in ("number", "whole"):
            _as_text(sheet, letter)
    for row, column in enumerate(PLAN if name == "plan" else (), start=2):
        _explain(sheet, column, f"A{row}")
        _limit(sheet, column, f"B{row}", offered)
        sheet.cell(row, 2).alignment = Alignment(horizontal="left")
        if column.kind not in ("number", "whole"):
            sheet.cell(row, 2).number_format = TEXT_FORMAT


def _lay_on_paper(sheet: Worksheet) -> None:
    """Printed across A4, as wide as the table and as many pages as that takes."""
    sheet.page_setup.orientation, sheet.page_setup.paperSize = "landscape", int(sheet.PAPERSIZE_A4)
    sheet.sheet_properties.pageSetUpPr = PageSetupProperties(fitToPage=True)
    sheet.page_setup.fitToHeight = 0


def _as_text(sheet: Worksheet, letter: str) -> None:
    """The whole column is text: what one types there stays as it is, also ``3-4``, ``8:30`` and ``=``."""
    sheet.column_dimensions[letter].number_format = TEXT_FORMAT
    for cell in sheet[letter][1:]:
        cell.number_format = TEXT_FORMAT


def _explain(sheet: Worksheet, column: Column, head: str) -> None:
    if column.needed:
        sheet[head].font = _NEEDED
    if column.note:
        sheet[head].comment = Comment(column.note, "pitwall", height=60, width=260)


def _limit(sheet: Worksheet, column: Column, where: str, offered: Mapping[str, str]) -> None:
    """What a cell takes while one types: a word of a list, or a number within its bounds. A name that stands on another
    sheet is offered, and another is taken after a question: it may be written there later.

    Cells of moments of the session take seconds or text; they have no bounds.
    """
    if column.choices:
        rule = DataValidation(type="list", formula1=f'"{",".join(column.choices)}"', allow_blank=True)
        rule.error = f"one of: {', '.join(column.choices)}"
    elif column.least is not None:
        kind: Literal["whole", "decimal"] = "whole" if column.kind == "whole" else "decimal"
        between = column.most is not None
        rule = DataValidation(type=kind, operator="between" if between else "greaterThanOrEqual", allow_blank=True,
                              formula1=f"{column.least:g}", formula2=f"{column.most:g}" if between else None)
        bounds = f"from {column.least:g} to {column.most:g}" if between else f"{column.least:g} or more"
        rule.error = f"a {'whole ' if kind == 'whole' else ''}number, {bounds}"
    elif column.listed_in in offered:
        rule = DataValidation(type="list", formula1=offered[column.listed_in], allow_blank=True)
        rule.errorStyle, rule.error = "warning", f"not among the {column.listed_in} yet"
    else:
        return
    rule.errorTitle, rule.showErrorMessage = column.name, True
    rule.add(where)
    sheet.add_data_validation(rule)


def guide(sheet: Worksheet) -> None:
    """The sheet that explains: what the file is, then every column of every sheet."""
    for number, line in enumerate(INTRODUCTION, start=1):
        sheet.cell(number, 1, line)
    sheet["A1"].font = _STRONG
    row = len(INTRODUCTION) + 1
    for at, words in enumerate(("sheet", "name", "what it means", "takes"), start=1):
        head = sheet.cell(row, at, words)
        head.font, head.fill, head.border = _STRONG, _HEAD, _LINE
    for name, columns in {"plan": PLAN, **TABLES}.items():
        for column in columns:
            row += 1
            for at, words in enumerate((name, column.name, column.note, _takes(column)), start=1):
                sheet.cell(row, at, words)
            if column.needed:
                sheet.cell(row, 2).font = _NEEDED
    for letter, width in zip("ABCD", (10, 24, 66, 36), strict=True):
        sheet.column_dimensions[letter].width = width
    sheet.sheet_view.showGridLines = False
    _lay_on_paper(sheet)


def _takes(column: Column) -> str:
    if column.choices:
        return ", ".join(column.choices)
    words = {"whole": "a whole number", "number": "a number", "values": "names and values", "list": "a list"}.get(
        column.kind, "text")
    if column.least is None:
        return words
    return f"{words}, {column.least:g} or more" if column.most is None else (
        f"{words}, {column.least:g} to {column.most:g}")
