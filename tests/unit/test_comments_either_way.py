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
