"""Reading a recording: what is in it, and what is said about one that is damaged."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from pitwall.errors import FileProblem
from pitwall.feeds.csv_lines import MOST_FINDINGS
from pitwall.feeds.recording import read_recording

ROOT = Path(__file__).parents[2]
SMALL = ROOT / "tests" / "data" / "recording_small"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A copy of the small recording that a test may damage."""
    return Path(shutil.copytree(SMALL, tmp_path / "rec"))


def edit(path: Path, line: int, old: str, new: str) -> None:
    """Replace within one line, counted from 1."""
    lines = path.read_text(encoding="utf-8").splitlines()
    assert old in lines[line - 1]
    lines[line - 1] = lines[line - 1].replace(old, new, 1)
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


def problem(folder: Path) -> str:
    """What reading it says."""
    with pytest.raises(FileProblem) as caught:
        read_recording(folder)
    return str(caught.value)


def test_small_recording_is_read() -> None:
    """Every row is there, and the session's zero is the green light."""
    recording = read_recording(SMALL)
    assert recording.cars == ("3", "7", "11", "15")
    assert recording.meta.scheduled_s == 1500
    assert len(recording.timing) == len((SMALL / "events.csv").read_text(encoding="utf-8").splitlines()) - 1
    started = next(row for row in recording.status if row.word == "started")
    assert started.t == pytest.approx(0.0, abs=1e-6)
    assert recording.weather[0].rain is False
    assert recording.finish_loop == 3


def test_messages_are_never_earlier_than_what_they_tell() -> None:
    """A message stamped before its own event (two clocks) is taken as said when it happened."""
    assert all(row.said_t >= row.t for row in read_recording(SMALL).timing)


def test_passages_are_read_on_demand() -> None:
    """The short stretches come as an iterator, with the pit lane marked."""
    passages = list(read_recording(SMALL).passages())
    assert len(passages) == len((SMALL / "passages.csv").read_text(encoding="utf-8").splitlines()) - 1
    assert any(passage.in_pit_lane for passage in passages)
    assert {passage.sector for passage in passages} == {1, 2, 3}


def test_recording_without_optional_files(folder: Path) -> None:
    """Weather and short stretches may be missing."""
    (folder / "weather.csv").unlink()
    (folder / "passages.csv").unlink()
    recording = read_recording(folder)
    assert recording.weather == ()
    assert list(recording.passages()) == []


def test_answer_key_is_never_opened(folder: Path) -> None:
    """A recording reads the same with the answer key damaged beyond reading: nobody looks into it."""
    before = read_recording(folder).timing
    (folder / "laps.csv").write_bytes(b"\xff\xfe\x00" * 99)
    assert read_recording(folder).timing == before
    (folder / "laps.csv").unlink()
    (folder / "laps.csv").mkdir()
    assert read_recording(folder).timing == before


def test_no_folder(tmp_path: Path) -> None:
    """A folder that is not there is said to be not there."""
    assert "no such folder" in problem(tmp_path / "nowhere")


@pytest.mark.parametrize("name", ["meta.json", "events.csv", "status.csv"])
def test_missing_file(folder: Path, name: str) -> None:
    """A file that must be there is named."""
    (folder / name).unlink()
    assert f"{name}: no such file" in problem(folder)


@pytest.mark.parametrize(
    ("file", "line", "old", "new", "wanted"),
    [
        ("events.csv", 2, "144.066,", "soon,", "line 2, column t_s: found 'soon', expected a number"),
        ("events.csv", 3, "pit_out", "in", "line 3, column kind: found 'in', expected loop, lap, pit_in or pit_out"),
        ("events.csv", 6, ",11,", ",car 11!,", "line 6, column car: found 'car 11!'"),
        ("events.csv", 6, "loop,1,", "loop,,", "line 6, column loop: found '', expected the number"),
        ("events.csv", 6, "loop,1,1", "loop,1,one", "line 6, column lap_no: found 'one', expected a whole number"),
        ("events.csv", 7, "178.607", "nan", "line 7, column t_s: found 'nan'"),
        ("events.csv", 7, "178.607", "", "line 7, column t_s: found '', expected a number"),
        ("events.csv", 1, "tyre_age", "age", "line 1: column tyre_age missing"),
        ("events.csv", 4, "152.113", "152.113,9,9", "line 4: more cells than columns"),
        ("status.csv", 4, "started", "", "line 4, column status: found ''"),
        ("weather.csv", 2, ",0", ",drizzle", "line 2, column rain: found 'drizzle', expected 0 or 1"),
        ("meta.json", 2, "1500.0", '"long"', "meta.json, scheduled_s: found 'long'"),
        ("meta.json", 2, "1500.0", "1500.0,,", "meta.json, line 2, column"),
    ],
)
def test_damage_is_named(folder: Path, file: str, line: int, old: str, new: str, wanted: str) -> None:
    """Damage is reported with its file, line, column, what was found and what was expected."""
    edit(folder / file, line, old, new)
    said = problem(folder)
    assert file in said
    assert wanted in said


def test_every_damage_at_once(folder: Path) -> None:
    """Several damages in several files are all reported in one go."""
    edit(folder / "events.csv", 2, "144.066", "x")
    edit(folder / "events.csv", 9, "loop", "loops")
    edit(folder / "status.csv", 4, "started", "")
    said = problem(folder)
    assert len(said.splitlines()) == 3


def test_findings_are_bounded(folder: Path) -> None:
    """A file that is wrong from top to bottom gives a bounded number of findings."""
    lines = (folder / "events.csv").read_text(encoding="utf-8").splitlines()
    bad = [lines[0], *("x" + line for line in lines[1:])]
    (folder / "events.csv").write_text("\n".join(bad), encoding="utf-8")
    said = problem(folder).splitlines()
    assert len(said) == MOST_FINDINGS + 1
    assert "mend these first" in said[-1]


def test_not_text(folder: Path) -> None:
    """A file that is not UTF-8 says so instead of raising something of Python's."""
    (folder / "status.csv").write_bytes(b"t_s,status,source,scope\n1,\xff\xfe,session,\n")
    assert "not UTF-8" in problem(folder)


def test_meta_of_the_wrong_shape(folder: Path) -> None:
    """A meta file that holds a list is refused with what was expected."""
    (folder / "meta.json").write_text(json.dumps([1, 2]), encoding="utf-8")
    assert "found a list, expected an object" in problem(folder)


def test_damaged_passages_are_named(folder: Path) -> None:
    """A damaged line of the short stretches is reported when it is reached."""
    edit(folder / "passages.csv", 3, ",1,", ",one,")
    with pytest.raises(FileProblem, match=r"passages\.csv, line 3, column"):
        list(read_recording(folder).passages())


def test_shipped_recording_is_what_its_script_makes(tmp_path: Path) -> None:
    """The recording in the tests is invented: the script makes the same files, byte for byte."""
    script = ROOT / "simulations" / "make_recording.py"
    subprocess.run([sys.executable, str(script), str(tmp_path / "again")], check=True, timeout=300)
    names = sorted(path.name for path in SMALL.iterdir())
    assert names == sorted(path.name for path in (tmp_path / "again").iterdir())
    for name in names:
        assert (tmp_path / "again" / name).read_bytes() == (SMALL / name).read_bytes(), name
