"""Plans that change while the session runs: at the desk, in the file, to an alternate, from two seats at once."""

from __future__ import annotations

from typing import Any

from pitwall.engine.session import Session
from pitwall.model.events import CommandGiven, PlanFileRead
from pitwall.model.outputs import Answered, Output, PlanState, Proposal, Refused
from pitwall.model.plan import Plan
from pitwall.model.setup import SessionSetup
from tests.acceptance.script import Script, between, saltmarsh
from tests.acceptance.script_car import Car
from tests.acceptance.script_patterns import (
    Pattern,
    after,
    alert,
    alert_cleared,
    answered,
    command,
    forecast_asked,
    has,
    one_of,
    prompt,
    refused,
    run,
    status,
)
from tests.acceptance.script_plans import CHECKS, HOLD, MORE, TYRES, WORK, press_every_key

SHOWN = one_of("shown", "due")
LONG: dict[str, Any] = MORE | {"run": "long", "laps": "out, 8 timed, in", "tyres": "B1"}
RAIN: dict[str, Any] = MORE | {"run": "rain", "want": "must", "laps": "out, 3 timed, in", "tyres": "W1"}
PUDDLES: dict[str, Any] = MORE | {"run": "puddles", "dry_only": True}
SWAP = {"do": "swap_runs", "run": "more", "other": "long"}
WET_PLAN = {"tyre_sets": {"W1": {"compound": "wet"}}, "runs": [CHECKS, RAIN, PUDDLES]}


def _plan(*runs: dict[str, Any], **more: Any) -> dict[str, Any]:
    return {"tyre_sets": TYRES, "runs": list(runs), **more}


def _setup(*runs: dict[str, Any]) -> SessionSetup:
    setup = saltmarsh(_plan(*runs))
    wet = saltmarsh(WET_PLAN).plans["41"]
    return setup.model_copy(update={"alternates": {"41": {"wet": wet}}})


def _session(*runs: dict[str, Any], **more: Any) -> Script:
    play = Script(_setup(*runs), **more)
    play.at(0).push(status("green", pit_exit="open"))
    return play.telemetry_follows()


def _on_work(*others: dict[str, Any]) -> tuple[Script, Car]:
    """Car 41 on the first of the work run's timed laps, which began at 172 s."""
    play = _session(WORK, *others)
    return play, play.car().leaves(60).lap(112)


def _saved(play: Script, t: float, *runs: dict[str, Any], problem: str | None = None) -> None:
    """The plan file is saved with these runs, or with something that cannot be read."""
    plan = None if problem else Plan.model_validate(_head(play) | _plan(*runs))

    def tell() -> None:
        name, now = f"file:{play.daemon.host.health().journaled}", play.clock.now()
        fact = PlanFileRead(id=name, t=now, car="41", file="plan_41.yaml", plan=plan, problem=problem)
        play.daemon.host.submit(fact)

    play.at(t).do(tell)


def _head(play: Script) -> dict[str, Any]:
    return {"plan": 1, "car": "41", "driver": "ines", "session": play.setup.session}


def proposal(**fields: Any) -> Pattern:
    """A changed plan that waits, or (``active=False``) waits no more."""
    return Pattern("proposal", {"car": "41"} | fields)


def _line(text: str) -> Any:
    return lambda lines: any(text in line for line in lines)


def amend(*changes: dict[str, Any], id: str, by: str = "ines-e", why: str = "it fits better", **more: Any) -> Any:
    """The desk changes the plan."""
    return command("amend", by=by, id=id, changes=list(changes), text=why, **more)


def _decided(play: Script) -> list[Output]:
    """What a fresh engine decides from the journal alone."""
    session, found = Session(), list[Output]()
    for stamped in play.events:
        found += session.handle(stamped)
    return [one for one in found if isinstance(one, PlanState | Proposal | Answered | Refused)]


# -- the file ----------------------------------------------------------------------------------------------------------


