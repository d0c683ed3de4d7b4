"""Answers owed to the driver: noted with a key, called for in the next free window until answered, dropped or old."""

from __future__ import annotations

from typing import Any, ClassVar

import pytest

from pitwall.engine.call import Call
from pitwall.engine.owed import MOST_OPEN, OLD_S
from pitwall.engine.session import Session
from pitwall.engine.view import situation
from pitwall.model.events import Event, SessionPrepared, Stamped
from pitwall.model.outputs import Alert, DeskState, OpenQuestion, Output
from tests.unit.engine_stage import LAP_S, MAIN, SPARE, Stage, effect, plan, reason, setup, shipped

LONG = MAIN | {"laps": "out, 2 timed, cool, in"}


def on_the_out_lap(**more: Any) -> Stage:
    """Half a minute into the out-lap of a run with two timed laps, a cool-down lap and an in-lap."""
    return Stage(setup(plan(LONG, SPARE, **more))).green().leave(200).wait(230)


def newest(stage: Stage) -> Call:
    """The latest call for an answer: called for again, it is another call."""
    return [call for call in stage.car.book.calls.values() if call.spec.kind == "answer"][-1]


def shown(stage: Stage) -> tuple[OpenQuestion, ...]:
    """The open questions on the newest desk state."""
    stage.wait(stage.now + 6)
    return stage.made(DeskState)[-1].questions


def test_a_question_is_called_for_at_once_where_answers_may_be_given() -> None:
    """Asked on the out-lap, where everything may be said: the answer stands there with the words of the question, to be
    given in a few seconds, as soon as the channel is free."""
    stage = on_the_out_lap()
    assert effect(stage.command("asked", text="  is anybody\n behind? ")) == (
        "question 1 of 3:50 (is anybody behind?) noted: the driver waits for an answer"
    )
    call = stage.call("answer-1")
    assert (call.spec.kind, call.spec.text) == ("answer", "Answer the driver: is anybody behind?")
    assert call.state in ("shown", "due")
    assert call.spec.say_from_s <= stage.now + 10
    assert shown(stage) == (OpenQuestion(question=1, asked_s=230.0, by="desk", text="is anybody behind?"),)


def test_on_a_timed_lap_the_answer_waits_for_a_lap_on_which_it_may_be_given() -> None:
    """The quiet rule holds for answers: asked on the first timed lap, it is planned for the cool-down lap."""
    stage = on_the_out_lap()
    stage.lap(200, 125, from_exit=True)
    stage.wait(330)
    stage.command("asked")
    call = stage.call("answer-1")
    cool = next(leg for leg in stage.car.legs if leg.kind == "cool")
    assert call.state == "planned"
    assert call.spec.text == "Answer what the driver asked at 5:30."
    assert cool.start_s <= call.spec.say_from_s < call.spec.say_by_s <= cool.end_s
    t = stage.lap(stage.lap(325, LAP_S), LAP_S)
    stage.wait(t + 20)
    assert call.state == "due"


def test_a_driver_who_wants_answers_on_timed_laps_gets_them_there() -> None:
    """A quiet profile that names answers lets them be given on a timed lap."""
    stage = on_the_out_lap(quiet={"timed": ["session", "safety", "box", "answer"]})
    stage.lap(200, 125, from_exit=True)
    stage.wait(330)
    stage.command("asked")
    assert stage.call("answer-1").state == "due"


def test_on_a_measured_circuit_the_answer_goes_into_a_listening_stretch() -> None:
    """With a speed profile the window lies within a stretch on which the driver can listen, and ends so early that a
    sentence ends in it."""
    stage = Stage(shipped()).green()
    stage.leave(200)
    stage.wait(232)
    stage.command("asked", text="how are the tyres?")
    spec = stage.call("answer-1").spec
    at = situation(stage.car, stage.session.clock, stage.now)
    leg = at.legs[0]
    stretches = at.stretches((leg,))
    assert stretches is not None
    assert any(begin <= spec.say_from_s and spec.say_by_s + spec.spoken_s <= end + 1e-6 for begin, end in stretches)


