"""Spreadsheets and CSV files as people leave them: sorted anew, half deleted, saved by other programs."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from openpyxl import Workbook, load_workbook
from openpyxl.comments import Comment

from pitwall.app.loading import load_setup
from pitwall.app.plan_sheet_rest import rest_of
from pitwall.app.plan_sheets import read_any, read_with_notes, write_any
from pitwall.app.resources import demo_event
from pitwall.errors import FileProblem, UserError
from pitwall.model.plan import Plan


@cache
def plan() -> Plan:
    """The demo plan of car 41."""
    return load_setup(demo_event()).plans["41"]


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the plan as a spreadsheet, and as CSV files."""
    path = tmp_path_factory.mktemp("written")
    write_any(path / "plan.xlsx", plan())
    write_any(path / "plan", plan())
    return path


@pytest.fixture
def sheet(written: Path, tmp_path: Path) -> Path:
    """The spreadsheet, to be changed."""
    return Path(shutil.copy(written / "plan.xlsx", tmp_path / "plan.xlsx"))


@pytest.fixture
def folder(written: Path, tmp_path: Path) -> Path:
    """The CSV files, to be changed."""
    return Path(shutil.copytree(written / "plan", tmp_path / "plan"))


def _last_sheet_first(book: Workbook) -> None:
    book.move_sheet("tyres", -4)


def _blanks(book: Workbook) -> None:
    for page in (book["runs"], book["items"]):
        for row in page.iter_rows(min_row=2):
            for cell in row:
                cell.value = f"{cell.value} \u00a0" if isinstance(cell.value, str) and cell.column == 1 else cell.value


def _gaps(book: Workbook) -> None:
    book["runs"].insert_rows(3)
    book["runs"].insert_cols(3)
    book["items"].insert_rows(2, 4)


def _looks(book: Workbook) -> None:
    page = book["runs"]
    page["A3"].comment = Comment("ask the aero people", "tom")
    page.auto_filter.ref = "A1:C6"
    page.protection.enable()
    page.merge_cells("AC30:AD31")
    page["A4000"].number_format = "0.00"
    book["items"].sheet_state = "hidden"


def _no_guide(book: Workbook) -> None:
    del book[book.sheetnames[0]]


@pytest.mark.parametrize("change", [_last_sheet_first, _blanks, _gaps, _looks, _no_guide])
def test_what_changes_nothing_of_the_plan_is_read(sheet: Path, change: Callable[[Workbook], None]) -> None:
    """Another order of sheets, blanks behind names, empty rows and columns, comments, filters, protection, empty
    merged cells far away, a hidden sheet, and the guide deleted."""
    book = load_workbook(sheet)
    change(book)
    book.save(sheet)
    assert read_any(sheet) == plan()


@pytest.mark.parametrize(("cell", "value", "words"), [
    ("H3", "24 kg", "found '24 kg', expected a number: leave the unit out"),
    ("H3", "1.234,5", "found '1.234,5', expected a number"),
    ("H3", "nan", "expected a finite number"),
    ("H3", "\u0662\u0660", "expected a number"),
    ("B3", "=HYPERLINK(\"http://x\",\"y\")", "found a formula"),
    ("K3", "01/03/2031", "a time such as '+00:08:00'"),
])
def test_what_may_mean_something_else_is_refused_at_its_cell(sheet: Path, cell: str, value: Any, words: str) -> None:
    """A unit, another country's thousands, digits that are none of ours, a link, a date as text."""
    book = load_workbook(sheet)
    book["runs"][cell] = value
    book.save(sheet)
    with pytest.raises(FileProblem) as problem:
        read_any(sheet)
    assert f"plan.xlsx: runs {cell}: found " in str(problem.value)
    assert words in str(problem.value)


def test_blanks_around_names_that_are_looked_up_mean_nothing(sheet: Path) -> None:
    """A set, a window, a group or a place with a blank behind it is still that one: nobody sees the blank in a cell."""
    book = load_workbook(sheet)
    for name, columns in (("runs", ("tyres", "group")), ("items", ("after", "at"))):
        heads = {cell.value: cell.column for cell in book[name][1]}
        for row in book[name].iter_rows(min_row=2):
            for column in columns:
                cell = row[heads[column] - 1]
                cell.value = f"{cell.value} " if cell.value is not None else None
    book.save(sheet)
    assert read_any(sheet) == plan()


def test_a_run_by_another_name_and_a_time_in_a_column_of_seconds_have_a_remedy(sheet: Path) -> None:
    """``CHECKS`` is near ``checks``; ``1:30`` is 90 s."""
    book = load_workbook(sheet)
    book["items"]["A2"] = "CHECKS"
    heads = {cell.value: cell.column for cell in book["runs"][1]}
    book["runs"].cell(2, heads["work likely s"]).value = "1:30"
    book.save(sheet)
    with pytest.raises(FileProblem) as caught:
        read_any(sheet)
    assert "items A2: found run 'CHECKS'" in str(caught.value)
    assert "did you mean 'checks'?" in str(caught.value)
    assert "runs O2: found '1:30', expected a number of seconds: write 90" in str(caught.value)


