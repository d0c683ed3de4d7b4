"""What came of a run, as a terminal tells it: as the car comes in, and again only where it says something else."""

from __future__ import annotations

from typing import Any

from pitwall.cli.terminal.board import Board
from pitwall.cli.terminal.lines import LineLog
from pitwall.model.debrief_rows import ItemRow, RunRow
from pitwall.model.outputs import RunDebrief
from tests.unit.debrief_stage import run

HELD = "held back: car 52 is about 1 s behind"


def came_in(**more: Any) -> RunDebrief:
    """Car 41 is back from ``holds``, with one of two items not done."""
    row = RunRow.model_validate(run("holds", "must", "done").model_dump() | {"musts_left": 1, "unsaid": ("tyres",)}
                                | more)
    items = [ItemRow.model_validate({"item": do, "do": do, "run": "holds", "lap": "in-lap", "want": "must",
                                     "outcome": outcome, "reason": why})
             for do, outcome, why in (("constant_speed_hold", "not_done", HELD), ("radio_check", "done", ""))]
    return RunDebrief(id="debrief-41-7", t=1231.0, car="41", run=row, items=tuple(items))


def test_the_line_log_tells_it_once() -> None:
    """How the run ended, its laps and items, what was not done and why, and what is still to be asked."""
    log = LineLog()
    assert log.lines(came_in()) == (
        "   20:31  car 41  run holds done in part, 3 of 3 timed, 1 of 2 items",
        f"   20:31          not done: constant speed hold, in-lap ({HELD})",
        "   20:31          to ask the driver: tyres",
    )
    assert log.lines(came_in()) == ()
    assert log.lines(came_in(unsaid=()))[-1].endswith(f"in-lap ({HELD})")


def test_the_view_has_it_as_one_note() -> None:
    """Retained messages come again on every connection: the same words are no news."""
    board = Board()
    for told in (came_in(), came_in()):
        board.take(told)
    assert board.notes == ["car 41: run holds done in part, 3 of 3 timed, 1 of 2 items; not done: constant speed "
                           f"hold, in-lap ({HELD}); to ask the driver: tyres"]


def test_a_car_that_was_on_no_run_of_the_plan_is_told_too() -> None:
    """It has laps and no run."""
    told = came_in().model_copy(update={"run": None, "items": ()})
    assert LineLog().lines(told) == ("   20:31  car 41  came in from no run of the plan, 0 laps",)
