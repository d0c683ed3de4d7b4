"""What may be meant in two ways, and was read in one of them: signs, numbers, places behind commas."""

from __future__ import annotations

import pytest

from pitwall.comments.shorthand import ShorthandError, parse
from tests.unit.comments_stage import said

TURNS = tuple(range(1, 13))


def refused(typed: str) -> str:
    """The word that a refusal points at, and what it says of it."""
    with pytest.raises(ShorthandError) as caught:
        parse(typed, TURNS)
    return f"{caught.value.word}: {caught.value}"


@pytest.mark.parametrize(("typed", "sign"), [
    ("t4 us +", "+"), ("t4 us+", "+"), ("us + t4", "+"), ("t4 us -", "-"), ("os - t6", "-"), ("us- t4", "-"),
    ("t4 us 3 +", "+"), ("us t4, t7 +", "+"), ("t1 fl lock +", "+"), ("rears hot -", "-"),
])  # fmt: skip
def test_a_sign_of_what_is_not_wanted_is_asked_about(typed: str, sign: str) -> None:
    """A plus is better to one engineer, and more understeer to another."""
    told = refused(typed)
    assert told.startswith(f"{sign}: word")
    assert told.endswith(f"{sign!r} may be either of what is not wanted, expected 'better' or 'worse'")


def test_a_sign_of_what_is_wanted_goes_one_way() -> None:
    """More grip is better; what is as before is so, whatever it is."""
    assert said("t4 grip +") == ["t4 grip better"]
    assert said("balance -") == ["balance worse"]
    assert said("t4 us =") == ["t4 us same"]


@pytest.mark.parametrize(("typed", "read"), [
    ("t1 fl lock, fr lock", ["t1 front left lock", "t1 front right lock"]),
    ("t4 entry us 3, front lock", ["t4 entry us 3", "t4 entry front lock"]),
    ("t4 exit us, front lock", ["t4 exit us", "t4 front lock"]),
    ("t4 no us but no grip", ["t4 us gone", "t4 no grip"]),
    ("t4 us, rears hot", ["t4 us", "rear hot"]),
    ("t1 lock, pedal long", ["t1 lock", "long pedal"]),
])  # fmt: skip
def test_what_happens_in_a_turn_keeps_the_turn_before_its_comma(typed: str, read: list[str]) -> None:
    """Wheels lock and grip lacks in a corner; tyres are hot and a pedal is long everywhere."""
    assert said(typed) == read


@pytest.mark.parametrize("typed", [f"fl vibration since {one}" for one in ("t1 lock 4", "t1 4", "turn 1")])
def test_what_began_at_a_turn_is_not_of_that_turn(typed: str) -> None:
    """When it began is kept as words; a reason still names the place."""
    assert said(typed) == ["front left vibration"]
    assert parse(typed).text == typed.removeprefix("fl vibration ")
    assert said("snaps since he lifts in turn 6") == ["t6 snap"]


@pytest.mark.parametrize("typed", ["runs wide on exit 5", "tail happy on power 5", "os on the throttle 5"])
def test_a_number_behind_where_in_a_corner_may_be_the_turn(typed: str) -> None:
    """It is asked about where no turn is named."""
    assert refused(typed).startswith("5: word")
    assert "expected a turn such as t5" in refused(typed)
    assert said(f"t4 {typed}")[0].endswith(" 5")


# -- two places, or one place twice ------------------------------------------------------------------------------------


@pytest.mark.parametrize(("typed", "word"), [
    ("t7 mid us 3 better t4", "better"), ("t7 us better t4", "better"), ("t7 better t4", "better"),
    ("t7 us worse t4", "worse"), ("t7 us 3 better exit", "better"), ("t4 us entry worse exit", "worse"),
    ("t7 us 3 more t4", "more"), ("slow us 3 better t4", "better"), ("t4 rear loose 2 better in t6", "better"),
])  # fmt: skip
def test_how_it_goes_between_two_places_may_be_of_either(typed: str, word: str) -> None:
    """Better in turn 4, or better in both: ``t7 mid us 3 better t4`` gave turn 4 a severity that nobody had said."""
    told = refused(typed)
    assert told.startswith(f"{word}: word")
    assert "a comma before what is said of the next place" in told


def test_how_it_goes_is_read_where_it_has_one_place() -> None:
    """With a comma before it, as the last word, or where place and finding take turns."""
    assert said("t7 mid us 3, better t4") == ["t7 mid us 3", "t4 us better"]
    assert said("t7 us 3 t4 better") == ["t7 us 3", "t4 us better"]
    assert said("us 3 t7 better t4") == ["t7 us 3", "t4 us better"]
    assert said("t7 us exit better") == ["t7 exit us better"]
    assert said("us better t4") == ["t4 us better"]


@pytest.mark.parametrize("typed", ["t7 mid us t4", "t7 mid us 3 t4", "t7 mid us and t4", "t7 us t4 exit",
                                   "t7 mid us t4 exit"])
def test_a_turn_beyond_the_finding_has_no_corner_phase_of_another(typed: str) -> None:
    """The middle of turn 7, and of turn 4 nobody knows which part: ``t7 mid us t4 exit`` was four remarks."""
    assert "which part of the corner" in refused(typed)
    assert said("t4 us 3 t7") == ["t4 us 3", "t7 us 3"]
    assert said("entry us t4 t5") == ["t4 entry us", "t5 entry us"]


@pytest.mark.parametrize("typed", ["t4 us 3 t4 us 2", "t4 us 3, t4 us 2", "us 2 t4, t5 3, t4 4",
                                   "t4 us better, t4 us worse", "rears hot 3, rears hot 2", "t4 no us, t4 us 3"])
def test_one_place_is_not_said_to_be_two_ways(typed: str) -> None:
    """One of both is a slip of the hand, most likely in the number of the turn."""
    assert "that place was said to be otherwise" in refused(typed)


@pytest.mark.parametrize("typed", ["t4 us 3 lap 2, t4 us 2 lap 9", "t4 us 3 then t4 us 2", "t4 us 3, t4 us 2 now",
                                   "t4 us 3 at first, now t4 us 2", "diff 3: os t2 3, diff 5: os t2 1",
                                   "t4 entry us 3, t4 exit us 2", "t4 us 3; t4 us 2"])
def test_one_place_is_two_ways_at_two_times(typed: str) -> None:
    """A lap, a setting, a "then" or a semicolon tells the two apart."""
    assert len(parse(typed, TURNS).remarks) == 2


def test_a_word_that_nobody_knows_takes_no_turn_away() -> None:
    """Behind it the turn of both parts of the corner was only that of the second one."""
    assert said("better entry and worse exit t4 abruptly") == said("better entry and worse exit t4")