def test_a_sheet_of_runs_by_another_name_is_told_once(sheet: Path) -> None:
    """What follows from it, that no item finds its run, is not told of each item."""
    book = load_workbook(sheet)
    book["runs"].title = "run"
    book.save(sheet)
    with pytest.raises(FileProblem) as caught:
        read_any(sheet)
    assert "runs A1: found a sheet 'run', expected the name 'runs' for it" in str(caught.value)
    assert "items A" not in str(caught.value)


def test_runs_that_there_are_are_told_in_their_order(sheet: Path) -> None:
    """An item of a run that was renamed: what runs there are, as they stand in the sheet, each on the one line."""
    book = load_workbook(sheet)
    book["runs"]["A3"] = "ho\nlds"
    book.save(sheet)
    with pytest.raises(FileProblem) as problem:
        read_any(sheet)
    first = str(problem.value).splitlines()[0]
    assert first.startswith("plan.xlsx: items A4: found run 'holds', expected a run of the sheet runs: checks, ")
    assert "checks, 'ho\\nlds', baseline, compare, long" in first


def test_a_lost_sheet_is_told(sheet: Path, folder: Path) -> None:
    """A plan may have no items and no tyre sets; whoever lost them is told."""
    book = load_workbook(sheet)
    del book["items"]
    book.save(sheet)
    (folder / "items.csv").unlink()
    for path in (sheet, folder):
        found, notes = read_with_notes(path)
        assert not any(run.items for run in found.runs)
        assert notes == (f"{path.name}: there is no sheet 'items': this is a plan without items",)


def test_a_file_that_says_what_is_between_its_cells(folder: Path) -> None:
    """``sep=;`` in the first line, as some programs write it and spreadsheets understand it: it is no row."""
    for path in folder.iterdir():
        rows = path.read_text(encoding="utf-8").replace('"', "").splitlines()
        if path.stem == "tyres":
            path.write_text("sep=;\r\n" + "\r\n".join(row.replace(",", ";") for row in rows), encoding="utf-8")
    assert read_any(folder) == plan()
    (folder / "tyres.csv").write_text("sep=;\r\nset;compound;laps\r\nA1;hard;many\r\n", encoding="utf-8")
    with pytest.raises(FileProblem, match="tyres C2: found 'many'"):
        read_any(folder)


def test_a_decimal_comma_without_quotation_marks_is_told_by_file_and_line(folder: Path) -> None:
    """In a file whose cells are parted by commas it makes two cells of one number; in quotation marks it makes none."""
    table = (folder / "runs.csv").read_text(encoding="utf-8").splitlines()
    name, *others = table[1].split(",")
    cells = table[0].split(",")
    fuel = next(at for at, cell in enumerate(cells) if "fuel" in cell)
    bare = [name, *("" for _ in others)][: len(cells)]
    bare[fuel] = "26,0"
    bare[-1] = bare[-1] or "x"
    path = folder / "runs.csv"
    path.write_text("\r\n".join([table[0], ",".join(bare)]), encoding="utf-8")
    with pytest.raises(UserError, match=r'runs\.csv:2: has more cells .* write "26,0" in quotation marks, or part the'):
        read_any(folder)
    bare[fuel] = '"26,0"'
    path.write_text("\r\n".join([table[0], ",".join(bare)]), encoding="utf-8")
    with pytest.raises(FileProblem) as caught:
        read_any(folder)
    assert "quotation marks" not in str(caught.value)


def test_two_files_of_one_name_are_refused(folder: Path) -> None:
    """``runs.csv`` and ``Runs.csv``: nobody can tell which is meant."""
    shutil.copy(folder / "runs.csv", folder / "Runs .csv")
    with pytest.raises(UserError, match="are both the sheet 'runs': keep one"):
        read_any(folder)


def test_separators_at_the_end_of_every_line_and_lines_of_nothing_else(folder: Path) -> None:
    """As spreadsheets save a table that was wider and longer once."""
    for path in folder.iterdir():
        lines = [f"{line},,," for line in path.read_text(encoding="utf-8").splitlines()]
        path.write_text("\n".join([*lines, ",,,,", "   ", ""]), encoding="utf-8")
    assert read_any(folder) == plan()


@pytest.mark.parametrize("wrong", ["x", 3, None, ["laps"]])
def test_a_run_that_is_no_table_leaves_no_plan_to_look_names_up_in(wrong: object) -> None:
    """Nothing of it can be taken out; that it is wrong is told by the findings themselves."""
    data = {"plan": 1, "car": "41", "driver": "ines", "session": "p1", "runs": [wrong]}
    assert rest_of(data) is None