def test_a_file_edited_in_mid_session_is_proposed_adopted_and_driven() -> None:
    """Saved while the car is out: the difference is shown, nothing changes until the desk adopts it; then plan,
    forecast and the calls of the run follow, and the journal alone tells it all again."""
    play, car = _on_work(MORE)
    work = WORK | {"laps": "out, 2 timed, cool, 2 timed, in"}
    _saved(play, car.t + 10, work, MORE | {"laps": "out, 3 timed, in"}, LONG)
    adopted = car.t + 40
    play.at(adopted).push(command("adopt", id="yes", by="bryn-e", proposal="41-plan-1"))
    car.lap(91).lap(90).lap(135).lap(90)
    last = car.t
    car.lap(90)
    in_lap = car.t
    car.comes_in(106)
    play.want(proposal(active=True, source="plan_41.yaml", lines=_line("more: 2 timed laps become 3")), times=1)
    play.want(proposal(active=True, lines=_line("new run long after more"), warnings=_line("it changes work")))
    play.never(run("more", timed_wanted=3), between(0, adopted - 0.01))
    play.want(answered("yes", effect=has("plan_41.yaml adopted")), times=1)
    play.want(proposal(active=False), between(adopted, adopted + 0.01), times=1)
    play.want(run("more", timed_wanted=3), between(adopted, adopted + 1))
    play.want(run("long", state="planned"), between(adopted, adopted + 1))
    play.want(forecast_asked(), between(adopted, adopted + 0.01))
    play.never(prompt(kind="box", state=SHOWN), between(adopted, last))
    play.want(prompt(kind="box", state="due"), between(in_lap, in_lap + 15))
    play.run(until=car.t + 5)
    states = [line.what for line in play.heard(Pattern("plan_state"))]
    assert [(one.by, one.what.split(":")[0]) for one in states[-1].changes] == [("bryn-e", "plan_41.yaml adopted")]
    seen = [line.what for line in play.lines if isinstance(line.what, Answered | Refused)]
    again = [one for one in _decided(play) if isinstance(one, Answered | Refused)]
    assert again == seen
    assert [one for one in _decided(play) if isinstance(one, PlanState)][-1].runs == states[-1].runs


def test_a_bad_file_is_an_alert_and_the_plan_in_use_stays() -> None:
    """A save with errors: an alert with file, line and what is wrong; the proposal that stood is gone; a good save
    clears the alert and proposes again; saved back as it was, nothing waits any more."""
    play, car = _on_work(MORE)
    changed = MORE | {"laps": "out, 3 timed, in"}
    _saved(play, car.t + 10, WORK, changed)
    _saved(play, car.t + 20, problem="plan_41.yaml:31: runs[1].tyres: found unknown tyre set 'B9', expected one of")
    _saved(play, car.t + 30, WORK, changed)
    _saved(play, car.t + 40, WORK, MORE)
    play.at(car.t + 50).push(command("adopt", id="late"))
    play.want(alert("plan_file", car="41", text=has("plan_41.yaml:31"), help=has("the plan in use stays")))
    play.want(proposal(active=False), between(car.t + 20, car.t + 20.01), times=1)
    play.want(alert_cleared("plan_file"), between(car.t + 30, car.t + 30.01))
    play.want(proposal(active=True), between(car.t + 30, car.t + 30.01), times=1)
    play.want(proposal(active=False), between(car.t + 40, car.t + 40.01), times=1)
    play.want(refused("late", reason=has("no proposal waits")), times=1)
    play.never(run("more", timed_wanted=3))
    play.run(until=car.t + 60)


def test_a_later_save_and_a_change_at_the_desk_replace_the_proposal() -> None:
    """Nobody adopts what they did not see: the name of an older proposal is refused, and told what replaced it. What
    the desk changed stays when the file does not change the same."""
    play, car = _on_work(MORE, LONG)
    _saved(play, car.t + 10, WORK, MORE | {"laps": "out, 3 timed, in"}, LONG)
    _saved(play, car.t + 20, WORK, MORE | {"laps": "out, 4 timed, in"}, LONG)
    play.at(car.t + 30).push(command("adopt", id="old", proposal="41-plan-1"))
    play.at(car.t + 40).push(amend({"do": "set_laps", "run": "long", "laps": "out, 6 timed, in"}, id="six"))
    play.at(car.t + 50).push(amend({"do": "drop_run", "run": "more"}, id="away"))
    play.at(car.t + 60).push(command("adopt", id="stale", proposal="41-plan-2"))
    play.want(refused("old", reason=has("was replaced at 3:12 (plan_41.yaml was saved again)")), times=1)
    play.want(proposal(active=True, id="41-plan-3", lines=_line("new run more after work")), times=1)
    play.want(refused("stale", reason=has("run more is dropped")), times=1)
    play.never(proposal(active=True, lines=_line("long")))
    play.run(until=car.t + 70)


# -- two seats ---------------------------------------------------------------------------------------------------------


def test_two_seats_amend_at_once() -> None:
    """Both saw the same plan: the second is told who changed what since, and changes nothing; the same change from both
    is no error."""
    play, car = _on_work(MORE, LONG)
    seen = 2  # of PlanState.revision, after the car left
    shorter = {"do": "set_laps", "run": "long", "laps": "out, 6 timed, in"}
    play.at(car.t + 10).push(amend(shorter, id="first", by="one", revision=seen))
    play.at(car.t + 11).push(amend(SWAP, id="second", by="two", revision=seen))
    play.at(car.t + 12).push(amend(shorter, id="third", by="two", revision=seen))
    play.want(answered("first", effect=has("long: 8 timed laps become 6")), times=1)
    play.want(refused("second", reason=has("one at 3:02: long: 8 timed laps become 6")), times=1)
    play.want(answered("third", effect=has("holds already")), times=1)
    play.run(until=car.t + 20)
    (change,) = play.session.team["41"].desk.changes
    assert (change.by, change.why) == ("one", "it fits better")
    given = [one.event for one in play.events if isinstance(one.event, CommandGiven)]
    assert [(one.by, one.text) for one in given] == [(seat, "it fits better") for seat in ("one", "two", "two")]


