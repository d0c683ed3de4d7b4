"""The desk notes what the driver said: stamped, worded and tagged, of the right run and lap, and taken back."""

from __future__ import annotations

from typing import Any

import pytest
from pydantic import ValidationError

from pitwall.comments.changes import open_complaints
from pitwall.comments.matrix import all_said
from pitwall.engine.publish import SHOWN_COMMENTS
from pitwall.model.comments import Comment, Remark
from pitwall.model.outputs import CommentNoted, DeskState
from tests.unit.engine_stage import MAIN, SPARE, Stage, effect, plan, reason, setup, shipped

LONG = MAIN | {"laps": "out, 2 timed, cool, in"}
MID: dict[str, Any] = {"turn": 4, "phase": "mid", "what": "understeer", "severity": 3}


def on_the_out_lap() -> Stage:
    """Half a minute into the out-lap of a run with two timed laps, a cool-down lap and an in-lap."""
    return Stage(setup(plan(LONG, SPARE))).green().leave(200).wait(230)


def on_the_cool_lap() -> Stage:
    """Two timed laps are done, and the third is slow: sixty seconds into it."""
    stage = on_the_out_lap()
    t = stage.lap(200, 125, from_exit=True)
    for seconds in (100, 100):
        t = stage.lap(t, seconds)
    return stage.wait(t + 60)


def noted(stage: Stage) -> list[Comment]:
    """Every comment as it stands now."""
    return stage.car.comments.comments


def test_a_comment_is_of_the_lap_and_run_on_which_it_was_said() -> None:
    """Stamped with a moment of a lap that is over, it is of that lap, its kind, its run and its driver."""
    stage = on_the_cool_lap()
    stage.command("comment", text="pushes in the middle", t=370.0)
    stage.command("comment", text="better now")
    first, second = noted(stage)
    assert (first.t, first.run, first.lap_number, first.lap_kind, first.driver) == (370.0, "main", 2, "timed", "ines")
    assert first.lap == "timed lap 1"
    assert (second.run, second.lap_number, second.lap) == ("main", 4, "cool-down lap 1")
    assert first.because is not None
    assert first.because.startswith("fact-")


def test_a_line_that_is_entered_late_puts_comments_on_the_lap_of_their_moment() -> None:
    """Said when nobody had pressed the line yet: what was noted behind it belongs to the next lap, unless the desk gave
    it to a lap by name; taken back, all is as before. The debrief has the comment where its data are."""
    stage = on_the_out_lap()
    stage.wait(340)
    stage.command("comment", text="on the out-lap", t=300.0)
    stage.command("comment", text="pushes in the middle", t=335.0)
    stage.command("comment", text="of the out-lap, he says", t=336.0, lap=1)
    before = noted(stage)
    assert [one.lap_number for one in before] == [1, 1, 1]
    stage.command("cross", t=325.0)
    first, second, third = noted(stage)
    assert (first, third) == (before[0], before[2])
    assert (second.lap_number, second.lap, second.run, second.t) == (2, "timed lap 1", "main", 335.0)
    told = [one.comment for one in stage.made(CommentNoted) if one.comment.comment == 2]
    assert [one.lap_number for one in told] == [1, 2], "who listens hears of it"
    stage.command("undo")
    assert [one.lap_number for one in noted(stage)] == [1, 1, 1]


def test_in_the_garage_it_is_of_the_run_that_is_over() -> None:
    """The debrief in the car is of the run that was driven, and of no lap; before the first run, of none."""
    stage = Stage(setup(plan(LONG, SPARE))).green()
    stage.command("comment", text="the seat is hot")
    stage.leave(200)
    t = stage.lap(200, 125, from_exit=True)
    t = stage.home(stage.lap(stage.lap(stage.lap(t, 100), 100), 150))
    stage.wait(t + 60)
    stage.command("comment", text="all good")
    before, after = noted(stage)
    assert (before.run, before.lap_number, before.driver) == (None, None, "ines")
    assert (after.run, after.lap_number, after.lap, after.driver) == ("main", None, None, "ines")


def test_one_key_stamps_the_moment_and_the_words_come_later() -> None:
    """Without words the moment is noted; named by its number, it gets words, then remarks, and keeps its moment."""
    stage = on_the_cool_lap()
    assert effect(stage.command("comment", t=400.0)) == "comment 1 noted: its words are still to come"
    assert effect(stage.command("comment", comment=1, text="mid turn 4")) == "comment 1 completed"
    assert effect(stage.command("comment", comment=1, remarks=[MID], by="second")) == "comment 1 changed"
    (one,) = noted(stage)
    assert (one.t, one.text, one.by, one.tagged_by) == (400.0, "mid turn 4", "desk", "second")
    assert one.remarks == (Remark(**MID),)
    assert effect(stage.command("comment", comment=1, remarks=[MID], by="second")) == "comment 1 says so already"
    told = stage.made(CommentNoted)
    assert [one.comment.text for one in told] == ["", "mid turn 4", "mid turn 4"]
    assert [one.id for one in told] == ["comment-41-1.1", "comment-41-1.2", "comment-41-1.3"]


