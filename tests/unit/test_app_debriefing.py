"""A debrief from a journal: what it holds, and what it says of journals that are cut, empty or no journals."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path

import pytest

from pitwall.app.debrief_watch import NotedSession
from pitwall.app.debriefing import debrief, debrief_of
from pitwall.cli.main import main
from pitwall.debrief.model import Debrief
from pitwall.engine.session import Session
from pitwall.errors import JournalError
from pitwall.journal.replay import read_lines, replay, write_lines

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


def test_what_is_no_journal_is_told_with_its_name_and_a_remedy(tmp_path: Path) -> None:
    """A folder, a file that is not there, an empty one and one without a session: each names the file and a remedy."""
    empty, missing = tmp_path / "empty.jsonl", tmp_path / "none.sqlite"
    empty.write_bytes(b"")
    headless = tmp_path / "headless.jsonl"
    headless.write_bytes(b"not a journal\n")
    for path, remedy in ((tmp_path, "name a journal"), (missing, "check the name"), (empty, "Name the journal"),
                         (headless, "move it away")):
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
    assert main(["debrief", str(tmp_path / "none.sqlite")]) == 1
    assert "none.sqlite" in capsys.readouterr().err
