"""Journals as text: whole or not at all, never over another, sums that hold, and while the daemon writes."""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Sequence
from datetime import date
from pathlib import Path

import pytest

from pitwall.app import export as module
from pitwall.app.export import day_of, export, export_folder, export_name, journals_of
from pitwall.app.resources import demo_event
from pitwall.app.settings import Settings, journal_file
from pitwall.cli.main import main
from pitwall.errors import JournalError, UserError
from pitwall.journal.replay import read_lines
from pitwall.journal.sqlite import SqliteJournal, journal_lines
from pitwall.model.events import SessionPrepared, Stamped
from pitwall.testing import tiny_setup
from tests.replay.toy import crossing

WALL = 1.936e9


def facts(count: int, start: int = 0) -> list[Stamped]:
    """A session's first facts."""
    events = [SessionPrepared(id="prepared", t=0.0, setup=tiny_setup()), *(crossing(n, float(n)) for n in range(count))]
    return [Stamped(seq=n, received_t=float(n), wall_s=WALL + n, event=event)
            for n, event in enumerate(events)][start:count]


async def journal(path: Path, count: int = 5) -> Path:
    """A closed journal of so many facts."""
    opened = await SqliteJournal.open(path)
    await opened.append(facts(count))
    await opened.close()
    return path


async def test_lines_read_back_to_the_same_facts(tmp_path: Path) -> None:
    """One stamped fact a line, UTF-8; the manifest has counts, spans and a sum that holds."""
    source = await journal(tmp_path / "practice-1.sqlite", 7)
    done = export([source], tmp_path / "out", "day")
    assert (done.folder, done.already) == (tmp_path / "out" / "day", False)
    written = done.folder / "practice-1.jsonl"
    assert list(read_lines(written)) == facts(7)
    data = written.read_bytes()
    assert data.decode("utf-8").count("\n") == 7
    (entry,) = json.loads((done.folder / "manifest.json").read_text(encoding="utf-8"))["sessions"]
    assert entry["sha256"] == hashlib.sha256(data).hexdigest()
    assert (entry["facts"], entry["session"], entry["event"], entry["session_s"]) == (7, "practice-1", "Test event",
                                                                                      [0.0, 6.0])
    assert entry["wall"] == ["2031-05-08T09:46:40.000Z", "2031-05-08T09:46:46.000Z"]
    assert done.in_words() == f"1 journal with 7 facts written out in {done.folder}"


async def test_the_same_again_writes_nothing_and_another_gets_its_own_folder(tmp_path: Path) -> None:
    """What is there is never touched: the same content is found, other content is numbered."""
    source = await journal(tmp_path / "practice-1.sqlite", 3)
    first = export([source], tmp_path / "out", "day")
    before = (first.folder / "manifest.json").read_bytes()
    again = export([source], tmp_path / "out", "day")
    assert (again.folder, again.already) == (first.folder, True)
    more = await SqliteJournal.open(source)
    await more.append(facts(4, 3))
    await more.close()
    other = export([source], tmp_path / "out", "day")
    assert (other.folder.name, other.already) == ("day.2", False)
    assert (first.folder / "manifest.json").read_bytes() == before
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == ["day", "day.2"]


async def test_exports_while_the_daemon_writes(tmp_path: Path) -> None:
    """An open journal is read beside its writer, without its lock: what is committed is there, whole."""
    path = tmp_path / "practice-1.sqlite"
    opened = await SqliteJournal.open(path)
    await opened.append(facts(3))
    done = export([path], tmp_path / "out", "day")
    await opened.append(facts(4, 3))
    later = export([path], tmp_path / "out", "day")
    await opened.close()
    assert [len(read_lines(one.folder / "practice-1.jsonl")) for one in (done, later)] == [3, 4]


