"""Comments that are missing are asked for: on a cool-down lap or on the way in, once, and not when they came."""

from __future__ import annotations

from typing import Any

import pytest

from pitwall.comments.wanted import missing
from pitwall.engine.rules.box import REMIND_FROM_S
from pitwall.engine.rules.questions import ANSWER_S
from pitwall.model.comments import Comment, Remark
from pitwall.model.procedure import Procedure
from tests.unit.engine_stage import MAIN, PROCEDURES, SPARE, Stage, effect, plan, setup

LONG = MAIN | {"laps": "out, 2 timed, cool, 1 timed, in", "feedback": ["tyres", "balance"]}


def on_the_cool_lap(run: dict[str, Any] | None = None, procedures: dict[str, Procedure] | None = None,
                    **more: Any) -> Stage:  # fmt: skip
    """Two timed laps of the run are done, and a few seconds of its cool-down lap."""
    prepared = setup(plan(LONG | (run or {}), SPARE, **more), procedures=PROCEDURES | (procedures or {}))
    stage = Stage(prepared).green().leave(200)
    t = stage.lap(200, 125, from_exit=True)
    for seconds in (100, 100):
        t = stage.lap(t, seconds)
    return stage.wait(t + 5)


def asked(stage: Stage) -> list[tuple[str, str]]:
    """Text and state of each call that asks for comments."""
    calls = stage.car.book.calls.values()
    return [(call.spec.text, call.state) for call in calls if call.spec.key.endswith("feedback")]


def test_what_nobody_commented_on_is_asked_on_the_cool_down_lap() -> None:
    """One call for all that is missing, of the kind question and of its low priority, past the first corners."""
    stage = on_the_cool_lap()
    assert asked(stage) == [("Comment please on tyres and balance.", "shown")]
    call = stage.call("feedback")
    assert (call.spec.kind, call.spec.run, call.spec.short) == ("question", "main", "Comment: tyres, balance")
    assert call.prompt(stage.now).priority == 20
    assert call.spec.say_from_s >= 525 + 20
    assert call.spec.say_by_s + call.spec.spoken_s <= 525 + 0.8 * 160


def test_a_comment_that_came_is_not_asked_for() -> None:
    """Tagged or in plain words, of this run: what is left is asked, and with nothing left the call goes."""
    stage = on_the_cool_lap()
    stage.command("comment", remarks=[{"about": "tyres", "what": "hot"}])
    stage.wait(stage.now + 1)
    assert asked(stage) == [("Comment please on balance.", "shown")]
    stage.command("comment", text="Understeer in the middle of four")
    stage.wait(stage.now + 1)
    assert [state for _, state in asked(stage)] == ["withdrawn"]


def test_what_was_asked_is_not_asked_again() -> None:
    """Said on the cool-down lap: nothing more on the way in; what comes up later is asked for there."""
    stage = on_the_cool_lap()
    stage.wait(stage.call("feedback").spec.say_from_s + 1)
    effect(stage.command("said", call=stage.call("feedback").id))
    t = stage.lap(525, 160)
    t = stage.lap(t, 100)
    stage.wait(t + 30)
    assert len(asked(stage)) == 1


def test_unsaid_it_comes_back_on_the_way_in_and_never_on_a_timed_lap() -> None:
    """Withdrawn or passed on the cool-down lap, it stands there again on the in-lap, not between."""
    stage = on_the_cool_lap()
    stage.command("quiet")
    t = stage.lap(525, 160)
    stage.command("quiet")
    stage.wait(t + 50)
    assert [state for _, state in asked(stage)] == ["withdrawn"]
    t = stage.lap(t, 100)
    stage.wait(t + 15)
    assert asked(stage)[1:] == [("Comment please on tyres and balance.", "shown")]
    call = stage.call("feedback")
    assert call.spec.lap == "in-lap"
    again = next(one for one in stage.car.book.calls.values() if one.spec.key.endswith("-again") and one.open)
    assert again.spec.act_at_s is not None
    assert call.spec.say_by_s + call.spec.spoken_s + ANSWER_S <= again.spec.act_at_s - REMIND_FROM_S + 0.5


