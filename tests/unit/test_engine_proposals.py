"""Proposals from a changed file: what they show, how they stay true, and how they end."""

from __future__ import annotations

import json
import shlex
from typing import Any

import pytest

from pitwall.engine.differences import differences
from pitwall.engine.replan import in_use
from pitwall.model import events as ev
from pitwall.model.outputs import Alert, Answered, Proposal, Refused
from pitwall.model.plan import Plan
from tests.unit.engine_stage import CAR, CHECKS, MAIN, SPARE, Stage, effect, plan, reason, setup

SHORT = MAIN | {"laps": "out, 1 timed, in"}
WET = plan(CHECKS, SPARE | {"run": "puddles"}, SPARE | {"run": "lines", "dry_only": True})


def _stage(*runs: dict[str, Any]) -> Stage:
    return Stage(setup(plan(*(runs or (CHECKS, MAIN, SPARE))), alternates={CAR: {"wet": WET}})).green()


def _file(stage: Stage, made: Plan | None, **more: Any) -> tuple[Any, ...]:
    values = {"id": f"file-{stage._seq}", "t": stage.now, "car": CAR, "file": "plan_41.yaml", "plan": made}
    return stage.handle(ev.PlanFileRead.model_validate(values | more))


def _proposed(stage: Stage, *runs: dict[str, Any], **head: Any) -> Proposal:
    found = [one for one in _file(stage, plan(*runs, **head)) if isinstance(one, Proposal)]
    assert [one.active for one in found] == [True]
    return found[0]


def test_what_stands_is_told_again_to_who_comes_new() -> None:
    """A proposal is retained: it belongs to what is published again on each connection, until it is answered."""
    stage = _stage()
    shown = _proposed(stage, CHECKS, SHORT, SPARE)
    assert shown in stage.session.standing()
    stage.command("decline", proposal=shown.id)
    assert not [one for one in stage.session.standing() if isinstance(one, Proposal)]


def test_warnings_say_what_to_think_of() -> None:
    """A must that falls out, the run on track, what is over, the crew, a promise that breaks, what is read at the start
    only."""
    stage = _stage(CHECKS, MAIN | {"before": ["spare"]}, SPARE)
    shown = _proposed(stage, SHORT | {"before": ["spare"]}, SPARE)
    assert "checks falls out, and it is a must" in shown.warnings
    assert "the crew needs 240 s for another run (main)" in shown.warnings
    shown = _proposed(stage, CHECKS, SPARE, MAIN | {"before": ["spare"]}, starts_with={"tyres": "B1"})
    assert "main must come before spare (before)" in shown.warnings
    assert "starts_with is read when the session is prepared: it changes nothing now" in shown.warnings
    stage.leave(10.0)
    shown = _proposed(stage, CHECKS | {"tyres": "B1", "want": "should"}, MAIN | {"before": ["spare"]}, SPARE)
    assert "it changes checks, which is on track" in shown.warnings
    assert "run checks is on track: its tyres stay" in shown.warnings
    assert shown.lines == ("checks is a should instead of a must",)


def test_a_change_of_what_is_over_alone_can_be_answered_and_changes_nothing() -> None:
    """The file changes a run that is done: shown with the reason, adopted without effect, and not asked again."""
    stage = _stage()
    stage.leave(10.0)
    stage.home(10.0, from_exit=True)
    changed = (CHECKS | {"fuel_kg": 9}, MAIN, SPARE)
    shown = _proposed(stage, *changed)
    assert shown.lines == ("nothing that can still be changed",)
    assert shown.warnings == ("run checks is done: it stays as it was",)
    assert isinstance(stage.command("adopt"), Answered)
    assert not [one for one in _file(stage, plan(*changed)) if isinstance(one, Proposal) and one.active]


def test_a_proposal_follows_the_session() -> None:
    """The run that it changes leaves, and what it changes is driven: the proposal is shown anew, under another name."""
    stage = _stage(MAIN | {"tyres": "A1"}, SPARE)
    first = _proposed(stage, MAIN | {"tyres": "B1", "want": "should"}, SPARE)
    assert first.lines == ("tyres of main: B1 instead of A1", "main is a should instead of a must")
    stage.leave(10.0)
    second = stage.made(Proposal)[-1]
    assert (second.id, second.lines) == ("41-plan-2", ("main is a should instead of a must",))
    answer = stage.command("adopt", proposal=first.id)
    assert isinstance(answer, Refused)
    assert "that you saw (41-plan-1) was replaced at 0:10 (the runs moved on)" in answer.reason
    assert "look at the one that waits now (p in watch; 41-plan-2)" in answer.reason