def test_one_seat_adopts_while_the_other_declines() -> None:
    """The first answer counts; the other seat is told what was done, by whom and when; the same answer twice is no
    error."""
    play, car = _on_work(MORE)
    _saved(play, car.t + 10, WORK, MORE | {"laps": "out, 3 timed, in"})
    play.at(car.t + 20).push(
        command("decline", id="no", by="one", proposal="41-plan-1"),
        command("adopt", id="yes", by="two", proposal="41-plan-1"),
        command("decline", id="no-again", by="two", proposal="41-plan-1"),
    )
    _saved(play, car.t + 30, WORK, MORE | {"laps": "out, 4 timed, in"})
    play.at(car.t + 40).push(
        command("adopt", id="yes-2", by="two", proposal="41-plan-2"),
        command("decline", id="no-2", by="one", proposal="41-plan-2"),
        command("adopt", id="yes-3", by="one", proposal="41-plan-2"),
    )
    play.want(answered("no", effect=has("the plan stays")), times=1)
    play.want(refused("yes", reason=has("declined at 3:12 by one")), times=1)
    play.want(answered("no-again", effect=has("declined already, by one")), times=1)
    play.want(answered("yes-2", effect=has("more: 2 timed laps become 4")), times=1)
    play.want(refused("no-2", reason=has("adopted at 3:32 by two")), times=1)
    play.want(answered("yes-3", effect=has("adopted already, by two")), times=1)
    play.run(until=car.t + 50)


def test_two_seats_switch_to_the_wet_plan() -> None:
    """The second hears that it is driven already; nothing is done twice."""
    play, car = _on_work(MORE)
    for at, seat in ((10, "one"), (10.2, "two")):
        play.at(car.t + at).push(command("switch_plan", id=seat, by=seat, alternate="wet", text="rain"))
    play.want(answered("one", effect=has("the wet plan is driven")), times=1)
    play.want(answered("two", effect=has("on its wet plan already")), times=1)
    play.run(until=car.t + 20)
    assert len(play.session.team["41"].desk.changes) == 1


# -- alternates --------------------------------------------------------------------------------------------------------


def test_rain_in_mid_run_and_dry_again() -> None:
    """The wet plan comes in force on the second timed lap of a dry run: that run ends when the car comes in and is not
    resumed, what is dry only falls out with its reason, the switches of the wet apply; back in the dry, runs that are
    over stay over and the others come back."""
    play, car = _on_work(MORE, LONG)
    play.at(car.t + 50).push(command("switch_plan", id="wet", alternate="wet", text="rain at turn 4"))
    play.at(car.t + 55).push(command("box"))
    car.comes_in(106)
    came_in = car.t
    play.at(came_in + 200).push(command("switch_plan", id="dry", alternate="dry", text="it dries"))
    play.want(answered("wet", effect=has("run work is on track: it ends when the car comes in")), times=1)
    play.want(run("puddles"), times=0)
    play.want(run("more", state="dropped", reason=has("not in the wet plan (desk: rain at turn 4)")))
    play.want(run("work", state="done", reason=has("not resumed: not in the wet plan")), between(came_in, came_in + 1))
    play.want(run("checks", state="next"), between(came_in, came_in + 1))
    play.want(Pattern("plan_state", {"alternate": "wet"}), between(car.starts[1] + 50, came_in + 199))
    play.want(run("more", state="next"), between(came_in + 200, came_in + 202))
    play.want(run("long", state="planned"), between(came_in + 200, came_in + 202))
    play.never(run("work", state=one_of("planned", "next", "running")), between(came_in + 1, came_in + 300))
    play.want(Pattern("plan_state", {"alternate": None}), between(came_in + 200, came_in + 202))
    play.run(until=came_in + 260)


def test_a_plan_that_does_not_exist_is_refused_with_what_there_is() -> None:
    """No short plan, no reason, no word which: each refusal says what is missing."""
    play, car = _on_work()
    play.at(car.t + 10).push(
        command("switch_plan", id="short", alternate="short", text="time"),
        command("switch_plan", id="silent", alternate="wet"),
        command("switch_plan", id="which", text="rain"),
    )
    play.want(refused("short", reason=has("no short plan (there are: dry, wet)")), times=1)
    play.want(refused("silent", reason=has("reason in 'text'")), times=1)
    play.want(refused("which", reason=has("dry, wet")), times=1)
    play.run(until=car.t + 20)


