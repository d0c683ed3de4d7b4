"""What is said every day and was misread or refused once: exceptions, what never was, what has gone loose, numbers."""

from __future__ import annotations

import pytest

from pitwall.comments.shorthand import ShorthandError, parse
from pitwall.comments.words import NEVER
from pitwall.comments.writing import read_back
from tests.unit.comments_stage import said

TURNS = tuple(range(1, 13))


def refused(typed: str) -> str:
    """The word that a refusal points at, and what it expects there."""
    with pytest.raises(ShorthandError) as caught:
        parse(typed, TURNS)
    return f"{caught.value.word}: {caught.value.expected}"


def test_an_exception_is_of_the_place_to_which_it_is_one() -> None:
    """``t4 fine except on kerb`` is of the kerb there; where something is missing on kerbs, no kerb is at fault."""
    assert said("t4 fine except on kerb") == ["t4 neutral", "t4 kerbs"]
    assert said("t4 good except brakes locking, t5 fine") == ["t4 neutral", "t4 lock", "t5 neutral"]
    assert said("t4 ok except tyres cold") == ["t4 neutral", "cold"], "tyres are cold everywhere"
    assert refused("t4 us except on kerbs").startswith("kerbs: also what the car does there")


def test_a_bad_change_of_gears_is_not_told_as_rough() -> None:
    """A downshift that is slow is counted with those that are rough; what is shown says no more than was said."""
    typed = parse("gearbox downshift slow into turn 5", TURNS)
    assert read_back(typed.remarks, typed.text) == ("turn 5: gears change badly",)


@pytest.mark.parametrize("typed", ["rear gone loose t4", "rear has gone very loose t4", "rear went loose t4"])
def test_what_has_gone_loose_is_loose(typed: str) -> None:
    """It was read as a looseness that is gone."""
    assert said(typed)[0].startswith("t4 rear os")
    assert said("brakes gone hot") == ["braking hot"]
    assert said("rear loose gone t4") == ["t4 rear os gone"]
    assert refused("gone us t4").startswith("us: what is gone before 'gone'")


def test_an_end_that_is_gone() -> None:
    """A front that is gone has no grip; a rear may have stepped out. Behind a comma it may be what was said before."""
    assert said("front gone t4") == ["t4 front no grip"]
    assert refused("rear gone t4").startswith("gone: what is gone")
    assert refused("us t4, front gone") == "gone: what is gone there, such as front us gone or front grip gone"


@pytest.mark.parametrize("never", NEVER)
def test_what_he_never_had_is_not_there(never: str) -> None:
    """Whatever is a complaint; of grip it is the complaint. Until when it was not there is no absence now."""
    assert said(f"{never} us t4") == ["t4 us gone"]
    assert said(f"{never} grip t4") == ["t4 no grip"]
    assert refused(f"{never} us t4 until lap 3").startswith("until: what there is then")
    assert refused(f"{never} us t4 before").startswith("before")
    assert refused(f"{never} good traction t4").startswith(never)


def test_what_was_well_until_then_is_no_praise() -> None:
    """What came then is the news; a complaint until then was there."""
    assert refused("rear good until lap 6").startswith("until: what there is then")
    assert refused("t4 balanced until the fronts go off").startswith("until")
    assert said("us t4 until the tyres come in") == ["t4 us"]
    assert said("traction fine until lap 5 then spinning everywhere") == ["traction good", "spin"]


@pytest.mark.parametrize("scarce", ["almost no", "hardly any", "barely any"])
def test_next_to_no_grip_is_too_little_of_it(scarce: str) -> None:
    """And next to no understeer is a little of that."""
    assert said(f"{scarce} grip in turn 4") == ["t4 no grip"]
    assert said(f"{scarce} front grip t4") == ["t4 front no grip"]
    assert said(f"{scarce} traction t4") == ["t4 spin"]
    assert said(f"{scarce} us t4") == ["t4 us 1"]


def test_a_number_behind_a_corner_phase() -> None:
    """Too high to be how bad it is, it is the turn; else nobody knows, where no turn is named."""
    assert said("rear loose entry 7") == ["t7 entry rear os"]
    assert said("us entry 8, exit 9") == ["t8 entry us", "t9 exit us"]
    for typed in ("rear loose entry 3", "os exit 3", "rear feels planted exit 3", "steering kicks back over kerb 3"):
        assert refused(typed).startswith("3: a turn such as t3")
    assert said("t4 os exit 3") == ["t4 exit os 3"]
    assert said("os exit 3: t5") == ["t5 exit os 3"]
    assert refused("us exit 13") == "13: a turn from 1 to 12"
    assert refused("us on throttle 50").startswith("50")


