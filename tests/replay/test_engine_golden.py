"""The golden journals: the engine decides on them as it did, to the last word."""

from __future__ import annotations

import difflib
from collections.abc import Sequence

import pytest

from pitwall.engine.session import Session
from pitwall.engine.transitions import CALL_REST
from pitwall.journal.codec import encode
from pitwall.journal.replay import decisions, read_lines
from pitwall.model.events import Stamped
from pitwall.model.outputs import ClockState, DeskState, FieldState, Prompt
from tests.replay.golden_journals import GOLDEN, RECORD, journal_of, main, told

REMEDY = (
    "If the change is meant: python -m tests.replay.golden_journals, then read and commit the diff of golden/*.txt."
)


@pytest.mark.parametrize("name", sorted(RECORD))
def test_decisions_on_a_golden_journal_are_as_they_were(name: str) -> None:
    """Every prompt, alert, answer, lap and plan that is decided on a stored journal is what it was."""
    kept = (GOLDEN / f"{name}.txt").read_text(encoding="utf-8")
    now = told(journal_of(name))
    changes = difflib.unified_diff(kept.splitlines(), now.splitlines(), "as it was", "as it is", lineterm="", n=1)
    assert now == kept, "\n".join([*list(changes)[:60], REMEDY])


@pytest.mark.parametrize("name", sorted(RECORD))
def test_a_golden_journal_reads_back_to_its_own_bytes(name: str) -> None:
    """Stored journals of this format are read without loss: written again they are the same bytes."""
    stored = (GOLDEN / f"{name}.jsonl").read_bytes().splitlines()
    assert [encode(event) for event in journal_of(name)] == stored


def test_a_journal_of_before_a_setup_grew_is_still_decided() -> None:
    """Stored before sessions had windows and plans alternates, it is read with what was left out at its default: the
    engine fails on none of its events, and the same calls come as in the run recorded anew."""
    earlier = read_lines(GOLDEN.parent / "earlier" / "quiet_run_before_test_days.jsonl")
    assert [one.stamped.seq for one in decisions(earlier, Session()) if one.failed] == []
    assert _calls(earlier) == _calls(journal_of("quiet_run"))


def _calls(events: Sequence[Stamped]) -> set[str]:
    return {out.call for one in decisions(events, Session()) for out in one.outputs if isinstance(out, Prompt)}


@pytest.mark.parametrize("name", sorted(RECORD))
def test_the_engine_fails_on_no_event_of_a_golden_journal(name: str) -> None:
    """No event of a stored journal makes the engine raise, whatever it decides."""
    assert [one.stamped.seq for one in decisions(journal_of(name), Session()) if one.failed] == []


def test_that_nobody_looks_on_changes_no_decision() -> None:
    """Without the states of clock, field and desks everything else is decided as with them, wake-ups included."""
    events = journal_of("everything")
    unwatched = Session()
    unwatched.notices.shown = False
    seen, unseen = ([output for one in decisions(events, session) for output in one.outputs]
                    for session in (Session(), unwatched))
    shown = (ClockState, DeskState, FieldState)
    assert {type(output) for output in seen} > set(shown)
    assert [output for output in seen if not isinstance(output, shown)] == unseen


@pytest.mark.parametrize("name", sorted(RECORD))
def test_calls_are_found_by_what_they_ask_for(name: str) -> None:
    """Calls are kept by what they ask for as well: that is still so of every call after a session, in the same order,
    however often it was laid out anew."""
    session = Session()
    for _ in decisions(journal_of(name), session):
        pass
    for car in session.team.values():
        calls = [*car.book.calls.values()]
        assert calls
        for action in {call.spec.ask.action for call in calls}:
            assert [*car.book.asking(action)] == [call for call in calls if call.spec.ask.action == action]


def test_the_closed_session_leaves_no_call_open() -> None:
    """The journal that ends with a closed session ends with every call at rest."""
    last: dict[str, str] = {}
    for one in decisions(journal_of("red_flag"), Session()):
        last.update({output.call: output.state for output in one.outputs if isinstance(output, Prompt)})
    assert last
    assert set(last.values()) <= set(CALL_REST)


def test_no_call_of_the_quiet_run_is_missed() -> None:
    """The run without a key: nothing is missed, nothing is late; and nobody said that the switch was moved."""
    text = told(journal_of("quiet_run"))
    assert "  missed " not in text
    assert "  late " not in text
    alerts = [line for line in text.splitlines() if "alert" in line]
    assert all("switch-unverified-41-torque_map" in line for line in alerts)
    assert len(alerts) == 2, "up, and over"


def test_a_change_of_behaviour_shows(monkeypatch: pytest.MonkeyPatch) -> None:
    """A call that is shown a second earlier changes the digest and its own line: nothing hides in these files."""
    before = told(journal_of("quiet_run"))
    monkeypatch.setattr("pitwall.engine.rules.box.REMINDER_WINDOW_S", 9.0)
    after = told(journal_of("quiet_run"))
    assert before.splitlines()[1] != after.splitlines()[1]
    assert any("box" in line for line in difflib.ndiff(before.splitlines(), after.splitlines()) if line[0] in "+-")


def test_writing_anew_without_a_change_changes_nothing(capsys: pytest.CaptureFixture[str]) -> None:
    """The command that refreshes the files leaves those alone that are as the engine decides, and says so."""
    kept = {path: path.read_bytes() for path in sorted(GOLDEN.iterdir())}
    stale = [name for name in RECORD if told(journal_of(name)) != (GOLDEN / f"{name}.txt").read_text(encoding="utf-8")]
    assert stale == [], REMEDY
    assert main([]) == 0
    assert capsys.readouterr().out.splitlines() == [f"{name}: unchanged" for name in RECORD]
    assert {path: path.read_bytes() for path in sorted(GOLDEN.iterdir())} == kept