async def test_broken_off_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A disk that fills up half-way, or a damaged second journal: no folder of that name, no left-over."""
    good, bad = await journal(tmp_path / "a.sqlite"), tmp_path / "b.sqlite"
    bad.write_bytes(b"SQLite format 3\x00" + b"\xff" * 5000)
    with pytest.raises(JournalError, match="damaged"):
        export([good, bad], tmp_path / "out", "day")
    assert list((tmp_path / "out").iterdir()) == []

    def full(handle: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(module.os, "fsync", full)
    with pytest.raises(UserError, match="No space left on device"):
        export([good], tmp_path / "out", "day")
    assert list((tmp_path / "out").iterdir()) == []


async def test_left_over_of_a_killed_process_is_cleared(tmp_path: Path) -> None:
    """A half export of a process that was killed is not taken for one, and goes."""
    part = tmp_path / "out" / f".day.{os.getpid()}.part"
    part.mkdir(parents=True)
    (part / "old.jsonl").write_text("half", encoding="utf-8")
    done = export([await journal(tmp_path / "a.sqlite")], tmp_path / "out", "day")
    assert sorted(path.name for path in done.folder.iterdir()) == ["a.jsonl", "manifest.json"]
    assert not part.exists()


async def test_somebody_else_was_faster(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Between the look and the renaming another export took the name: it stays, ours gets the next."""
    source = await journal(tmp_path / "a.sqlite")
    real, done = Path.rename, list[str]()

    def rename(self: Path, target: Path) -> Path:
        if not done:
            done.append("once")
            target.mkdir()
            (target / "theirs").write_text("x", encoding="utf-8")
            raise FileExistsError(17, "File exists")
        return real(self, target)

    monkeypatch.setattr(Path, "rename", rename)
    assert export([source], tmp_path / "out", "day").folder.name == "day.2"
    assert (tmp_path / "out" / "day" / "theirs").exists()


async def test_gap_in_the_numbers_is_damage(tmp_path: Path) -> None:
    """A journal from which an event was taken out is told as damaged, not exported short."""
    import sqlite3

    path = await journal(tmp_path / "a.sqlite", 5)
    with sqlite3.connect(path) as connection:
        connection.execute("DELETE FROM fact WHERE seq = 2")
    connection.close()
    with pytest.raises(JournalError, match="event 2 is missing"):
        list(journal_lines(path))


async def test_names_of_files_are_legal_everywhere(tmp_path: Path) -> None:
    """Journals with odd or equal names become files that Windows takes too, each its own."""
    names = ["Practice 1: wet?.sqlite", "con.sqlite", "a/x.sqlite", "b/x.sqlite"]
    done = export([await journal(tmp_path / name) for name in names], tmp_path / "out", "day")
    files = [entry["file"] for entry in done.manifest["sessions"]]
    assert files == ["practice-1-wet.jsonl", "con-.jsonl", "x.jsonl", "x-3.jsonl"]


def test_nothing_to_export() -> None:
    """Without a journal there is no empty folder but a word."""
    with pytest.raises(UserError, match="no journal"):
        export([], Path("out"), "day")


async def test_folder_that_cannot_be_made(tmp_path: Path) -> None:
    """A file where the folder should be: one sentence with the remedy."""
    (tmp_path / "out").write_text("x", encoding="utf-8")
    with pytest.raises(UserError, match="give another folder"):
        export([await journal(tmp_path / "a.sqlite")], tmp_path / "out", "day")


async def test_journals_of_a_day_with_those_put_aside(tmp_path: Path) -> None:
    """The journals there are, in the order of sessions, each followed by those that a fresh start put aside."""
    settings = Settings(state_dir=tmp_path)
    base = journal_file(settings, "My Event", "p1")
    for name in ("p1.sqlite", "p1.1.sqlite", "p1.2.sqlite", "p1.10.sqlite", "p1.old.sqlite", "p2.sqlite"):
        await journal(base.with_name(name))
    found = journals_of(settings, "My Event", ["p2", "p1", "p3"])
    assert [path.name for path in found] == ["p2.sqlite", "p1.sqlite", "p1.1.sqlite", "p1.2.sqlite", "p1.10.sqlite"]
    assert export_folder(settings, "My Event") == tmp_path / "my-event" / "exports"
    assert export_name("My Event", date(2031, 5, 16)) == "my-event-2031-05-16"


async def test_end_of_day_writes_the_day_of_the_session(tmp_path: Path) -> None:
    """The served session's journal, wherever it is, and those of the same date; not of another date."""
    from pitwall.app.loading import load_setup

    settings, setup = Settings(state_dir=tmp_path), load_setup(demo_event())
    elsewhere = await journal(tmp_path / "elsewhere.sqlite")
    for session in ("practice-2", "practice-90"):
        await journal(journal_file(settings, setup.event, session))
    timetable, write_out = day_of(demo_event(), setup, elsewhere, settings)
    assert "export-2031-05-16" in {entry.name for entry in timetable}
    folder = tmp_path / "saltmarsh-park-spring-test" / "exports" / "saltmarsh-park-spring-test-2031-05-16"
    assert write_out() == f"2 journals with 10 facts written out in {folder}"
    assert sorted(path.name for path in folder.iterdir()) == ["elsewhere.jsonl", "manifest.json", "practice-2.jsonl"]


