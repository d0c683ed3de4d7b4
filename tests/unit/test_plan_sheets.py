"""Plans as spreadsheets and CSV files: nothing is lost on the way, and a mistake is told with sheet and cell."""

from __future__ import annotations

import csv
import shutil
import zipfile
from datetime import date, time, timedelta
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from openpyxl import load_workbook

from pitwall.app.loading import load_setup
from pitwall.app.plan_sheets import column_letters, read_any, read_with_notes, write_any, yaml_of
from pitwall.app.resources import demo_event
from pitwall.app.yaml_lines import parse_document
from pitwall.cli.main import main
from pitwall.errors import FileProblem, UserError
from pitwall.model.plan import Item, Plan, Run, TyreSet
from pitwall.model.setup import SessionSetup
from pitwall.sheets.columns import COVERED, PLAN, Column
from pitwall.sheets.tables import TABLES, Filed, read_tables, tables_of
from simulations.prove_sheets import prove
from tests.unit.test_run_line import LABEL, NAME, SLUG, VALUES, runs

KINDS = ["out", "timed", "cool", "in", "installation"]


@cache
def _setup() -> SessionSetup:
    return load_setup(demo_event())


@pytest.fixture(scope="module")
def sheet_of_demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The spreadsheet of the demo plan of car 41, to be copied."""
    path = tmp_path_factory.mktemp("demo") / "plan.xlsx"
    write_any(path, _setup().plans["41"])
    return path


@pytest.fixture
def sheet(sheet_of_demo: Path, tmp_path: Path) -> Path:
    """The same, to be broken."""
    return Path(shutil.copy(sheet_of_demo, tmp_path / "plan.xlsx"))


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """The demo plan as CSV files, to be broken."""
    write_any(tmp_path / "plan", _setup().plans["41"])
    return tmp_path / "plan"


def _put(path: Path, sheet: str, cell: str, value: object, shown_as: str | None = None) -> None:
    book = load_workbook(path)
    book[sheet][cell] = value
    if shown_as is not None:
        book[sheet][cell].number_format = shown_as
    book.save(path)


def _problem(path: Path) -> str:
    with pytest.raises(FileProblem) as problem:
        read_any(path)
    return str(problem.value)


@st.composite
def plans(draw: st.DrawFn) -> Plan:
    """Any plan that the model takes."""
    optional: dict[str, st.SearchStrategy[Any]] = {
        "medium": st.sampled_from(["two_way", "one_way", "board"]),
        "starts_with": st.fixed_dictionaries({}, optional={
            "tyres": LABEL, "fuel_kg": st.floats(0, 500), "switches": st.one_of(st.just("wet_or_dry_default"), VALUES),
        }),
        "tyre_sets": st.dictionaries(LABEL, st.fixed_dictionaries(
            {"compound": st.text(max_size=8)}, optional={"laps": st.integers(0, 90), "most_laps": st.integers(1, 99)}
        ), max_size=3),
        "alternates": st.dictionaries(st.sampled_from(["dry", "wet", "short"]), st.text(max_size=10)),
        "notes": st.text(max_size=40),
        "minimum_laps": st.dictionaries(NAME, st.integers(0, 50), max_size=2),
        "quiet": st.dictionaries(st.sampled_from(KINDS), st.one_of(
            st.just("all"), st.lists(st.sampled_from(["session", "safety", "box", "pace"]), max_size=3, unique=True)
        )),
    }  # fmt: skip
    values = draw(st.fixed_dictionaries(
        {"plan": st.just(1), "car": SLUG, "driver": NAME, "session": SLUG}, optional=optional))
    named = draw(st.lists(runs(), min_size=1, max_size=2, unique_by=lambda run: run.run))
    return Plan.model_validate(values | {"runs": named})


# -- there and back ----------------------------------------------------------------------------------------------------


@given(plans())
@settings(max_examples=40, deadline=None)
def test_a_plan_comes_back_from_csv_files_as_it_was(tmp_path_factory: pytest.TempPathFactory, plan: Plan) -> None:
    """Whatever a plan holds stands in the cells of its tables, also texts with line ends, quotes and signs of formulas;
    and nothing else does."""
    read = read_tables(Filed(tables_of(plan)))
    assert read.findings == []
    assert Plan.model_validate(read.data) == plan
    folder = tmp_path_factory.mktemp("csv") / "plan"
    write_any(folder, plan)
    assert read_any(folder) == plan


@given(plans())
@settings(max_examples=12, deadline=None)
def test_a_plan_comes_back_from_a_spreadsheet_as_it_was(tmp_path_factory: pytest.TempPathFactory, plan: Plan) -> None:
    """Every text, control characters included, and every digit of a number. (Through the same tables as CSV; a file
    takes 20 times as long. Five hundred of each: simulations/prove_sheets.py.)"""
    path = tmp_path_factory.mktemp("xlsx") / "plan.xlsx"
    write_any(path, plan)
    assert read_any(path) == plan


@given(plans())
@settings(max_examples=30, deadline=None)
def test_a_plan_comes_back_from_yaml_as_it_was(plan: Plan) -> None:
    """What a spreadsheet is turned into is a plan file that reads to the same plan."""
    assert Plan.model_validate(parse_document(yaml_of(plan), "plan.yaml").data) == plan


def test_every_field_has_a_column() -> None:
    """A field that is added to a plan, a run, an item or a tyre set must not be lost in a spreadsheet."""
    for model in (Plan, Run, Item, TyreSet):
        assert {info.alias or name for name, info in model.model_fields.items()} == COVERED[model]


def test_the_shipped_plans_go_there_and_back(tmp_path: Path) -> None:
    """Plans and alternates of the demo event, through all three forms in turn."""
    setup = _setup()
    found = [*setup.plans.values(), *(plan for kinds in setup.alternates.values() for plan in kinds.values())]
    for number, plan in enumerate(found):
        names = [tmp_path / f"{number}.xlsx", tmp_path / f"folder{number}", tmp_path / f"{number}.yaml"]
        for name in names:
            write_any(name, plan)
            plan = read_any(name)
        assert plan == found[number]


def test_the_study_of_broken_files_finds_none_that_is_read_wrongly() -> None:
    """A small share of the study: random plans come back, broken cells are refused or read as they are written."""
    account = prove(plans=2, broken=20, seed=7)
    assert account.came_back == {"xlsx": 2, "csv": 2, "yaml": 2}
    assert account.silently_wrong == account.crashed == []
    assert account.refused_at_the_cell >= 10


# -- mistakes ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("sheet_name", "cell", "value", "words"), [
    ("runs", "C3", "maybe", ("'maybe'", "must, should, could")),
    ("runs", "H4", "twenty", ("'twenty'", "a number")),
    ("runs", "E2", "out, 3 timde, in", ("3 timde",)),
    ("runs", "A3", "checks", ("named twice",)),
    ("runs", "R3", "torque_map", ("torque_map=3",)),
    ("runs", "R3", "torque_map=", ("torque_map=3",)),
    ("runs", "R3", "brake_bias=56,5", ("'56,5'", "56.5")),
    ("runs", "C3", None, ("an empty cell", "needed")),
    ("items", "A3", "nowhere", ("run 'nowhere'", "checks")),
    ("items", "C2", "timed one", ("'timed one'",)),
    ("items", "B2", "Radio Check", ("snake_case",)),
    ("tyres", "C2", -1, ("0 or more",)),
    ("tyres", "A3", "A1", ("set 'A1' again",)),
    ("plan", "B3", "Car 41!", ("lower-case letters",)),
    ("plan", "A4", "drivr", ("'drivr'",)),
    ("plan", "A4", "car", ("'car' again", "row 3")),
    ("plan", "A1", "car", ("'car' in the first row", "what, value")),
    ("plan", "D5", "by hand", ("beside the table", "(remarks)")),
    ("plan", "A4", "remarks", ("in brackets, (remarks)", "is not read")),
    ("runs", "F1", "remarks", ("in brackets, (remarks)", "is not read")),
    ("runs", "F1", "fewest", ("a column 'fewest'", "did you mean 'fewest timed'?")),
    ("runs", "F1", "laps", ("a column 'laps' again",)),
    ("runs", "AA3", "forgotten", ("none of the table's", "(remarks)")),
    ("runs", "H2", "=20+2", ("a formula", "paste as values")),
    ("runs", "H2", "#REF!", ("the error #REF!",)),
    ("runs", "K3", time(8, 0), ("a time of day (08:00:00)", "+00:08:00")),
    ("runs", "K3", timedelta(minutes=8), ("a time of day", "as text")),
    ("runs", "G3", date(2031, 2, 1), ("a date (2031-02-01", "as text")),
    ("runs", "B3", True, ("truth value TRUE", "as text")),
    ("runs", "H2", "20,5", ("'20,5'", "a number")),
    ("runs", "H2", 1e9, ("500 or less",)),
    ("runs", "G3", 1e18, ("15 digits",)),
])  # fmt: skip
def test_a_mistake_is_told_with_sheet_and_cell(
    sheet: Path, sheet_name: str, cell: str, value: object, words: tuple[str, ...]
) -> None:
    """What was found and what was expected, at the cell that a person clicks on."""
    _put(sheet, sheet_name, cell, value)
    text = _problem(sheet)
    assert f"plan.xlsx: {sheet_name} {cell}: found " in text, text
    assert all(word in text for word in words), text


@pytest.mark.parametrize(("sheet_name", "cell", "value", "words"), [
    ("runs", "R3", "torque_map; foo=2; bar", ("'torque_map'", "'bar'")),
    ("runs", "R3", "torque_map=3,5; torque_map; brake_bias=56; brake_bias=57", ("'3,5'", "'torque_map'", "twice")),
    ("items", "C2", "timed one; cool two; out", ("'timed one'", "'cool two'")),
])  # fmt: skip
def test_each_part_of_a_cell_that_is_wrong_is_told(
    sheet: Path, sheet_name: str, cell: str, value: str, words: tuple[str, ...]
) -> None:
    """A line each, all with the same cell: a person mends it once."""
    _put(sheet, sheet_name, cell, value)
    lines = [line for line in _problem(sheet).splitlines() if f": {sheet_name} {cell}: " in line]
    assert len(lines) == len(words)
    for line, word in zip(lines, words, strict=True):
        assert word in line


def test_all_mistakes_are_told_at_once(sheet: Path) -> None:
    """A person mends them in one go; what could not be read is not told as missing as well."""
    _put(sheet, "runs", "C3", "=1")
    _put(sheet, "items", "B3", "#N/A")
    _put(sheet, "tyres", "C2", "many")
    assert [line.split(": ")[1] for line in _problem(sheet).splitlines()] == ["runs C3", "items B3", "tyres C2"]


@pytest.mark.parametrize(("value", "shown_as", "words"), [
    (0.56, "0%", "56.00%, which is 0.56 to the spreadsheet"), (7, "000", "noughts before it"),
])
def test_a_number_that_is_shown_as_another_is_not_taken(sheet: Path, value: float, shown_as: str, words: str) -> None:
    """Who types 56% sees 56 and would get 0.56; 007 is 7 to the spreadsheet."""
    _put(sheet, "runs", "G3", value, shown_as)
    assert words in _problem(sheet)


def test_merged_cells_are_refused(sheet: Path) -> None:
    """A value over three rows: the spreadsheet has it in the first only, and nobody can tell what is meant."""
    book = load_workbook(sheet)
    book["runs"].merge_cells("G3:G5")
    book.save(sheet)
    assert _problem(sheet).splitlines() == [
        "plan.xlsx: runs G3: found merged cells (G3:G5), expected each value in a cell of its own"]


@pytest.mark.parametrize(("page", "cells"), [
    ("runs", "A3:A4"), ("runs", "A1:B1"), ("runs", "C3:E3"), ("items", "A2:A6"), ("items", "B2:C2"), ("plan", "A2:B3"),
    ("plan", "A1:B1"), ("tyres", "A2:A3"),
])
def test_merged_cells_are_told_once_and_nothing_is_told_because_of_them(sheet: Path, page: str, cells: str) -> None:
    """Names of runs, of columns, of settings: what stands in their rows or below them is missing, and nobody left it
    out."""
    book = load_workbook(sheet)
    book[page].merge_cells(cells)
    book.save(sheet)
    at = cells.partition(":")[0]
    assert _problem(sheet).splitlines() == [
        f"plan.xlsx: {page} {at}: found merged cells ({cells}), expected each value in a cell of its own"]


def test_a_merged_heading_of_remarks_is_read_over(sheet: Path) -> None:
    """What stands in brackets is for people, however they draw it."""
    book = load_workbook(sheet)
    last = book["runs"].max_column + 1
    book["runs"].cell(1, last, "(remarks)")
    book["runs"].merge_cells(start_row=1, end_row=1, start_column=last, end_column=last + 1)
    book.save(sheet)
    read_any(sheet)


def test_a_deleted_column_that_is_needed_is_named_once(sheet: Path) -> None:
    """Not once more for every row."""
    book = load_workbook(sheet)
    book["runs"].delete_cols(3)
    book.save(sheet)
    assert _problem(sheet).splitlines() == [
        "plan.xlsx: runs A1: found no column 'want', expected it, with its name in the first row"]


def test_a_renamed_sheet_is_named(sheet: Path) -> None:
    """Not read as a plan without tyres, and without runs it is no plan."""
    book = load_workbook(sheet)
    book["tyres"].title = "tyre sets"
    book["runs"].title = "old"
    book.save(sheet)
    text = _problem(sheet)
    assert "found a sheet 'tyre sets', expected the name 'tyres' for it" in text
    assert "found no sheet 'runs' (there are old, tyre sets)" in text


def test_what_is_read_although_nobody_sees_it_is_told(sheet: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Hidden rows and columns are a part of the plan, other sheets are not: the command says so and goes on."""
    book = load_workbook(sheet)
    book["runs"].row_dimensions[4].hidden = True
    book["runs"].column_dimensions["B"].hidden = True
    book.create_sheet("scratch")["A1"] = "=1+1"
    book.save(sheet)
    plan, notes = read_with_notes(sheet)
    assert plan == _setup().plans["41"]
    assert notes == ("plan.xlsx: sheet 'scratch' is none of the plan's and is not read",
                     "plan.xlsx: runs: row 4 is hidden, and read like all others",
                     "plan.xlsx: runs: column B is hidden, and read like all others")
    assert main(["plan", "convert", str(sheet), str(sheet.with_suffix(".yaml"))]) == 0
    assert capsys.readouterr().err.count("note: plan.xlsx: ") == 3