@pytest.mark.parametrize("word", ["said", "answered"])
def test_a_key_closes_the_question(word: str) -> None:
    """Said on its call, or answered without naming anything: the call is said, and no answer is owed any more."""
    stage = on_the_out_lap()
    stage.command("asked")
    call = stage.call("answer-1")
    effect(stage.command(word, call=call.id) if word == "said" else stage.command(word))
    assert (call.state, call.said_by) == ("said", "desk")
    assert shown(stage) == ()
    assert effect(stage.command("answered", by="second")) == "question 1 of 3:50 is answered already, by desk"


def test_an_answer_that_nobody_gives_is_called_for_again_and_again() -> None:
    """The window of the out-lap goes by without a word, timed laps follow, and on the cool-down lap it is due once
    more: the question stays on the desk all the while."""
    stage = on_the_out_lap()
    stage.command("asked", text="pit stop practice?")
    t = stage.lap(stage.lap(stage.lap(200, 125, from_exit=True), LAP_S), LAP_S)
    assert [one.question for one in shown(stage)] == [1]
    stage.wait(t + 20)
    assert newest(stage).state == "due"


def test_in_the_garage_it_is_due_as_soon_as_the_car_stands() -> None:
    """Asked on the in-lap and not answered before the pits, the answer is due in the garage."""
    stage = Stage(setup(plan(MAIN, SPARE, quiet={"in": [], "timed": []}))).green()
    t = stage.drive(200, 125, LAP_S, LAP_S)
    stage.wait(t + 10)
    stage.command("asked")
    assert stage.call("answer-1").state == "planned"
    stage.home(t)
    stage.wait(stage.now + 90)
    assert stage.call("answer-1").state == "due"
    stage.wait(stage.now + 300)
    assert stage.call("answer-1").state == "due"


def test_a_driver_who_waits_long_is_a_low_alert_and_a_caution() -> None:
    """After three minutes the alert says who waits and for what, the call says since when; answered, the alert ends."""
    stage = on_the_out_lap()
    stage.lap(200, 125, from_exit=True)
    stage.wait(330)
    stage.command("asked", text="gap behind?")
    stage.wait(330 + OLD_S - 6)
    assert not [one for one in stage.made(Alert) if one.kind == "answer_owed"]
    stage.cross(425)
    stage.wait(330 + OLD_S + 6)
    (raised,) = [one for one in stage.made(Alert) if one.kind == "answer_owed"]
    assert (raised.priority, raised.text) == (
        "low", "The driver still waits for the answer to question 1 of 5:30 (gap behind?)")  # fmt: skip
    assert stage.call("answer-1").spec.caution == "The driver has waited since 5:30"
    stage.command("answered")
    stage.wait(stage.now + 6)
    assert [one.active for one in stage.made(Alert) if one.kind == "answer_owed"] == [True, False]


def test_two_seats_that_hear_the_same_question_note_one() -> None:
    """A second hand within a few seconds is told that it is noted; its words are kept if the first had none. Later,
    or with other words, it is another question."""
    stage = on_the_out_lap()
    stage.command("asked", by="ann")
    assert effect(stage.command("asked", by="ben", text="gap?")) == "question 1 of 3:50 (gap?) is noted already, by ann"
    assert "question 2" in effect(stage.command("asked", by="ben", text="tyres?"))
    stage.wait(stage.now + 20)
    assert "question 3" in effect(stage.command("asked", by="ann"))
    assert [one.text for one in shown(stage)] == ["gap?", "tyres?", None]


def test_the_question_that_waits_longest_is_answered_first() -> None:
    """Without a number it is the oldest, with one the one that is named; what is left over is told."""
    stage = on_the_out_lap()
    for text in ("gap?", "tyres?", "fuel?"):
        stage.command("asked", text=text)
    assert effect(stage.command("answered", question=2)) == "question 2 of 3:50 (tyres?) answered; 2 more open"
    assert effect(stage.command("answered")) == "question 1 of 3:50 (gap?) answered; 1 more open"
    assert reason(stage.command("answered", question=9)) == "no question 9 of car 41; open are: 3"


def test_two_open_questions_are_not_due_at_the_same_moment() -> None:
    """The channel takes one answer at a time, the longest waiting first."""
    stage = on_the_out_lap()
    stage.command("asked", text="gap?")
    stage.command("asked", text="tyres?")
    first, second = stage.call("answer-1").spec, stage.call("answer-2").spec
    assert first.say_by_s + first.spoken_s <= second.say_from_s


