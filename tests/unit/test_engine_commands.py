"""What the desk may ask for: effects, refusals with their reasons, and "already" for the second hand."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from pitwall.engine.run_state import run_progress
from pitwall.engine.taking_back import OF_CALLS, before, note
from pitwall.model.events import CommandGiven
from pitwall.model.outputs import Alert, Answered, ForecastWanted, Prompt
from tests.unit.engine_stage import CAR, CHECKS, MAIN, SPARE, Stage, effect, plan, reason, setup

HOLD = {"do": "hold", "on": ["out", "in"], "after": "bridge"}
RUN = MAIN | {"laps": "out, 3 timed, in", "items": [HOLD]}


def garage() -> Stage:
    """The car in its garage under green."""
    return Stage(setup(plan(RUN, SPARE))).green().wait(60)


def on_track() -> Stage:
    """The car on its out-lap, the hold's call shown."""
    return Stage(setup(plan(RUN, SPARE))).green().leave(200).wait(225)


# -- on calls ----------------------------------------------------------------------------------------------------------


def test_said_and_said_again() -> None:
    """The call named is said, with the command behind it; the second seat hears who was first."""
    stage = on_track()
    call = stage.call("hold-0-1-0-0")
    stage.wait(call.spec.say_from_s + 1)
    answer = stage.command("said", call=call.id, by="wall")
    assert effect(answer) == f"{call.id} said"
    assert stage.made(Prompt)[-1].because == answer.because
    assert effect(stage.command("said", call=call.id, by="garage")) == f"{call.id} is said already, by wall"


def test_a_bare_said_means_the_most_urgent_call() -> None:
    """Without a name the due call of most weight is meant; with nothing on the stack it is refused."""
    stage = on_track()
    due = stage.car.book.due_first()
    assert due is not None
    assert effect(stage.command("said")).startswith(due.id)
    empty = Stage(setup(plan(RUN)), begin=-900).wait(-800)
    assert reason(empty.command("said")) == (
        "no call is due; name one in 'call' (there are: 41-main-1-hold-0-1-0-0)")
    assert reason(empty.command("said", call="41-nothing")) == (
        "no call '41-nothing' for car 41 (there are: 41-main-1-hold-0-1-0-0)"
    )
    assert "did you mean" not in reason(empty.command("said", call="41-main-1-brief")), "all ids look alike"


def test_said_long_after_is_late() -> None:
    """The key comes after the sentence; well past both it was late."""
    stage = on_track()
    call = stage.call("hold-0-1-0-0")
    stage.wait(call.spec.say_by_s + 30)
    assert call.state == "unconfirmed"
    assert effect(stage.command("said", call=call.id)) == f"{call.id} said late"
    assert stage.made(Prompt)[-1].state == "late"


def test_the_key_pressed_in_time_that_arrives_late_was_in_time() -> None:
    """A command's own time counts, not that of its arrival."""
    stage = on_track()
    call = stage.call("hold-0-1-0-0")
    stage.wait(call.spec.say_by_s + 30)
    assert effect(stage.command("said", call.spec.say_by_s, call=call.id)) == f"{call.id} said"


def test_what_left_the_stack_while_it_was_spoken_is_noted() -> None:
    """Withdrawn a moment ago: the answer says so, and the word is on record."""
    stage = on_track()
    call = stage.call("hold-0-1-0-0")
    stage.status(226, "red")
    for command in ("said", "confirm"):
        assert effect(stage.command(command, call=call.id)) == f"noted; {call.id} was withdrawn: red flag"
    assert call.said_by == "desk"


def test_skip() -> None:
    """Skipped once, already skipped the second time, and not after it was said."""
    stage = on_track()
    call = stage.call("hold-0-1-0-0")
    assert effect(stage.command("skip", call=call.id)) == f"{call.id} skipped"
    assert effect(stage.command("skip", call=call.id)) == f"{call.id} is skipped already"
    assert stage.car.progress.runs[0].items[0].state == "not_done"
    other = stage.call("run-laps")
    stage.command("said", call=other.id)
    assert reason(stage.command("skip", call=other.id)) == f"{other.id} is said: it cannot be skipped any more"


def test_defer() -> None:
    """Put off where it can wait; box and session calls never; nor what is over."""
    stage = on_track()
    call = stage.call("run-laps")
    before = call.spec.say_by_s
    assert "deferred by" in effect(stage.command("defer", call=call.id))
    assert call.spec.say_by_s > before
    stage.status(226, "yellow")
    assert reason(stage.command("defer", call=stage.call("-yellow").id)) == (
        "a session call cannot be deferred; skip it, or change the plan"
    )
    stage.command("skip", call=call.id)
    assert reason(stage.command("defer", call=call.id)) == f"{call.id} is skipped: it cannot be deferred any more"