def test_names_are_read_as_people_write_them(sheet: Path) -> None:
    """Large letters in names of sheets and columns, blanks around words, numbers kept as text, remarks in brackets."""
    book = load_workbook(sheet)
    page = book["runs"]
    page.title, page["A1"], page["C1"], page["C3"], page["H3"] = "Runs ", "RUN", " Want", " should ", " 20 "
    page["V5"], page["V2"], page["V3"] = "=TRUE()", False, "No"
    page["AA1"], page["AA3"] = "(remarks)", "ask the aero people"
    last = book["plan"].max_row + 1
    book["plan"].cell(last, 1, "(remarks)")
    book["plan"].cell(last, 2, "as of Friday night")
    book.save(sheet)
    assert read_any(sheet) == _setup().plans["41"]


def test_columns_may_be_moved_and_left_out() -> None:
    """People sort columns as they like, also the first, and delete those that they never use."""
    plan = Plan.model_validate({"plan": 1, "car": "41", "driver": "ines", "session": "practice-1", "runs": [
        {"run": "a", "want": "must", "laps": "out, 2 timed, in", "items": [{"do": "radio_check", "on": "out"}]}]})
    tables = tables_of(plan) | {
        "runs": [["laps", "want", "run"], ["out, 2 timed, in", "must", "a"], ["", None, "  "]],
        "items": [["on", "do", "run"], ["out", "radio_check", "a"]],
    }
    read = read_tables(Filed(tables))
    assert read.findings == []
    assert Plan.model_validate(read.data) == plan


