"""A car that was called in before the red flag came: what ended its run is the call, not the flag."""

from __future__ import annotations

import pytest

from tests.unit.engine_stage import MAIN, SPARE, Stage, effect, plan, setup

SIX = MAIN | {"laps": "out, 6 timed, in"}


def on_its_laps(timed: int) -> tuple[Stage, float]:
    """The car has driven so many of six timed laps; when the next one began."""
    stage = Stage(setup(plan(SIX, SPARE))).green().leave(200)
    t = stage.lap(200, 125, from_exit=True)
    for _ in range(timed):
        t = stage.lap(t, 100)
    return stage, t


@pytest.mark.parametrize(("timed", "state", "reason"), [
    (1, "next", "1 of 6 timed laps done"),        # the rest of it is driven on
    (3, "done", "ended early, still counts"),     # half of it, and no flag took the rest
])  # fmt: skip
def test_a_run_that_was_boxed_before_the_red_came_is_not_ended_by_it(timed: int, state: str, reason: str) -> None:
    """Boxed on the lap on which the red flag then falls."""
    stage, t = on_its_laps(timed)
    effect(stage.command("box", t + 10))
    stage.status(t + 30, "red")
    stage.home(t)
    run = stage.car.progress.find("main")
    assert run is not None
    assert (run.state, run.reason, run.by_flag) == (state, reason, False)


@pytest.mark.parametrize("boxed", [True, False])
def test_a_run_that_the_red_flag_ends_says_so_whoever_boxes_the_car_then(boxed: bool) -> None:
    """Boxed under red, or not at all: it comes in because of the flag."""
    stage, t = on_its_laps(3)
    stage.status(t + 30, "red")
    if boxed:
        effect(stage.command("box", t + 40))
    stage.home(t)
    run = stage.car.progress.find("main")
    assert run is not None
    assert (run.state, run.reason, run.by_flag) == ("next", "red flag", True)


def test_a_box_that_was_taken_back_ended_nothing() -> None:
    """Called in, then told to stay out; the red flag comes after that and ends the run."""
    stage, t = on_its_laps(3)
    effect(stage.command("box", t + 10))
    effect(stage.command("undo", t + 15))
    stage.status(t + 30, "red")
    stage.home(t)
    run = stage.car.progress.find("main")
    assert run is not None
    assert (run.reason, run.by_flag) == ("red flag", True)
