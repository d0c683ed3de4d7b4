"""What is denied, before it, within it or behind it: never the other way round, and never more than was said."""

from __future__ import annotations

from contextlib import suppress

import pytest

from pitwall.comments.denying import denies
from pitwall.comments.shorthand import ShorthandError, parse
from pitwall.comments.words import TABLE
from tests.unit.comments_stage import said


def refused(typed: str) -> str:
    """The word that is wrong."""
    with pytest.raises(ShorthandError) as caught:
        parse(typed)
    return caught.value.word


@pytest.mark.parametrize(("typed", "read"), [
    ("can't trust the rear anymore", "rear braking unstable"),
    ("can't trust the rear any more t4", "t4 rear braking unstable"),
    ("don't trust the rear anymore", "rear braking unstable"),
    ("no trust in the rear anymore", "rear braking unstable"),
    ("no grip anymore", "no grip"), ("no rear grip anymore", "rear no grip"), ("t6 no traction any more", "t6 spin"),
    ("can't get the power down anymore t6", "t6 spin"), ("won't turn anymore", "us"), ("can't turn in anymore", "us"),
    ("front doesn't bite anymore t4", "t4 us"), ("not enough rotation anymore t4", "t4 us"),
    ("not stable anymore t4 mid", "t4 mid balance unstable"), ("no brakes anymore", "braking weak"),
    ("no brakes any more", "braking weak"), ("can't use the kerbs any more t9", "t9 kerbs"),
])  # fmt: skip
def test_what_cannot_be_done_any_more_is_there_now(typed: str, read: str) -> None:
    """It was read as a complaint that is gone."""
    assert said(typed) == [read]


@pytest.mark.parametrize("form", [form for entry in TABLE for form in entry.forms
                                  if entry.part in ("finding", "phrase") and denies(form)])
def test_no_form_that_denies_is_turned_round(form: str) -> None:
    """Whatever else denies it beside that: it is there, or the line is refused."""
    try:
        alone = parse(f"{form} t4").remarks
    except ShorthandError:
        return  # its thing is to be named
    for typed in (f"{form} t4 anymore", f"{form} t4 any more", f"{form} t4 no more", f"{form} t4 gone",
                  f"{form} t4 none", f"not {form} t4", f"never had {form} t4", f"{form} t4, any more",
                  f"no longer {form} t4"):
        with suppress(ShorthandError):
            assert parse(typed).remarks == alone, typed


@pytest.mark.parametrize("typed", ["us t4 anymore", "no us t4 anymore", "not locking any more t1", "t4 us no more",
                                   "doesn't lock anymore t1", "not struggling to turn any more",
                                   "fighting the rear no more", "no traction t6 fixed", "won't turn t4, cured"])
def test_what_is_not_there_any_more_is_gone(typed: str) -> None:
    """As before: here the negation is of the finding."""
    assert all(one.endswith("gone") for one in said(typed))


def test_what_is_denied_beside_it_is_of_the_same_turn() -> None:
    """Whether the second one is denied by a word before it or denies itself: not every understeer is gone."""
    assert said("no us, no os t4") == ["t4 us gone", "t4 os gone"]
    assert said("no us, no grip t4") == said("no us, no grip anymore t4") == ["t4 us gone", "t4 no grip"]


@pytest.mark.parametrize(("typed", "word"), [
    ("don't have no grip", "no grip"), ("not no grip", "no grip"), ("no longer no grip", "no longer"),
    ("can't trust the rear no more", "no more"), ("won't turn gone", "gone"), ("t6 no traction gone", "gone"),
    ("no grip t4, anymore", "anymore"), ("no grip t4, gone", "gone"), ("no grip t4, none t7", "none"),
    ("any more no grip t4", "any more"), ("hard to turn anymore", "anymore"), ("lacks bite anymore", "anymore"),
    ("struggling to turn any more t4", "any more"), ("no longer no us", "no"), ("no more no us t4", "no"),
])  # fmt: skip
def test_what_is_denied_twice_is_asked_about(typed: str, word: str) -> None:
    """Also where the second negation is within the form, and where one lacks it "any more"."""
    assert refused(typed) == word


