"""A changed plan in the live view and the plain lines: it waits in one line, is shown whole, two keys answer it."""

from __future__ import annotations

from io import StringIO
from typing import Any

from rich.console import Console

from pitwall.app.clients import Onlooker
from pitwall.bus.codec import message_for
from pitwall.bus.memory import MemoryBroker, MemoryBus
from pitwall.cli.terminal.board import Board
from pitwall.cli.terminal.desk import Desk
from pitwall.cli.terminal.lines import LineLog
from pitwall.cli.terminal.paint import paint
from pitwall.model.outputs import Health, Output, Proposal

LINES = tuple(f"run r{number}: 3 timed laps become 2" for number in range(1, 4))


def _proposal(**changes: Any) -> Proposal:
    values: dict[str, Any] = {
        "id": "41-plan-2", "t": 90.0, "car": "41", "active": True, "source": "plan_41.yaml", "lines": LINES,
        "warnings": ("the crew needs 180 s for tyres (B2)",), "plan_revision": 4,
    }  # fmt: skip
    return Proposal.model_validate(values | changes)


def _drawn(board: Board, looking: Proposal | None = None, size: tuple[int, int] = (80, 24)) -> list[str]:
    out = StringIO()
    console = Console(file=out, width=size[0], height=size[1], color_system=None)
    console.print(paint(board, 100.0, "41", 0, size, 0.0, looking=looking))
    return out.getvalue().rstrip("\n").split("\n")


def _desk() -> tuple[Board, Desk]:
    board = Board()
    board.take(_proposal())
    return board, Desk(board, "bryn", "mark", "41")


def test_a_changed_plan_waits_in_one_line() -> None:
    """Nobody is interrupted: one line says that it waits, what it begins with, and which key shows it."""
    board, _ = _desk()
    waiting = [line for line in _drawn(board) if "changed plan" in line]
    assert len(waiting) == 1
    assert "car 41 (plan_41.yaml), p shows it: run r1: 3 timed laps become 2" in waiting[0]


def test_the_key_shows_it_whole_and_what_does_not_fit_is_counted() -> None:
    """Every change and every warning is shown in 80 by 24; of forty the rest is counted, and nothing is pushed out."""
    board, desk = _desk()
    assert desk.press("p", 100.0) is None
    text = _drawn(board, desk.looking)
    assert all(any(line in shown for shown in text) for line in LINES)
    assert any("! the crew needs 180 s for tyres (B2)" in shown for shown in text)
    assert any("y adopts it, n declines it" in shown for shown in text)
    long = _proposal(lines=tuple(f"change {number}" for number in range(40)))
    board.take(long)
    text = _drawn(board, long)
    assert len(text) <= 24
    assert any("more lines" in shown for shown in text)


def test_y_adopts_what_was_seen_and_n_declines_it() -> None:
    """The command names the proposal that was on the screen, also when another came meanwhile."""
    for key, command in (("y", "adopt"), ("n", "decline")):
        board, desk = _desk()
        desk.press("p", 100.0)
        board.take(_proposal(id="41-plan-3"))
        given = desk.press(key, 101.0)
        assert given is not None
        assert (given.command, given.proposal, given.car, given.by) == (command, "41-plan-2", "41", "bryn")
        assert desk.looking is None


def test_any_other_key_closes_it_and_does_nothing_else() -> None:
    """Neither key adopts anything before the plan is shown; a key that closes it says nothing of a call."""
    _, desk = _desk()
    assert desk.press("y", 100.0) is None
    desk.press("p", 100.0)
    assert desk.press("s", 100.0) is None
    assert desk.looking is None
    assert desk.press("y", 100.0) is None


def test_without_a_changed_plan_the_key_says_so() -> None:
    """The reason stands in the hint."""
    board, desk = _desk()
    board.take(_proposal(active=False))
    desk.press("p", 100.0)
    assert desk.looking is None
    assert board.hint == "no changed plan waits for car 41"


def test_the_line_log_tells_each_proposal_once() -> None:
    """A proposal is retained and comes again on each connection: it is printed once, line by line."""
    log = LineLog()
    lines = log.lines(_proposal())
    assert [line[10:].strip() for line in lines] == [
        "car 41  changed plan, from plan_41.yaml (adopt or decline proposal=41-plan-2)", *LINES,
        "! the crew needs 180 s for tyres (B2)",
    ]  # fmt: skip
    assert log.lines(_proposal()) == ()
    assert log.lines(_proposal(active=False)) == ()
    assert len(log.lines(_proposal(id="41-plan-3"))) == 5


async def test_a_cleared_topic_takes_the_proposal_off_the_screen() -> None:
    """The daemon clears the retained topic when the proposal is answered: the onlooker hears that nothing waits."""
    broker, board = MemoryBroker(), Board()
    daemon, screen = MemoryBus(broker), MemoryBus(broker)

    def hear(output: Output | Health) -> None:
        board.take(output)

    Onlooker(screen, "p1", hear, lambda alert: None)
    await daemon.start()
    await screen.start()
    for proposal, waits in ((_proposal(), True), (_proposal(active=False), False)):
        message = message_for("p1", proposal)
        assert message is not None
        daemon.publish(message.topic, message.payload, retain=message.retain)
        assert bool(board.proposals) is waits