def test_repeat() -> None:
    """Due again for a while after it was said; open calls are still to be said; withdrawn ones are not repeated."""
    stage = on_track()
    call = stage.call("run-laps")
    stage.wait(call.spec.say_from_s + 1)
    assert effect(stage.command("repeat", call=call.id)) == f"{call.id} is due: still to be said"
    stage.command("said", call=call.id)
    stage.wait(stage.now + 20)
    assert effect(stage.command("repeat", call=call.id)) == f"{call.id} is due again"
    stage.wait(stage.now + 5)
    assert call.state == "due"
    assert effect(stage.command("said", call=call.id)) == f"{call.id} said"
    stage.command("skip", call=stage.call("hold-0-1-0-0").id)
    assert "it cannot be repeated" in reason(stage.command("repeat", call=stage.call("hold-0-1-0-0").id))


@pytest.mark.parametrize("command", OF_CALLS)
@pytest.mark.parametrize("scene", [garage, on_track])
def test_what_is_commanded_of_a_call_changes_no_plan(command: str, scene: Callable[[], Stage]) -> None:
    """So what was believed before it need not be kept: whatever call it is of, plan, quiet and keep-in stand."""
    known = [call.id for call in scene().car.book.calls.values()]
    for call in known:
        stage = scene()
        car = stage.car
        before = car.plan, car.progress.revision, car.quiet, car.kept_in
        for _ in range(2):
            stage.command(command, call=call)
        assert (car.plan, car.progress.revision, car.quiet, car.kept_in) == before
    assert len(known) > 1


def test_a_box_call_is_not_repeated_past_the_last_place() -> None:
    """The one thing that must not be said then."""
    stage = Stage(setup(plan(MAIN | {"laps": "out, 1 timed, in"}))).green()
    t = stage.drive(200, 125, 100)
    stage.wait(t + 112)
    call = stage.call("main-box-1-0-again")
    assert reason(stage.command("repeat", call=call.id)).startswith("too late for the pit entry")


def test_confirm() -> None:
    """The last call that was said is meant; what it asked for is known to be so; twice is once."""
    empty = Stage(setup(plan(RUN)), begin=-900).wait(-800)
    assert "nothing was said" in reason(empty.command("confirm"))
    stage = on_track()
    call = stage.call("hold-0-1-0-0")
    stage.command("said", call=call.id)
    assert effect(stage.command("confirm")) == f"{call.id} confirmed"
    assert (call.state, call.confirmed) == ("done", True)
    assert effect(stage.command("confirm", call=call.id)) == f"{call.id} is done already"


def test_quiet_is_a_toggle() -> None:
    """On and off again, in words."""
    stage = on_track()
    assert effect(stage.command("quiet")) == "quiet: session, safety and box calls only"
    assert effect(stage.command("quiet")) == "quiet is over: all calls again"


# -- on the plan -------------------------------------------------------------------------------------------------------


def test_box() -> None:
    """This lap becomes the in-lap, once; not from the garage, and not on a lap that the plan knows nothing of."""
    assert reason(garage().command("box")) == "car 41 is not on track"
    stage = on_track()
    stage.lap(200, 125, from_exit=True)
    asked = len(stage.made(ForecastWanted))
    assert effect(stage.command("box", 330)) == "main: box this lap"
    assert len(stage.made(ForecastWanted)) == asked + 1, "a changed plan asks the forecast anew"
    assert effect(stage.command("box", 331)) == "car 41 is to box this lap already"
    assert stage.car.track.lap_kind == "in"
    lone = Stage(setup(plan(CHECKS))).green().leave(100)
    lone.pit(220, "entry")
    lone.leave(500)
    assert "on no run of the plan" in reason(lone.command("box"))


def test_extend_and_shorten() -> None:
    """The current run, or the next, or the one named; by one lap or by ``laps``."""
    stage = garage()
    assert effect(stage.command("extend")) == "run main: now 4 timed laps"
    assert effect(stage.command("shorten", laps=2)) == "run main: now 2 timed laps"
    assert effect(stage.command("extend", run="spare", laps=3)) == "run spare: now 4 timed laps"
    nobody = "no run 'nobody' in the plan of car 41 (there are: main, spare)"
    assert reason(stage.command("extend", run="nobody")) == nobody
    assert reason(stage.command("drop", run="mian")) == "no run 'mian' in the plan of car 41: did you mean 'main'?"
    assert "cannot be shortened by 2" in reason(stage.command("shorten", laps=2))
    stage.command("drop", run="spare")
    assert reason(stage.command("extend", run="spare")) == "run spare is dropped"
    lone = Stage(setup(plan(CHECKS))).green().leave(100)
    lone.pit(220, "entry")
    assert reason(lone.command("extend")) == "no run is going on or to come; name one in 'run'"
    assert reason(lone.command("drop", run="checks")) == "run checks is done: it cannot be dropped"