def test_who_answers_an_older_proposal_hears_what_replaced_it() -> None:
    """A save, or a change at the desk with who made it: not only the names of proposals."""
    stage = _stage()
    _proposed(stage, CHECKS, SHORT, SPARE)
    _proposed(stage, CHECKS, SHORT, SPARE | {"fuel_kg": 15})
    answer = stage.command("adopt", proposal="41-plan-1")
    assert isinstance(answer, Refused)
    assert "(plan_41.yaml was saved again)" in answer.reason
    stage.command("amend", by="bob", changes=[{"do": "drop_run", "run": "spare"}], text="no time")
    answer = stage.command("adopt", proposal="41-plan-2")
    assert isinstance(answer, Refused)
    assert "(bob at 0:00: run spare is dropped)" in answer.reason


def test_a_plan_without_a_difference_is_no_proposal() -> None:
    """The desk has made the same change meanwhile: nothing is left to ask."""
    stage = _stage()
    stage.command("amend", changes=[{"do": "set_laps", "run": "main", "laps": "out, 1 timed, in"}], text="less time")
    assert not [one for one in _file(stage, plan(CHECKS, SHORT, SPARE)) if isinstance(one, Proposal)]
    stage = _stage()
    _proposed(stage, CHECKS, SHORT, SPARE)
    stage.command("amend", changes=[{"do": "set_laps", "run": "main", "laps": "out, 1 timed, in"}], text="less time")
    assert [one.active for one in stage.made(Proposal)] == [True, False]
    answer = stage.command("adopt", proposal="41-plan-1")
    assert isinstance(answer, Refused)
    assert "it changes nothing any more" in answer.reason


def test_a_declined_file_is_proposed_again_with_its_next_save() -> None:
    """Declining answers what was shown, not what the file says later: the next save shows all of it."""
    stage = _stage()
    _proposed(stage, CHECKS, SHORT, SPARE)
    stage.command("decline")
    shown = _proposed(stage, CHECKS, SHORT, SPARE | {"fuel_kg": 15})
    assert shown.lines == ("main: 2 timed laps become 1", "fuel of spare: 15 kg")


def test_what_was_declined_may_be_taken_after_all() -> None:
    """A save without a change proposes nothing, so there is a way back: by name, and with a reason, for a seat that
    only answered a moment later must not overrule the other."""
    stage = _stage()
    shown = _proposed(stage, CHECKS, SHORT, SPARE)
    answer = stage.command("decline", by="ann")
    assert isinstance(answer, Answered)
    assert "'adopt' with proposal=41-plan-1 and why in 'text'" in answer.effect
    for hasty in (stage.command("adopt"), stage.command("adopt", proposal=shown.id)):
        assert isinstance(hasty, Refused)
        assert "declined at 0:00 by ann; to take it after all: 'adopt' with proposal=41-plan-1" in hasty.reason
    taken = stage.command("adopt", proposal=shown.id, text="time enough after all")
    assert isinstance(taken, Answered)
    assert "main: 2 timed laps become 1" in taken.effect
    main = stage.car.progress.find("main")
    assert main is not None
    assert main.timed_wanted == 1
    again = stage.command("adopt", proposal=shown.id)
    assert isinstance(again, Answered)
    assert "adopted already" in again.effect


def test_what_was_declined_is_lost_once_it_would_do_something_else() -> None:
    """The plan changed since: nobody takes what was never shown, and the remedy is another save."""
    stage = _stage()
    shown = _proposed(stage, CHECKS, SHORT, SPARE)
    stage.command("decline")
    stage.command("amend", changes=[{"do": "set_laps", "run": "main", "laps": "out, 3 timed, in"}], text="more")
    answer = stage.command("adopt", proposal=shown.id, text="after all")
    assert isinstance(answer, Refused)
    assert "has changed since: save the file" in answer.reason
    main = stage.car.progress.find("main")
    assert main is not None
    assert main.timed_wanted == 3


def test_a_file_of_an_alternate_counts_when_it_is_driven() -> None:
    """Read while the dry plan is driven it waits for the switch; read while it is driven it is proposed. What is for
    the dry only stays out in the wet."""
    stage = _stage()
    wetter = plan(CHECKS, SPARE | {"run": "puddles", "laps": "out, 4 timed, in"})
    assert not [one for one in _file(stage, wetter, alternate="wet") if isinstance(one, Proposal)]
    answer = stage.command("switch_plan", alternate="wet", text="rain")
    assert isinstance(answer, Answered)
    assert answer.effect.startswith("the wet plan is driven: new: puddles; left out: main, spare")
    puddles = stage.car.progress.find("puddles")
    assert puddles is not None
    assert puddles.timed_wanted == 4
    found = [one for one in _file(stage, WET, alternate="wet") if isinstance(one, Proposal)]
    assert [one.lines for one in found] == [("puddles: 4 timed laps become 1",)]
    _file(stage, plan(CHECKS, SHORT, SPARE))
    assert stage.car.desk.offer is not None
    assert stage.car.desk.offer.alternate == "wet"
    stage.command("switch_plan", alternate="dry", text="dry")
    main = stage.car.progress.find("main")
    assert main is not None
    assert main.timed_wanted == 1


