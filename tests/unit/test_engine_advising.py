"""When the forecast is asked for advice, what it proposes, and what a person makes of it."""

from __future__ import annotations

import json
import shlex
from typing import Any

import pytest

from pitwall.cli.terminal.advice import ladder_lines
from pitwall.engine.advising_late_red import NO_TIMED_LAP
from pitwall.engine.differences import differences
from pitwall.engine.replan import in_use
from pitwall.model.advice import RunDone
from pitwall.model.outputs import AdviceState, Alert, Answered, LadderState, Refused
from pitwall.model.units import clock_text
from tests.unit.advice_stage import LONG, AdviceStage, advice, as_asked, stage
from tests.unit.engine_stage import CAR, CHECKS, MAIN, SPARE, Stage, effect, plan, reason, regulations, setup

WITHOUT_SPARE: dict[str, list[Any]] = {CAR: ["checks", "main", "long"]}
SHORTER: dict[str, list[Any]] = {CAR: ["checks", "main", ("long", 3)]}
FIRST_LONG: dict[str, list[Any]] = {CAR: ["long", "checks", "main"]}


def alerts(made: Stage) -> list[str]:
    """The words of every overrun alert so far."""
    return [one.text for one in made.made(Alert) if one.kind == "overrun" and one.active]


def alert_of(made: Stage, car: str) -> str:
    """The words of the last overrun alert of this car."""
    return next(text for text in reversed(alerts(made)) if text.startswith(f"Car {car}"))


def in_danger(*lefts: dict[str, list[Any]]) -> AdviceStage:
    """A must is in danger, and the adviser has answered."""
    made = stage()
    made.foreseen(0.3)
    made.advised(*lefts)
    return made


# -- when it is asked --------------------------------------------------------------------------------------------------


def test_a_must_in_danger_asks_once() -> None:
    """Below the warning limit it is asked; while nothing else happens, not again at the next forecast."""
    made = stage()
    made.foreseen(0.81)
    assert made.asked() == []
    made.wait(130)
    made.foreseen(0.34)
    assert [one.revision for one in made.asked()] == [1]
    made.wait(260)
    made.foreseen(0.31)
    assert len(made.asked()) == 1
    made.wait(600)
    made.foreseen(0.31)
    assert len(made.asked()) == 2, "minutes later the best plan may be another one"


def test_between_the_limits_nothing_is_asked_and_nothing_told() -> None:
    """Never below the warning limit: no alert, no question. A could that does not fit is silent as well."""
    made = stage()
    made.foreseen(0.65)
    made.wait(130)
    made.foreseen(0.62)
    assert (made.asked(), alerts(made)) == ([], [])


@pytest.mark.parametrize(
    ("runs", "chance", "questions"),
    [((SPARE, MAIN), 0.8, 1), ((SPARE, MAIN), 0.95, 0), ((MAIN, SPARE), 0.8, 0), ((LONG, SPARE), 0.8, 0)],
    ids=["a must behind that is not sure", "a sure one", "the must first", "no must"],
)
def test_who_is_about_to_leave_for_a_could_before_an_unsure_must_is_looked_at_once(
    runs: tuple[dict[str, Any], ...], chance: float, questions: int
) -> None:
    """The last moment to leave the could out: asked once as the car is ready for it, not again while it stands."""
    made = AdviceStage(setup(plan(*runs)))
    made.green()
    made.foreseen(chance)
    made.wait(5)
    assert len(made.asked()) == questions
    if questions:
        made.advised()
    made.wait(15)
    assert len(made.asked()) == questions


def test_a_red_flag_asks_at_once_for_the_ladder_and_its_end_once_more() -> None:
    """Three restarts are asked for; when the session goes on, once more without them."""
    made = stage()
    made.status(100, "red")
    (wanted,) = made.asked()
    assert (wanted.t, wanted.question.restart_s) == (100, (240.0, 480.0, 720.0))
    made.advised(WITHOUT_SPARE)
    made.status(400, "green")
    assert [one.question.restart_s for one in made.asked()[1:]] == [()]


