"""Corner phases, each with what happens there, and the turn behind them all: it is of each, whatever is told beside."""

from __future__ import annotations

import pytest

from pitwall.comments.shorthand import ShorthandError, parse
from tests.unit.comments_stage import said


@pytest.mark.parametrize("between", [" ", ", "])
@pytest.mark.parametrize("behind", ["", " lap 3", " every lap", " last lap", " in traffic", " with diff 5", " now",
                                    " really annoying"])
@pytest.mark.parametrize("turn", ["t4", "turn 4"])
def test_what_is_told_behind_the_turn_leaves_it_of_each(between: str, behind: str, turn: str) -> None:
    """The first phases lost their turn, and were said of the whole car."""
    assert said(f"entry us{between}exit os {turn}{behind}") == ["t4 entry us", "t4 exit os"]
    assert said(f"entry us 2{between}mid ok{between}exit os {turn}{behind}") == [
        "t4 entry us 2", "t4 mid neutral", "t4 exit os"]


def test_a_turn_in_a_comma_of_its_own() -> None:
    """What is told there is kept beside the last phase."""
    for behind in (" lap 3", " in traffic", ", lap 3"):
        typed = f"entry us, exit os, t4{behind}"
        assert said(typed) == ["t4 entry us", "t4 exit os"]
        assert parse(typed).text == f"exit os, t4{behind}"


def test_several_turns_are_of_each_phase() -> None:
    """Likewise."""
    assert said("entry us exit os t4 and t5 lap 3") == ["t4 entry us", "t5 entry us", "t4 exit os", "t5 exit os"]


def test_a_turn_that_stands_first_is_of_what_follows() -> None:
    """By its number alone or with its word."""
    for turn in ("t4", "turn 4", "turn four"):
        assert said(f"entry us, {turn} exit os") == ["entry us", "t4 exit os"]


@pytest.mark.parametrize("behind", ["worse", "better", "3", "maybe", "better than run 1", "same", "gone"])
def test_what_is_judged_behind_the_turn_is_asked_about(behind: str) -> None:
    """It may be said of the last phase or of all, and the turn be that of the last one, or of all."""
    with pytest.raises(ShorthandError):
        parse(f"entry us exit os t4 {behind}")
    for typed in (f"entry us, exit os t4 {behind}", f"us entry, os exit turn 4 {behind}",
                  f"entry us, mid ok, exit os t4 {behind}"):
        with pytest.raises(ShorthandError) as caught:
            parse(typed)
        assert caught.value.word in ("t4", "turn"), typed
    with pytest.raises(ShorthandError):
        parse(f"entry us, exit os, t4 {behind}")
    assert said("t4 entry us, exit os 3") == said("entry us, exit os 3 t4") == ["t4 entry us", "t4 exit os 3"]
    assert said("entry us; exit os t4 3") == said("entry us, t4 exit os 3") == ["entry us", "t4 exit os 3"]