def test_skip_drops_the_question_and_undo_brings_it_back() -> None:
    """An answer that is skipped is owed no more; the skip taken back, the driver waits again."""
    stage = on_the_out_lap()
    stage.command("asked")
    stage.command("skip", call=stage.call("answer-1").id)
    assert shown(stage) == ()
    effect(stage.command("undo"))
    assert [one.question for one in shown(stage)] == [1]
    assert newest(stage).open


def test_both_words_can_be_taken_back() -> None:
    """Answered taken back: the driver waits again, under a new call. Asked taken back: nobody waits."""
    stage = on_the_out_lap()
    stage.command("asked")
    stage.command("answered")
    assert effect(stage.command("undo")) == (
        "taken back: answer to question 1 of 3:50; the driver waits for it again"
    )
    stage.wait(stage.now + 1)
    assert newest(stage).open
    assert effect(stage.command("undo")) == "taken back: question 1 of 3:50; 0 questions open"
    assert shown(stage) == ()
    assert not newest(stage).open
    assert reason(stage.command("answered")) == (
        "no answer is owed to the driver of car 41; 'asked' notes a question"
    )


def test_quiet_holds_the_answer_back_and_does_not_forget_it() -> None:
    """With quiet on nothing but session, safety and box calls is due; with quiet over the answer is called for."""
    stage = on_the_out_lap()
    stage.command("asked")
    stage.command("quiet")
    assert not stage.call("answer-1").open
    assert [one.question for one in shown(stage)] == [1]
    stage.command("quiet")
    assert newest(stage).open


def test_under_red_nothing_is_answered_on_track() -> None:
    """In an interruption less is said: the answer is withdrawn for the red flag and due again in the pits."""
    stage = on_the_out_lap()
    stage.command("asked")
    stage.status(235, "red")
    assert (stage.call("answer-1").state, stage.call("answer-1").reason) == ("withdrawn", "red flag")
    stage.home(200, from_exit=True)
    stage.wait(stage.now + 90)
    assert stage.call("answer-1").state == "due"


def test_no_more_questions_are_taken_than_anybody_can_answer() -> None:
    """A key that is stuck fills nothing: after twelve open questions the next is refused with what to do."""
    stage = on_the_out_lap()
    for number in range(MOST_OPEN):
        stage.command("asked", text=f"question {number}")
    assert reason(stage.command("asked", text="one more")) == (
        f"{MOST_OPEN} questions are open already: answer or skip one first"
    )


def test_who_takes_the_radio_over_hears_what_the_driver_waits_for() -> None:
    """The hand-over names the open questions."""
    stage = on_the_out_lap()
    stage.command("asked", text="gap?")
    stage.wait(260)
    stage.command("asked")
    told = effect(stage.command("take_over", by="ben"))
    assert "The driver waits for an answer: gap?; what was asked at 4:20." in told


def test_a_long_question_is_shown_in_one_line() -> None:
    """What somebody typed in full is cut for the prompt."""
    stage = on_the_out_lap()
    stage.command("asked", text="why " * 100)
    (one,) = shown(stage)
    assert one.text is not None
    assert len(one.text) == 80
    assert one.text.endswith("…")


def test_a_restarted_daemon_knows_what_the_driver_waits_for() -> None:
    """The journal holds the commands: an engine that is given the same facts has the same open questions and calls."""
    stage = _Kept(setup(plan(LONG, SPARE))).green().leave(200).wait(230)
    for text in ("gap?", "tyres?", "fuel?"):
        stage.command("asked", text=text)
    stage.command("answered", question=2)
    stage.wait(300)
    again = Session()
    for one in _Kept.stamped:
        again.handle(one)
    (desk,) = [one for one in again.standing() if isinstance(one, DeskState)]
    assert [one.text for one in desk.questions] == ["gap?", "fuel?"]
    assert desk.questions == stage.car.owed.shown()
    assert {call.call for call in desk.prompts if call.kind == "answer"} == {
        call.id for call in stage.car.book.outstanding() if call.spec.kind == "answer"}  # fmt: skip


class _Kept(Stage):
    """A stage that keeps its journal."""

    stamped: ClassVar[list[Stamped]] = []

    def handle(self, event: Event) -> tuple[Output, ...]:
        """Give one fact, and keep it."""
        if isinstance(event, SessionPrepared):
            _Kept.stamped.clear()
        _Kept.stamped.append(Stamped(seq=len(_Kept.stamped), received_t=self.now, event=event))
        return super().handle(event)
