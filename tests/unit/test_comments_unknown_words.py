"""Words that the shorthand does not know: kept beside a remark where they cannot change it, and shown as not read."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pitwall.comments.changing import CHANGING, changes_it
from pitwall.comments.harmless import BESIDE, SOFT
from pitwall.comments.sayings import HOW_VERY
from pitwall.comments.shorthand import ShorthandError, Typed, parse
from pitwall.comments.words import by_form
from pitwall.comments.writing import read_back, write, write_remark
from tests.unit.comments_stage import said, study

STRANGE = "quorbling"
"""A word that nobody knows."""


def refused(typed: str) -> str:
    """The word at which this is refused."""
    with pytest.raises(ShorthandError) as caught:
        parse(typed)
    return caught.value.word


def read_or_refused(text: str) -> Typed | None:
    """What is read; None where it is refused, at a word of the text."""
    try:
        return parse(text)
    except ShorthandError as problem:
        return None if text[problem.at : problem.at + problem.length] == problem.word else Typed(())


def test_an_unknown_word_is_kept_beside_its_remark_and_named() -> None:
    """The typist sees what was read, the words of the remark, and which of them were not read."""
    typed = parse("t4 us is really annoying, exit os 2")
    assert [write_remark(one) for one in typed.remarks] == ["t4 us", "t4 exit os 2"]
    assert (typed.text, typed.unread) == ("t4 us is really annoying", ("annoying",))
    assert read_back(typed.remarks, typed.text, typed.unread) == (
        "turn 4: understeer", "turn 4 exit: oversteer, severity 2",
        'words beside it: "t4 us is really annoying" (not read: annoying)')


def test_words_alone_behind_a_comma_belong_to_the_remark_before_it() -> None:
    """With a place, a number or an end of the car among them they are refused: a remark may be meant."""
    assert parse("t6 exit os 3, scary stuff") == Typed(parse("t6 exit os 3").remarks, "t6 exit os 3, scary stuff")
    assert refused("t6 exit os 3, t7 scary") == "scary"
    assert refused("t4 us 3, exit wobbly 2") == "wobbly"
    assert refused("hello world") == "hello"


@pytest.mark.parametrize(("typed", "word"), [
    ("power drops t6", "power"), ("wheel nut loose", "nut"), ("tyre blankets cold", "blankets"),
    ("bodywork loose t4", "bodywork"), ("front splitter bottoming t9", "splitter"), ("no rear issues t4", "issues"),
    ("rear squats and us on exit t6", "squats"), ("us t4 3 boxes", "boxes"), ("t6 os less angle", "angle"),
    ("good launch", "launch"), ("us in the woods", "woods"), ("us at quorbling", "quorbling"),
    ("t4 mit us 3", "mit"), ("t4 undersetter 3", "undersetter"), ("I've got understeer mid four", "four"),
])  # fmt: skip
def test_a_word_that_the_others_may_be_said_of_is_refused(typed: str, word: str) -> None:
    """It may be what drops, what a number counts, a place, or a slip of the fingers."""
    assert refused(typed) == word


@pytest.mark.parametrize("word", sorted(set().union(*CHANGING.values())))
def test_a_word_that_may_change_the_meaning_is_never_kept(word: str) -> None:
    """Denial, condition, comparison, time before, place: it is read, or it is refused; it is not among what is kept
    unread. One slip of the fingers in a long one changes nothing."""
    for text in (f"t4 us {word}", f"{word} t4 us", f"t4 {word} us 3", f"t4 us, {word}"):
        try:
            typed = parse(text)
        except ShorthandError:
            continue
        assert word not in typed.unread, text
    if len(word) > 6 and word.isalpha():
        assert changes_it(word[:-1] + "e" + word[-1]) or changes_it(word)


@settings(max_examples=100)
@given(st.sampled_from([typed for typed, _, _ in study() if typed and ":" not in typed]), st.sampled_from("<>,"),
       st.sampled_from([STRANGE, *sorted((SOFT | BESIDE) - set(by_form()) - set(HOW_VERY))]))
def test_an_unknown_word_beside_a_remark_changes_none(typed: str, where: str, word: str) -> None:
    """Put before a comment, behind it, or behind a comma, it is kept and the remarks stay as they were; or the comment
    is refused at a word of it. Behind a colon stands free text, whatever it is."""
    text = {"<": f"{word} {typed}", ">": f"{typed} {word}", ",": typed.replace(", ", f", {word} ")}[where]
    found = read_or_refused(text)
    assert found is None or found.remarks == parse(typed).remarks


@pytest.mark.parametrize("typed", [typed for typed, _, _ in study()])
def test_what_was_read_is_written_and_read_again(typed: str) -> None:
    """Printing what a comment says, and reading it again, is identity."""
    found = parse(typed, range(1, 13))
    assert parse(write(found.remarks, found.text), range(1, 13)) == found


def test_a_number_behind_a_word_of_place_is_a_turn() -> None:
    """Where nothing stands behind it that it may count, and no turn stands in the remark already."""
    assert said("struggling with traction out of 3 and 7") == ["t3 spin", "t7 spin"]
    assert said("us in t3, 5 and 7") == said("us in 3, 5 and 7") == ["t3 us", "t5 us", "t7 us"]
    assert said("t9 os all through 2") == ["t9 os 2"]
    assert said("t8 snap on turn in 3") == ["t8 entry snap 3"]
    assert refused("us in 2 places") == "2"


def test_a_reason_ends_where_the_next_remark_begins() -> None:
    """At a semicolon, its bracket, or a comma before a remark with a turn of its own; its colon stays as typed."""
    assert said("t10 os when lifting; us: slow 3") == ["t10 os", "slow us 3"]
    assert parse("t10 os when lifting; us: slow 3").text == "when lifting"
    assert said("t10 os when lifting, t4 us 3") == ["t10 os", "t4 us 3"]
    assert said("t4 us (when hot) 3") == ["t4 us 3"]
    assert parse("t4 us when hot: see notes").text == "when hot: see notes"


def test_a_turn_in_a_reason_is_the_place_of_a_remark_without_one() -> None:
    """It is not lost; where the remark has its place, the turn is part of the reason."""
    assert said("rear steps out when he picks up the throttle in turn 6") == ["t6 rear os"]
    assert said("snaps as soon as he touches the power out of 3") == ["t3 snap"]
    assert said("t4 us, exit os when lifting into t5") == ["t4 us", "t4 exit os"]


def test_a_time_before_is_kept_as_words() -> None:
    """Better and worse, more and less may name the run they are set against; corners and ends are no such time."""
    assert said("less us than in run 1 t4") == ["t4 us better"]
    assert (said("t4 us same as run 2"), parse("like run 2").text) == (["t4 us same"], "like run 2")
    for typed in ("t4 worse than t5", "more us than os t4", "fronts better than rears"):
        assert refused(typed) == "than"
    assert refused("us t4 vs run 1") == "vs"


def test_what_the_car_wants_it_does() -> None:
    """What the driver wants is a wish, and is kept as words; so is how hard he drives."""
    assert said("car wants to snap 4 on exit") == ["exit snap 4"]
    assert said("t4 rear wants to step out") == ["t4 rear os"]
    assert said("driver wants to push") == []
    assert refused("driver pushing hard t4") == "pushing"


def test_what_was_is_told_as_what_is_where_nothing_is_set_against_it() -> None:
    """A driver tells of a lap in the past tense; what was before is asked about."""
    assert said("rear was loose in t6") == ["t6 rear os"]
    for typed in ("was us t4", "t4 was us, now ok", "t4 us was worse before", "us was 3 in t4"):
        assert refused(typed) in ("was", "ok")


def test_except_is_no_reason() -> None:
    """What is said of every corner is not in the one that is excepted; whatever is there instead is not noted."""
    assert said("all corners us except t4") == ["us", "t4 us gone"]
    assert refused("us t3 t4 except entry") == "entry"
    assert refused("us everywhere apart from the hairpin") == "hairpin"
    assert said("all good except us t4") == ["neutral", "t4 us"]


def test_only_is_kept_with_its_remark() -> None:
    """It says more than is counted."""
    assert parse("us only in t4") == Typed(parse("us t4").remarks, "us only in t4")


def test_several_wheels_are_a_remark_each() -> None:
    """As several turns are."""
    assert said("fl fr lock t1 2") == ["t1 front left lock 2", "t1 front right lock 2"]


def test_the_same_place_is_not_blamed_and_praised() -> None:
    """``t4 us, ok`` may be either; another place, another thing or another moment may be well."""
    assert refused("t4 us, ok") == "ok"
    assert said("t4 us, t7 ok") == ["t4 us", "t7 neutral"]
    assert said("kerbs t2 harsh, t6 fine") == ["t2 harsh", "t6 ride good"]
    assert refused("t4 us 3, t7 same") == "same"
    assert said("more os in t9, rest same") == ["t9 os worse", "balance same"]


def test_what_is_said_of_the_wind_is_not_said_of_the_car() -> None:
    """Behind words that are kept "everything" is no place."""
    assert said("very windy, everything moves") == []
    assert said("cold drink") == []


def test_a_list_behind_a_setting_keeps_its_place() -> None:
    """The setting is kept as words."""
    assert said("diff 4 fronts loose 2: t7 2") == ["t7 front os 2"]


def test_a_dash_behind_a_turn_that_stands_first_is_a_colon() -> None:
    """Anywhere else it may be a dash or a trend, and is asked about."""
    assert said("t2 - traction ok") == ["t2 traction good"]
    assert refused("t4 - us - os") == "-"


def test_a_list_of_turns_behind_one_is_of_the_same() -> None:
    """Phase, how bad and which way it goes stand before the first turn and are of each; behind it they are its own."""
    assert said("entry us 2 t3, t9") == ["t3 entry us 2", "t9 entry us 2"]
    assert said("improved t4, t5; t6 worse") == ["t4 balance better", "t5 balance better", "t6 balance worse"]
    assert said("us t4 3, t9") == ["t4 us 3", "t9 us"]


def test_a_speed_class_goes_on_behind_a_comma() -> None:
    """A phase behind it is of the same corners; said last, it is of all the phases before it."""
    assert said("slow entry os 2, exit us 1") == ["entry slow os 2", "exit slow us 1"]
    assert said("us mid, looser on exit, all medium corners") == ["mid medium us", "exit medium os worse"]


def test_what_happens_while_gears_are_changed_is_the_cars() -> None:
    """The change of gears alone is a finding; beside what a car does then it is when that happens."""
    assert said("downshift into t6 rough 2") == ["t6 rough shift 2"]
    assert said("downshift locking rears t1") == ["t1 rear lock"]
    assert refused("engine rough") == "rough"


def test_what_is_nearer_wins_over_still() -> None:
    """``still some, but less`` is less."""
    assert said("still some os t6 but a lot less") == ["t6 os better"]


def test_what_may_be_read_two_ways_is_asked_about() -> None:
    """Each was misread once by somebody."""
    for typed, word in (("balance moves forward", "forward"), ("turn-in too sharp", "too sharp"),
                        ("us except on new tyres", "tyres"), ("t6 on: us 2", "on"),
                        ("rears graining from lap 4, gone by lap 9", "gone"), ("possible misfire out of of 5", "5")):
        assert refused(typed) == word
    assert said("t11 exit spin 2, worse with worn rears") == ["t11 exit spin 2 worse"]
    assert said("bites too hard at first touch") == ["grabs"]
    assert refused("t11 mid us 2, maybe the line") == "line"