def test_a_change_by_the_desk_asks_and_a_person_may_ask() -> None:
    """An amended plan, and the command; a comment or a call that was said does not."""
    made = stage()
    made.command("comment", text="windy")
    assert made.asked() == []
    made.command("drop", run="spare")
    assert len(made.asked()) == 1
    assert "asked the forecast" in effect(made.command("advise"))
    assert len(made.asked()) == 2


def test_with_nothing_left_there_is_nothing_to_ask() -> None:
    """After the flag, or with every run dropped, the command is refused in words."""
    made = stage()
    for name in ("checks", "main", "long", "spare"):
        made.command("drop", run=name)
    assert reason(made.command("advise")) == "no run is left: nothing can be advised"
    other = stage()
    other.status(3600, "finished")
    assert "the flag is out" in reason(other.command("advise"))


# -- what is proposed --------------------------------------------------------------------------------------------------


def test_what_is_advised_stands_with_what_it_changes_costs_and_buys() -> None:
    """Best first, at most three, each with its lines, its sentence and what is given up."""
    made = in_danger(WITHOUT_SPARE, SHORTER)
    state = made.state()
    assert state is not None
    assert (state.asked, state.musts_chance) == ("musts in danger", 0.34)
    first, second = state.proposals
    assert (first.id, first.source, first.cars) == ("advice-1-1", "forecast", (CAR,))
    assert (first.lines, first.costs) == (("run spare is dropped",), ("spare (could) is not done",))
    assert first.sentence == "dropping the second hold brings it to 92%."
    assert first.musts_chance == pytest.approx(0.92)
    assert second.lines == ("run spare is dropped", "long: 6 timed laps become 3")
    assert second.costs == ("long (should): 3 of 6 timed laps", "spare (could) is not done")


def test_the_plan_as_it_stands_is_no_proposal() -> None:
    """Nothing to adopt: nothing is shown, unless somebody asked; then it is said why."""
    made = stage()
    made.command("drop", run="spare")
    made.advised({})
    assert made.state() is None
    made.command("advise")
    made.advised({})
    state = made.state()
    assert state is not None
    assert (state.proposals, state.problem) == ((), "no change does better than the plan as it stands")


def test_an_answer_to_an_older_question_is_dropped() -> None:
    """The desk changed the plan meanwhile: what was worked out for the old one is not shown."""
    made = stage()
    made.command("advise")
    made.command("drop", run="spare")
    assert made.advised(WITHOUT_SPARE, revision=1) == ()
    assert made.state() is None
    made.advised({CAR: ["checks", "main"]})
    assert made.state() is not None


def test_an_answer_that_the_runs_overtook_is_asked_anew() -> None:
    """The car left while the adviser worked: another question goes out by itself."""
    made = stage()
    made.command("advise")
    made.leave(300)
    made.advised(WITHOUT_SPARE)
    assert made.state() is None
    assert len(made.asked()) == 2


def test_the_alert_tells_the_evidence_and_the_proposal_when_it_comes() -> None:
    """How likely now, how likely before, and what would help; adopted, the alert is over with the next forecast."""
    made = stage()
    made.foreseen(0.81)
    made.status(100, "red")
    made.status(400, "green")
    made.wait(430)
    made.foreseen(0.34)
    assert alerts(made)[-1] == "Car 41: main may not fit: 34 % likely, 81 % before the red"
    made.advised(WITHOUT_SPARE)
    assert alerts(made)[-1] == ("Car 41: main may not fit: 34 % likely, 81 % before the red. "
                                "Remedy: run spare is dropped; then all musts fit: 92 % likely")
    made.wait(560)
    made.foreseen(0.22)
    assert alerts(made)[-1] == (
        "Car 41: main may not fit: 22 % likely, 81 % before the red. Remedy (reckoned at 7:10): run spare is dropped; "
        "then all musts fit: 92 % likely"), "chances of two moments do not stand side by side as if they were of one"
    made.command("adopt", proposal=made.state().proposals[0].id)  # type: ignore[union-attr]  # it stands
    made.foreseen(0.92)
    assert not [one for one in made.session.standing() if isinstance(one, Alert)]


