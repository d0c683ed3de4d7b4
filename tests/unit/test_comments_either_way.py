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