ITEMS = [{"do": "flap_lap", "on": {"timed": 2}, "with": {"flap": "open"}}, {"do": "comment", "on": "in"}]


def _there_and_back(*runs: dict[str, Any]) -> Stage:
    """The car leaves for a run with items ahead, goes over to the wet plan on its out-lap, and back to the dry one."""
    stage = _stage(*(runs or (MAIN | {"items": ITEMS}, SPARE)))
    stage.leave(10.0)
    stage.wait(30.0)
    stage.command("switch_plan", alternate="wet", text="rain")
    stage.wait(40.0)
    stage.command("switch_plan", alternate="dry", text="it dries")
    return stage


def test_there_and_back_leaves_each_item_once() -> None:
    """What the wet plan dropped of the run on track is there again, on the same laps, and not once more as dropped."""
    stage = _there_and_back()
    main = stage.car.progress.find("main")
    assert main is not None
    assert [(one.item.do, one.leg, one.state) for one in main.items] == [
        ("flap_lap", 2, "planned"), ("comment", len(main.laps) - 1, "planned")]


def test_a_run_that_is_wanted_again_is_resumed_after_a_red_flag() -> None:
    """The wet plan would have ended it at the pit entry; that is over once the dry plan is in use again."""
    stage = _there_and_back()
    stage.status(60.0, "red")
    stage.home(60.0)
    main = stage.car.progress.find("main")
    assert main is not None
    assert main.state in ("cut", "next")


def test_runs_of_the_plan_that_was_left_are_known_as_such() -> None:
    """Of the wet plan alone, and only while another plan is in use; the first plan's are owed whatever is driven."""
    stage = _stage()
    desk = stage.car.desk
    assert desk.left_with("puddles") == "wet"
    stage.command("switch_plan", alternate="wet", text="rain")
    assert [desk.left_with(one) for one in ("puddles", "main", "checks", "no such run")] == [None] * 4
    stage.command("switch_plan", alternate="dry", text="dry")
    assert [desk.left_with(one) for one in ("puddles", "main", "checks", "no such run")] == ["wet", None, None, None]


def test_wet_defaults_apply_and_what_is_owed_stays_owed() -> None:
    """The switch card wants the positions of the wet; a put-back that was owed before is owed still."""
    stage = _stage(MAIN, SPARE)
    stage.car.switches.owed["flap"] = "closed"
    stage.command("switch_plan", alternate="wet", text="rain")
    wanted = stage.car.switches.wanted(stage.car.progress.next, 0)
    assert wanted["torque_map"] == 4
    assert stage.car.switches.owed == {"flap": "closed"}
    stage.command("switch_plan", alternate="dry", text="dry")
    assert stage.car.switches.wanted(stage.car.progress.next, 0)["torque_map"] == 2


def _in_the_wet(plan_of: str = "dry") -> tuple[Stage, float]:
    """Out for the wet run with its wet positions, which telemetry shows; on its timed lap the desk goes over to the
    plan of this name."""
    wet = plan(MAIN | {"run": "puddles", "laps": "out, 3 timed, in"})
    stage = Stage(setup(plan(MAIN, SPARE), alternates={CAR: {"wet": wet}})).green()
    stage.command("switch_plan", alternate="wet", text="rain")
    stage.switch(150, "torque_map", 4)
    t = stage.drive(200, 125, 100)
    stage.wait(t + 12)
    stage.command("switch_plan", alternate=plan_of, text="it dries")
    return stage, t


def test_a_run_on_track_keeps_the_positions_that_it_left_with() -> None:
    """Back on the dry plan: the car is still on its wet run, and nobody sets its wheel for the dry. Its wet positions
    are no fault, no call asks for others, and the next run leaves with those of the dry."""
    stage, t = _in_the_wet()
    t = stage.lap(t, 100)
    stage.wait(t + 20)
    assert not [one for one in stage.made(Alert) if one.kind == "switch_wrong"]
    assert not [one for one in stage.prompts(state="due") if one.ask.action == "set_switch" and "orque" in one.text
                and one.t > t - 88]
    running = stage.car.progress.current
    assert running is not None
    assert running.run.run == "puddles"
    assert stage.car.switches.wanted(running, running.pointer)["torque_map"] == 4
    stage.home(t)
    assert stage.car.switches.wanted(stage.car.progress.next, 0)["torque_map"] == 2