@pytest.mark.parametrize(("chance", "planned", "told"), [
    (0.0, 0.0, "Nothing brings all musts in; best by what the runs are worth: run spare is dropped"),
    (0.04, 0.0, "Nothing brings all musts in; best by what the runs are worth: run spare is dropped"),
    (0.35, 0.34, "Nothing makes all musts surer than 35 %; best by what the runs are worth: run spare is dropped"),
    (0.37, 0.34, "Remedy: run spare is dropped; then all musts fit: 37 % likely"),
])  # fmt: skip
def test_what_makes_no_must_surer_is_not_called_a_remedy(chance: float, planned: float, told: str) -> None:
    """Nobody is to drop a run for nothing: that nothing helps is said, and what is best then."""
    made = stage()
    made.foreseen(0.3)
    made.advised(WITHOUT_SPARE, chance=chance, planned=planned)
    assert alerts(made)[-1] == f"Car 41: main may not fit: 30 % likely. {told}"


def test_the_alert_tells_what_changes_of_runs_the_cars_own_first_and_counts_the_rest() -> None:
    """Beside the calls there is room for few lines; items that fall away with a lap stand in the changed plan."""
    made = AdviceStage(setup(
        plan(CHECKS, LONG | {"laps": "out, 3 timed, cool, 3 timed, in",
                             "items": [{"do": "flap_lap", "on": {"timed": 6}}]}, MAIN),
        plan(MAIN, SPARE, LONG, car="58"),
    ))  # fmt: skip
    made.green()
    made.foreseen(0.3, CAR, "58")
    made.advised({CAR: ["checks", ("long", 3), "main"], "58": ["long", "main"]})
    (proposal,) = made.state().proposals  # type: ignore[union-attr]  # it stands
    assert any("flap_lap of long" in line for line in proposal.lines), "the changed plan tells all of it"
    mine, other = alert_of(made, CAR), alert_of(made, "58")
    assert mine.endswith("Remedy: long: 6 timed laps become 3; car 58: run spare is dropped; and 1 more change; "
                         "then all musts of all cars fit: 92 % likely")
    assert "Remedy: run spare is dropped; main moves after long; and 1 more change; then" in other


def test_a_change_of_another_car_names_that_car() -> None:
    """Also where it is the only one: 'run spare is dropped' in the alert of car 41 was a run of car 58."""
    made = two_cars()
    made.foreseen(0.3, CAR, "58")
    made.advised({"58": ["main"]})
    mine, other = alert_of(made, CAR), alert_of(made, "58")
    assert "Remedy: car 58: run spare is dropped; then" in mine
    assert "Remedy: run spare is dropped; then" in other


def test_a_proposal_that_would_do_something_else_now_is_withdrawn() -> None:
    """The car leaves on the run that the proposal drops; who answers it hears so."""
    made = in_danger({CAR: ["main", "long", "spare"]}, WITHOUT_SPARE)
    made.leave(200)
    state = made.state()
    assert state is not None
    assert [one.lines for one in state.proposals] == [("run spare is dropped",)]
    told = reason(made.command("adopt", proposal="advice-1-1"))
    assert told == "advice-1-1 was withdrawn at 3:20 (the plan or its runs moved on); advice-1-2 waits now"


def test_the_same_advice_again_keeps_its_name() -> None:
    """Worked out anew with the same outcome: who is about to press the key still means the same."""
    made = in_danger(WITHOUT_SPARE)
    made.wait(600)
    made.foreseen(0.3)
    made.advised(WITHOUT_SPARE)
    state = made.state()
    assert state is not None
    assert [one.id for one in state.proposals] == ["advice-1-1"]


def test_the_flag_ends_all_advice() -> None:
    """Nothing is left to be changed: what stood is cleared, and no answer brings it back."""
    made = in_danger(WITHOUT_SPARE)
    made.status(3600, "finished")
    assert made.state() is None
    assert made.made(AdviceState)[-1].active is False


# -- adopt and decline -------------------------------------------------------------------------------------------------