def test_the_desk_may_name_the_run_and_the_lap() -> None:
    """In the debrief a comment is of the run and the lap that the desk names, whenever it is made."""
    stage = on_the_cool_lap()
    stage.command("comment", remarks=[MID], run="main", lap=2)
    stage.command("comment", remarks=[MID])
    stage.command("comment", comment=2, lap=3)
    stage.command("comment", text="now", lap=4)
    stage.command("comment", text="as it left", lap=1)
    assert [(one.run, one.lap_number, one.lap_kind, one.lap) for one in noted(stage)] == [
        ("main", 2, "timed", "timed lap 1"), ("main", 3, "timed", "timed lap 2"),
        ("main", 4, "cool", "cool-down lap 1"), ("main", 1, "out", "out-lap"),
    ]  # fmt: skip
    assert reason(stage.command("comment", text="x", run="mian")).endswith("did you mean 'main'?")
    assert reason(stage.command("comment", text="x", lap=9)) == "run main has 4 laps so far: no lap 9"
    assert len(noted(stage)) == 4


def test_what_is_missing_is_named() -> None:
    """No comment of that number, blank words, or nothing to complete it with: refused with what to do."""
    stage = on_the_out_lap()
    assert reason(stage.command("comment", comment=3, text="x")) == "no comment 3 of car 41"
    stage.command("comment", text="windy")
    assert reason(stage.command("comment", comment=3, text="x")) == "no comment 3 of car 41 (the last are 1)"
    assert reason(stage.command("comment", comment=1)) == (
        "comment 1: give its words in 'text', or what it says in 'shorthand'")
    assert reason(stage.command("comment", comment=1, text=" ")) == "a comment needs its words in 'text'"


def test_a_comment_may_be_typed_in_shorthand() -> None:
    """Remarks and free text come of one field; a word that cannot be read is refused and nothing is noted. Turns are
    those of the circuit."""
    stage = on_the_cool_lap()
    assert effect(stage.command("comment", shorthand="t1 mid us 3: pushes wide", by="ann")) == "comment 1 noted"
    (one,) = noted(stage)
    assert (one.remarks, one.text, one.tagged_by) == ((Remark(**MID | {"turn": 1}),), "pushes wide", "ann")
    effect(stage.command("comment", comment=1, shorthand="t1 mid us 2"))
    assert (noted(stage)[0].remarks[0].severity, noted(stage)[0].text) == (2, "")
    assert reason(stage.command("comment", shorthand="t1 midd us")).endswith("did you mean 'mid'?")
    assert len(noted(stage)) == 1
    measured = Stage(shipped())
    last = max(shipped().circuit.turns)
    assert f"a turn from 1 to {last}" in reason(measured.command("comment", shorthand=f"t{last + 1} us"))
    assert reason(measured.command("comment", remarks=[MID | {"turn": last + 1}])) == (
        f"there is no turn {last + 1} at this circuit: its turns are 1 to {last}")


def test_shorthand_is_a_whole_comment() -> None:
    """It takes the place of remarks and free text, also where it has none of the one; the words of ``text`` beside it
    are the free text; ``text`` or ``remarks`` alone leave the other; ``undo`` brings both back."""
    stage = on_the_cool_lap()
    stage.command("comment")

    def completed(**given: Any) -> tuple[list[str], str]:
        effect(stage.command("comment", comment=1, **given))
        (one,) = noted(stage)
        assert (one.tagged_by is None) == (not one.remarks)
        return [str(remark.what) for remark in one.remarks], one.text

    assert completed(shorthand="t4 mid us 3, exit os 2: worse with wear") == (
        ["understeer", "oversteer"], "worse with wear")
    assert completed(shorthand="rears hot 4") == (["hot"], "")
    stage.command("undo")
    assert (len(noted(stage)[0].remarks), noted(stage)[0].text) == (2, "worse with wear")
    assert completed(text="on old tyres") == (["understeer", "oversteer"], "on old tyres")
    assert completed(remarks=[MID]) == (["understeer"], "on old tyres")
    assert completed(shorthand="fl lock t1", text="in the wind") == (["locking"], "in the wind")
    assert completed(shorthand=": nothing of it any more") == ([], "nothing of it any more")
    assert completed(shorthand="t1 us 2") == (["understeer"], "")
    answer = effect(stage.command("comment", comment=1, text="it wallows", shorthand="it wallows"))
    assert answer.startswith("comment 1 changed as words, not counted")
    assert (noted(stage)[0].remarks, noted(stage)[0].text) == ((), "it wallows")


