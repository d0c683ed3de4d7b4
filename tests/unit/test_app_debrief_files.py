"""The debrief as files: page and paper of a real journal, in a folder that the command names."""

from __future__ import annotations

import multiprocessing
import os
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from pitwall.app import debrief_files
from pitwall.app.debrief_files import PAGE, PAPER, PageMakers
from pitwall.app.debriefing import debrief, debrief_of
from pitwall.cli.main import main
from pitwall.debrief.pages import page_of, paper_of
from pitwall.journal.replay import read_lines

EVERYTHING = Path(__file__).resolve().parents[1] / "replay" / "golden" / "everything.jsonl"


def test_the_command_writes_page_and_paper(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Both appear in a folder made for them, nothing else does; made in this process they are the same bytes."""
    folder = tmp_path / "a" / "debrief"
    assert main(["debrief", str(EVERYTHING), "--out", str(folder)]) == 0
    told = capsys.readouterr().err
    assert all(str(folder / name) in told for name in (PAGE, PAPER))
    first = {path.name: path.read_bytes() for path in folder.iterdir()}
    assert set(first) == {PAGE, PAPER}
    assert first[PAGE].startswith(b"<!DOCTYPE html>")
    assert first[PAPER].startswith(b"%PDF-")
    made = debrief_of(EVERYTHING)
    assert first == {PAGE: page_of(made).encode(), PAPER: paper_of(made)}


def test_a_folder_that_cannot_be_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Where a file stands in the way, the message names it and the remedy, and nothing is left behind."""
    taken = tmp_path / "taken"
    taken.write_text("mine")
    assert main(["debrief", str(EVERYTHING), "--out", str(taken)]) == 2
    assert f"{taken}: cannot be written" in capsys.readouterr().err
    assert [path.name for path in tmp_path.iterdir()] == ["taken"]
    assert taken.read_text() == "mine"


def test_what_only_pages_need_is_not_loaded_by_the_daemon() -> None:
    """Neither the parts of the daemon nor the document of a debrief load what draws and prints."""
    program = ("import sys, pitwall.app.lifecycle, pitwall.app.wiring, pitwall.app.serving, pitwall.cli.debrief, "
               "pitwall.app.debrief_files; "
               "print(sorted({'matplotlib', 'reportlab', 'pypdf', 'PIL'} & set(sys.modules)))")
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_ends_of_data_windows_have_their_time_of_day() -> None:
    """Where the journal's machine had a clock, each end is told by it too: as long after green as its session time."""
    events = [one.model_copy(update={"wall_s": 1_900_000_000.0 + one.received_t}) for one in read_lines(EVERYTHING)]
    made = debrief(events, "stamped")
    windows = [window for car in made.cars for window in car.data_windows]
    assert windows
    assert made.session.green_time is not None
    for window in windows:
        for moment, second in ((window.from_time, window.from_s), (window.to_time, window.to_s)):
            assert moment is not None
            assert (moment - made.session.green_time).total_seconds() == pytest.approx(second.value, abs=0.002)


def test_where_no_process_starts_the_pages_are_made_all_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    """A machine that refuses processes is no reason to be without a debrief."""
    made = debrief_of(EVERYTHING)
    with PageMakers() as makers:
        def refuses(*_: object) -> None:
            raise OSError("no more processes")

        monkeypatch.setattr(makers._pool, "submit", refuses)
        page, paper = makers.pages_of(made)
    assert page.startswith("<!DOCTYPE html>")
    assert paper.startswith(b"%PDF-")


def test_once_the_pages_are_made_nothing_of_their_makers_is_left() -> None:
    """No thread of the pool runs on: one that did raced the end of Python, which wakes it while it closes."""
    before = set(threading.enumerate())
    with PageMakers():
        assert set(threading.enumerate()) - before, "who looks after the pool"
    assert set(threading.enumerate()) - before == set()


@pytest.mark.parametrize("there", [True, False])
def test_who_makes_pages_stands_behind_who_reads_the_journal(monkeypatch: pytest.MonkeyPatch, there: bool) -> None:
    """Where the system has such a thing; where it has none the process lives as well."""
    told: list[object] = []
    monkeypatch.setattr(debrief_files, "live_by", told.append)
    if there:
        monkeypatch.setattr(os, "nice", told.append, raising=False)
    else:
        monkeypatch.delattr(os, "nice", raising=False)
    theirs, ours = multiprocessing.Pipe(duplex=False)
    debrief_files._behind(theirs)
    assert told == [*([10] if there else []), theirs]
    theirs.close()
    ours.close()
