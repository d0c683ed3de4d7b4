"""A debrief from a journal: what it holds, and what it says of journals that are cut, empty or no journals."""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from functools import cache
from pathlib import Path

import pytest

from pitwall.app.debrief_watch import NotedSession
from pitwall.app.debriefing import KEPT_AS, MADE_BY, debrief, debrief_of, gone_over, keep_debrief, made_of
from pitwall.app.next_plan import next_plan
from pitwall.cli.main import main
from pitwall.debrief.model import Debrief
from pitwall.engine.session import Session
from pitwall.errors import JournalError
from pitwall.journal.kept import keep, kept
from pitwall.journal.replay import decisions, read_lines, replay, write_lines
from pitwall.journal.sqlite import SqliteJournal
from pitwall.model.events import Stamped, TimeReached

GOLDEN = Path(__file__).resolve().parents[1] / "replay" / "golden"
EVERYTHING = GOLDEN / "everything.jsonl"


@cache
def everything() -> Debrief:
    """The debrief of the journal with a bit of all."""
    return debrief_of(EVERYTHING)


def test_somebody_who_takes_notes_changes_no_output() -> None:
    """The engine with notes beside it gives the outputs that it gives alone, one for one."""
    events = read_lines(EVERYTHING)
    assert replay(events, NotedSession)[1] == replay(events, Session)[1]


def test_a_debrief_holds_runs_items_and_laps() -> None:
    """Each run of the plan is there with its laps and items; every lap lies inside the session."""
    made = everything()
    assert made.session.facts == len(read_lines(EVERYTHING))
    assert made.cars
    for car in made.cars:
        assert car.runs
        assert {item.run for item in car.items} <= {run.run for run in car.runs}
        for lap in car.laps:
            assert made.session.began_s <= lap.start_s < lap.end_s <= made.session.ended_s
        for run in car.runs:
            assert run.items == sum(item.run == run.run for item in car.items)


def test_a_debrief_survives_json() -> None:
    """What is written as JSON reads back to the same debrief."""
    assert Debrief.model_validate_json(everything().model_dump_json()) == everything()


