"""Numbers that are no severity: of wheels, of a car, how often, the time of day; and who says or thinks it."""

from __future__ import annotations

import pytest

from pitwall.comments.shorthand import ShorthandError, Typed, parse
from tests.unit.comments_stage import said


@pytest.mark.parametrize(("typed", "word"), [
    ("lock all 4", "4"), ("locked all 4 wheels t1", "4"), ("car 2 us t4", "2"), ("3 lockups t1", "3"),
    ("t9 2 slides rear", "2"), ("us 3 bumps", "3"),
])  # fmt: skip
def test_a_number_that_counts_something_is_asked_about(typed: str, word: str) -> None:
    """It is no severity."""
    with pytest.raises(ShorthandError) as caught:
        parse(typed)
    assert caught.value.word == word
    assert caught.value.expected.startswith("how bad it is behind ")


def test_all_four_wheels_are_no_severity() -> None:
    """Spelt out it is what locks."""
    assert said("locks all four") == ["lock"]
    assert said("all four locked t1") == ["t1 lock"]
    assert said("car us 2 t4") == ["t4 us 2"]


@pytest.mark.parametrize("typed", ["us t4 at 14:32", "14:32 us t4", "1:32.5 us t4"])
def test_a_time_is_no_turn_and_begins_no_free_text(typed: str) -> None:
    """It is kept with the remark, as it was typed."""
    assert parse(typed) == Typed(parse("us t4").remarks, typed)


def test_a_time_that_cannot_stand_there_is_marked_as_it_was_typed() -> None:
    """With its colon."""
    with pytest.raises(ShorthandError) as caught:
        parse("t4 us ~14:32")
    assert caught.value.word == "~14:32"


@pytest.mark.parametrize(("typed", "read"), [
    ("feels like us t4", ["t4 us"]), ("feels like the front is washing t4", ["t4 front us"]),
    ("us t4 feels like last run", ["t4 us same"]), ("think it's us t4", ["t4 us likely"]),
    ("don't feel any oversteer in 6", ["t6 os gone"]), ("didn't have any us t4", ["t4 us gone"]),
    ("not us, os t4", ["t4 us gone", "t4 os"]), ("no us, os t4", ["us gone", "t4 os"]),
    ("t4, us. t5, os.", ["t4 us", "t5 os"]), ("t4 us. t7.", ["t4 us", "t7 us"]),
    ("from apex on us t4", ["t4 mid us", "t4 exit us"]), ("power is good", ["engine good"]),
])  # fmt: skip
def test_how_it_is_told(typed: str, read: list[str]) -> None:
    """What it feels like is what it is; a run that it feels like is a comparison."""
    assert said(typed) == read


def test_what_he_does_not_think_is_asked_about() -> None:
    """A negation stands right before what it denies."""
    with pytest.raises(ShorthandError) as caught:
        parse("don't think it's us t4")
    assert caught.value.word == "don't"


@pytest.mark.parametrize(("typed", "word"), [
    ("us except", "except"), ("us in all but", "but"), ("us @", "@"), ("us 3 in", "in"), ("t4 us and", "and"),
    ("us then", "then"), ("t4 us than before", "than before"), ("t us 3", "t"), ("turn us 3", "turn"),
])  # fmt: skip
def test_a_word_that_more_should_follow_is_marked_where_nothing_does(typed: str, word: str) -> None:
    """The comment was sent too soon."""
    with pytest.raises(ShorthandError) as caught:
        parse(typed)
    assert caught.value.word == word
    assert said("good but, us t4") == ["neutral", "t4 us"]


def test_a_stop_behind_a_shortened_word_ends_no_sentence() -> None:
    """How bad it is stays with what it is of."""
    assert said("t3 mid-corner us, sev. 2") == ["t3 mid us 2"]
    assert said("t3 us sev. 2. t4 os.") == ["t3 us 2", "t4 os"]


def test_a_compound_is_kept_with_what_its_tyres_do() -> None:
    """Which one it was is counted nowhere."""
    assert parse("softs graining") == Typed(parse("tyres graining").remarks, "softs graining")
