"""Names in a spreadsheet that the event does not know: told with sheet and cell, as ``pitwall check`` tells them."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from openpyxl import load_workbook

from pitwall.app.loading import load_setup
from pitwall.app.plan_sheets import read_for_event, write_any
from pitwall.app.resources import demo_event
from pitwall.cli.main import main
from pitwall.errors import FileProblem


@pytest.fixture(scope="module")
def sheet_of_demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo plan of car 41 as a spreadsheet; not to be changed."""
    path = tmp_path_factory.mktemp("demo") / "plan.xlsx"
    write_any(path, load_setup(demo_event()).plans["41"])
    return path


@pytest.fixture
def sheet(sheet_of_demo: Path, tmp_path: Path) -> Path:
    """The same, to be changed."""
    return Path(shutil.copy(sheet_of_demo, tmp_path / "plan.xlsx"))


@pytest.mark.parametrize(("page", "cell", "value", "words"), [
    ("items", "B3", "sytems_check", "unknown procedure 'sytems_check', expected a procedure of the library: "
                                    "did you mean 'systems_check'?"),
    ("items", "D4", "turn 44", "turn 44"),
    ("items", "F4", "gear=5; second=5", "second"),
    ("items", "F10", "switch=brake_bais; by=-2.0", "did you mean 'brake_bias'?"),
    ("items", "F5", "flap=ajar", "ajar"),
    ("runs", "G3", "S9", "unknown tyre set 'S9'"),
    ("runs", "I3", "otto", "otto"),
    ("runs", "R3", "torqe_map=4", "torqe_map"),
    ("plan", "B3", "99", "'99'"),
    ("plan", "B4", "otto", "otto"),
])  # fmt: skip
def test_a_name_that_the_event_does_not_know_is_told_with_its_cell(
    sheet: Path, page: str, cell: str, value: str, words: str
) -> None:
    """Nobody looks for a slip through a sheet of forty rows: file, sheet and cell, what is wrong, what there is."""
    book = load_workbook(sheet)
    book[page][cell] = value
    book.save(sheet)
    with pytest.raises(FileProblem) as problem:
        read_for_event(sheet, demo_event())
    assert f"plan.xlsx: {page} {cell}: " in str(problem.value)
    assert words in str(problem.value)


@pytest.mark.parametrize(("value", "also"), [
    ("torque_map=33; foo=2", None), ("torque_map=33; foo=2", "twenty"), ("torque_map=33; foo=2; bar", None),
])  # fmt: skip
def test_every_wrong_part_of_a_cell_is_told_whatever_else_is_wrong(sheet: Path, value: str, also: str | None) -> None:
    """A position that the switch does not have and a switch that there is not: both, in a sound file and in one that
    has another cell, or another part of this cell, that cannot be read."""
    book = load_workbook(sheet)
    book["runs"]["R3"] = value
    if also is not None:
        book["runs"]["H4"] = also
    book.save(sheet)
    with pytest.raises(FileProblem) as problem:
        read_for_event(sheet, demo_event())
    told = str(problem.value)
    for words in ("runs R3: found position 33 of 'torque_map'", "runs R3: found unknown switch 'foo'",
                  *(["runs H4: found 'twenty'"] if also else []),
                  *(["runs R3: found 'bar'"] if "bar" in value else [])):
        assert told.count(words) == 1, told


def test_a_folder_of_csv_and_yaml_are_told_alike(sheet_of_demo: Path, tmp_path: Path) -> None:
    """By the row and column of the file, or by the line of YAML."""
    plan = read_for_event(sheet_of_demo, demo_event())[0]
    slip = plan.model_copy(update={"driver": "otto"})
    for name, place in (("folder", "plan B4"), ("plan.yaml", "plan.yaml:3")):
        write_any(tmp_path / name, slip)
        with pytest.raises(FileProblem) as problem:
            read_for_event(tmp_path / name, demo_event())
        assert place in str(problem.value)


