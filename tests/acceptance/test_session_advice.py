"""Advice over a whole session: the ladder under a red flag, a plan that no longer fits, one car's run for the other."""

from __future__ import annotations

import re
from typing import Any

from pitwall.forecast.advice import advise
from pitwall.model.outputs import AdviceState, Alert, LadderState, PlanState, Prompt
from pitwall.model.plan import Plan
from tests.acceptance.script import Script, between, demo_hour, saltmarsh
from tests.acceptance.script_patterns import (
    Pattern,
    advice,
    alert,
    alert_cleared,
    answered,
    command,
    has,
    ladder,
    prompt,
    refused,
    run,
    status,
)
from tests.acceptance.script_plans import CHECKS, STOP, TYRES, press_every_key

LONG: dict[str, Any] = {
    "run": "long", "want": "should", "laps": "out, 8 timed, in", "shorten_to": 4, "after_garage_s": STOP, "tyres": "B1",
}  # fmt: skip
MAIN: dict[str, Any] = {"run": "main", "want": "must", "laps": "out, 3 timed, in", "after_garage_s": STOP}
WITHIN_S = 5.0


def late_car(*runs: dict[str, Any], duration_s: float = 2300.0) -> Script:
    """The checks are done; then the car stands in its garage, much longer than planned."""
    play = Script(saltmarsh({"tyre_sets": TYRES, "runs": list(runs)}, duration_s), advise=advise)
    play.at(0).push(status("green", pit_exit="open"))
    play.telemetry_follows()
    play.car().leaves(100).comes_in(140)
    return play


IN_DANGER = {"asked": "musts in danger"}


def adopts_best(play: Script, delay_s: float = 10.0, *, word: str = "adopt", **asked: str) -> None:
    """Somebody answers the first proposal that comes (to what was asked so), and no other."""
    answered_already: list[str] = []

    def first(heard: AdviceState) -> list[Any]:
        if answered_already:
            return []
        answered_already.append(heard.proposals[0].id)
        best = heard.proposals[0]
        return [command(word, by="ann", car=best.car, id="the-answer", proposal=best.id)]

    play.whenever(advice(proposals=bool, **asked), delay_s, first)


def last(play: Script, kind: str, **fields: Any) -> Any:
    """The last message of that type."""
    return play.heard(Pattern(kind, fields))[-1].what


def test_a_red_flag_in_the_demo_hour_has_its_ladder_within_five_seconds() -> None:
    """Both cars: three restarts, each with the best plan then; cleared as the session goes on."""
    play = Script(demo_hour(), advise=advise)
    play.at(0).push(status("green", pit_exit="open"))
    play.car("41").leaves(100).comes_in(140)
    play.car("58").leaves(110).comes_in(140)
    play.at(1500).push(status("red", pit_exit="closed"))
    play.at(1860).push(status("green", pit_exit="open"))
    play.want(ladder(red_s=1500.0), between(1500, 1500 + WITHIN_S))
    play.want(Pattern("ladder_state", {"active": False}), between(1860, 1861), times=1)
    play.never(ladder(), between(1861, 1900))
    play.run(until=1900)
    built = play.heard(ladder())[0].what
    assert isinstance(built, LadderState)
    assert [one.restart_s for one in built.rungs] == [240.0, 480.0, 720.0]
    assert all(one.sentence for one in built.rungs)


def test_a_plan_that_no_longer_fits_is_told_with_evidence_and_changed_by_one_key() -> None:
    """The alert says how likely the must is, how likely it was, and what would help; adopted, the plan changes, the
    garage hears the run anew, and the alert is over."""
    play = late_car(CHECKS, LONG, MAIN)
    adopts_best(play, **IN_DANGER)
    play.want(alert("overrun", text=has("main may not fit")), between(240, 1500))
    play.want(advice(asked="musts in danger"), between(240, 1500))
    play.want(answered("the-answer", effect=has("of the forecast adopted")), between(240, 1600), times=1)
    play.want(alert_cleared("overrun"), between(240, 1700))
    play.run(until=1700)
    alerts = [one.what for one in play.heard(alert("overrun"))]
    assert all(isinstance(one, Alert) for one in alerts)
    told = [one.text for one in alerts if isinstance(one, Alert)]
    assert " % at " in told[0], "how likely it was before"
    assert re.search(r"Remedy.*: long moves after main; then all musts fit: \d+ % likely$", told[1])
    shown = play.heard(advice(proposals=bool, **IN_DANGER))[0].what
    assert isinstance(shown, AdviceState)
    best = shown.proposals[0]
    assert (best.source, best.cars, best.musts_chance or 0.0) >= ("forecast", ("41",), 0.8)
    adopted_at = play.heard(answered("the-answer"))[0].t
    plans = [one.what for one in play.heard(Pattern("plan_state", {}), between(adopted_at, adopted_at + 5))]
    assert any(isinstance(one, PlanState) and one.changes and one.changes[-1].by == "ann" for one in plans)


