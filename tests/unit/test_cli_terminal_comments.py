"""A comment typed in the terminal view: stamped by its key, read as shorthand or kept as words, and never a command."""

from __future__ import annotations

import io

import pytest
from rich.console import Console

from pitwall.cli.terminal.board import Board
from pitwall.cli.terminal.desk import Desk
from pitwall.cli.terminal.keys import split_keys
from pitwall.cli.terminal.pad import CommentLine
from pitwall.cli.terminal.paint import paint
from pitwall.model.comments import Comment, Remark
from pitwall.model.events import CommandGiven
from pitwall.model.outputs import DeskState, Health


def _desk() -> tuple[Board, Desk]:
    board = Board()
    board.take(DeskState(
        id="desk-1", t=100.0, car="41", state="timed", run="baseline", lap_number=7, lap_kind="timed", quiet=False,
        kept_in=False, prompts=(), switches=(), arrivals=(),
    ))  # fmt: skip
    return board, Desk(board, "me", "mark")


def _typed(desk: Desk, keys: str, from_s: float) -> list[CommandGiven]:
    given = [desk.press(key, from_s + at) for at, key in enumerate(split_keys(keys))]
    return [one for one in given if one is not None]


@pytest.mark.parametrize("words", ["t4 mid us 3", "t99 us", "he says it floats"])
def test_a_comment_is_of_the_moment_of_its_key(words: str) -> None:
    """The key n stamps; the daemon, which knows the circuit, reads the words or keeps them as they are. No letter
    of it is a command, q and n included, and afterwards keys are commands again."""
    _, desk = _desk()
    [command] = _typed(desk, f"n{words}\r", 200.0)
    assert (command.command, command.car, command.t) == ("comment", "41", 200.0)
    assert (command.shorthand, command.text) == (words, words)
    assert [one.command for one in _typed(desk, "k", 300.0)] == ["asked"]


@pytest.mark.parametrize("keys", ["nqueer in four\x1b", "n\r", "n  \r"])
def test_a_comment_that_is_dropped_or_empty_sends_nothing(keys: str) -> None:
    """Escape drops it; Enter on an empty line drops it as well."""
    _, desk = _desk()
    assert [one for one in (desk.press(key, 1.0) for key in split_keys(keys)) if one is not None] == []
    assert desk.writing is None


def test_a_turn_that_the_circuit_does_not_have_is_shown_as_words() -> None:
    """The daemon tells the circuit's turns with its health: the line foresees what the daemon will say. It is the same
    after the daemon has gone."""
    board, desk = _desk()
    health = Health(id="health-1", t=1.0, state="online", version="1", turns=tuple(range(1, 13)))
    board.take(health)
    board.take(health.model_copy(update={"id": "gone", "state": "offline", "turns": ()}))
    _typed(desk, "nt12 us 3", 200.0)
    assert desk.writing is not None
    assert desk.writing.lines()[1] == "  reads: turn 12: understeer, severity 3"
    for key in "\x7f" * 6 + "3 us":
        desk.press("backspace" if key == "\x7f" else key, 201.0)
    assert desk.writing.text == "t13 us"
    assert "as words" in desk.writing.lines()[1]


def test_a_slip_is_rubbed_out() -> None:
    """Backspace takes the last letter, and on an empty line nothing."""
    line = CommentLine("41", 1.0)
    for key in split_keys("\x7fus\x7f\x7fos"):
        line.press(key)
    assert line.text == "os"


def test_the_tabulator_puts_in_the_word_that_is_offered() -> None:
    """A begun word is completed, the short way of saying it first; where nothing is offered the line stays."""
    line = CommentLine("41", 1.0, tuple(range(1, 13)))
    for key in split_keys("t4 mi\tunderst\t3"):
        line.press(key)
    assert line.text == "t4 mid understeer 3"
    assert "reads: turn 4 mid: understeer, severity 3" in line.lines()[1]
    line = CommentLine("41", 1.0)
    for key in split_keys("it floats\t"):
        line.press(key)
    assert line.text == "it floats"
    line = CommentLine("41", 1.0, (1, 2))
    line.press("u")
    assert "Tab: us, " in line.lines()[1]


def test_the_last_comment_is_opened_again() -> None:
    """The key b opens what was noted last as it would be typed; what is kept takes its place, by its number."""
    board, desk = _desk()
    assert desk.press("b", 1.0) is None
    assert "no comment" in board.hint
    remarks = (Remark(turn=4, phase="mid", what="understeer"),)
    noted = (Comment(comment=1, t=90.0, by="bob", text="it floats"),
             Comment(comment=2, t=80.0, by="ann", text="in the wet", remarks=remarks))  # fmt: skip
    board.take(board.desks["41"].model_copy(update={"id": "later", "t": 201.0, "comments": noted}))
    [command] = _typed(desk, "b\x7f\x7f\x7fdry\r", 210.0)
    assert (command.command, command.comment, command.shorthand) == ("comment", 2, "t4 mid us: in the dry")


def test_the_picture_shows_what_is_typed_and_how_it_reads() -> None:
    """At the foot, in the place of the keys, on the smallest terminal; the end of a long line stays in sight."""
    board, desk = _desk()
    _typed(desk, "n" + "t4 mid us 3, " * 6 + "exit os 2", 200.0)
    out = io.StringIO()
    picture = paint(board, 210.0, "41", 0, (80, 24), 0.0, writing=desk.writing)
    Console(file=out, width=80, height=24, color_system=None).print(picture)
    lines = out.getvalue().splitlines()
    assert len(lines) <= 24
    assert lines[-2].rstrip().endswith("exit os 2_")
    assert "reads: turn 4 mid: understeer, severity 3" in lines[-1]