# -- the running run, and the crew -------------------------------------------------------------------------------------


def test_the_running_run_takes_changes_to_the_laps_ahead_only() -> None:
    """On its second timed lap the run is shortened by the cool-down lap and what follows: box comes after this lap. A
    change of what was driven, of its tyres, or of an item behind the car is refused, all in words."""
    play, car = _on_work(MORE)
    car.lap(91)
    asked = car.t + 10
    play.at(asked).push(
        amend({"do": "set_laps", "run": "work", "laps": "out, 1 timed, in"}, id="driven"),
        amend({"do": "set_run_tyres", "run": "work", "tyres": "B1"}, id="tyres"),
        amend({"do": "insert_item", "run": "work", "item": HOLD | {"on": "out"}}, id="behind"),
        amend({"do": "set_laps", "run": "work", "laps": "out, 2 timed, in"},
              {"do": "drop_item", "run": "work", "item": "driver_comment"},
              {"do": "drop_item", "run": "work", "item": "switch_compare"}, id="shorter"),
    )  # fmt: skip
    car.lap(90)
    in_lap = car.t
    car.comes_in(106)
    play.want(refused("driven", reason=has("'out, 2 timed' is driven or begun")), times=1)
    play.want(refused("tyres", reason=has("on track: the tyre set is set in the garage")), times=1)
    play.want(refused("behind", reason=has("past that lap")), times=1)
    play.want(answered("shorter", effect=has("laps out, 2 timed, in instead of")), times=1)
    play.want(prompt(kind="box", state="due"), between(in_lap, in_lap + 15))
    play.want(run("work", state="done"), between(car.t, car.t + 2))
    play.run(until=car.t + 5)


def test_the_crew_is_given_its_notice_and_the_brief_is_told_again() -> None:
    """Shortly before release the desk sends the other run, on other tyres: the answer says until when the crew needs;
    fire-up and release wait for it. Back again a little later, what the driver was told is told anew."""
    play = _session(MORE, LONG)
    press_every_key(play)
    play.at(-50).push(amend(SWAP, id="swap"))
    play.at(20).push(amend(SWAP, id="back"))
    play.want(prompt(call="41-more-1-brief", state="said"), between(-300, -51), times=1)
    told = "long leaves no earlier than 3:10: the crew needs 240 s for another run"
    play.want(answered("swap", effect=has(told)), times=1)
    play.want(prompt(kind="brief", run="long", state="due"), between(-50, 15))
    play.want(answered("back", effect=has("more leaves no earlier than 4:20")), times=1)
    play.want(prompt(call="41-more-1-brief-anew-1", state="due"), between(20, 30), times=1)
    play.never(prompt(kind="release", short="Leave when clear", state="due"), between(-50, 259))
    play.want(prompt(kind="release", short="Leave when clear", state="due", say_from_s=after(259)), between(259, 262))
    play.never(prompt(state="missed"))
    play.run(until=300)


def test_fewer_laps_need_no_notice() -> None:
    """The crew prepares the same car: the release stays where it was, and the brief has the new number of laps."""
    play = _session(MORE, LONG)
    press_every_key(play)
    play.at(-50).push(amend({"do": "set_laps", "run": "more", "laps": "out, 1 timed, in"}, id="one"))
    play.want(answered("one", effect="more: 2 timed laps become 1"), times=1)
    play.want(prompt(call="41-more-1-brief-anew-1", state="due", text=has("one timed lap")), between(-50, -30), times=1)
    play.want(prompt(kind="release", short="Leave when clear", state="due"), between(-1, 5))
    play.run(until=20)


def test_several_changes_are_made_all_or_none() -> None:
    """One of three cannot be made: each that cannot is named with its reason and the nearest name, and none is made."""
    play, car = _on_work(MORE, LONG)
    play.at(car.t + 10).push(
        amend({"do": "set_laps", "run": "long", "laps": "out, 6 timed, in"},
              {"do": "drop_run", "run": "mroe"},
              {"do": "insert_item", "run": "long", "item": {"do": "radio_chek", "on": "out"}}, id="three"),
        amend({"do": "insert_run", "run": "extra: out, 2 timed, in · B1 · should", "after": "work"}, id="line"),
        command("amend", id="why", changes=[{"do": "drop_run", "run": "long"}]),
    )  # fmt: skip
    play.want(refused("three", reason=has("drop_run (change 2): no run 'mroe'")), times=1)
    play.want(refused("three", reason=has("did you mean 'radio_check'?; nothing was changed")), times=1)
    play.never(run("long", timed_wanted=6))
    play.want(answered("line", effect=has("new run extra after work: out, 2 timed, in · B1 · should")), times=1)
    play.want(refused("why", reason=has("needs its reason")), times=1)
    play.run(until=car.t + 20)