def test_a_journal_may_be_cut_anywhere() -> None:
    """After any number of facts there is a debrief; what was not its turn yet is to come, and the cut is told."""
    events = read_lines(EVERYTHING)
    for count in (1, 2, 5, len(events) // 4, len(events) // 2):
        made = debrief(events[:count], "cut")
        assert made.session.facts == count
        assert "The journal ends before the session was closed." in made.notes
    first = debrief(events[:1], "cut")
    assert {item.outcome for car in first.cars for item in car.items} <= {"to_come"}
    assert all(not car.laps and car.notes for car in first.cars)


def test_a_text_that_was_cut_is_debriefed_to_its_cut(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The machine lost power: page and table come from the whole lines, the cut is told there and on standard error;
    the next plan asks for a decision about it."""
    path = tmp_path / "day.jsonl"
    path.write_bytes(EVERYTHING.read_bytes()[:-40])
    made, events = debrief_of(path), read_lines(EVERYTHING)
    assert made.session.facts == len(events) - 1
    assert made.notes[0].startswith(f"The journal is cut: line {len(events)} ends after ")
    assert made.cars == debrief(events[:-1], "day.jsonl").cars
    assert main(["debrief", str(path)]) == 0
    told = capsys.readouterr()
    assert f"note        {made.notes[0]}" in told.out
    assert "The journal is cut" in told.err
    assert next_plan(path, made.cars[0].car).decide[0] == made.notes[0]


def test_what_nobody_looks_at_changes_nothing() -> None:
    """A debrief leaves out desk, field and clock as they would be shown: every other output and every figure stays."""
    events = read_lines(EVERYTHING)
    shown = NotedSession()
    told = [output for one in decisions(events, shown) for output in one.outputs]
    unseen = NotedSession()
    unseen.session.notices.shown = False
    left = [output for one in decisions(events, unseen) for output in one.outputs]
    assert left == [output for output in told if output.type not in ("desk_state", "field_state", "clock_state")]
    assert len(left) < len(told)
    assert made_of(shown, "everything.jsonl") == everything()
    assert made_of(gone_over(events), "everything.jsonl") == everything()


def test_what_is_no_journal_is_told_with_its_name_and_a_remedy(tmp_path: Path) -> None:
    """A folder, a file that is not there, an empty one and one without a session: each names the file and a remedy."""
    empty, missing = tmp_path / "empty.jsonl", tmp_path / "none.sqlite"
    empty.write_bytes(b"")
    headless = tmp_path / "headless.jsonl"
    headless.write_bytes(b"not a journal\n")
    for path, remedy in ((tmp_path, "name a journal"), (missing, "check the name"), (empty, "Name the journal"),
                         (headless, "name the journal of a session")):
        with pytest.raises(JournalError) as caught:
            debrief_of(path)
        assert str(path) in str(caught.value)
        assert remedy in str(caught.value)


def test_the_command_prints_words_or_json(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """In words each car has its line; with --json the whole debrief is one object."""
    journal = tmp_path / "day.jsonl"
    write_lines(journal, read_lines(EVERYTHING))
    assert main(["debrief", str(journal)]) == 0
    words = capsys.readouterr().out
    assert all(f"car {car.car}:" in words for car in everything().cars)
    assert main(["debrief", str(journal), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["session"]["journal"] == "day.jsonl"
    assert main(["debrief", str(tmp_path / "none.sqlite")]) == 2
    assert "none.sqlite" in capsys.readouterr().err


def test_a_journal_of_an_earlier_program_has_a_debrief() -> None:
    """A journal from before windows, several drivers and comments with remarks is gone over without a failing fact."""
    made = debrief_of(EVERYTHING.parents[1] / "earlier" / "quiet_run_before_test_days.jsonl")
    assert made.session.failed_facts == 0
    assert [len(car.laps) > 0 for car in made.cars] == [True]
    assert made.session.windows == ()


async def test_a_journal_of_a_newer_program_or_a_damaged_one_is_told_with_the_remedy(tmp_path: Path) -> None:
    """The message names the file and says what to do; nothing is guessed."""
    path = await kept_journal(tmp_path)
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.execute("UPDATE fact SET body = CAST(? AS BLOB) WHERE seq = 3", ('{"v":1,"seq":3}',))
    with pytest.raises(JournalError, match=r"practice-1\.sqlite, event 3: .*move it away"):
        debrief_of(path, anew=True)
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.execute("PRAGMA user_version = 99")
    with pytest.raises(JournalError, match=r"practice-1\.sqlite: written in format 99 .*Use the newer pitwall"):
        debrief_of(path, anew=True)


async def kept_journal(folder: Path) -> Path:
    """The journal with a bit of all, closed by a daemon that kept its debrief."""
    events, path, noted = read_lines(EVERYTHING), folder / "practice-1.sqlite", NotedSession()
    journal = await SqliteJournal.open(path)
    await journal.append(events)
    await journal.close()
    for _ in decisions(events, noted):
        pass
    keep_debrief(noted, path)
    return path


async def test_what_the_daemon_kept_is_what_the_facts_say(tmp_path: Path) -> None:
    """The debrief that was kept as the daemon ended is, to the last figure, the one that all facts give anew."""
    path = await kept_journal(tmp_path)
    assert kept(path, KEPT_AS, MADE_BY) is not None
    assert debrief_of(path) == debrief_of(path, anew=True)
    assert debrief_of(path).cars == everything().cars
    renamed = path.rename(tmp_path / "other.sqlite")
    assert debrief_of(renamed).session.journal == "other.sqlite"


async def test_what_was_kept_counts_for_its_facts_and_its_program_only(tmp_path: Path) -> None:
    """With one fact more, by another version, or damaged, what was kept is left aside and the facts are gone over."""
    path = await kept_journal(tmp_path)
    assert kept(path, KEPT_AS, "pitwall 0.0.0") is None
    assert keep(path, KEPT_AS, 3, MADE_BY, b"{}") is False
    assert keep(path, KEPT_AS, everything().session.facts, MADE_BY, b'{"debrief": 1}') is True
    assert debrief_of(path) == debrief_of(path, anew=True)
    await kept_journal(tmp_path / "more")
    journal = await SqliteJournal.open(tmp_path / "more" / "practice-1.sqlite")
    last = read_lines(EVERYTHING)[-1]
    await journal.append([Stamped(seq=journal.stored, received_t=last.received_t + 1.0,
                                  event=TimeReached(id="one-more", t=last.received_t + 1.0))])
    await journal.close()
    assert kept(tmp_path / "more" / "practice-1.sqlite", KEPT_AS, MADE_BY) is None
    assert debrief_of(tmp_path / "more" / "practice-1.sqlite").session.facts == everything().session.facts + 1


def test_time_of_day_is_that_of_the_daemons_machine_else_of_the_schedule() -> None:
    """Stamps of the machine carry the time of day to the millisecond, however late the fact came; a rehearsal's is as
    scheduled; without either there is none."""
    events = read_lines(EVERYTHING)
    assert {lap.start_time for car in debrief(events, "none").cars for lap in car.laps} == {None}
    stamped = [one.model_copy(update={"wall_s": 1.9e9 + one.received_t}) for one in events]
    for car in debrief(stamped, "wall").cars:
        for lap in car.laps:
            assert lap.start_time is not None
            assert lap.start_time.timestamp() == pytest.approx(1.9e9 + lap.start_s, abs=2e-3)
        for window in car.data_windows:
            assert window.to_time is not None
            assert window.to_time.timestamp() == pytest.approx(1.9e9 + window.to_s.value, abs=2e-3)


@pytest.mark.parametrize(("speed", "told"), [(9.0, True), (1.0, False), (1.02, False)])
def test_a_session_that_ran_faster_than_life_is_told_to_be_a_rehearsal(speed: float, told: bool) -> None:
    """By the times of day of its facts; they are no times of day of the session, and that is said."""
    events = [one.model_copy(update={"wall_s": 1.9e9 + one.received_t / speed}) for one in read_lines(EVERYTHING)[:60]]
    notes = [one for one in debrief(events, "j").notes if one.startswith("A rehearsal")]
    assert notes == (["A rehearsal: the session ran 9 times as fast as the machine's clock. Times of day are that "
                      "clock's: what lies 10 s apart there took 90 s."] if told else [])
