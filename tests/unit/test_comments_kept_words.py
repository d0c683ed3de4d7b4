"""What is kept as words and not counted, lists behind a colon, how bad in words, one finding that becomes another."""

from __future__ import annotations

import pytest

from pitwall.comments.changes import findings
from pitwall.comments.completing import completions
from pitwall.comments.shorthand import ShorthandError, Typed, parse
from pitwall.comments.topics import TOPICS
from pitwall.comments.writing import read_back, write_remark
from pitwall.model.comments import Comment
from tests.unit.comments_stage import said


def refused(typed: str) -> ShorthandError:
    """Why this cannot be read."""
    with pytest.raises(ShorthandError) as caught:
        parse(typed)
    return caught.value


def test_what_is_said_of_a_topic_is_kept_as_words() -> None:
    """Alone, behind a remark, and behind a comma; nothing in it is counted, and the rest of the comment is."""
    for form in (form for entry in TOPICS for form in entry.forms):
        typed = parse(f"{form} odd in t6")
        assert (typed.remarks, typed.text) == ((), f"{form} odd in t6")
    typed = parse("t6 exit os 2 tc too late, exit 3; diff too open on entry, t4 us")
    assert [write_remark(one) for one in typed.remarks] == ["t6 exit os 2", "t6 exit os 3", "t4 us"]
    assert typed.text == "t6 exit os 2 tc too late\ndiff too open on entry"


def test_no_remark_is_lost_in_words_that_are_kept() -> None:
    """A turn or a finding of a corner among them is refused where it stands: a comma makes it a remark."""
    assert refused("wind t8 us 2").word == "us"
    assert refused("tc too late, os 2").word == "os"
    assert refused("os tc too late t6").word == "t6"
    assert said("wind, t8 us 2") == said("wind: t8 us 2") == ["t8 us 2"]
    assert refused("tc too late, t4 mdi us").word == "mdi"


def test_what_is_said_of_a_setting_is_not_said_of_the_car() -> None:
    """``tc 4`` stands beside what the car does; what the traction control itself does is words."""
    assert said("tc 4 os t6") == ["t6 os"]
    assert said("tc 4 cuts in t6") == said("diff 5 locks on entry") == said("tc 4 too much in t6") == []
    assert said("bb 56 locking t1") == ["t1 lock"]
    assert said("map 2 surging t3 2") == ["t3 surge 2"], "what an engine does is the car's"
    assert said("arb 3 bottoming t9") == ["t9 bottoming"]


def test_what_is_kept_is_shown_as_words() -> None:
    """The typist sees what is counted, and what is not."""
    for typed, shown in (("tc too late", ('words, not counted: "tc too late"',)),
                         ("t4 us: windy", ("turn 4: understeer", 'words beside it: "windy"')),
                         ("t4 us", ("turn 4: understeer",))):
        comment = parse(typed)
        assert read_back(comment.remarks, comment.text) == shown


def test_topics_are_offered_and_nothing_behind_them() -> None:
    """With what they are for; in words that are kept no word of the shorthand is offered."""
    assert [one.word for one in completions("t4 us, diff")] == ["differential"]
    assert completions("tc too la") == completions("tc too late ") == ()


@pytest.mark.parametrize(("typed", "meant", "text"), [
    ("us: t2 3, t4 2: on the exit", ["t2 us 3", "t4 us 2"], "on the exit"),
    ("us: slow 3, fast 2", ["slow us 3", "fast us 2"], ""),
    ("us: everywhere", ["us"], ""),
    ("lock: front t1, rear t8 2", ["t1 front lock", "t8 rear lock 2"], ""),
    ("os exit 3: t5, t6", ["t5 exit os 3", "t6 exit os 3"], ""),
    ("os exit 3: t5, t6 low", ["exit os 3"], "t5, t6 low"),
    ("t4 us: entry 3, mid 2", ["t4 entry us 3", "t4 mid us 2"], ""),
    ("us: t2; os: t7 2", ["t2 us", "t7 os 2"], ""),
    ("us: slow, os: fast", ["slow us", "fast os"], ""),
    ("better: t4, t7", ["t4 balance better", "t7 balance better"], ""),
    ("balance: ok, tyres: fl hot 3", ["neutral", "front left hot 3"], ""),
    ("t4 us 3: exit os", ["t4 us 3"], "exit os"),
    ("us 3: t4 and slower", ["us 3"], "t4 and slower"),
])  # fmt: skip
def test_places_behind_a_finding_are_its_places(typed: str, meant: list[str], text: str) -> None:
    """What stands before the colon is said of each of them; anything but places is free text."""
    assert (said(typed), parse(typed).text) == (meant, text)


