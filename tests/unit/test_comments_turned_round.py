"""Words that would turn a comment round, were they kept beside it: each is refused and marked where it stands."""

from __future__ import annotations

import pytest

from pitwall.comments.changing import CHANGING
from pitwall.comments.harmless import BESIDE, BESIDE_A_WORD, SOFT
from pitwall.comments.shorthand import ShorthandError, parse
from pitwall.comments.words import by_form
from tests.unit.comments_stage import said


def marked(typed: str) -> str:
    """The word under which the refusal of this puts its mark."""
    with pytest.raises(ShorthandError) as caught:
        parse(typed)
    line, mark = caught.value.pointed().split("\n")
    return line[mark.index("^") : len(mark)]


@pytest.mark.parametrize(("typed", "word"), [
    ("us t4, t5 proper", "proper"), ("t4 us and t5 bonkers", "bonkers"),
    ("t4 us, t5 annoying", "annoying"), ("t4 us and t5 steady", "steady"), ("t4 entry us and exit steady", "steady"),
    ("t4 us and t5 well", "well"), ("us t4, t5 sound", "sound"), ("t4 us, scarier", "scarier"),
])  # fmt: skip
def test_what_may_praise_a_place_makes_no_complaint_of_it(typed: str, word: str) -> None:
    """Behind a comma, or behind the later of two places, an unread word may say what is found there."""
    assert marked(typed) == word
    assert said("t4 us, t5 too") == ["t4 us", "t5 us"]


@pytest.mark.parametrize("word", [
    "cancelled", "ceased", "dissolved", "eradicated", "subsided", "vanishing", "overcome", "abated", "minimised",
    "neutralised", "masked", "lifted", "history", "waned", "dialled out", "tuned out", "worked out",
])  # fmt: skip
def test_what_is_over_is_not_noted_as_there(word: str) -> None:
    """Whichever way it ended; so is what never was."""
    assert marked(f"us t4 {word}") == word.split()[0]
    assert marked("zeroed us t4") == "zeroed"
    assert marked("zilch us t4") == "zilch"


@pytest.mark.parametrize(("typed", "word"), [
    ("hopefully us gone t4", "hopefully"), ("looking for less us t4", "looking"), ("requested less us t4", "requested"),
    ("requests less us t4", "requests"), ("requires less us t4", "requires"), ("demands less us t4", "demands"),
    ("aiming for less us t4", "aiming"), ("ideally less us t4", "ideally"), ("give me less us t4", "give"),
    ("make it less us t4", "make"), ("making less us t4", "making"), ("look for more front grip t4", "look"),
])  # fmt: skip
def test_a_wish_is_not_noted_as_come_true(typed: str, word: str) -> None:
    """What is asked for is not there yet."""
    assert marked(typed) == word


@pytest.mark.parametrize(("typed", "word"), [
    ("us t4 partly gone", "partly"), ("us t4 practically gone", "practically"), ("us t4 partially fixed", "partially"),
    ("partially gone us t4", "partially"), ("us t4 virtually gone", "virtually"),
    ("us t4 suddenly gone", "suddenly"),
])  # fmt: skip
def test_what_is_gone_in_part_is_not_gone(typed: str, word: str) -> None:
    """No word that is not read stands before what closes a complaint; behind it one that only tells may."""
    assert marked(typed) == word
    assert said("us gone t4 actually") == ["t4 us gone"]


@pytest.mark.parametrize(("typed", "word"), [
    ("more progressive os t6", "progressive"), ("more gradual snap t6", "gradual"),
    ("less progressive os t6", "progressive"), ("less constant us t4", "constant"),
    ("less frequently us t4", "frequently"), ("os t6 more progressive", "progressive"),
])  # fmt: skip
def test_what_is_more_or_less_is_the_word_behind_it(typed: str, word: str) -> None:
    """A more progressive oversteer is a better one."""
    assert marked(typed) == word
    assert said("less us t4 actually") == ["t4 us better"]
    assert said("us t4 improving slowly") == ["t4 us better"]


@pytest.mark.parametrize(("typed", "word"), [
    ("scratch that us t4", "scratch"), ("disregard us t4", "disregard"), ("meant t5 us t4", "meant"),
    ("i mean t5 us t4", "mean"), ("us t4 actually t5", "actually"), ("us t4 sorry t5", "sorry"),
    ("strike us t4", "strike"), ("teammate us t4", "teammate"), ("rival us t4", "rival"),
    ("simulator us t4", "simulator"), ("falsely us t4", "falsely"), ("supposedly us t4", "supposedly"),
    ("us t4 joke", "joke"),
])  # fmt: skip
def test_what_is_taken_back_or_of_another_or_not_true_is_not_noted(typed: str, word: str) -> None:
    """It is not what this car does."""
    assert marked(typed) == word


def test_a_word_that_is_let_stand_is_none_that_changes_anything() -> None:
    """The list of what is kept and the list of what changes a meaning share no word, and neither does the table of
    what says something alone."""
    kept = SOFT | BESIDE | set(BESIDE_A_WORD)
    assert not kept & set().union(*CHANGING.values())
    assert all(parse(f"t4 us {word}").remarks for word in sorted(SOFT) if word not in by_form())


@pytest.mark.parametrize("typed", ["5 us", "5 is okay now", "4 understeer", "3 lock", "5 better now", "4 us mid"])
def test_a_number_that_comes_first_is_as_likely_a_turn_as_how_bad_it_is(typed: str) -> None:
    """Without a turn beside it nobody knows which was meant; with one, or behind what it is of, it is how bad."""
    assert marked(typed) == typed[0]
    assert said("3 us t4") == ["t4 us 3"]
    assert said("us 3") == ["us 3"]
    assert said("2 us everywhere") == ["us 2"]