def test_braking_is_where_it_happens() -> None:
    """Of what is no finding of brakes; what may be of the pedal is asked about."""
    assert said("rear hops t1 braking") == ["t1 entry rear bouncing"]
    assert said("us braking t1, t3") == ["t1 entry us", "t3 entry us"]
    assert refused("braking stiff t1").startswith("stiff")
    assert refused("brakes os t1").startswith("os")


def test_turns_in_a_row_without_commas() -> None:
    """With an "and" at their end, and where none of them may be how bad it is."""
    assert said("us at 5 6 and 9") == ["t5 us", "t6 us", "t9 us"]
    assert refused("us in 5 3 and 9").startswith("9")
    assert said("doesn't turn at 3") == ["t3 us"]


def test_a_lap_is_a_time_before() -> None:
    """Better and worse may be set against a lap by its number; which one is kept as words."""
    assert said("more oversteer on exit t9 than lap 2") == ["t9 exit os worse"]
    assert parse("us t4 worse than on lap 2").text == "us t4 worse than on lap 2"
    assert refused("us t4 than lap 2").startswith("than")


def test_what_is_well_is_the_setting() -> None:
    """``tc 3 is fine`` says nothing of the car's balance in that turn."""
    assert (said("t4 tc 3 is fine"), parse("t4 tc 3 is fine").text) == ([], "t4 tc 3 is fine")
    assert said("t4 good with tc 3") == ["t4 neutral"]


@pytest.mark.parametrize(("typed", "word"), [
    ("t4 us 2-3", "2-3"), ("t4 us 5/10", "5/10"), ("t4 us 50%", "50%"), ("t4 us 2.5", "2.5"),
])  # fmt: skip
def test_how_bad_it_is_is_one_number(typed: str, word: str) -> None:
    """The refusal says so, and how turns are written."""
    assert refused(typed) == f"{word}: how bad it is as one number from 1 to 5; turns have their letter, such as t2-3"


def test_a_refusal_says_what_to_write_instead() -> None:
    """Of a doubled sign, and of a turn that is taken flat."""
    assert refused("t4 us++").startswith("us++: better, worse, more or less in a word")
    assert refused("t8 flat") == "flat: of what, such as engine flat; that a turn is taken flat goes behind ':'"


@pytest.mark.parametrize(("typed", "read"), [
    ("us down from 4 to 2 t4", "t4 us 2"), ("us t4 up from 2 to 3", "t4 us 3"), ("us went from 3 to 2 t4", "t4 us 2"),
    ("us t4 from 3 to 2", "t4 us 2"),
])  # fmt: skip
def test_how_bad_it_was_is_told_apart_from_how_bad_it_is(typed: str, read: str) -> None:
    """The second number counts, and the words are kept; without a word for it they may be turns, or between the two."""
    assert said(typed) == [read]
    assert parse(typed).text == typed
    assert refused("us from 3 to 5").startswith("5: ")
    assert refused("us t4 3 to 2").startswith("2: ")


@pytest.mark.parametrize(("typed", "read"), [
    ("pushing wide t5", "t5 us"), ("plows t7", "t7 us"), ("washout t7", "t7 us"), ("rear washout t7", "t7 rear os"),
    ("t4 us late in the stint", "t4 us"), ("t12 os exit 4 with torque map 6", "t12 exit os 4"),
])  # fmt: skip
def test_usual_words_of_a_car_that_goes_wide(typed: str, read: str) -> None:
    """And of when and with which setting, which are kept as words."""
    assert said(typed) == [read]


def test_who_pushes_wide_may_be_the_driver() -> None:
    """Then it is asked about."""
    assert refused("he is pushing wide t5").startswith("pushing wide: understeer, if that is meant")


def test_no_brakes_are_too_little_of_them() -> None:
    """A turn beside them may be taken without braking, and what stands behind may be what there is none of."""
    assert said("no brakes into t1") == ["t1 braking weak"]
    assert said("no brakes, us t4") == ["braking weak", "t4 us"]
    for typed in ("t9 no brakes", "no brakes t5", "no brakes left", "no brakes gone"):
        assert refused(typed).startswith("no: "), typed
    assert said("no brakes fading") == ["braking weak gone"]