def test_a_run_that_is_made_shorter_than_it_is_worth_is_told_and_does_not_count() -> None:
    """The plan says that it counts with two timed laps or more: with one the desk hears it, and driven so it is over
    and left all the same. A run without such a figure is as long as somebody says."""
    run = MAIN | {"laps": "out, 3 timed, in", "shorten_to": 2}
    stage = Stage(setup(plan(run, SPARE))).green()
    assert effect(stage.command("shorten")) == "run main: now 2 timed laps"
    assert effect(stage.command("shorten")) == (
        "run main: now 1 timed lap; with fewer than 2 ('shorten_to' of the plan) it does not count as driven")
    stage.home(stage.drive(200, 125, 100))
    state = stage.car.progress.runs[0]
    assert (state.state, state.counts) == ("done", False)
    free = Stage(setup(plan(MAIN | {"laps": "out, 3 timed, in"}, SPARE))).green()
    assert effect(free.command("shorten", laps=2)) == "run main: now 1 timed lap"
    free.home(free.drive(200, 125, 100))
    assert free.car.progress.runs[0].counts


COMPARED = {"do": "comment", "on": {"timed": 2}, "want": "must"}


def test_shortening_names_what_falls_away_with_its_lap_and_lengthening_brings_it_back() -> None:
    """The comparison was the point of the run: the desk hears that it is lost, and it is told as not done. What is
    wanted on each lap of a kind, or on the in-lap, loses nothing."""
    every = {"do": "flap_lap", "on": "timed"}
    run = MAIN | {"laps": "out, 2 timed, in", "items": [COMPARED, every, HOLD]}
    stage = Stage(setup(plan(run, SPARE))).green().wait(60)
    said = "run main: now 1 timed lap; not done, for its lap falls away: comment on timed lap 2"
    assert effect(stage.command("shorten")) == said
    (state, _) = stage.car.progress.runs
    assert [(one.item.do, one.state) for one in state.items if one.state != "planned"] == [("comment", "dropped")]
    (told,) = [one for one in run_progress(state, None).items if one.state == "dropped"]
    assert (told.do, told.lap, told.reason) == ("comment", "timed lap 2", "its lap was taken out of the run")
    assert effect(stage.command("extend")) == "run main: now 2 timed laps"
    assert {one.state for one in state.items} == {"planned"}
    assert len(state.items) == 5
    assert effect(stage.command("shorten")) == said
    assert "1 timed lap, on lap" in reason(stage.command("shorten"))


def test_extend_lets_a_car_run_that_was_called_in() -> None:
    """On the in-lap one more lap: the car is on a timed lap again, and box calls are taken back."""
    stage = Stage(setup(plan(MAIN | {"laps": "out, 1 timed, in"}))).green()
    t = stage.drive(200, 125, 100)
    stage.wait(t + 2)
    before = stage.car.track.lap_kind
    stage.command("extend", t + 5)
    assert (before, stage.car.track.lap_kind) == ("in", "timed")
    assert stage.prompts("main-box-1-0")[-1].state == "withdrawn", "the box is taken back until its lap comes"
    assert stage.call("main-box-1-0").state == "planned"


def test_drop_a_run() -> None:
    """With the reason given; already dropped; not while it is on track; not nobody's."""
    stage = garage()
    assert effect(stage.command("drop", run="main", text="track too cold")) == "run main dropped"
    assert stage.car.progress.runs[0].reason == "dropped by desk: track too cold"
    assert stage.car.progress.next is stage.car.progress.find("spare")
    assert effect(stage.command("drop", run="main")) == "run main is dropped already"
    assert "say what to drop" in reason(stage.command("drop"))
    assert "no run 'nobody'" in reason(stage.command("drop", run="nobody"))
    assert "box the car, or shorten the run" in reason(on_track().command("drop", run="main"))


def test_drop_an_item() -> None:
    """By its key one lap's, by its name and run whatever is left of it; already; not when it is done; unknown."""
    stage = garage()
    first, last = (item.key for item in stage.car.progress.runs[0].items)
    assert effect(stage.command("drop", item=first)) == "hold on out-lap of main dropped"
    assert effect(stage.command("drop", item=first)) == "hold on out-lap of main is dropped already"
    assert effect(stage.command("drop", run="main", item="hold")) == "hold on in-lap of main dropped"
    assert effect(stage.command("drop", run="main", item="hold")) == "hold on in-lap of main is dropped already"
    assert reason(stage.command("drop", run="main", item="hodl")).endswith("car 41: did you mean 'hold'?")
    assert reason(stage.command("drop", item="zzz")).endswith(f"car 41 (there are: {first}, {last})")
    other = on_track()
    other.command("confirm", call=other.call("hold-0-1-0-0").id)
    assert reason(other.command("drop", item=first)) == "hold on out-lap of main is done: it cannot be dropped"