def test_after_adopting_the_calls_are_those_of_the_changed_plan() -> None:
    """With the long run dropped, the brief and the release that are called are those of the must, which needs the car
    refuelled: it cannot follow without a stop."""
    play = late_car(CHECKS, LONG | {"shorten_to": 8}, MAIN | {"fuel_kg": 12})
    press_every_key(play)
    adopts_best(play, **IN_DANGER)
    play.want(run("long", state="dropped"))
    play.run(until=1800)
    adopted_at = play.heard(answered("the-answer"))[0].t
    for kind in ("brief", "release"):
        after_it = [one.what for one in play.heard(prompt(kind=kind, state="due"), between(adopted_at, 1800))]
        assert {one.run for one in after_it if isinstance(one, Prompt)} == {"main"}, kind


def test_declined_advice_changes_nothing_and_does_not_come_back() -> None:
    """The plan stays as it was, the alert stands, and the same proposal is not offered again by itself."""
    play = late_car(CHECKS, LONG, MAIN)
    adopts_best(play, word="decline", **IN_DANGER)
    play.want(answered("the-answer", effect=has("declined: the plan stays")), times=1)
    play.never(run("long", timed_wanted=4))
    play.never(alert_cleared("overrun"), between(0, 1500))
    play.run(until=1500)
    answered_at = play.heard(answered("the-answer"))[0].t
    first = play.heard(advice(proposals=bool, **IN_DANGER))[0].what
    assert isinstance(first, AdviceState)
    again = [one.what for one in play.heard(advice(proposals=bool), between(answered_at, 1500))]
    turned_down = first.proposals[0].lines
    assert all(turned_down not in [p.lines for p in one.proposals] for one in again if isinstance(one, AdviceState))


def test_before_it_leaves_for_a_should_an_unsure_must_behind_is_thought_of() -> None:
    """The must is no more than less sure than is wanted: as the car is about to leave, the order is thought of."""
    play = late_car(CHECKS, LONG, MAIN)
    adopts_best(play)
    play.want(advice(asked="about to leave, with a must behind"), between(240, 400))
    play.want(answered("the-answer", effect=has("long moves after main")), between(240, 400))
    play.never(alert("overrun"), between(400, 1700))
    play.run(until=1700)


def test_a_could_that_does_not_fit_is_silent() -> None:
    """Plans are over-full on purpose: no alert, and nobody is offered anything."""
    play = late_car(CHECKS, MAIN, LONG | {"want": "could"})
    play.never(alert("overrun"))
    play.never(advice())
    play.run(until=1100)


def test_who_asks_has_an_answer_and_a_second_seat_hears_what_became_of_it() -> None:
    """By command, in the garage; when one seat adopts it, the other is told by whom."""
    play = late_car(CHECKS, LONG, MAIN, duration_s=1500.0)
    play.at(300).push(command("advise", by="ann", id="asks"))
    play.want(answered("asks", effect=has("asked the forecast")), between(300, 301))
    play.want(advice(asked="asked by ann"), between(300, 300 + WITHIN_S))
    adopts_best(play, 5.0)
    play.whenever(answered("the-answer"), 5.0,
                  lambda heard: [command("adopt", by="bob", id="second", proposal=_named(heard.effect))])  # fmt: skip
    play.want(answered("second", effect=has("adopted already, by ann")))
    play.at(1499).push(command("adopt", id="unknown", proposal="advice-99-1"))
    play.want(refused("unknown"), between(1499, 1500))
    play.run(until=1500)


def _named(effect: str) -> str:
    """The proposal that an answer names."""
    return effect.split()[0]


def two_cars() -> Script:
    """Car 41 has far too much to do; 58 could do its wear run."""
    wear = LONG | {"run": "wear", "want": "must", "shorten_to": 8, "also_on": ["58"]}
    setup = saltmarsh({"tyre_sets": TYRES, "runs": [CHECKS, MAIN, wear]}, 1500.0)
    other = Plan.model_validate({
        "plan": 1, "car": "58", "driver": "bryn", "session": setup.session, "tyre_sets": TYRES,
        "runs": [CHECKS, MAIN | {"run": "short", "laps": "out, 1 timed, in", "want": "should"}],
    })  # fmt: skip
    hour = demo_hour()
    both = setup.model_copy(update={"plans": {**setup.plans, "58": other}, "cars": hour.cars})
    play = Script(both, advise=advise)
    play.at(0).push(status("green", pit_exit="open"))
    play.car("41").leaves(100).comes_in(140)
    play.car("58").leaves(105).comes_in(140)
    return play


def test_a_run_goes_to_the_car_that_has_time_for_it() -> None:
    """One proposal for both cars; one key changes both plans, and the other car is called out for the run."""
    play = two_cars()
    press_every_key(play)
    adopts_best(play)
    play.want(answered("the-answer"), times=1)
    play.want(prompt(car="58", run="wear", kind="brief"))
    play.run(until=400)
    shown = play.heard(advice(proposals=bool))[0].what
    assert isinstance(shown, AdviceState)
    best = shown.proposals[0]
    assert set(best.cars) == {"41", "58"}
    assert any(line.startswith("car 41: run wear is dropped") for line in best.lines), best.lines
    assert any(line.startswith("car 58: new run wear") for line in best.lines), best.lines
    there = last(play, "plan_state", car="58")
    assert "wear" in [one.run for one in there.runs if one.state != "dropped"]
    here = last(play, "plan_state", car="41")
    assert [one.state for one in here.runs if one.run == "wear"] == ["dropped"]
