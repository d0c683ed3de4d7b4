"""Plans as spreadsheets and CSV files: nothing is lost on the way, and a mistake is told with sheet and cell."""

from __future__ import annotations

import csv
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pitwall.app.loading import load_setup
from pitwall.app.plan_sheets import column_letters, plan_differences, read_any, write_any, yaml_of
from pitwall.app.resources import demo_event
from pitwall.app.yaml_lines import parse_document
from pitwall.cli.main import main
from pitwall.errors import FileProblem, UserError
from pitwall.model.plan import Item, Plan, Run, TyreSet
from pitwall.sheets.columns import COVERED
from pitwall.sheets.tables import read_tables, tables_of
from pitwall.sheets.xlsx import read_xlsx
from tests.unit.test_run_line import LABEL, NAME, SLUG, VALUES, runs

KINDS = ["out", "timed", "cool", "in", "installation"]


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
        "minimum_laps": st.dictionaries(NAME, st.integers(0, 50), max_size=2),
        "quiet": st.dictionaries(st.sampled_from(KINDS), st.one_of(
            st.just("all"), st.lists(st.sampled_from(["session", "safety", "box", "pace"]), max_size=3, unique=True)
        )),
    }  # fmt: skip
    values = draw(st.fixed_dictionaries(
        {"plan": st.just(1), "car": SLUG, "driver": NAME, "session": SLUG}, optional=optional))
    named = draw(st.lists(runs(), min_size=1, max_size=2, unique_by=lambda run: run.run))
    return Plan.model_validate(values | {"runs": named})


def _same(one: Plan, other: Plan) -> bool:
    # -0.0 == 0.0 and 3 == 3.0 in Python: equal models may differ in kind only where nobody can tell.
    return one == other


@given(plans())
@settings(max_examples=500, deadline=None)
def test_a_plan_comes_back_from_csv_files_as_it_was(tmp_path_factory: pytest.TempPathFactory, plan: Plan) -> None:
    """Whatever a plan holds stands in the cells of its tables, also texts with line ends, quotes and signs of formulas;
    and nothing else does."""
    read = read_tables(tables_of(plan))
    assert read.findings == []
    assert _same(Plan.model_validate(read.data), plan)
    folder = tmp_path_factory.mktemp("csv") / "plan"
    write_any(folder, plan)
    assert _same(read_any(folder), plan)


def _without_controls(value: Any) -> Any:
    # XML has no control characters and reads a carriage return as a new line; spreadsheets write '_x000D_' for one.
    if isinstance(value, dict):
        return {_without_controls(key): _without_controls(one) for key, one in value.items()}
    if isinstance(value, list):
        return [_without_controls(one) for one in value]
    if isinstance(value, str):
        return "".join(char if char.isprintable() else "~" for char in value).replace("_x", "~~")
    return value


@given(plans())
@settings(max_examples=60, deadline=None)
def test_a_plan_comes_back_from_a_spreadsheet_as_it_was(tmp_path_factory: pytest.TempPathFactory, plan: Plan) -> None:
    """Every text of letters, signs and blanks. (Through the same tables as CSV; a file takes 20 times as long.)"""
    path = tmp_path_factory.mktemp("xlsx") / "plan.xlsx"
    plan = Plan.model_validate(_without_controls(plan.model_dump(mode="json", by_alias=True)))
    write_any(path, plan)
    assert _same(read_any(path), plan)


@given(plans())
@settings(max_examples=100, deadline=None)
def test_a_plan_comes_back_from_yaml_as_it_was(plan: Plan) -> None:
    """What a spreadsheet is turned into is a plan file that reads to the same plan."""
    assert _same(Plan.model_validate(parse_document(yaml_of(plan), "plan.yaml").data), plan)


def test_every_field_has_a_column() -> None:
    """A field that is added to a plan, a run, an item or a tyre set must not be lost in a spreadsheet."""
    for model in (Plan, Run, Item, TyreSet):
        assert {info.alias or name for name, info in model.model_fields.items()} == COVERED[model]


def test_the_shipped_plans_go_there_and_back(tmp_path: Path) -> None:
    """Plans and alternates of the demo event, through all three forms in turn."""
    setup = load_setup(demo_event())
    found = [*setup.plans.values(), *(plan for kinds in setup.alternates.values() for plan in kinds.values())]
    for number, plan in enumerate(found):
        names = [tmp_path / f"{number}.xlsx", tmp_path / f"folder{number}", tmp_path / f"{number}.yaml"]
        for name in names:
            write_any(name, plan)
            plan = read_any(name)
        assert plan == found[number]


def _demo(tmp_path: Path) -> tuple[Path, Plan]:
    plan = load_setup(demo_event()).plans["41"]
    path = tmp_path / "plan.xlsx"
    write_any(path, plan)
    return path, plan