def test_keep_in_and_let_go() -> None:
    """In the garage only; each once; a car that left all the same is kept no longer."""
    stage = garage()
    assert effect(stage.command("let_go")) == "car 41 is not kept in"
    assert effect(stage.command("keep_in")) == "car 41 is kept in until 'let_go'"
    assert effect(stage.command("keep_in")) == "car 41 is kept in already"
    assert effect(stage.command("let_go")) == "car 41 may be released again"
    stage.command("keep_in")
    stage.leave(200)
    assert not stage.car.kept_in
    assert reason(stage.command("keep_in")) == "car 41 is on track; 'box' brings it in"


# -- on records, and at the door ---------------------------------------------------------------------------------------


def test_comments_are_counted() -> None:
    """Words are needed; each comment is answered with its number; also after the session."""
    stage = garage()
    assert reason(stage.command("comment", text="  ")) == "a comment needs its words in 'text'"
    assert effect(stage.command("comment", text="understeer")) == "comment 1 noted"
    stage.status(100, "closed")
    stage.wait(200)
    assert effect(stage.command("comment", text="it was the tyre")) == "comment 2 noted"
    assert reason(stage.command("quiet")) == "the session is closed"


def test_acknowledge() -> None:
    """An active alert is acknowledged once, and told with the command behind it."""
    stage = on_track()
    stage.switch(226, "torque_map", 4)
    stage.lap(227, 98, from_exit=True)
    alert = next(one for one in stage.made(Alert) if one.kind == "switch_wrong")
    answer = stage.command("acknowledge", alert=alert.id)
    assert effect(answer) == f"acknowledged: {alert.text}", "the words that were read, no id"
    told = stage.made(Alert)[-1]
    assert (told.acknowledged, told.active, told.because) == (True, True, answer.because)
    assert effect(stage.command("acknowledge", alert=alert.id)) == f"acknowledged already: {alert.text}"
    known = ", ".join(stage.session.alerts.active)
    assert reason(stage.command("acknowledge", alert="smoke")) == f"no alert 'smoke' is active (there are: {known})"
    near = reason(stage.command("acknowledge", alert=alert.id.replace("wrong", "wrogn")))
    assert near.endswith(f"did you mean {alert.id!r}?")
    assert reason(stage.command("acknowledge")) == "name the alert in 'alert'"


def test_a_car_without_a_plan_is_refused() -> None:
    """The answer names the cars that there are."""
    assert reason(garage().command("box", car="99")) == "no plan for car 99; ours: 41"


COMMANDS = ("said", "skip", "defer", "repeat", "confirm", "quiet", "box", "extend", "shorten", "drop", "keep_in",
            "let_go", "comment", "acknowledge")  # fmt: skip
ARGUMENTS: list[dict[str, Any]] = [
    {}, {"run": "main"}, {"run": "spare", "laps": 2}, {"run": "nobody"}, {"item": "hold", "run": "main"},
    {"call": "41-main-box-1-0"}, {"call": "?"}, {"alert": "?"}, {"text": "words"},
    {"shorthand": "t1 us"}, {"comment": 3},
]  # fmt: skip


@pytest.mark.parametrize("command", COMMANDS)
@pytest.mark.parametrize("where", [garage, on_track])
def test_every_command_gets_one_answer_wherever_the_car_is(command: str, where: Any) -> None:
    """With any arguments, sensible or not: exactly one answer, with words and the command's id in it."""
    stage = where()
    for arguments in ARGUMENTS:
        answer = stage.command(command, **arguments)
        assert answer.because.startswith("fact-")
        assert (answer.effect if isinstance(answer, Answered) else answer.reason).strip()


def test_a_command_of_a_call_that_changed_the_plan_is_noted_without_a_way_back() -> None:
    """None of them does today. Should one ever, it has no belief to go back to, and the session does not end of it."""
    stage = Stage().green()
    command = CommandGiven(id="c1", t=10.0, car=CAR, command="skip", by="ann")
    was = before(stage.car, command, stage.session.team, 10.0)
    assert was.belief is None
    stage.car.progress.revision += 1
    note(stage.session.hands, command, was, planned=True, now=10.0)
    assert stage.session.hands.histories[CAR].find("c1") is None
