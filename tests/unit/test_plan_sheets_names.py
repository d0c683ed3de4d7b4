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