def command(arguments: Sequence[object], capsys: pytest.CaptureFixture[str]) -> tuple[int, str, str]:
    """Run the command line."""
    try:
        code = main([str(one) for one in arguments])
    except SystemExit as wrong:
        code = int(wrong.code or 0)
    streams = capsys.readouterr()
    return code, streams.out, streams.err


async def test_command_exports_one_journal(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`pitwall export JOURNAL --to FOLDER` says what it wrote and where; --json prints the manifest."""
    source = await journal(tmp_path / "my event" / "practice-1.sqlite", 4)
    code, out, _ = command(["export", source, "--to", tmp_path / "out"], capsys)
    assert code == 0
    assert "practice-1.jsonl  4 facts, 2031-05-08T09:46:40.000Z to 2031-05-08T09:46:43.000Z" in out
    code, out, _ = command(["export", source, "--to", tmp_path / "out", "--json"], capsys)
    record = json.loads(out)
    assert (code, record["already"], Path(record["folder"]).name) == (0, True, "my-event-practice-1")
    assert record["sessions"][0]["facts"] == 4


async def test_command_exports_an_event(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """`pitwall export EVENT` takes the journals of the state folder; --date those of one date."""
    monkeypatch.setenv("PITWALL_STATE_DIR", str(tmp_path))
    settings = Settings(state_dir=tmp_path)
    code, _, err = command(["export", demo_event()], capsys)
    assert code == 2
    assert "no journal of practice-1, practice-2, practice-90 in" in err
    for session in ("practice-1", "practice-90"):
        await journal(journal_file(settings, "Saltmarsh Park spring test", session))
    code, out, _ = command(["export", demo_event(), "--date", "2031-05-17", "--json"], capsys)
    assert (code, [entry["file"] for entry in json.loads(out)["sessions"]]) == (0, ["practice-90.jsonl"])
    code, out, _ = command(["export", demo_event(), "--json"], capsys)
    assert [entry["file"] for entry in json.loads(out)["sessions"]] == ["practice-1.jsonl", "practice-90.jsonl"]


async def test_command_refuses_what_it_cannot_mean(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A date beside a journal, a date that is none, a file that is neither: wrong usage, in words."""
    source = await journal(tmp_path / "practice-1.sqlite")
    assert command(["export", source, "--date", "2031-05-16"], capsys)[0] == 2
    code, _, err = command(["export", demo_event(), "--date", "16.5.2031"], capsys)
    assert (code, "expected one such as 2031-05-16" in err) == (2, True)
    assert command(["export", tmp_path / "nothing.yaml"], capsys)[0] == 2
    code, _, err = command(["export", tmp_path / "nothing.sqlite", "--to", tmp_path / "out"], capsys)
    assert (code, "no such journal" in err) == (2, True)


def test_command_day_in_the_zone_of_the_event_and_of_the_machine(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Times are those of the place; where the machine has others they stand beside them."""
    import time

    monkeypatch.setenv("TZ", "Asia/Tokyo")
    time.tzset()
    try:
        code, out, _ = command(["day", demo_event(), "--date", "2031-05-16"], capsys)
        record = json.loads(command(["day", demo_event(), "--json"], capsys)[1])
    finally:
        monkeypatch.undo()
        time.tzset()
    assert code == 0
    assert "  10:30  (17:30 on this machine)  practice-1 opens" in out
    assert "  20:00  (03:00 Saturday on this machine)  Curfew" in out
    assert record["time_zone"] == "Europe/Berlin"
    opens = next(entry for entry in record["days"]["2031-05-16"] if entry["name"] == "opens-practice-1")
    assert (opens["at"], opens["here"]) == ("2031-05-16T10:30:00+02:00", "2031-05-16T17:30:00+09:00")


def test_command_day_where_the_clocks_agree(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """On a machine that is set to the place's time nothing stands beside it; a date without sessions is told."""
    import time

    monkeypatch.setenv("TZ", "Europe/Paris")
    time.tzset()
    try:
        out = command(["day", demo_event()], capsys)[1]
    finally:
        monkeypatch.undo()
        time.tzset()
    assert "on this machine" not in out
    assert "Saturday 2031-05-17" in out
    code, _, err = command(["day", demo_event(), "--date", "2031-05-18"], capsys)
    assert (code, "there are some on 2031-05-16, 2031-05-17" in err) == (2, True)