def test_adopting_changes_the_plan_and_ends_the_other_proposals() -> None:
    """The plan in use follows, the change is on record with who, and the rest was made for the plan as it was."""
    made = in_danger(SHORTER, WITHOUT_SPARE)
    told = effect(made.command("adopt", proposal="advice-1-1", by="ann"))
    assert told == "advice-1-1 of the forecast adopted: run spare is dropped; long: 6 timed laps become 3"
    states = {one.run.run: one for one in made.car.progress.runs}
    assert (states["spare"].state, states["long"].timed_wanted) == ("dropped", 3)
    assert (made.car.desk.changes[-1].by, made.car.desk.changes[-1].what) == ("ann", told)
    assert made.state() is None
    assert "was replaced" in reason(made.command("adopt", proposal="advice-1-2"))
    assert "adopted already, by ann" in effect(made.command("adopt", proposal="advice-1-1"))


def test_without_a_name_the_only_proposal_is_meant() -> None:
    """With two of them the desk must say which."""
    made = in_danger(SHORTER, WITHOUT_SPARE)
    assert reason(made.command("adopt")) == "say which in 'proposal': advice-1-1, advice-1-2"
    made.command("decline", proposal="advice-1-1")
    assert isinstance(made.command("adopt"), Answered)


def test_what_was_declined_is_not_offered_again_by_itself() -> None:
    """Until a red flag makes the day another one, or somebody asks."""
    made = in_danger(WITHOUT_SPARE)
    assert effect(made.command("decline", proposal="advice-1-1")) == "advice-1-1 declined: the plan stays"
    made.wait(600)
    made.foreseen(0.3)
    made.advised(WITHOUT_SPARE)
    assert made.state() is None or not made.state().proposals  # type: ignore[union-attr]  # just asked
    made.command("advise")
    made.advised(WITHOUT_SPARE)
    state = made.state()
    assert state is not None
    assert len(state.proposals) == 1


def test_adopting_while_the_car_is_out_touches_nothing_driven() -> None:
    """The run on track keeps the laps that were begun; the others follow the advice."""
    made = AdviceStage(setup(plan(LONG, MAIN, SPARE)))
    made.green()
    made.drive(100, 125, 100)
    made.command("advise")
    choice = made.asked()[-1].question.choices[0]
    assert (choice.run, choice.under_way, choice.done, choice.fewest) == ("long", True, 1, 3)
    made.advised({CAR: [("long", 3), "main"]})
    made.command("adopt", proposal="advice-1-1")
    run = made.car.progress.current
    assert run is not None
    assert (run.run.run, run.timed_done, run.timed_wanted) == ("long", 1, 3)


# -- several cars ------------------------------------------------------------------------------------------------------


def two_cars() -> AdviceStage:
    """Car 41 has a run that car 58 could do."""
    swap = SPARE | {"run": "wear", "also_on": ["58"]}
    made = AdviceStage(setup(plan(CHECKS, MAIN, swap), plan(MAIN, SPARE, car="58")))
    made.green()
    return made


def test_a_swap_between_cars_changes_both_plans_at_once() -> None:
    """One proposal, one key: the run leaves the one plan and stands in the other."""
    made = two_cars()
    made.command("advise")
    wear = next(one for one in made.asked()[-1].question.choices if one.run == "wear")
    assert wear.also_on == ("58",)
    made.advised({CAR: ["checks", "main"], "58": ["main", RunDone(run="wear", timed=1, from_car=CAR), "spare"]})
    state = made.state()
    assert state is not None
    (proposal,) = state.proposals
    assert proposal.cars == (CAR, "58")
    assert proposal.lines[0] == "car 41: run wear is dropped"
    assert proposal.lines[1].startswith("car 58: new run wear after main: out, 1 timed, in")
    assert proposal.costs == ()
    told = effect(made.command("adopt", proposal=proposal.id, by="ann"))
    assert "car 41: run wear is dropped; car 58: new run wear" in told
    other = made.session.team["58"]
    assert [one.run.run for one in other.progress.rest()] == ["main", "wear", "spare"]
    assert other.desk.changes[-1].by == "ann"