@pytest.mark.parametrize("content", [b"", b"PK\x03\x04 no more", b"run;want\n", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"])
def test_a_file_that_is_no_spreadsheet_is_refused(tmp_path: Path, content: bytes) -> None:
    """An empty file, half a file, CSV by the wrong name, the older format by that name."""
    (tmp_path / "plan.xlsx").write_bytes(content)
    with pytest.raises(UserError, match=r"plan\.xlsx: "):
        read_any(tmp_path / "plan.xlsx")
    with pytest.raises(UserError, match="no such file"):
        read_any(tmp_path / "none.xlsx")


def test_damaged_files_are_refused_or_read_and_nothing_else(sheet: Path, folder: Path) -> None:
    """Bytes of a spreadsheet, of the XML within it and of CSV files overwritten at random: never an error of ours."""
    whole, parts = sheet.read_bytes(), {path: path.read_bytes() for path in folder.iterdir()}
    with zipfile.ZipFile(sheet) as book:
        inner = {name: book.read(name) for name in book.namelist()}
    refused = 0
    for seed in range(24):
        rng = np.random.default_rng(seed)
        target = sheet if seed % 3 else folder
        if seed % 3 == 0:
            for path, content in parts.items():
                path.write_bytes(_mangled(content, rng))
        elif seed % 3 == 1:
            sheet.write_bytes(_mangled(whole, rng))
        else:
            chosen = str(rng.choice(sorted(inner)))
            with zipfile.ZipFile(sheet, "w") as book:
                for name, content in inner.items():
                    book.writestr(name, _mangled(content, rng) if name == chosen else content)
        try:
            read_any(target)
        except UserError:
            refused += 1
    assert refused >= 8


def _mangled(content: bytes, rng: np.random.Generator) -> bytes:
    found = bytearray(content)
    for _ in range(int(rng.integers(1, 8))):
        found[int(rng.integers(len(found)))] = int(rng.integers(256))
    return bytes(found)


# -- CSV as it comes ---------------------------------------------------------------------------------------------------


def _again(folder: Path, **how: Any) -> None:
    """The files as another program would save them."""
    encoding = how.pop("encoding", "utf-8")
    comma = how.pop("decimal_comma", False)
    for path in folder.glob("*.csv"):
        with path.open(encoding="utf-8", newline="") as file:
            rows = list(csv.reader(file))
        if comma:
            rows = [[one.replace(".", ",") if one.replace(".", "").isdigit() else one for one in row] for row in rows]
        with path.open("w", encoding=encoding, newline="") as file:
            csv.writer(file, **how).writerows(rows)


@pytest.mark.parametrize("how", [
    {"encoding": "utf-8-sig"}, {"delimiter": ";"}, {"delimiter": "\t"}, {"quoting": csv.QUOTE_ALL},
    {"lineterminator": "\n"}, {"delimiter": ";", "decimal_comma": True, "encoding": "utf-8-sig"},
])
def test_csv_that_a_spreadsheet_saved_is_read(tmp_path: Path, how: dict[str, Any]) -> None:
    """A byte order mark, semicolons, tabs, quotes around all, other line ends, decimal commas after semicolons."""
    plan = _setup().plans["41"]
    runs_ = (plan.runs[0].model_copy(update={"fuel_kg": 20.5, "purpose": "a; b, c\tä"}), *plan.runs[1:])
    plan = plan.model_copy(update={"runs": runs_})
    write_any(tmp_path / "plan", plan)
    _again(tmp_path / "plan", **how)
    assert read_any(tmp_path / "plan") == plan


@pytest.mark.parametrize(("number", "words"), [("1,234", "cannot be read as thousands"), ("1.234", "thousands")])
def test_a_number_that_may_be_thousands_is_refused(folder: Path, number: str, words: str) -> None:
    """After semicolons 1,234 and 1.234 may be a little more than one, or a thousand."""
    _again(folder, delimiter=";")
    path = folder / "runs.csv"
    path.write_text(path.read_text(encoding="utf-8").replace(";12.0;", f";{number};"), encoding="utf-8")
    text = _problem(folder)
    assert "runs H2: found " in text
    assert words in text


def test_csv_that_cannot_be_read_is_refused_with_file_and_line(folder: Path) -> None:
    """Latin-1, quotes that are not closed, no files at all."""
    good = (folder / "runs.csv").read_bytes()
    (folder / "runs.csv").write_bytes(good.replace(b"installation lap", b"Aufw\xe4rmen"))
    with pytest.raises(UserError, match=r"runs\.csv:2: is not UTF-8: save it as 'CSV UTF-8'"):
        read_any(folder)
    (folder / "runs.csv").write_bytes(good + b'"open,1\r\n')
    with pytest.raises(UserError, match=r"runs\.csv:\d+: cannot be read as CSV"):
        read_any(folder)
    (folder / "runs.csv").unlink()
    assert "no sheet 'runs'" in _problem(folder)


# -- formulas stay text ------------------------------------------------------------------------------------------------

HOSTILE = ["=1+1", "+49", "-x", "@cmd", "\t=1", "\r=1", "\n=1", "\uff1d1", '=HYPERLINK("x")', "=cmd|'/c calc'!A0",
           "'=1", "'quoted"]  # fmt: skip


@pytest.mark.parametrize("text", HOSTILE)
def test_what_looks_like_a_formula_stays_text(tmp_path: Path, text: str) -> None:
    """In the spreadsheet the cell holds a text, marked as quoted; in CSV an apostrophe stands before it; and it comes
    back as it was. (The signs: OWASP, "CSV Injection".)"""
    plan = Plan.model_validate({"plan": 1, "car": "41", "driver": "ines", "session": "practice-1", "runs": [
        {"run": "a", "want": "must", "laps": "out-in", "purpose": text, "tyres": text}]})
    write_any(tmp_path / "hostile.xlsx", plan)
    cell = load_workbook(tmp_path / "hostile.xlsx")["runs"]["B2"]
    assert (cell.data_type, bool(cell.quotePrefix)) == ("s", not text.startswith("'"))
    write_any(tmp_path / "hostile", plan)
    with (tmp_path / "hostile" / "runs.csv").open(encoding="utf-8", newline="") as file:
        assert list(csv.reader(file))[1][1] == f"'{text}"
    assert read_any(tmp_path / "hostile.xlsx") == read_any(tmp_path / "hostile") == plan


def test_an_apostrophe_that_a_person_writes_stays(folder: Path) -> None:
    """Only one that keeps a formula a text is taken off."""
    path = folder / "runs.csv"
    path.write_text(path.read_text(encoding="utf-8").replace('"installation lap, systems check"', "'tis the first"),
                    encoding="utf-8")
    assert read_any(folder).runs[0].purpose == "'tis the first"


# -- the template ------------------------------------------------------------------------------------------------------


def test_the_template_says_how_to_fill_it_in(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The first sheet names every column; lists and limits are those of the model; filled in, it is a plan."""
    path = tmp_path / "new.xlsx"
    assert main(["plan", "template", str(path)]) == 0
    assert "pitwall plan convert" in capsys.readouterr().out
    book = load_workbook(path)
    assert book.sheetnames == ["how to", "plan", "runs", "items", "tyres"]
    explained = {(row[0], row[1]) for row in book["how to"].iter_rows(values_only=True)}
    assert {(name, column.name) for name, columns in TABLES.items() for column in columns} <= explained
    assert {("plan", column.name) for column in PLAN} <= explained
    assert "an empty cell" in _problem(path)
    filled = {"B3": "41", "B4": "ines", "B5": "practice-1"}
    for cell, value in filled.items():
        book["plan"][cell] = value
    for column, value in zip("ACE", ("first", "must", "out, 2 timed, in"), strict=True):
        book["runs"][f"{column}2"] = value
    book.save(path)
    assert read_any(path).runs[0].timed_laps == 2


def test_lists_and_limits_are_those_of_the_model(sheet_of_demo: Path) -> None:
    """A drop-down offers what the model takes; a limit in the sheet is the model's own."""
    book = load_workbook(sheet_of_demo)
    rules = {(name, str(rule.sqref).split(":")[0]): rule for name in TABLES for rule in
             book[name].data_validations.dataValidation}
    assert rules["runs", "C2"].formula1 == '"must,should,could"'
    assert (rules["runs", "H2"].formula1, rules["runs", "H2"].formula2) == ("0", "500")
    for model, name in ((Run, "runs"), (Item, "items"), (TyreSet, "tyres")):
        schema = model.model_json_schema()["properties"]
        for column in TABLES[name]:
            if len(column.path) == 1 and column.path[0] in schema:
                _agrees(column, schema[str(column.path[0])])


def test_names_are_offered_where_one_is_wanted(tmp_path: Path) -> None:
    """Runs, sets and, with an event, procedures and drivers; another may be written all the same."""
    assert main(["plan", "template", str(tmp_path / "new.xlsx"), "--event", str(demo_event())]) == 0
    book = load_workbook(tmp_path / "new.xlsx")
    rules = {(name, str(rule.sqref).split(":")[0]): rule for name in (*TABLES, "plan") for rule in
             book[name].data_validations.dataValidation}
    assert rules["items", "A2"].formula1 == "runs!$A$2:$A$200"
    assert rules["runs", "G2"].formula1 == "tyres!$A$2:$A$200"
    known = [str(cell.value) for (cell,) in book["lists"]["A2:A99"] if cell.value is not None]
    assert known == sorted(_setup().procedures)
    assert rules["items", "B2"].formula1 == f"lists!$A$2:$A${len(known) + 1}"
    assert rules["items", "B2"].errorStyle == "warning"
    assert ("plan", "B4") in rules
    assert [cell.data_type for row in book["lists"].iter_rows() for cell in row if cell.data_type == "f"] == []


def _agrees(column: Column, schema: dict[str, Any]) -> None:
    kinds = [schema, *schema.get("anyOf", ())]
    bounds = next((kind for kind in kinds if "minimum" in kind), {})
    assert column.least == bounds.get("minimum"), column.name
    if column.name != "fewest timed":  # no run has more than 400 laps
        assert column.most == bounds.get("maximum"), column.name
    offered = next((kind["enum"] for kind in kinds if "enum" in kind), None)
    if offered is not None:
        assert list(column.choices) == offered, column.name


def test_columns_are_named_as_spreadsheets_do() -> None:
    """A, Z, AA."""
    assert [column_letters(number) for number in (1, 26, 27, 52, 703)] == ["A", "Z", "AA", "AZ", "AAA"]
