"""The forecast's advice in the live view and the plain lines, and the ladder under a red flag."""

from __future__ import annotations

import asyncio
from io import StringIO
from typing import Any

from rich.console import Console

from pitwall.app.clients import Onlooker
from pitwall.bus.codec import message_for
from pitwall.bus.memory import MemoryBroker, MemoryBus
from pitwall.cli.terminal.advice import ladder_lines
from pitwall.cli.terminal.board import Board
from pitwall.cli.terminal.desk import Desk
from pitwall.cli.terminal.lines import LineLog
from pitwall.cli.terminal.paint import paint
from pitwall.model.outputs import (
    AdviceState,
    ClockState,
    ForecastState,
    Health,
    LadderState,
    Output,
    Proposal,
    Rung,
)


def _advised(place: int, *cars: str, **changes: Any) -> Proposal:
    values: dict[str, Any] = {
        "id": f"advice-3-{place}", "t": 90.0, "car": cars[0], "cars": cars, "active": True, "source": "forecast",
        "lines": (f"run r{place} is dropped",), "plan_revision": 4, "sentence": f"Dropping r{place} saves 9 min.",
        "costs": (f"r{place} (should) is not done",), "musts_chance": 0.92,
        "flips": f"worth a fifth more, r{place} would stay",
    }  # fmt: skip
    return Proposal.model_validate(values | changes)


def _state(*proposals: Proposal, **changes: Any) -> AdviceState:
    return AdviceState(id="advice-3", t=90.0, active=True, asked="musts in danger", musts_chance=0.34,
                       proposals=proposals, **changes)  # fmt: skip


LADDER = LadderState(
    id="ladder-1", t=605.0, active=True, red_s=600.0,
    rungs=tuple(
        Rung(restart_s=60.0 * minutes, at_s=600 + 60.0 * minutes, musts_chance=0.9 - minutes / 100,
             sentence=f"dropping {minutes} laps keeps both musts",
             lines=(f"baseline: {minutes} laps fewer",), work=f"Do now the floor work: it brings {minutes} %.")
        for minutes in (4, 8, 12)
    ),
)  # fmt: skip


def _drawn(board: Board, looking: Proposal | None = None, width: int = 110) -> list[str]:
    out = StringIO()
    console = Console(file=out, width=width, height=24, color_system=None)
    console.print(paint(board, 100.0, "41", 0, (width, 24), 0.0, looking=looking))
    return out.getvalue().rstrip("\n").split("\n")


def _board(*messages: Output) -> Board:
    board = Board()
    for message in messages:
        board.take(message)
    return board


def test_advice_waits_in_one_line() -> None:
    """Why it was asked for, the best of it, how many more there are, and the key."""
    lines = _drawn(_board(_state(_advised(1, "41"), _advised(2, "41", "58"))))
    (line,) = [line for line in lines if "advice" in line]
    assert "advice, car 41 (musts in danger), p shows it: Dropping r1 saves 9 min., and 1 more" in line
    (line,) = [line for line in _drawn(_board(_state(problem="no run is left."))) if "advice" in line]
    assert "advice (musts in danger): no run is left." in line


def test_one_key_goes_through_all_that_waits_and_the_others_answer_what_is_shown() -> None:
    """The file's plan first, then the advice for this car, best first; adopting names exactly that."""
    board = _board(_advised(1, "41", id="41-plan-1", source="plan_41.yaml", cars=()),
                   _state(_advised(1, "58"), _advised(2, "41", "58"), _advised(3, "41")))  # fmt: skip
    desk = Desk(board, "ann", "mark", "41")
    shown = []
    for _ in range(4):
        assert desk.press("p", 100.0) is None
        shown.append(desk.looking.id if desk.looking is not None else None)
    assert shown == ["41-plan-1", "advice-3-2", "advice-3-3", None]
    desk.press("p", 100.0)
    desk.press("p", 100.0)
    command = desk.press("y", 101.0)
    assert command is not None
    assert (command.command, command.proposal, command.car) == ("adopt", "advice-3-2", "41")