def test_one_field_takes_shorthand_or_words() -> None:
    """The same in both fields: read and counted where it can be; else kept as words, and the answer says why."""
    stage = on_the_cool_lap()
    for typed in ("t4 mid us 3, exit os 2: on the second lap", "us t4 3", "t4 mid uss", "that wallows"):
        answers = stage.command("comment", text=typed, shorthand=typed)
        told = effect(answers)
    first, second, third, fourth = noted(stage)
    assert ([one.what for one in first.remarks], first.text) == (["understeer", "oversteer"], "on the second lap")
    assert (second.remarks, second.text) == ((Remark(turn=4, what="understeer", severity=3),), "")
    assert (third.remarks, third.text, fourth.text) == ((), "t4 mid uss", "that wallows")
    assert told == "comment 4 noted as words, not counted: word 2, 'wallows', is not of the shorthand"
    assert effect(stage.command("comment", comment=3, text="t4 mid us", shorthand="t4 mid us")) == "comment 3 changed"
    assert (len(noted(stage)[2].remarks), noted(stage)[2].text) == (1, "")


def test_numbers_count_only_what_is_accepted_so_another_reading_moves_them() -> None:
    """A refused line has no number. A journal whose lines were judged by other rules has other numbers in a replay, and
    what names a comment by its number is of another one then, or of none: both ways, as the guide says."""
    def replayed(*lines: str, completes: int) -> list[tuple[int, str | None, str]]:
        stage = on_the_out_lap()
        for typed in lines:
            stage.command("comment", shorthand=typed)
        stage.command("comment", comment=completes, text="since lap 4")
        return [(one.comment, one.remarks[0].what, one.text) for one in noted(stage)]

    refused_now = replayed("us t4 dissolved", "rears hot", "t9 os", completes=2)
    assert refused_now == [(1, "hot", ""), (2, "oversteer", "since lap 4")], "that day 2 was the hot rears"
    read_now = replayed("t4 us is really annoying", "t4 us 3", "rears hot", completes=2)
    assert read_now == [(1, "understeer", "t4 us is really annoying"), (2, "understeer", "since lap 4"), (3, "hot", "")]
    gone = replayed("us t4 dissolved", "rears hot", completes=2)
    assert gone == [(1, "hot", "")], "no comment 2: refused, and nothing is overwritten"


def test_an_undo_too_many_takes_no_comment_back() -> None:
    """What the driver said is noted, then an entry was wrong, and the key is pressed twice: the comment stays, the
    answer says so, and who means it names it. As the last thing that was entered it goes without a name."""
    stage = on_the_out_lap()
    stage.command("comment", text="understeer")
    stage.command("set_fuel", fuel_kg=20)
    assert "fuel" in effect(stage.command("undo"))
    assert reason(stage.command("undo")) == (
        "nothing that desk entered for car 41 is left to take back, but for comment=1: name it so; "
        "what was said was said")
    assert [one.text for one in noted(stage)] == ["understeer"]
    assert "nothing of comment 2 that desk entered" in reason(stage.command("undo", comment=2))
    assert "0 comments noted" in effect(stage.command("undo", comment=1))
    stage.command("set_fuel", fuel_kg=20)
    stage.command("comment", text="oversteer")
    assert "comment 2" in effect(stage.command("undo"))
    assert "fuel" in effect(stage.command("undo"))


def test_a_second_undo_takes_no_second_comment() -> None:
    """The key pressed once too often after a comment that was wrong: the one before it stays, and how it is named is
    told. What was changed of one and the same comment goes step by step."""
    stage = on_the_out_lap()
    stage.command("comment", text="understeer")
    stage.command("comment", text="oversteer")
    assert "comment 2" in effect(stage.command("undo"))
    assert "but for comment=1: name it so" in reason(stage.command("undo"))
    assert [one.text for one in noted(stage)] == ["understeer"]


def test_an_undo_of_a_name_that_nothing_was_entered_under_says_so() -> None:
    """A misspelt one has the nearest; of another one is told what there is."""
    stage = on_the_out_lap()
    stage.command("quiet")
    stage.command("set_fuel", fuel_kg=20)
    assert reason(stage.command("undo", of="quite")) == (
        "desk entered no 'quite' for car 41 that can be taken back: did you mean 'quiet'?")
    assert reason(stage.command("undo", of="nothing")) == (
        "desk entered no 'nothing' for car 41 that can be taken back (there are: quiet, set_fuel)")