def test_an_adopted_plan_of_two_cars_is_changed_back_by_the_lines_that_undo_tells() -> None:
    """A wrong key adopted it: a line for each car whose plan is another one, ready to be given."""
    made = two_cars()
    before = {name: in_use(car) for name, car in made.session.team.items()}
    made.command("advise")
    made.advised({CAR: ["checks", "main"], "58": ["main", RunDone(run="wear", timed=1, from_car=CAR), "spare"]})
    made.command("adopt", proposal="advice-1-1", by="ann")
    told = reason(made.command("undo", by="ann"))
    lines = told.partition("another one: ")[2].rpartition("; 'undo'")[0].split(" and pitwall")
    for car, line in zip((CAR, "58"), lines, strict=True):
        assert f"command {car} amend" in line
        words = dict(word.split("=", 1) for word in shlex.split(line) if "=" in word)
        effect(made.command("amend", car=car, changes=json.loads(words["changes"]), text=words["text"], by="ann"))
    assert all(differences(in_use(car), before[name]) == () for name, car in made.session.team.items())


def test_a_proposal_for_one_car_is_answered_there() -> None:
    """Asked at the other car's desk, it is refused with where to go."""
    made = two_cars()
    made.command("advise")
    made.advised({"58": ["main"]})
    assert "changes the plan of car 58" in reason(made.command("adopt", proposal="advice-1-1"))
    assert isinstance(made.command("adopt", car="58", proposal="advice-1-1"), Answered)


def test_adopted_minutes_later_a_proposal_says_when_its_figure_was_reckoned() -> None:
    """What it promised then is no chance of now; within a minute nothing is said of it."""
    made = in_danger(WITHOUT_SPARE)
    offered = made.state()
    assert offered is not None
    proposal = offered.proposals[0]
    made.wait(made.now + 130)
    told = effect(made.command("adopt", proposal=proposal.id))
    assert told.startswith("advice-1-1 of the forecast adopted: run spare is dropped; its ")
    assert f"for the musts was reckoned at {clock_text(proposal.t)}" in told
    assert "reckoned" not in effect(in_danger(WITHOUT_SPARE).command("adopt", proposal="advice-1-1"))


# -- the ladder --------------------------------------------------------------------------------------------------------


def test_the_ladder_stands_under_red_and_ends_with_it() -> None:
    """A rung for each restart, by session time, with the work to pull forward; cleared at green."""
    made = stage()
    made.status(600, "red")
    made.wait(602)
    made.advised(WITHOUT_SPARE)
    ladder = made.made(LadderState)[-1]
    assert (ladder.t, [one.at_s for one in ladder.rungs]) == (602, [840.0, 1080.0, 1320.0])
    assert ladder.rungs[0].lines == ("run spare is dropped",)
    assert [rung.work for rung in ladder.rungs] == ["the floor work fits into the wait"] * len(ladder.rungs)
    assert ladder in made.session.standing()
    made.status(900, "green")
    assert made.made(LadderState)[-1].active is False
    assert not [one for one in made.session.standing() if isinstance(one, LadderState)]


def test_a_green_that_is_taken_back_leaves_the_ladder_of_the_red_that_stands() -> None:
    """The red flag is as old as it was: its ladder stands there again at once, and its restarts are counted from
    its own beginning."""
    made = stage()
    made.status(600, "red")
    made.wait(602)
    made.advised(WITHOUT_SPARE)
    shown = made.made(LadderState)[-1]
    made.command("status", 1000, status="green")
    made.command("undo", 1007)
    ladder = made.made(LadderState)[-1]
    assert (ladder.active, ladder.red_s, ladder.rungs) == (True, 600, shown.rungs)
    assert ladder in made.session.standing()
    made.advised(WITHOUT_SPARE)
    ladder = made.made(LadderState)[-1]
    assert (ladder.red_s, [one.restart_s for one in ladder.rungs]) == (600, [480.0, 720.0, 960.0])
    made.status(1100, "green")
    made.status(1200, "red")
    made.advised(WITHOUT_SPARE)
    assert made.made(LadderState)[-1].red_s == 1200, "another one is another one"


STARTS = {"run": "starts", "want": "should", "after_flag": "allowed", "items": [{"do": "standing_start", "times": 2}]}


def late_red(red_s: float, **rules: Any) -> AdviceStage:
    """A session of twenty minutes; a must of two timed laps, a should of six, and starts after the flag are left."""
    made = regulations(duration_s=1200, after_flag_items=("standing_start",), **rules)
    here = AdviceStage(setup(plan(MAIN, LONG, STARTS), regulations=made))
    here.green()
    here.status(red_s, "red")
    here.wait(red_s + 2)
    here.advised({CAR: ["main", "long", "starts"]})
    return here


