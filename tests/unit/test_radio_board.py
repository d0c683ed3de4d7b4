"""Calls on a pit board."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitwall.radio.board import LINE_CHARACTERS, MOST_LINES, Board, board, board_lines


@pytest.mark.parametrize(("short", "lines"), [
    ("Box, box", ("BOX",)),
    ("Box this lap", ("BOX THIS", "LAP")),
    ("Turn four: hold gear five, five s", ("T4 HOLD", "GEAR 5 5S")),
    ("Bias two down", ("BIAS 2", "DOWN")),
    ("1:27.4", ("1:27.4",)),
    ("Limiter on", ("LIMITER ON",)),
    ("Flap open", ("FLAP OPEN",)),
    ("No sliding", ("NO SLIDING",)),
    ("Brake bias 55.5", ("BRK BIAS", "55.5")),
])  # fmt: skip
def test_a_short_form_becomes_lines(short: str, lines: tuple[str, ...]) -> None:
    """Capitals, figures for words, filling words left out; what changes the meaning stays."""
    assert board_lines(short) == lines


@pytest.mark.parametrize("short", ["", "...", "Systems: alarms, pedals, brakes, tyres?", "Incomprehensibilities"])
def test_what_does_not_fit_is_not_shown_in_part(short: str) -> None:
    """No line, a fourth line, or a word that is too long: no board, rather than half a call."""
    assert board_lines(short) is None
    assert board(short, 100, 90) is None


@given(st.lists(st.sampled_from(["box", "lap", "turn", "four", "hold", "gear", "the", "push", "bias"]), max_size=9))
def test_every_board_can_be_read(words: list[str]) -> None:
    """At most three lines, none longer than a driver reads, none empty."""
    lines = board_lines(" ".join(words))
    assert lines is None or (0 < len(lines) <= MOST_LINES and all(0 < len(line) <= LINE_CHARACTERS for line in lines))


def test_a_board_hangs_before_the_car_comes_and_works_a_lap_later() -> None:
    """Ready twenty seconds before the pass; the driver acts a lap after it."""
    assert board("Box this lap", 500, 92) == Board(("BOX THIS", "LAP"), 480, 592)