@pytest.mark.parametrize(("sheet", "cell", "value", "words"), [
    ("runs", "C3", "maybe", ("runs C3", "'maybe'", "must, should, could")),
    ("runs", "H4", "twenty", ("runs H4", "'twenty'", "a number")),
    ("runs", "E2", "out, 3 timde, in", ("runs E2", "3 timde")),
    ("runs", "A3", "checks", ("runs A3", "named twice")),
    ("runs", "R3", "torque_map", ("runs R3", "torque_map=3")),
    ("items", "A3", "nowhere", ("items A3", "run 'nowhere'", "checks")),
    ("items", "C2", "timed one", ("items C2", "'timed one'")),
    ("items", "B2", "Radio Check", ("items B2", "snake_case")),
    ("tyres", "C2", -1, ("tyres C2", "0 or more")),
    ("plan", "B3", "Car 41!", ("plan B3", "lower-case letters")),
    ("plan", "A4", "drivr", ("plan A4", "'drivr'")),
    ("runs", "F1", "fewest", ("runs F1", "a column 'fewest'")),
])  # fmt: skip
def test_a_mistake_is_told_with_sheet_and_cell(
    tmp_path: Path, sheet: str, cell: str, value: object, words: tuple[str, ...]
) -> None:
    """What was found and what was expected, at the cell that a person clicks on."""
    from openpyxl import load_workbook

    path, _ = _demo(tmp_path)
    book = load_workbook(path)
    book[sheet][cell] = value
    book.save(path)
    with pytest.raises(FileProblem) as problem:
        read_any(path)
    text = str(problem.value)
    assert all(word in text for word in words), text
    assert "plan.xlsx: " in text


def test_a_formula_is_not_taken_for_its_value(tmp_path: Path) -> None:
    """Somebody computed a fuel load in the sheet: pitwall does not calculate, and says where."""
    from openpyxl import load_workbook

    path, _ = _demo(tmp_path)
    book = load_workbook(path)
    book["runs"]["H2"] = "=20+2"
    book.save(path)
    with pytest.raises(UserError, match=r"runs H2: found a formula"):
        read_xlsx(path)


@pytest.mark.parametrize("text", ["=1+1", "+49", "-x", "@cmd", "=HYPERLINK(\"x\")", "'quoted"])
def test_what_looks_like_a_formula_stays_text(tmp_path: Path, text: str) -> None:
    """In the spreadsheet the cell holds a text, marked as quoted; in CSV an apostrophe stands before it; and it comes
    back as it was."""
    from openpyxl import load_workbook

    _, plan = _demo(tmp_path)
    runs_ = (plan.runs[0].model_copy(update={"purpose": text}), *plan.runs[1:])
    hostile = plan.model_copy(update={"runs": runs_})
    write_any(tmp_path / "hostile.xlsx", hostile)
    cell = load_workbook(tmp_path / "hostile.xlsx")["runs"]["B2"]
    assert cell.data_type == "s"
    write_any(tmp_path / "hostile", hostile)
    with (tmp_path / "hostile" / "runs.csv").open(encoding="utf-8", newline="") as file:
        assert list(csv.reader(file))[1][1] == f"'{text}"
    assert read_any(tmp_path / "hostile.xlsx") == read_any(tmp_path / "hostile") == hostile


def test_columns_may_be_moved_and_left_out(tmp_path: Path) -> None:
    """People sort columns as they like, and delete those that they never use."""
    plan = Plan.model_validate({"plan": 1, "car": "41", "driver": "ines", "session": "practice-1", "runs": [
        {"run": "a", "want": "must", "laps": "out, 2 timed, in"}]})
    tables = tables_of(plan)
    tables["runs"] = [["laps", "want", "run"], ["out, 2 timed, in", "must", "a"], ["", None, "  "]]
    read = read_tables({"plan": tables["plan"], "runs": tables["runs"]})
    assert read.findings == []
    assert Plan.model_validate(read.data) == plan


def test_the_command_converts_and_tells_differences(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """There and back from the shell; what is there is not written over; a difference is told and gives 1."""
    source, sheet, back = tmp_path / "a.yaml", tmp_path / "a.xlsx", tmp_path / "b.yaml"
    plan = load_setup(demo_event()).plans["41"]
    source.write_text(yaml_of(plan), encoding="utf-8")
    assert main(["plan", "convert", str(source), str(sheet)]) == 0
    assert main(["plan", "convert", str(sheet), str(back)]) == 0
    assert main(["plan", "convert", str(sheet), str(back)]) == 2
    capsys.readouterr()
    assert main(["plan", "diff", str(source), str(back)]) == 0
    assert capsys.readouterr().out == "no difference\n"
    fewer = plan.model_copy(update={"runs": plan.runs[:-1]})
    back.write_text(yaml_of(fewer), encoding="utf-8")
    assert main(["plan", "diff", str(source), str(back)]) == 1
    assert f"run {plan.runs[-1].run} is dropped" in capsys.readouterr().out
    assert plan_differences(plan, plan) == ()


def test_columns_are_named_as_spreadsheets_do() -> None:
    """A, Z, AA."""
    assert [column_letters(number) for number in (1, 26, 27, 52, 703)] == ["A", "Z", "AA", "AZ", "AAA"]