def test_a_run_that_is_resumed_is_not_asked_again() -> None:
    """Asked on its first leaving; after a red flag the car goes on with the run, and the same stays unasked."""
    stage = on_the_cool_lap()
    stage.wait(stage.call("feedback").spec.say_from_s + 1)
    effect(stage.command("said", call=stage.call("feedback").id))
    stage.status(580, "red")
    stage.home(525, 160)
    stage.status(800, "green", pit_exit="open")
    stage.leave(1000)
    stage.wait(stage.lap(stage.lap(1000, 125, from_exit=True), 100) + 30)
    assert stage.car.progress.runs[0].leavings == 2
    assert len(asked(stage)) == 1


@pytest.mark.parametrize("state", ["unconfirmed", "skipped", "said"])
def test_what_may_have_been_asked_counts(state: str) -> None:
    """Nobody presses keys on every wall: a call whose time went by, or that was skipped, is not made again."""
    stage = on_the_cool_lap()
    stage.call("feedback").state = state  # type: ignore[assignment]  # one of the table's
    t = stage.lap(stage.lap(525, 160), 100)
    stage.wait(t + 30)
    assert len(asked(stage)) == 1


def test_an_item_that_asks_itself_is_enough() -> None:
    """Where the plan has a question that names it, that is the question; what it does not name is asked."""
    of_tyres = Procedure.model_validate({
        "procedure": 1, "name": "of_tyres", "purpose": "test", "laps": ["cool", "in"],
        "steps": [{"say": "Comment please on the rear tyres.", "short": "Comment", "kind": "question",
                   "where": "lap_start", "offset_s": 14, "reaction_s": 2}],
    })  # fmt: skip
    stage = on_the_cool_lap({"items": [{"do": "of_tyres", "on": "in"}]}, {"of_tyres": of_tyres})
    assert asked(stage) == [("Comment please on balance.", "shown")]


def test_a_procedure_may_want_a_comment_once_it_was_done() -> None:
    """Its wish counts when it was told; that of an item on a lap ahead does not."""
    flap = PROCEDURES["flap_lap"].model_copy(update={"feedback": ("traction",)})
    bias = PROCEDURES["set_one"].model_copy(update={"feedback": ("braking",)})
    items = [{"do": "flap_lap", "on": {"timed": 2}},
             {"do": "set_one", "on": {"timed": 3}, "with": {"switch": "brake_bias", "position": 55}}]  # fmt: skip
    stage = on_the_cool_lap({"items": items, "feedback": []}, {"flap_lap": flap, "set_one": bias})
    states = {item.item.do: item.state for item in stage.car.progress.runs[0].items}
    expected = [("Comment please on traction.", "shown")] if states["flap_lap"] in ("called", "probably_done") else []
    assert asked(stage) == expected
    assert expected, states


def test_quiet_rules_and_media_hold() -> None:
    """Where questions may not be spoken, on a board, and one way: nothing is asked. Under quiet neither."""
    assert asked(on_the_cool_lap(quiet={"timed": [], "cool": ["session"], "in": ["session"]})) == []
    for medium in ("one_way", "board"):
        assert asked(on_the_cool_lap(medium=medium)) == []
    stage = on_the_cool_lap()
    stage.command("quiet")
    stage.wait(stage.now + 1)
    assert [state for _, state in asked(stage)] == ["withdrawn"]


def test_a_red_flag_silences_it() -> None:
    """In an interruption less is said."""
    stage = on_the_cool_lap()
    stage.status(stage.now + 1, "red")
    stage.wait(stage.now + 5)
    assert [state for _, state in asked(stage)] == ["withdrawn"]


def test_nothing_is_asked_before_anything_was_driven() -> None:
    """A cool-down lap right after the out-lap has nothing to comment on."""
    stage = Stage(setup(plan(LONG | {"laps": "out, cool, 1 timed, in"}, SPARE))).green().leave(200)
    stage.wait(stage.lap(200, 125, from_exit=True) + 40)
    assert asked(stage) == []


def test_what_counts_as_a_comment() -> None:
    """A remark of the subject, or words that are of it alone; each subject once, as wanted."""
    told = [Comment(t=1, by="ann", text="it was windy, over the line"), Comment(t=2, by="ann", text="Rear TYRES gone."),
            Comment(t=3, by="ann", remarks=(Remark(about="ride", what="bottoming"),))]  # fmt: skip
    assert missing(("balance", "tyres", "ride", "balance", "grip"), told) == ("balance", "grip")
    assert missing(("balance",), [Comment(t=1, by="ann", text="pushes in four")]) == ()