@pytest.mark.parametrize(("typed", "word"), [
    ("t4 entry no us exit us", "us"), ("t9 entry no os mid os exit os", "os"), ("no us t4 mid us", "us"),
    ("no left rear hot right rear hot", "hot"), ("no fl lock fr lock t1", "lock"), ("t4 us gone exit push", "push"),
    ("t4 us better exit us", "us"), ("t4 us 3 exit us", "us"), ("no us exit power us t4", "power us"),
    ("t4 maybe us exit us", "us"),
])  # fmt: skip
def test_what_is_said_again_is_not_judged_as_the_first_is(typed: str, word: str) -> None:
    """The second one is there: both were read as gone. A comma parts them."""
    assert refused(typed) == word
    with pytest.raises(ShorthandError) as caught:
        parse(typed)
    assert caught.value.at > typed.index(word) or typed.count(word) == 1
    assert said("t4 entry no us, exit us") == ["t4 entry us gone", "t4 exit us"]
    assert said("no us t4 no us t7") == ["t4 us gone", "t7 us gone"]


@pytest.mark.parametrize(("typed", "word"), [
    ("no understeer left turns", "left"), ("no grip left corners", "left"), ("no grip left rear", "left rear"),
    ("no wheelspin left rear", "left rear"), ("no grip left front", "left front"), ("no grip left wheel", "left"),
    ("no os left only", "left"), ("no grip left side", "left side"), ("no lock t1 left", "left"),
    ("no graining left rear", "left rear"), ("no grip left tyres", "left"), ("no front bite left t4", "left"),
    ("grip not much left", "left"), ("no trust in the rear left", "left"),
])  # fmt: skip
def test_left_that_may_be_a_side_is_asked_about(typed: str, word: str) -> None:
    """Or there is none left, and the next word says where."""
    assert refused(typed) == word


def test_what_next_to_none_is_left_of_has_no_side() -> None:
    """``hardly any grip left`` was a grip of the left side."""
    assert said("hardly any grip left t4") == said("almost no grip left t4") == ["t4 no grip"]
    assert said("no us in left turns") == ["left us gone"]
    assert said("won't turn left") == ["left us"]
    assert said("not enough left front grip t4") == ["t4 front left no grip"]
    assert said("left rear no grip t4") == ["t4 rear left no grip"]


@pytest.mark.parametrize(("typed", "word"), [
    ("don't trust the rear brakes", "brakes"), ("fighting the rear brakes t1", "brakes"),
    ("can't trust the rear pedal", "pedal"), ("can't trust the rear with the brakes", "brakes"),
    ("can't trust the rear wing", "wing"), ("can't trust the rear tyres", "tyres"),
])  # fmt: skip
def test_whose_end_it_is_may_be_a_thing(typed: str, word: str) -> None:
    """The brakes were lost without a word, and the rear of the car was unstable."""
    assert refused(typed) == word
    assert said("can't trust the rear under braking t1") == ["t1 entry rear braking unstable"]


@pytest.mark.parametrize(("typed", "word"), [
    ("can't trust the rear left", "left"), ("can't trust the rear t4 left", "left"),
    ("fighting the rear right t4", "right"), ("don't trust the rear right 3", "right"),
])  # fmt: skip
def test_a_side_behind_the_end_that_nobody_trusts_is_asked_about(typed: str, word: str) -> None:
    """A wheel, or what the rear does in turns to the left: it was taken for the wheel."""
    assert refused(typed) == word
    assert said("rear left locks t4") == ["t4 rear left lock"]
    assert said("can't trust the rear t4 3") == ["t4 rear braking unstable 3"]


@pytest.mark.parametrize(("typed", "word"), [
    ("us any more?", "any more"), ("t4 us any more ?", "any more"), ("os anymore? t7", "anymore"),
])  # fmt: skip
def test_a_question_to_the_driver_is_no_word_of_his(typed: str, word: str) -> None:
    """``us any more?`` was understeer that is gone, and not sure; denied it is a statement, with or without a mark."""
    assert refused(typed) == word
    assert said("no us any more?") == said("us not any more ?") == ["us ? gone"]
    assert said("us any more t4") == ["t4 us gone"]
    assert said("no grip any more?") == ["no grip ?"]
