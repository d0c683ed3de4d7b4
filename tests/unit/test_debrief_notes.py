"""What is noted of a session beside the engine: when a call was spoken, and which moment of the day a second was."""

from __future__ import annotations

from typing import Any

import pytest

from pitwall.app.debriefing import debrief
from pitwall.debrief.contents import document_of
from pitwall.debrief.notes import Notes
from pitwall.debrief.tables import tables
from pitwall.model import events as ev
from pitwall.model.outputs import Answered
from tests.unit.engine_stage import MAIN, plan, setup
from tests.unit.kept_stage import Kept

WALL = 1_900_000_000.0


def noted(*stamps: tuple[float, float]) -> Notes:
    """Notes of facts with these readings of the session's and the machine's clock."""
    notes = Notes()
    for number, (t, wall_s) in enumerate(stamps):
        event = ev.TimeReached(id=f"wake-{number}", t=t)
        notes.take(ev.Stamped(seq=number, received_t=t, wall_s=WALL + wall_s, event=event), ())
    return notes


@pytest.mark.parametrize("rate", [1.0, 6.0, 20.0])
def test_the_time_of_day_never_runs_backwards(rate: float) -> None:
    """A rehearsal at speed puts six seconds of a session into one of the day: between two facts as well as beyond
    them."""
    notes = noted(*((t, t / rate) for t in (-60.0, -10.0, 5.0, 37.0, 41.0, 200.0)))
    seconds = [notes.wall_at(t) for t in range(-100, 260)]
    for at, wall_s in enumerate(seconds):
        assert wall_s == pytest.approx(WALL + (at - 100) / rate, abs=1e-3)


def test_a_clock_that_was_put_forward_between_two_facts_is_followed() -> None:
    """Before it and behind it a second is a second; what lies between stays in its order."""
    notes = noted((0.0, 0.0), (100.0, 100.0), (110.0, 3710.0), (200.0, 3800.0), (5000.0, 8600.0))
    found = [notes.wall_at(float(t)) for t in range(0, 5200, 5)]
    assert found == sorted(found, key=lambda one: one or 0.0)
    assert (notes.wall_at(50.0), notes.wall_at(150.0)) == (WALL + 50.0, WALL + 3750.0)


def test_without_stamps_nobody_knows_and_with_one_a_second_is_a_second() -> None:
    """A journal written as text may have none."""
    assert Notes().wall_at(10.0) is None
    assert noted((0.0, 0.0)).wall_at(10.0) == WALL + 10.0


def test_a_key_that_was_a_slip_leaves_no_moment_at_which_the_call_was_said() -> None:
    """Taken back at once: it was not said, and the debrief says none of when."""
    made = Kept(setup(plan(MAIN | {"items": [{"do": "hold", "on": "out", "after": "bridge"}]}))).green()
    made.leave(200)
    call = made.call("hold")
    made.wait(call.spec.say_by_s - 2.0)
    made.command("said", call=call.id)
    assert isinstance(made.command("undo", t=made.now + 1.0, call=call.id), Answered)
    made.home(made.leave(200).lap(200, 125, from_exit=True))
    made.status(3600, "closed")
    rows = {row.call: row for row in debrief(made.facts, "x").cars[0].calls}
    assert rows[call.id].state == "withdrawn"
    assert rows[call.id].said_s is None
    assert rows[call.id].counted_as != "in_time"


@pytest.mark.parametrize("named", [True, False])
def test_a_slip_behind_a_repeat_leaves_the_moment_at_which_the_call_was_said_before(named: bool) -> None:
    """Said, asked for once more, and then the key was a slip, with the call named or not: the first time it was said
    all the same."""
    made = Kept(setup(plan(MAIN | {"items": [{"do": "hold", "on": "out", "after": "bridge"}]}))).green()
    made.leave(200)
    call = made.call("hold")
    made.wait(call.spec.say_by_s - 8.0)
    said_s = made.now
    made.command("said", call=call.id)
    made.wait(made.now + 3.0)
    made.command("repeat", call=call.id)
    made.wait(made.now + 1.0)
    made.command("said", **({"call": call.id} if named else {}))
    assert isinstance(made.command("undo", t=made.now + 1.0, call=call.id), Answered)
    # The engine holds on to it as well: the item was told, and the call is due once more.
    assert (call.state, call.said_t) == ("due", said_s)
    assert made.car.progress.runs[0].items[0].state == "called"
    made.home(made.leave(200).lap(200, 125, from_exit=True))
    row = next(one for one in debrief(made.close().facts, "x").cars[0].calls if one.call == call.id)
    assert row.said_s == pytest.approx(said_s)


@pytest.mark.parametrize("entered", [
    {"command": "status", "status": "yellow"}, {"command": "clock", "remaining_s": 3000},
    {"command": "pit_exit", "pit_exit": "closed"},
])
def test_what_was_entered_of_the_session_and_taken_back_is_told_with_it(entered: dict[str, Any]) -> None:
    """Beside the line that has it: nobody reads of a yellow that it held when it did not."""
    made = Kept(setup()).green()
    made.wait(100)
    made.command(**entered)
    made.wait(103)
    assert isinstance(made.command("undo"), Answered)
    made.wait(200)
    made.status(3600, "closed")
    found = debrief(made.facts, "x")
    assert [one.t for one in found.changes][:2] == [100.0, 103.0]
    assert found.changes[1].what.startswith("taken back: ")
    assert [one.what for one in found.cars[0].changes] == [found.changes[1].what]


def test_what_was_entered_and_corrected_of_the_whole_session_is_told() -> None:
    """A flag that the desk saw first, a clock that it gave, and the feed that knew better: with who and why, on the
    page and in the table, and under no car."""
    made = Kept(setup()).green()
    made.wait(100)
    made.command("status", status="yellow", text="seen at turn 4")
    made.wait(130)
    made.command("clock", remaining_s=3000)
    made.wait(131)
    made.clock(131, 3469)
    made.wait(200)
    made.status(3600, "closed")
    found = debrief(made.facts, "x")
    told = [(one.t, one.by, one.why) for one in found.changes]
    assert told[0] == (100.0, "desk", "seen at turn 4")
    assert [by for _, by, _ in told] == ["desk", "desk", "", ""], "the feed's clock, and its closing flag"
    assert [one.t for one in found.changes] == sorted(one.t for one in found.changes)
    assert not found.cars[0].changes
    page = str([section for section in document_of(found).sections if section.heading == "The session"])
    assert all(one.what in page for one in found.changes)
    rows = next(table for table in tables(found) if table.name == "changes").rows
    assert [row[0] for row in rows] == [None] * 4
