"""The shorthand as people type it in a hurry: what is gone, glued words, asides, and what is in doubt and refused."""

from __future__ import annotations

import pytest

from pitwall.comments.changes import findings
from pitwall.comments.shorthand import ShorthandError, parse
from pitwall.comments.writing import in_words
from pitwall.model.base import Refused
from pitwall.model.comments import Comment, Remark
from tests.unit.comments_stage import said


def why_not(typed: str) -> str:
    """What is expected in the place of the word that is wrong."""
    with pytest.raises(ShorthandError) as caught:
        parse(typed)
    return caught.value.expected


def comments(*typed: str) -> list[Comment]:
    """One comment a run, in order."""
    return [Comment(comment=at, t=100.0 * at, by="ann", run=f"run_{at}", driver="ines", remarks=parse(one).remarks)
            for at, one in enumerate(typed, 1)]  # fmt: skip


@pytest.mark.parametrize("typed", ["no us t4", "us gone t4", "t4 no longer understeers", "not us t4", "us t4 anymore",
                                   "t4 us isn't", "us t4, gone",
                                   "t4 us. gone"])
def test_what_is_gone_is_said_in_many_ways(typed: str) -> None:
    """All of them mean the same, but for those that leave open what is denied."""
    if typed == "t4 us isn't":
        assert why_not(typed).startswith("right behind it what there is not")
    else:
        assert said(typed) == ["t4 us gone"]


def test_what_is_gone_goes_on_behind_a_comma() -> None:
    """Neither there; behind a "but" it may be meant the other way, so it is to be said."""
    assert said("no us t4, t7") == ["t4 us gone", "t7 us gone"]
    assert said("t4e us3, exit gone, t7 gone") == ["t4 entry us 3", "t4 exit us gone", "t7 us gone"]
    assert said("t4 us, rears gone") == ["t4 us", "rear worn"]
    assert why_not("no lock fl but fr").startswith("also what the car does")


def test_gone_is_a_finding_of_tyres_and_grip() -> None:
    """Tyres and grip that are gone are complaints; of nothing in particular it is asked."""
    assert said("rears gone 4; grip gone; no rear grip t3") == ["rear worn 4", "no grip", "t3 rear no grip"]
    assert why_not("t4 gone") == "what is gone, such as us gone or tyres gone"


def test_gone_has_no_severity() -> None:
    """The model refuses it too, and what is praised cannot be gone."""
    assert why_not("us gone 3") == "how bad it is, or that it is gone, not both"
    for broken in ({"what": "understeer", "severity": 2}, {"what": "neutral"}, {}):
        with pytest.raises((Refused, ValueError), match="gone"):
            Remark.model_validate({"trend": "gone", **broken})


def test_what_is_gone_closes_its_own_complaint_alone() -> None:
    """From run to run it is better; what else was complained of at that place stays open."""
    told = findings(comments("t4 us 3", "t4 us gone"))
    assert [(one.direction, one.evidence) for one in told.changes] == [("better", "said")]
    assert (told.open, told.contradictions) == ((), ())
    assert [one.words for one in findings(comments("t4 os 3", "t4 us gone")).open] == ["turn 4: oversteer, severity 3"]
    assert [cell.short for row in told.matrices[0].rows for cell in row.cells if cell.short] == ["us 3, us gone"]


@pytest.mark.parametrize(("typed", "meant"), [
    ("t4e", "t4 entry"), ("us3t4", "t4 us 3"), ("t4mid/us/3", ""), ("exit3 us t4", "t4 exit us 3"),
    ("ust4", "t4 us"),
    ("t4x2 us", "t4 exit us 2"), ("us= t4", "t4 us same"),
    ("t4a us", ""), ("4e us", ""), ("fl3 lock", ""), ("us6", ""),
])  # fmt: skip
def test_glued_words_are_taken_apart_where_every_part_is_known(typed: str, meant: str) -> None:
    """What is left whole is refused as it stands: a turn may be called 4a, and a number alone may be anything."""
    whole = typed if "us" in typed or "lock" in typed else f"{typed} us"
    if meant:
        assert said(whole) == [meant if "us" in meant else f"{meant} us"]
    else:
        with pytest.raises(ShorthandError) as caught:
            parse(whole)
        assert caught.value.word == typed.split()[0]