def test_a_ladder_ends_where_no_restart_leaves_time_for_a_timed_lap() -> None:
    """The clock runs under red: of three restarts, after 4, 8 and 12 minutes, the last comes too late for an out-lap
    of two minutes. In its place stands from when on it is too late, what is lost, and what is left."""
    made = late_red(550)
    ladder = made.made(LadderState)[-1]
    last = 1200 + 1.5 - 125
    assert made.asked()[-1].question.restart_s == (240.0, 480.0)
    assert [(one.at_s, one.too_late) for one in ladder.rungs] == [(790, False), (1030, False), (last, True)]
    end = ladder.rungs[-1]
    assert (end.musts_chance, end.sentence) == (0.0,
        "From then on no timed lap before the flag at 20:00 any more; lost: main (a must), long (a should); "
        "left: starts after the flag, leave by 19:48.")
    assert end.lines == (NO_TIMED_LAP, "left: starts after the flag, leave by 19:48")
    lines = ladder_lines(ladder, last + 10)
    assert lines == [f"restart at 17:56 or later: {end.sentence} (the musts of all cars fit in 0%)"]


def test_a_red_flag_two_minutes_before_the_end_is_told_to_be_the_end() -> None:
    """No restart of the ladder comes in time: nothing is said of plans that stand as they are, and all fit."""
    ladder = late_red(1050).made(LadderState)[-1]
    assert [one.too_late for one in ladder.rungs] == [True]
    assert ladder.rungs[0].at_s < 1200


@pytest.mark.parametrize(("red_s", "rules"), [(1050, {"red_clock": "stops"}), (100, {})])
def test_a_ladder_far_from_the_end_has_all_its_restarts(red_s: float, rules: dict[str, Any]) -> None:
    """The clock stands under red, or the hour is young: each of them is one to plan for."""
    ladder = late_red(red_s, **rules).made(LadderState)[-1]
    assert [(one.restart_s, one.too_late) for one in ladder.rungs] == [(240, False), (480, False), (720, False)]


def test_a_run_that_a_late_red_broke_off_is_said_to_have_no_timed_lap_any_more() -> None:
    """It is the next one by the plan, with the flag a minute and a half away: that it cannot go on stands beside it."""
    rules = regulations(duration_s=600)
    made = AdviceStage(setup(plan(LONG, SPARE), regulations=rules))
    made.green()
    t = made.drive(100, 125, 100)
    made.status(t + 10, "red")
    made.wait(425)
    made.home(430 - 118 * 0.95, 118)
    run = made.car.progress.find("long")
    assert run is not None
    assert (run.state, run.reason) == ("next", "red flag; no timed lap can start before the flag any more")


def test_an_answer_after_the_red_builds_no_ladder() -> None:
    """Green came first: the question was asked anew, and the old answer is dropped."""
    made = stage()
    made.status(600, "red")
    made.status(601, "green")
    made.advised(WITHOUT_SPARE, revision=1)
    assert made.made(LadderState) == []


# -- restarts ----------------------------------------------------------------------------------------------------------


def test_an_unanswered_question_is_asked_again_after_a_restart() -> None:
    """It is among the open wishes until it is answered."""
    made = stage()
    made.command("advise")
    assert made.asked()[-1] in made.session.open_wishes()
    made.advised(WITHOUT_SPARE)
    assert made.asked()[-1] not in made.session.open_wishes()


def test_a_file_and_the_forecast_may_propose_at_once() -> None:
    """Each is answered by its own name; without one, the file's is meant."""
    made = in_danger(WITHOUT_SPARE)
    from pitwall.model.events import PlanFileRead

    changed = plan(CHECKS, MAIN | {"laps": "out, 1 timed, in"}, LONG, SPARE)
    made.handle(PlanFileRead(id="file", t=made.now, car=CAR, file="plan_41.yaml", plan=changed))
    assert "plan_41.yaml declined" in effect(made.command("decline"))
    assert isinstance(made.command("adopt", proposal="advice-1-1"), Answered)
    assert not isinstance(made.command("adopt", proposal="advice-9-9"), Answered)


