"""What came of a run, for the person at the terminal: ready when its car is in the pits."""

from __future__ import annotations

import io
from typing import Any

from rich.console import Console

from pitwall.cli.terminal.board import Board
from pitwall.cli.terminal.lines import LineLog
from pitwall.cli.terminal.paint import paint
from pitwall.cli.terminal.run_told import MOST_LINES, run_lines, run_words
from pitwall.model.debrief_rows import RunDebrief
from pitwall.model.outputs import DeskState

RUN: dict[str, Any] = {
    "run": "holds", "purpose": "", "want": "should", "state": "done", "planned_laps": "out, 2 timed, in",
    "laps": "out, 2 timed, in", "timed_wanted": 2, "timed_done": 2, "best_lap_s": 90.403, "clean_laps": 1,
    "items_done": 1, "items_probably": 0, "items": 2, "counts": True, "musts_left": 1,
}
ITEMS: list[dict[str, Any]] = [
    {"item": "a", "do": "constant_speed_hold", "run": "holds", "lap": "out-lap", "want": "must", "outcome": "done"},
    {"item": "b", "do": "flap_compare", "run": "holds", "lap": "timed lap 2", "want": "must", "outcome": "not_done",
     "reason": "flap stood at closed, open was wanted"},
]
WINDOW: dict[str, Any] = {
    "item": "a", "do": "constant_speed_hold", "run": "holds", "lap_number": 2, "lap": "out-lap", "what": "hold",
    "from_s": {"value": 774.04, "low": 774.0, "high": 774.1}, "to_s": {"value": 780.6, "low": 778.3, "high": 782.9},
    "from_m": {"value": 1795.9, "low": 1790, "high": 1800}, "to_m": {"value": 2158.9, "low": 2150, "high": 2160},
    "lap_evidence": "crossings", "from_evidence": "positions", "to_evidence": "positions",
    "place_evidence": "positions", "evidence": "positions", "evidence_text": "66 positions", "outcome": "done",
}
LOST = "  not done: flap compare on timed lap 2: flap stood at closed, open was wanted"


def told(**more: Any) -> RunDebrief:
    """A run that is over, as the daemon tells it."""
    values = {"id": "debrief-41", "t": 1420.0, "car": "41", "run": RUN, "items": ITEMS, "data_windows": [WINDOW],
              "calls": 17, "calls_in_time": 15}
    return RunDebrief.model_validate(values | more)


def desk(state: str) -> DeskState:
    """The car's state."""
    return DeskState.model_validate({
        "id": "desk-1", "t": 1420.0, "car": "41", "state": state, "run": None, "lap_number": 7, "lap_kind": None,
        "prompts": (), "switches": (), "arrivals": (), "flag_margin_s": None, "last_lap_s": None, "best_lap_s": None,
    })


def drawn(board: Board) -> str:
    """The picture at 80 by 24."""
    out = io.StringIO()
    Console(file=out, width=80, height=24, color_system=None).print(paint(board, 1425.0, "41", 0, (80, 24), 0.0))
    return out.getvalue()


def test_it_says_what_came_of_the_run_what_is_lost_and_where_the_data_are() -> None:
    """A moment that is known to the tenth has it; laps of no run of the plan have nothing to tell."""
    assert run_words(told()) == (
        "run holds done in part: 2 of 2 timed, best 90.403 s, 1 of 2 items; 15 of 17 calls in time", LOST,
        "  data: constant speed hold, out-lap, 12:54.0 to 13:00, 1796 to 2159 m (positions)")
    assert run_words(told(run=None)) == ()
    assert run_words(told(run=RUN | {"unsaid": ["tyres", "balance"]}))[2] == "  to ask the driver: tyres, balance"


def lap(number: int, seconds: float, **more: Any) -> dict[str, Any]:
    """A timed lap of the run."""
    return {"car": "41", "number": number, "run": "holds", "kind": "timed", "start_s": 90.0 * number,
            "end_s": 90.0 * number + seconds, "lap_time_s": seconds, "clean": "clean", **more}


def test_timed_laps_that_began_with_a_switch_out_of_place_are_told_with_the_run() -> None:
    """How many, beside how many were driven; which and what stood where; beside the best lap and data of such a lap."""
    off = "engine stands at 4, this timed lap needs 2"
    laps = [lap(2, 90.403, switches_wrong=[off]), lap(3, 90.6, switches_wrong=[off]),
            lap(4, 90.9, switches_unverified=["flap was never confirmed"]), lap(5, 90.8)]
    head, wrong, unsure, _, data = run_words(told(laps=laps))
    assert head.startswith("run holds done in part: 2 of 2 timed, 2 with switch wrong, 1 with switch unverified, "
                           "best 90.403 s (switch wrong), ")
    assert (wrong, unsure) == (f"  switch wrong: laps 2, 3 ({off})",
                               "  switch unverified: lap 4 (flap was never confirmed)")
    assert data.endswith("(positions, switch wrong)")
    assert run_words(told(laps=[lap(5, 90.8)])) == run_words(told())


def test_the_lines_tell_it_once_and_again_only_what_is_other_since() -> None:
    """A comment that is noted later changes nothing of it; an item that is confirmed later does."""
    log = LineLog()
    assert all(line.endswith(words) for line, words in zip(log.lines(told()), run_words(told()), strict=True))
    assert log.lines(told(id="debrief-41-2", t=1500.0)) == ()
    done = [ITEMS[0], ITEMS[1] | {"outcome": "done", "reason": "confirmed, ann"}]
    (line,) = log.lines(told(items=done, run=RUN | {"items_done": 2, "musts_left": 0}))
    assert line.endswith("run holds done: 2 of 2 timed, best 90.403 s, 2 of 2 items; 15 of 17 calls in time")


def test_the_picture_shows_it_while_the_car_stands_in_the_pits() -> None:
    """Where nothing is to be said; gone as the car leaves again. It stays within its lines."""
    board = Board()
    board.take(desk("garage"))
    assert "run holds" not in drawn(board)
    board.take(told())
    text = drawn(board)
    assert "run holds done in part: 2 of 2 timed" in text
    assert "not done: flap compare on timed lap 2" in text
    assert len(text.splitlines()) <= 24
    board.take(desk("out"))
    assert "run holds" not in drawn(board)
    many = run_lines(told(items=[ITEMS[1] | {"item": str(n)} for n in range(9)]), 80)
    assert len(many) == MOST_LINES
    assert many[-1] == "  and 8 more lines: pitwall debrief has them all"