def test_a_proposal_of_the_forecast_is_shown_with_what_it_costs_and_when_it_flips() -> None:
    """Sentence and chance first, then costs and changes, then what speaks against it."""
    text = "\n".join(_drawn(_board(_state(_advised(1, "41"))), looking=_advised(1, "41")))
    for words in ("CHANGED PLAN of car 41, from forecast",
                  "Dropping r1 saves 9 min (the musts of all cars fit in 92% of futures)",
                  "costs: r1 (should) is not done", "run r1 is dropped", "! worth a fifth more, r1 would stay"):
        assert words in text


def test_a_key_asks_for_advice() -> None:
    """For the car that is shown; the daemon asks about all of them."""
    command = Desk(_board(_advised(1, "41")), "ann", "mark", "41").press("v", 5.0)
    assert command is not None
    assert (command.command, command.car) == ("advise", "41")


def test_the_ladder_is_three_lines_and_the_work_to_pull_forward() -> None:
    """Under red each restart has its line, by the session clock; the work that all of them want stands once, with the
    first; they go when the ladder is cleared."""
    board = _board(LADDER)
    lines = [line for line in _drawn(board) if "restart at" in line or "meanwhile" in line]
    assert [line[:24] for line in lines[:3]] == [
        "restart at 14:00: droppi", "restart at 18:00: droppi", "restart at 22:00: droppi",
    ]  # fmt: skip
    assert "(the musts of all cars fit in 86%)" in lines[0]
    work = "meanwhile, for a restart at 14:00: Do now the floor work: it brings 4 %."
    assert [line.strip() for line in lines[3:]] == [work]
    board.take(LADDER.model_copy(update={"active": False}))
    assert not [line for line in _drawn(board) if "restart" in line]


def test_a_restart_that_has_passed_takes_its_line_and_its_work_with_it() -> None:
    """Nine minutes after the flag the rung of eight is history; the work stands for the next one; a change that an
    earlier rung names already is not told again."""
    lines = ladder_lines(LADDER, 600.0 + 540.0)
    assert [line.partition(",")[0].partition(": ")[0] for line in lines] == ["restart at 22:00", "meanwhile"]
    assert lines[1] == "meanwhile, for a restart at 22:00: Do now the floor work: it brings 12 %."
    alike = LADDER.model_copy(update={"rungs": tuple(
        rung.model_copy(update={"lines": ("holds is dropped",), "work": None}) for rung in LADDER.rungs)})
    first, second, third = ladder_lines(alike, 605.0)
    assert "dropping 4 laps keeps both musts" in first
    assert [one.partition(": ")[2].partition(" (")[0] for one in (second, third)] == ["the same as at 14:00"] * 2


def test_no_chance_stands_after_the_end() -> None:
    """Once the session is closed, or the flag of a session without windows is out, what fits is no question any more;
    between the windows of a test day it is."""
    board = _board(_foreseen())
    assert any("fits:" in line for line in _drawn(board))
    for status, window, stands in (("finished", None, False), ("closed", None, False), ("finished", "morning", True)):
        board.take(ClockState(id="clock-9", t=90.0, status=status, remaining_s=0.0, running=False, pit_exit="open",
                              window=window, rate=1.0))
        assert any("fits:" in line for line in _drawn(board)) is stands


def test_the_smallest_terminal_holds_it_all() -> None:
    """80 by 24 with advice and ladder: nothing is pushed out below."""
    assert len(_drawn(_board(LADDER, _state(_advised(1, "41")), _foreseen()), width=80)) <= 24


def test_plain_lines_tell_advice_once_and_the_ladder() -> None:
    """The same proposals with other chances are no news; others are."""
    log = LineLog()
    first = log.lines(_state(_advised(1, "41")))
    assert any("(musts in danger) the musts of all cars fit in 34% of futures as planned" in line for line in first)
    assert any("changed plan, from forecast (adopt or decline proposal=advice-3-1)" in line for line in first)
    both = LineLog().lines(_state(_advised(1, "41").model_copy(update={"cars": ("41", "58")})))
    assert any("car 41, 58 changed plan, from forecast" in line for line in both)
    assert log.lines(_state(_advised(1, "41", musts_chance=0.9))) == ()
    assert log.lines(_state(_advised(2, "41")))
    assert log.lines(_state().model_copy(update={"active": False})) == ()
    assert [line.split("LADDER  ")[1][:18] for line in log.lines(LADDER)[:3]] == [
        "restart at 14:00: ", "restart at 18:00: ", "restart at 22:00: ",
    ]  # fmt: skip
    assert log.lines(LADDER.model_copy(update={"active": False})) == ()