def test_only_this_plan_is_checked_not_the_others_of_the_event(sheet: Path, tmp_path: Path) -> None:
    """The event's own plan may not exist yet, or have the very error that this sheet mends; so may another car's."""
    home = Path(shutil.copytree(demo_event().parent, tmp_path / "config"))
    plans = {one: home / "plans" / f"plan_{one}.yaml" for one in ("41", "58")}
    plans["41"].unlink()
    plans["58"].write_text("plan: 1\nruns: none\n", encoding="utf-8")
    plan, _, _ = read_for_event(sheet, home / demo_event().name)
    assert plan == load_setup(demo_event()).plans["41"]


def test_the_command_checks_against_the_event(sheet: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A good plan is written, with its warnings as notes; one with a slip is not."""
    words = ["plan", "convert", str(sheet), str(sheet.with_suffix(".yaml")), "--event", "event.yaml"]
    assert main(words) == 0
    book = load_workbook(sheet)
    book["runs"]["G3"] = "S9"
    book.save(sheet)
    sheet.with_suffix(".yaml").unlink()
    capsys.readouterr()
    assert main(words) == 1
    assert "plan.xlsx: runs G3: found unknown tyre set 'S9'" in capsys.readouterr().err
    assert not sheet.with_suffix(".yaml").exists()


# -- all at once -------------------------------------------------------------------------------------------------------


def told_of(sheet: Path, **cells: object) -> list[str]:
    """What is told of the sheet with these cells (``runs_H2``), a line each."""
    book = load_workbook(sheet)
    for place, value in cells.items():
        page, _, cell = place.partition("_")
        book[page][cell] = value
    book.save(sheet)
    with pytest.raises(FileProblem) as problem:
        read_for_event(sheet, demo_event())
    return [line.partition(": found ")[0].removeprefix("plan.xlsx: ") for line in str(problem.value).splitlines()]


@pytest.mark.parametrize("faults", [
    {"runs_H2": "much", "runs_G3": "S9", "items_B3": "sytems_check"},  # no number; names
    {"runs_H2": -3, "runs_C4": "muss", "items_A4": "nowhere", "plan_B4": "otto"},  # out of its range; a word; a name
    {"runs_E4": "out, x timed", "items_D5": "turn 44"},  # laps that nobody can read; a name in another run
    {"runs_AB1": "remarks", "runs_H4": "x", "plan_B4": "otto", "tyres_C2": "new"},  # a heading; below it the rest
    {"runs_H2": "=1+2", "runs_R3": "torqe_map=4"},  # a formula; a name
])  # fmt: skip
def test_one_fault_hides_no_other(sheet: Path, faults: dict[str, object]) -> None:
    """Who mends a sheet wants all of it at once: what cannot be read, what is out of its range, and unknown names,
    each with its cell; and nothing is told of cells that are sound."""
    assert sorted(told_of(sheet, **faults)) == sorted(place.replace("_", " ") for place in faults)


def test_a_column_that_is_no_plan_s_is_told_once(sheet: Path) -> None:
    """And not once more for every cell below it."""
    assert told_of(sheet, runs_AB1="remarks", runs_AB2="why", runs_AB3="so") == ["runs AB1"]


@pytest.mark.parametrize(("kind", "cell", "words"), [
    ("runs", "18,0", "found '18,0', expected a number with a decimal point: write 18.0"),
    ("runs", "1,250", "found '1,250', expected a number: decimals have a point"),
    ("items", "gear=5; seconds=5,5", "found '5,5', expected a number with a decimal point, 5.5, or a text in quotes"),
])
def test_a_decimal_comma_says_what_to_write(sheet_of_demo: Path, tmp_path: Path, kind: str, cell: str,
                                            words: str) -> None:
    """Between commas a number with a comma stands in quotes; the remedy is the number as it must be."""
    write_any(tmp_path / "folder", read_for_event(sheet_of_demo, demo_event())[0])
    file = tmp_path / "folder" / f"{kind}.csv"
    was = ",12.0," if kind == "runs" else ",gear=5; seconds=5,"
    text = file.read_text(encoding="utf-8")
    assert was in text
    file.write_text(text.replace(was, f',"{cell}",', 1), encoding="utf-8")
    with pytest.raises(FileProblem) as problem:
        read_for_event(tmp_path / "folder", demo_event())
    assert words in str(problem.value)