def test_what_is_denied_twice_is_there() -> None:
    """It was read as gone."""
    for typed in ("not no us t4", "not not us t4", "isn't not us t4"):
        assert "one negation" in refused(typed), typed
    assert said("no us, no os t4") == ["t4 us gone", "t4 os gone"]


def test_the_last_turn_of_a_list_is_asked_about() -> None:
    """``entry us, exit os t4, t5`` gave the entry to turn 4 alone; whose place turn 5 is, nobody said."""
    assert refused("entry us, exit os t4, t5") == (
        "t5: t4/5, if both are said of each; else a semicolon before it, and what is there")
    assert said("entry us, exit os t4/5") == ["t4 entry us", "t5 entry us", "t4 exit os", "t5 exit os"]
    assert said("entry us, exit os t4, t5 snap") == ["t4 entry us", "t4 exit os", "t5 snap"]


def test_corner_phases_without_commas_share_the_turn_that_ends_them() -> None:
    """How bad it is behind the turn may be said of the last or of all; it became oversteer of the whole turn."""
    assert said("entry us mid ok exit os 2 t4") == ["t4 entry us", "t4 mid neutral", "t4 exit os 2"]
    assert refused("entry us exit os t4 3").startswith("os: ")


def test_what_goes_away_over_laps_is_no_slide() -> None:
    """A rear that goes away in a corner slides; over laps it may be its tyres."""
    assert said("rear goes away t6") == ["t6 rear os"]
    assert refused("rear goes away after lap 6").startswith("goes away: tyres going off")


def test_a_phase_behind_how_bad_it_is() -> None:
    """``t4us3e`` says the same as ``t4e us3``; ``t4us3x`` may be three times."""
    assert said("t4us3e") == said("t4e us3") == ["t4 entry us 3"]
    for typed in ("t4us3x", "us3e", "t4eus3m", "t1lock3x"):
        assert refused(typed).startswith(typed), typed


def test_an_engine_that_cuts_is_told_as_the_engine() -> None:
    """What is shown said ``turn 6: cut``, and not of what."""
    typed = parse("engine cuts out of 6", TURNS)
    assert read_back(typed.remarks, typed.text) == ("turn 6: engine cut",)


def test_what_none_is_left_of_has_no_side() -> None:
    """``no grip left`` became a grip of the left side; a wheel that locks has one, so there it is asked."""
    assert said("no os left t9") == ["t9 os gone"]
    assert said("no grip left t4 3") == ["t4 no grip 3"]
    assert said("not much grip left t4") == said("no more grip left t4") == ["t4 no grip"]
    assert said("no traction left, us t4") == said("no traction, us t4")
    assert refused("no lock left t1").startswith("left: the side before")
    assert said("no left front lock t1") == said("no lock front left t1") == ["t1 front left lock gone"]
    assert refused("no grip left front").startswith("left front: the side before")


def test_how_bad_it_is_counts_nothing_behind_it() -> None:
    """``us5 x`` was read as five times, and lost how bad it is."""
    assert refused("t10 us5 x").startswith("x: ")
    assert refused("us3 laps").startswith("laps: ")
    assert said("t4us3 2 laps") == ["t4 us 3"]
    assert said("t4e os2 m us3 x os1") == ["t4 entry os 2", "t4 mid us 3", "t4 exit os 1"]


def test_a_second_remark_without_a_comma_is_not_denied_with_the_first() -> None:
    """``right rear hot no left rear hot`` became two tyres that are hot no more."""
    assert refused("right rear hot no left rear hot").startswith("no: a comma before the next remark")
    assert refused("us on entry no us mid t4").startswith("no: a comma before the next remark")
    assert said("right rear hot, no left rear hot") == ["rear right hot", "rear left hot gone"]
    assert said("us t4 no us t7") == ["t4 us", "t7 us gone"]


def test_the_same_in_another_turn_is_no_trend() -> None:
    """``t4 us same in t7`` was as before in both; behind a comma it was asked already."""
    assert refused("t4 us same in t7").startswith("same: 'also'")
    assert refused("t4 us, same t7").startswith("same: ")
    assert said("t4 us also t7") == ["t4 us", "t7 us"]
    assert said("us t4 same as before") == ["t4 us same"]
