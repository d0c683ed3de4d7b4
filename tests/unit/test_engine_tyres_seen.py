"""Which run it is, seen by the tyres: what the engine says when a car leaves on another compound than planned."""

from __future__ import annotations

from pitwall.model.outputs import LapJudged, PlanState
from tests.unit.engine_stage import MAIN, Stage, plan, setup

SETS = {"M1": {"compound": "medium"}, "S1": {"compound": "soft"}}
RUNS = (
    MAIN | {"run": "long", "laps": "out, 5 timed, in", "tyres": "M1"},
    MAIN | {"run": "short", "laps": "out, 1 timed, in", "tyres": "S1"},
)


def stage() -> Stage:
    """A plan of a long run on mediums and a short one on softs; the car has left."""
    return Stage(setup(plan(*RUNS, tyre_sets=SETS, starts_with={"tyres": "M1"}))).green().leave(100)


def states(made: Stage) -> dict[str, str]:
    """Run states as last published."""
    return {run.run: run.state for run in made.made(PlanState)[-1].runs}


def test_the_box_call_follows_the_run_that_the_tyres_show() -> None:
    """On softs the car is on the short run: that is published at once, and it is called in after one timed lap."""
    made = stage()
    made.cross(130, "1", compound="soft")
    assert states(made) == {"long": "planned", "short": "running"}
    made.cross(175, "2")
    made.cross(215, "line")
    made.lap(215, 100)
    made.home(315)
    boxes = made.prompts("box", "shown") + made.prompts("box", "due")
    assert {prompt.run for prompt in boxes} == {"short"}
    assert {lap.run for lap in made.made(LapJudged)} == {"short"}
    assert states(made) == {"long": "next", "short": "done"}


def test_what_was_to_be_said_of_the_other_run_is_withdrawn() -> None:
    """The long run's number of laps is not read out any more, and not reported as missed."""
    made = stage().wait(125)
    assert made.prompts("long-1-0-run-laps", "shown")
    made.cross(130, "1", compound="soft")
    last = made.prompts("long-1-0-run-laps")[-1]
    assert (last.state, last.reason) == ("withdrawn", "the car is on short, not on long")
    made.wait(200)
    assert not made.prompts("", "missed")


def test_tyres_of_the_run_before_say_nothing_about_this_one() -> None:
    """The compound is forgotten in the pits: a feed that has not said it anew moves nothing."""
    made = stage()
    made.cross(130, "1", compound="medium")
    t = made.lap(215, 100)
    for _ in range(4):
        t = made.lap(t, 100)
    made.home(t)
    made.leave(1500)
    made.cross(1530, "1")
    assert states(made) == {"long": "done", "short": "running"}


def test_a_compound_that_comes_late_still_counts() -> None:
    """Known only at the line that ends the out-lap: the run is changed then, and not after it."""
    made = stage()
    made.cross(130, "1", compound="unknown")
    made.cross(175, "2")
    made.cross(215, "line", compound="soft")
    assert states(made) == {"long": "planned", "short": "running"}
    assert made.car.progress.current is made.car.progress.find("short")
    assert made.session.team["41"].progress.runs[1].expected_kind == "timed"