def test_an_aside_is_kept_with_its_remark() -> None:
    """Its words stay together, so that it is clear what they are of; an aside alone says nothing."""
    typed = parse("t4 us 3, fronts cold for 2 laps; os t7")
    assert (len(typed.remarks), typed.text) == (3, "fronts cold for 2 laps")
    assert parse("rears hot, after 4 laps").text == "rears hot, after 4 laps"
    assert parse("t4 us when the tank is full, as ever").text == "when the tank is full, as ever"
    assert why_not("after 4 laps").startswith("also what the car does")


def test_place_and_finding_that_take_turns_are_parted() -> None:
    """Only where there is one way to part them."""
    assert said("t4 us 3 t7 os 2") == said("us 3 t4 os 2 t7") == ["t4 us 3", "t7 os 2"]
    assert said("t4 mid us 2 exit os 3") == ["t4 mid us 2", "t4 exit os 3"]
    assert "comma" in why_not("us t4 3 t7 os")
    assert why_not("t4 us t5 better t6").startswith("a comma before the next remark")
    assert "behind what it judges" in why_not("t4 + t7 us 3")


def test_praise_of_the_other_end_is_of_the_same_thing() -> None:
    """Behind a comma that which was complained of; alone the balance."""
    assert said("fl hot, fr ok; front locks t1, rear fine") == ["front left hot", "front right tyres good",
                                                                  "t1 front lock", "rear braking good"]
    assert said("t4 front us, rear good") == ["t4 front us", "t4 rear neutral"]


def test_which_end_slides_makes_the_finding() -> None:
    """Without an end it is asked."""
    assert said("rear sliding t4; fronts slide t5") == ["t4 rear os", "t5 front us"]
    assert why_not("sliding t4").startswith("which end")


def test_what_is_unstable_hangs_on_the_place() -> None:
    """Under braking it is the brakes' subject, in the middle and at the exit of a corner the balance."""
    assert [in_words(one) for one in parse("rear nervous t1 3; fast nervous; t4 exit twitchy").remarks] == [
        "turn 1: rear unstable, severity 3", "fast corners: unstable", "turn 4 exit: unstable"]
    assert [one.about for one in parse("nervous t1; nervous t1 exit").remarks] == ["braking", "balance"]


def test_which_other_run_it_is_set_against_is_free_text() -> None:
    """Better and worse are against the runs before; which run, is kept as words. Another turn is asked about."""
    assert said("t4 us better than before") == ["t4 us better"]
    assert parse("t4 us better than run 1").text == "t4 us better than run 1"
    assert why_not("t4 us better than t7").endswith("which other run it is set against goes behind ':'")


def test_a_mark_between_a_place_and_what_happens_there_is_a_space() -> None:
    """Behind a comma, too, where the place would else take over what was said before it; other words stay free text."""
    assert said("entry us 3, exit: os 2") == said("entry us 3, exit os 2")
    assert said("t4: us 3, t5: os 2") == said("t4 us 3; t5: os 2") == ["t4 us 3", "t5 os 2"]
    assert said("t4 us, exit: spin") == ["t4 us", "t4 exit spin"]
    assert parse("t4 us, exit: worse with wear").text == "worse with wear"
    assert said("t4 us, exit: it slides") == ["t4 exit us"]
    assert said("t4 us 3, exit 2:") == ["t4 us 3", "t4 exit us 2"]


@pytest.mark.parametrize("typed", [
    "us t3 but t4", "good everywhere but t4", "grip good but t4", "us fast corners but t7",
])  # fmt: skip
def test_a_bare_place_behind_a_but_is_asked_about(typed: str) -> None:
    """It is as likely that it is not there: nothing is noted of it."""
    assert why_not(typed).startswith("also what the car does there: behind 'but'")


def test_what_a_place_behind_a_but_says_itself_is_read() -> None:
    """How bad, which way it goes, or another finding."""
    assert said("us t4 but worse t7") == ["t4 us", "t7 us worse"]
    assert said("t4 us but t7 3; t4 us 2 but os t7") == ["t4 us", "t7 us 3", "t4 us 2", "t7 os"]


def test_the_number_of_a_lap_is_no_severity() -> None:
    """Several laps are kept as they were typed; a number that may be either is asked about."""
    for typed in ("us t4 on lap 3 and 4", "us t4 from lap 2 to 4", "us t4 laps 2 and 3"):
        assert said(typed) == ["t4 us"]
        assert parse(typed).text == typed
    assert said("us 3 t4 on lap 2") == ["t4 us 3"]
    for typed in ("us t4 on lap 3, 5", "us t4 lap 3 4"):
        assert why_not(typed).startswith("how bad it is before the lap")
