"""The desk asks for advice and the real search answers: what cannot be advised on is a clear sentence, never a figure
made of nothing, and nothing changes until somebody adopts it."""

from __future__ import annotations

from typing import Any

from pitwall.forecast.advice import advise
from pitwall.model.events import AdviceReady
from pitwall.model.outputs import AdviceState
from tests.unit.advice_stage import LONG, AdviceStage
from tests.unit.engine_stage import CAR, MAIN, SPARE, effect, plan, reason, setup

A1 = {"A1": {"compound": "hard", "laps": 4, "most_laps": 8}}


def asked(*runs: dict[str, Any], left_s: float = 3600.0, **more: Any) -> AdviceStage:
    """These runs with so much time left; the desk asks, and what the search found is told."""
    made = AdviceStage(setup(plan(*runs, **more)))
    made.green()
    made.clock(1.0, left_s)
    assert "the answer comes" in effect(made.command("advise"))
    wanted = made.asked()[-1]
    made.handle(AdviceReady(id="found", t=made.now, revision=wanted.revision, answer=advise(wanted.question)))
    return made


def state(made: AdviceStage) -> AdviceState:
    """The advice that stands."""
    found = made.state()
    assert found is not None
    return found


def lengths(made: AdviceStage) -> list[tuple[str, int, str]]:
    """The plan as it is followed."""
    return [(one.run.run, one.timed_wanted, one.state) for one in made.session.team[CAR].progress.runs]


def test_a_run_that_cannot_be_done_any_more_is_said() -> None:
    """Its tyres do not last: the sentence counts the laps, and no proposal is made of it."""
    told = state(asked(MAIN | {"laps": "out, 5 timed, in", "tyres": "A1"}, tyre_sets=A1))
    assert told.proposals == ()
    assert "Run main needs 7 laps of its tyres, and they may do 4 more." in (told.problem or "")


def test_a_plan_of_nothing_but_what_comes_after_the_flag_is_said_to_be_one() -> None:
    """No time in the session is needed for it: nothing to advise."""
    starts = {"run": "starts", "want": "could", "after_flag": "allowed", "items": [{"do": "radio_check", "on": []}]}
    told = state(asked(starts))
    assert told.proposals == ()
    assert told.problem == "Only runs for after the flag are left: nothing to advise."


def test_no_time_left_is_the_end_and_no_figure() -> None:
    """The clock stands at nothing: the session is over, whatever stands in the plan; after the flag nobody is asked."""
    told = state(asked(MAIN, SPARE, left_s=0.0))
    assert told.proposals == ()
    assert told.problem == "The session is over: no run can be fitted in any more."
    over = AdviceStage(setup(plan(MAIN)))
    over.green()
    over.status(5.0, "finished", pit_exit="closed")
    assert reason(over.command("advise")) == "the flag is out: nothing is left to be changed"


def test_too_little_time_for_anything_is_said_as_such() -> None:
    """Not even the shortest plan does the must: the proposal that stands says so, and no chance is invented."""
    told = state(asked(MAIN, LONG, left_s=60.0))
    assert told.musts_chance == 0.0
    assert all("no plan does all musts" in (one.sentence or "") for one in told.proposals)
    assert told.proposals or told.problem


def test_nothing_happens_until_somebody_adopts() -> None:
    """A plan that does not fit: the advice stands, the plan is as it was; adopted, it is what was shown."""
    made = asked(LONG, MAIN, left_s=560.0)
    before = lengths(made)
    best = state(made).proposals[0]
    assert (best.sentence or "").startswith("Drop long: main fits in ")
    made.wait(made.now + 60.0)
    assert lengths(made) == before
    assert "adopted" in effect(made.command("adopt", proposal=best.id))
    assert ("long", 6, "dropped") in lengths(made)


def test_a_close_call_between_values_is_said() -> None:
    """Time for one of two runs of nearly the same value: a fifth less for the one would put the other first."""
    near = [MAIN | {"run": name, "want": "should", "value": value, "laps": "out, 4 timed, in", "fuel_kg": fuel_kg}
            for name, value, fuel_kg in (("a", 1.0, 14.0), ("b", 1.1, 15.0))]
    best = state(asked(*near, left_s=860.0)).proposals[0]
    assert (best.sentence or "").startswith("Drop a: b fits in ")
    assert best.flips is not None
    assert best.flips.startswith("were b worth 20 % less, rather ")