def test_a_plan_that_was_gone_over_to_is_left_by_going_back_and_undo_says_so() -> None:
    """A key for something else that was pressed before stays as it is until undo is asked once more."""
    stage = Stage(setup(plan(MAIN, SPARE), alternates={CAR: {"wet": WET}})).green()
    stage.command("keep_in")
    stage.command("switch_plan", alternate="wet", text="rain")
    answer = stage.command("undo")
    assert isinstance(answer, Refused)
    assert answer.reason == ("a change of the plan is changed back by another one: 'switch_plan' with alternate=dry; "
                             "'undo' once more takes back what was entered before it")
    assert stage.car.kept_in
    assert stage.car.desk.driven == "wet"
    assert isinstance(stage.command("undo"), Answered)
    assert not stage.car.kept_in


def test_an_amended_plan_is_amended_back_and_undo_says_so() -> None:
    """The same of changes of a run."""
    stage = _stage(MAIN, SPARE)
    stage.command("amend", changes=[{"do": "set_laps", "run": "main", "laps": "out, 3 timed, in"}], text="more")
    answer = stage.command("undo")
    assert isinstance(answer, Refused)
    assert answer.reason == (
        "a change of the plan is changed back by another one: pitwall command 41 amend 'text=changed back' "
        """'changes=[{"do": "set_laps", "run": "main", "laps": ["out", "timed", "timed", "in"]}]' --by desk; """
        "'undo' once more takes back what was entered before it")
    assert reason(stage.command("undo", of="amend")) == answer.reason, "by its name it is told again"


BACK: dict[str, list[dict[str, Any]]] = {
    "a run that moves back": [{"do": "move_run", "run": "checks", "after": "spare"}],
    "one that moves to the front": [{"do": "move_run", "run": "spare"}],
    "two that change places": [{"do": "swap_runs", "run": "checks", "other": "spare"}],
    "a run that is dropped": [{"do": "drop_run", "run": "main"}],
    "the first that is dropped": [{"do": "drop_run", "run": "checks"}],
    "a new one": [{"do": "insert_run", "run": {"run": "more", "want": "could", "laps": "out, 1 timed, in"}}],
    "laps, fuel, a switch": [
        {"do": "set_laps", "run": "main", "laps": "out, 1 timed, in"},
        {"do": "set_run_fuel", "run": "main", "fuel_kg": 11}, {"do": "drop_item", "run": "main", "item": "flap_lap"}],
    "several": [{"do": "drop_run", "run": "spare"}, {"do": "move_run", "run": "main"},
                {"do": "insert_item", "run": "checks", "item": {"do": "comment", "on": "in"}}],
}


@pytest.mark.parametrize("changes", BACK.values(), ids=BACK)
def test_the_line_that_undo_tells_makes_the_plan_as_it_was(changes: list[dict[str, Any]]) -> None:
    """As it is typed, it can be given: whoever pressed the wrong key has no time to write changes."""
    stage = _stage(CHECKS, MAIN | {"fuel_kg": 20, "items": [{"do": "flap_lap", "on": {"timed": 2}}]}, SPARE)
    before = in_use(stage.car)
    effect(stage.command("amend", changes=changes, text="a slip"))
    assert differences(before, in_use(stage.car))
    line = reason(stage.command("undo")).partition("another one: ")[2].rpartition("; 'undo'")[0]
    words = dict(word.split("=", 1) for word in shlex.split(line) if "=" in word)
    effect(stage.command("amend", changes=json.loads(words["changes"]), text=words["text"]))
    assert differences(in_use(stage.car), before) == ()


def test_a_plan_of_another_car_and_an_unknown_car() -> None:
    """The wrong plan under this name is an alert; a car without a plan here is nobody's."""
    stage = _stage()
    alerts = [one for one in _file(stage, plan(CHECKS, car="58")) if isinstance(one, Alert)]
    assert [one.text for one in alerts] == ["plan_41.yaml: it is the plan of car 58, expected car 41"]
    assert not [one for one in _file(stage, None, car="99", problem="gone") if isinstance(one, Alert | Proposal)]


def test_the_end_of_the_session_withdraws_what_waits() -> None:
    """Nobody can adopt anything after the session: the topic is cleared."""
    stage = _stage()
    _proposed(stage, CHECKS, SHORT, SPARE)
    stage.status(stage.now + 10, "closed")
    assert [one.active for one in stage.made(Proposal)] == [True, False]