@pytest.mark.parametrize(("typed", "severity"), [
    ("t9 very bad snap", 4), ("very bad us t4", 4), ("t4 us pretty bad", 3), ("t4 us bad", 3), ("t4 very loose", 4),
    ("t4 quite loose", 3), ("terrible grip", 4), ("hardly any us t4", 1), ("t3 kerbs bad", None), ("bad grip", None),
    ("t4 very good", None), ("very slow corners us", None), ("t4 us not as bad", None), ("t4 us 2 bad", 2),
    ("grip up a lot", None),
])  # fmt: skip
def test_words_say_how_bad_it_is(typed: str, severity: int | None) -> None:
    """Beside a complaint; where the word makes the finding, or praises, it says nothing more."""
    assert parse(typed).remarks[0].severity == severity


def test_what_becomes_its_opposite_says_where() -> None:
    """At one place it would contradict itself: it is refused at the word, with the remedy, and that reads."""
    for typed in ("t4 os -> us", "t4 os then us", "t4 os into us", "t4 os becoming us"):
        assert refused(typed).word == "us"
        assert refused(typed).expected.startswith("in which part of the corner")
    assert said("t4 entry os -> mid us") == said("os entry turning to us mid t4") == ["t4 entry os", "t4 mid us"]


def test_what_became_good_in_one_breath_is_no_contradiction() -> None:
    """``cold, then ok`` of one comment is what happened; of two comments it is asked about."""
    def told(*typed: str) -> int:
        comments = [Comment(comment=at, t=100.0 * at, by="ann", run="run_1", driver="ines", remarks=parse(one).remarks)
                    for at, one in enumerate(typed, 1)]  # fmt: skip
        return len(findings(comments).contradictions)

    assert (told("brakes cold then ok"), told("brakes cold", "brakes good")) == (0, 1)


def test_a_sign_between_two_remarks_is_no_trend() -> None:
    """``+`` and ``-`` judge what they stand behind; before another place or finding they would be "and" or a dash."""
    assert said("grip + t4") == said("t4 grip +") == ["t4 grip better"]
    assert refused("t4 us + t5 us").word == "+"
    assert refused("t4 us - t5 2").word == "-"


def test_notes_may_begin_with_a_dash() -> None:
    """A bullet is no trend."""
    assert said("- t4 us 3\n* t7 os") == ["t4 us 3", "t7 os"]


def test_entry_to_exit_is_the_whole_corner() -> None:
    """The middle lies between them."""
    assert said("t4 us from entry to exit") == ["t4 entry us", "t4 mid us", "t4 exit us"]


def test_only_which_end_behind_a_comma_is_of_the_same_remark() -> None:
    """``lock t1, front`` is one remark; with a finding or a place of its own it is another."""
    assert said("lock t1, front 3") == ["t1 front lock 3"]
    assert said("slight us, all slow corners") == ["slow us 1"]
    assert said("front lock t1, rear 2") == ["t1 front lock", "t1 rear lock 2"]


def test_a_turn_behind_corner_phases_is_the_place_of_all_of_them() -> None:
    """``entry os, exit us, t4``; where a turn stands before them they have that one, and the finding goes on."""
    assert said("on entry os, on exit us, t4") == ["t4 entry os", "t4 exit us"]
    assert said("t9 us 3, exit os, t4") == ["t9 us 3", "t9 exit os", "t4 os"]


@pytest.mark.parametrize(("typed", "word"), [
    ("diff locked us entry", "us"), ("fuel low os exit", "os"), ("front arb softer less us", "us"),
])  # fmt: skip
def test_what_the_car_does_is_not_lost_among_words_of_a_topic(typed: str, word: str) -> None:
    """Without a turn, too; what he wishes and what a system does itself stay words."""
    with pytest.raises(ShorthandError) as caught:
        parse(typed)
    assert caught.value.word == word
    for kept in ("wants less us", "diff locking on entry", "throttle sticky"):
        assert parse(kept) == Typed((), kept)


@pytest.mark.parametrize(("typed", "word"), [
    ("better for us in t4", "us"), ("gives us more grip t4", "us"), ("it's over", "over"), ("cut the corner t4", "cut"),
    ("cuts the kerb t5", "cuts"), ("drop a wheel t4", "drop"), ("push this lap", "push"),
])  # fmt: skip
def test_words_of_every_day_that_are_no_finding_here(typed: str, word: str) -> None:
    """"Us" may be people, and a driver cuts a corner."""
    with pytest.raises(ShorthandError) as caught:
        parse(typed)
    assert (caught.value.word, caught.value.nearest) == (word, "")
    assert parse("grip is good, track is coming to us") == Typed(parse("grip good").remarks, "track is coming to us")
    assert said("still struggling with us t4") == ["t4 us same"]