def test_a_cleared_topic_ends_what_stood() -> None:
    """Whoever looks on hears that no advice stands and no ladder, as empty messages."""
    broker, heard = MemoryBroker(), list[Output | Health]()
    bus = MemoryBus(broker)
    Onlooker(bus, "p1", heard.append, lambda alert: None)
    async def told() -> None:
        await bus.start()
        for output in (_state(_advised(1, "41")), LADDER, _state().model_copy(update={"active": False}),
                       LADDER.model_copy(update={"active": False})):  # fmt: skip
            message = message_for("p1", output)
            assert message is not None
            bus.publish(message.topic, message.payload, qos=message.qos, retain=message.retain)

    asyncio.run(told())
    stood = [(one.type, one.active) for one in heard if isinstance(one, AdviceState | LadderState)]
    assert stood == [("advice_state", True), ("ladder_state", True), ("advice_state", False), ("ladder_state", False)]


def _foreseen(**changes: Any) -> ForecastState:
    runs = tuple(
        {"run": name, "want": "must", "chance": chance, "end_q10_s": 1, "end_q50_s": 2, "end_q90_s": 3}
        for name, chance in (("baseline", 0.99), ("compare", 0.74))
    )
    outlook = {"car": "41", "musts_chance": 0.73, "spare_q50_s": 9, "runs": runs, **changes}
    return ForecastState.model_validate({"id": "f", "t": 90, "car": "41", "plan_revision": 1, "outlook": outlook})


COMPARED = {"run": "compare", "against": "baseline", "resolves_s": 0.4, "text": "3 against 3 laps resolve 0.4 s"}


def test_what_fits_of_the_car_that_is_shown_stands_in_one_line() -> None:
    """Each run that is left, a limit that is likely, and what a comparison can resolve; or why nothing can be said."""
    limits = [{"kind": "fuel", "run": "long", "chance": chance, "laps": 2, "text": text}
              for chance, text in ((0.9, "long: fuel for 2 laps"), (0.1, "hardly"))]  # fmt: skip
    (line,) = [line for line in _drawn(_board(_foreseen(comparisons=[COMPARED], limits=limits))) if "fits:" in line]
    assert line.strip() == (
        "fits: baseline 99%, compare 74%; long: fuel for 2 laps; 3 against 3 laps resolve 0.4 s"
    )
    (line,) = [line for line in _drawn(_board(_foreseen(problem="the session is over"))) if "fits:" in line]
    assert line.strip() == "fits: the session is over"
    assert not [line for line in _drawn(_board(_foreseen(runs=[]))) if "fits:" in line]


def test_plain_lines_tell_what_a_comparison_resolves_when_it_changes() -> None:
    """Once, and again with other words."""
    log = LineLog()
    assert any("enough data?" in line for line in log.lines(_foreseen(comparisons=[COMPARED])))
    assert log.lines(_foreseen(comparisons=[COMPARED])) == ()
    other = COMPARED | {"text": "4 against 3 laps resolve 0.3 s"}
    assert [line.split("enough data?")[1].strip() for line in log.lines(_foreseen(comparisons=[other]))] == [
        "4 against 3 laps resolve 0.3 s"
    ]


def test_once_a_must_is_lost_the_chance_is_that_of_the_others() -> None:
    """"The musts of all cars fit in 100 %" in the minute in which one was lost would be wrong: advice, a changed plan
    and the ladder ask of the others only, whichever car has lost its own."""
    lost = _foreseen().model_copy(update={"musts_lost": ("baseline",)})
    words = "the other musts of all cars fit in"
    log, board = LineLog(), _board(LADDER, _state(_advised(1, "58")), lost)
    log.lines(lost)
    advice, ladder = log.lines(_state(_advised(1, "58"))), log.lines(LADDER)
    assert [line.count(words) for line in (*advice, *ladder) if "musts of all cars" in line] == [1] * 5
    assert any(f"({words} 86%)" in line for line in _drawn(board))
    assert any(words in line for line in _drawn(board, _advised(1, "58")))
    found = _foreseen()
    log.lines(found)
    assert not any(words in line for line in log.lines(_state(_advised(2, "58"))))