def test_an_undo_passes_over_the_comments_between_two_wrong_entries() -> None:
    """Both entries go, one after the other, and what was noted between them stays."""
    stage = on_the_out_lap()
    stage.command("set_fuel", fuel_kg=20)
    stage.command("comment", text="understeer")
    stage.command("set_tyres", tyres="B9", tyre_laps=3)
    assert "tyres" in effect(stage.command("undo"))
    assert "fuel" in effect(stage.command("undo"))
    assert [one.text for one in noted(stage)] == ["understeer"]


def test_undo_takes_a_comment_back_and_a_change_of_one() -> None:
    """The last first, each by its own hand; the number is not given again, and the wire is told that it is gone."""
    stage = on_the_out_lap()
    stage.command("comment", text="understeer")
    stage.command("comment", comment=1, text="oversteer")
    assert "comment 1 is as before" in effect(stage.command("undo"))
    assert [one.text for one in noted(stage)] == ["understeer"]
    assert "0 comments noted" in effect(stage.command("undo"))
    assert noted(stage) == []
    assert [(one.comment.text, one.taken_back) for one in stage.made(CommentNoted)] == [
        ("understeer", False), ("oversteer", False), ("understeer", False), ("understeer", True),
    ]  # fmt: skip
    assert effect(stage.command("comment", text="again")) == "comment 2 noted"


def test_the_desk_state_shows_the_latest() -> None:
    """The newest dozen, oldest first, with their numbers."""
    stage = on_the_out_lap()
    for number in range(SHOWN_COMMENTS + 3):
        stage.command("comment", text=f"remark {number + 1}")
    stage.wait(stage.now + 6)
    shown = stage.made(DeskState)[-1].comments
    assert [one.comment for one in shown] == list(range(4, SHOWN_COMMENTS + 4))


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"turn": 4}, "says nothing"),
        ({"about": "tyres", "what": "understeer"}, "understeer of tyres"),
        ({"what": "understeer", "severity": 6}, "less than or equal to 5"),
        ({"what": "push"}, "Input should be"),
    ],
)
def test_a_remark_must_make_sense(values: dict[str, Any], words: str) -> None:
    """It says something, of a subject of which that can be found; severity goes from one to five."""
    with pytest.raises(ValidationError, match=words):
        Remark(**values)


def test_what_is_a_complaint() -> None:
    """Anything but praise: somebody has to do something about it."""
    assert Remark(**MID).complaint
    assert Remark(turn=4, trend="worse").complaint
    assert not Remark(what="neutral").complaint
    assert not Remark(turn=4, trend="better").complaint


def test_what_is_gone_everywhere_is_told_with_what_it_closes() -> None:
    """Said without a place it is of the whole car: the answer says which places are no longer open for that."""
    stage = on_the_cool_lap()
    stage.command("comment", shorthand="t4 us 4; t1 us 2; t7 os 2")
    closing, again = (stage.command("comment", shorthand=typed) for typed in ("us gone everywhere", "us gone"))
    assert effect(closing) == "comment 2 noted: gone everywhere, so it is no longer open for turn 4, turn 1"
    assert effect(again) == "comment 3 noted", "nothing was open"


def test_the_line_is_kept_as_it_was_typed() -> None:
    """Whatever was read of it: with what the debrief prints, and beside words that were given on their own. A line that
    takes its place takes it here, too."""
    stage, typed = on_the_cool_lap(), "front end washes out mid 7, quite bad"
    stage.command("comment", shorthand=typed)
    stage.command("comment", shorthand="t1 us 3: in the wind", text="pushes in the wind")
    stage.command("comment", text="it was fine")
    stage.command("comment", text="that wallows", shorthand="that wallows")
    stage.command("comment", comment=3, shorthand=" t4 os ")
    assert [one.typed for one in noted(stage)] == [typed, "t1 us 3: in the wind", "t4 os", "that wallows"]
    assert [one.spoken for one in noted(stage)] == [
        typed, "pushes in the wind\nt1 us 3: in the wind", "t4 os", "that wallows"]
    assert [one.text for one in all_said(noted(stage))][:2] == [typed, "pushes in the wind\nt1 us 3: in the wind"]


def test_two_complaints_of_one_breath_are_both_open() -> None:
    """Also where both are of one thing, as the brakes; what is said of it later takes the place of both, and what is
    gone that of its own."""
    stage = on_the_cool_lap()

    def still() -> list[str]:
        return [one.words for one in open_complaints(all_said(noted(stage)))]

    stage.command("comment", shorthand="brakes are fading, pedal gets longer")
    assert still() == ["braking weak", "long pedal"]
    stage.command("comment", shorthand="long pedal gone")
    assert still() == ["braking weak"]
    stage.command("comment", shorthand="brakes cold, then ok")
    assert still() == []
