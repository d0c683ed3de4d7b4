"""Tables of a debrief: the same in CSV, JSON and Parquet, with columns that do not hang on the values."""

from __future__ import annotations

import csv
import io
import json
import sys
from collections import Counter
from pathlib import Path
from types import SimpleNamespace
from typing import cast

import pyarrow.parquet
import pytest

from pitwall.app.debrief_tables import as_csv, as_json, as_parquet, write_tables
from pitwall.app.debriefing import debrief, debrief_of
from pitwall.cli.main import main
from pitwall.debrief.notes import CallNotes
from pitwall.debrief.radio import _begun_s, _counted_as
from pitwall.debrief.tables import Column, Table, tables
from pitwall.errors import UserError
from pitwall.journal.replay import read_lines
from tests.unit import debrief_stage as stage

EVERYTHING = Path(__file__).resolve().parents[1] / "replay" / "golden" / "everything.jsonl"
MADE = tables(debrief_of(EVERYTHING))


@pytest.mark.parametrize("table", MADE, ids=lambda one: one.name)
def test_three_formats_hold_the_same(table: Table) -> None:
    """Each row reads back from each format to the values of the table, read with libraries of others."""
    wanted = list(table.records())
    assert json.loads(as_json(table)) == wanted
    assert pyarrow.parquet.read_table(io.BytesIO(as_parquet(table))).to_pylist() == wanted
    rows = list(csv.DictReader(io.StringIO(as_csv(table).decode(), newline="")))
    assert len(rows) == len(wanted)
    for row, record in zip(rows, wanted, strict=True):
        for column in table.columns:
            told, value = row[column.name], record[column.name]
            if value is None:
                assert told == ""
            elif column.kind in ("number", "whole"):
                assert float(told) == value
            elif column.kind == "yes_no":
                assert told == ("true" if value else "false")
            else:
                assert told.removeprefix("'") == str(value).removeprefix("'")


def test_columns_do_not_hang_on_the_values() -> None:
    """A session in which nothing happened has every table with the same columns, and no rows of laps."""
    bare = tables(debrief(read_lines(EVERYTHING)[:1], "bare"))
    assert [(table.name, table.columns) for table in bare] == [(table.name, table.columns) for table in MADE]
    assert next(table for table in bare if table.name == "laps").rows == ()
    names = [column.name for table in MADE for column in table.columns]
    assert all(names)
    for table in MADE:
        assert len({column.name for column in table.columns}) == len(table.columns)


def test_a_row_says_what_the_page_says_of_its_run_or_lap() -> None:
    """Whoever reads no other column does not take a run that was broken off for done, nor a lap with a wrong switch for
    one that is clean in every way."""
    run, lap = stage.run("coast", "must", "done"), stage.laps("coast", 1, 2)[1]
    runs = [run, run.model_copy(update={"counts": False}), run.model_copy(update={"musts_left": 1})]
    marked = {"switches_wrong": ("torque map 3, needed 1",), "clean": "clean"}
    made = stage.full()
    car = made.cars[0].model_copy(update={"runs": tuple(runs), "laps": (lap, lap.model_copy(update=marked))})
    found = {table.name: list(table.records()) for table in tables(made.model_copy(update={"cars": (car,)}))}
    assert [(row["state"], row["came_to"]) for row in found["runs"]] == [
        ("done", "done"), ("done", "broken off"), ("done", "done in part")]
    assert [(row["clean"], row["marked"]) for row in found["laps"]] == [("clean", ""), ("clean", "switch wrong")]


def test_text_that_looks_like_a_formula_stays_text() -> None:
    """In CSV such text gets an apostrophe; in JSON and Parquet it is as it was said."""
    table = Table("said", (Column("text", "text"), Column("t_s", "number")), (("=1+1", -2.0), ("-later", 1.0)))
    assert as_csv(table) == b"text,t_s\r\n'=1+1,-2.0\r\n'-later,1.0\r\n"
    assert [row["text"] for row in json.loads(as_json(table))] == ["=1+1", "-later"]
    assert pyarrow.parquet.read_table(io.BytesIO(as_parquet(table)))["text"].to_pylist() == ["=1+1", "-later"]


def test_what_cannot_be_written_is_told_with_the_remedy(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """An unknown format, a folder that is a file, and Parquet without its package name what to do."""
    made = debrief(read_lines(EVERYTHING)[:1], "bare")
    with pytest.raises(UserError, match="csv, json, parquet are known"):
        write_tables(made, tmp_path, ["xml"])
    blocked = tmp_path / "file"
    blocked.write_text("")
    with pytest.raises(UserError, match="give another folder"):
        write_tables(made, blocked, ["csv"])
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    with pytest.raises(UserError, match=r"nothing was written: .* pip install .*'\.\[parquet\]'"):
        write_tables(made, tmp_path / "new", ["csv", "parquet"])
    assert not (tmp_path / "new").exists()
    written = write_tables(made, tmp_path / "new", ["csv"])
    assert sorted(path.name for path in written) == sorted(path.name for path in (tmp_path / "new").iterdir())


def test_what_cannot_be_written_is_told_before_anything_is(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The command asks for the package before it writes pages; formats without a folder for the tables are refused."""
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    pages, rows = tmp_path / "pages", tmp_path / "rows"
    asked = ["debrief", str(EVERYTHING), "--out", str(pages), "--formats", "csv,json,parquet"]
    assert main([*asked, "--tables", str(rows)]) == 2
    assert "pip install" in capsys.readouterr().err
    assert not pages.exists()
    assert not rows.exists()
    assert main(asked) == 2
    assert "--tables FOLDER" in capsys.readouterr().err


def test_the_figures_of_the_calls_can_be_counted_in_their_table() -> None:
    """Whoever opens calls.csv finds how each call is counted and by which moments: the figures follow from its rows."""
    made = debrief_of(EVERYTHING)
    (calls,) = (one for one in tables(made) if one.name == "calls")
    rows = list(csv.DictReader(io.StringIO(as_csv(calls).decode(), newline="")))
    for car in made.cars:
        own = [row for row in rows if row["car"] == car.car]
        counted = Counter(row["counted_as"] for row in own)
        for figure, many in counted.items():
            assert getattr(car.radio, figure) == many, figure
        assert sum(counted.values()) == car.radio.calls
        assert car.radio.in_time == sum(counted[one] for one in ("in_window", "beside_window", "shown"))
        for row in own:
            if row["counted_as"] in ("in_window", "beside_window"):
                begun, begin, end = (float(row[one]) for one in ("begun_s", "say_from_s", "say_by_s"))
                assert (row["counted_as"] == "in_window") == (begin - 1.0 <= begun <= end + 1.0)
                assert begun <= float(row["said_s"])


def test_what_the_radio_desk_heard_says_when_a_call_was_begun() -> None:
    """Its word that a call was said comes seconds after the talk: the beginning is that of the talk, not reckoned."""
    call = SimpleNamespace(said_s=112.0, worded=SimpleNamespace(spoken_s=2.0), doubted=False,
                           last=SimpleNamespace(state="said", say_from_s=104.0, say_by_s=107.0))
    assert _begun_s(cast(CallNotes, call), ()) == 110.0
    assert _begun_s(cast(CallNotes, call), ((90.0, 95.0), (106.5, 109.0))) == 106.5
    assert [_counted_as(cast(CallNotes, call), begun, ()) for begun in (106.5, 108.0, 108.1, 102.9, None)] == [
        "in_window", "in_window", "beside_window", "beside_window", "shown"]