def test_a_made_up_plan_names_every_car() -> None:
    """The builder of these tests answers for all cars that were asked about."""
    made = two_cars()
    made.command("advise")
    question = made.asked()[-1].question
    assert [one.car for one in as_asked(question)] == [CAR, "58"]
    assert advice(as_asked(question)).flips is None
    assert not isinstance(made.command("advise"), Refused)


def test_under_red_a_car_that_comes_in_has_the_ladder_built_anew() -> None:
    """Its run was cut: what was reckoned with the car out does not hold. The rungs stay those of the red flag."""
    made = AdviceStage(setup(plan(LONG, MAIN, SPARE)))
    made.green()
    t = made.drive(100, 125, 100)
    made.status(t + 10, "red")
    made.advised({CAR: [("long", 3), "main"]})
    made.home(t, 180)
    assert len(made.asked()) == 2
    made.advised({CAR: [("long", 3), "main"]})
    ladder = made.made(LadderState)[-1]
    assert [one.restart_s for one in ladder.rungs] == [240.0, 480.0, 720.0]
    assert [one.at_s - ladder.red_s for one in ladder.rungs] == [240.0, 480.0, 720.0]
    made.wait(t + 10 + 300)
    made.command("advise")
    made.advised({CAR: [("long", 3), "main"]})
    assert [one.restart_s for one in made.made(LadderState)[-1].rungs] == [480.0, 720.0, 960.0]


def test_a_run_that_follows_another_is_no_run_lost() -> None:
    """Told as following, not as dropped; it costs nothing, and no must is said to fall out."""
    tail = MAIN | {"run": "tail", "laps": "out, 1 timed, in"}
    made = AdviceStage(setup(plan(CHECKS, LONG, tail)))
    made.green()
    made.command("advise")
    made.advised({CAR: ["checks", "long", RunDone(run="tail", timed=1, with_run="long")]})
    state = made.state()
    assert state is not None
    (proposal,) = state.proposals
    assert proposal.lines == ("tail follows long without a stop", "long: 6 timed laps become 7")
    assert (proposal.costs, proposal.warnings) == ((), ())
    assert isinstance(made.command("adopt", proposal=proposal.id), Answered)
    assert [(one.run.run, one.timed_wanted) for one in made.car.progress.rest()] == [("checks", 0), ("long", 7)]


def test_advice_for_musts_that_fit_again_goes_with_the_alert() -> None:
    """Time was made up on track: what was offered against the danger stands no more; what a person asked for does."""
    made = in_danger(WITHOUT_SPARE)
    made.wait(130)
    made.foreseen(0.9)
    assert made.state() is None
    assert "the musts fit again" in reason(made.command("adopt", proposal="advice-1-1"))
    made.foreseen(0.3)
    made.command("advise")
    made.advised(WITHOUT_SPARE)
    made.wait(300)
    made.foreseen(0.9)
    assert made.state() is not None


def test_a_search_that_failed_is_tried_again() -> None:
    """No answer came within minutes: the question is not waited for any longer."""
    made = stage()
    made.foreseen(0.3)
    made.wait(250)
    made.foreseen(0.3)
    assert len(made.asked()) == 1
    made.wait(370)
    made.foreseen(0.3)
    assert len(made.asked()) == 2


def test_what_was_adopted_for_another_car_outlives_an_entry_taken_back_there() -> None:
    """A wrong press at the other car is undone afterwards: its inputs are gone over again, the plan with them."""
    made = two_cars()
    made.wait(100)
    made.command("pit", car="58", where="exit", by="ann")
    made.command("advise")
    made.advised({CAR: ["checks", "main"], "58": ["main", RunDone(run="wear", timed=1, from_car=CAR), "spare"]})
    assert isinstance(made.command("adopt", proposal="advice-1-1", by="bob"), Answered)
    assert "taken back: pit exit" in effect(made.command("undo", car="58", by="ann"))
    other = made.session.team["58"]
    assert not other.track.on_track
    assert [one.run.run for one in other.progress.rest()] == ["main", "wear", "spare"]
