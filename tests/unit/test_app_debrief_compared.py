"""A comparison needs both laps: its own, and one without it that is worth something."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from pitwall.app.debriefing import debrief
from pitwall.app.next_plan import next_plan
from pitwall.debrief.model import CarDebrief
from pitwall.model.procedure import Procedure
from tests.unit.engine_stage import LOOPS, MAIN, PIT_EXIT, PROCEDURES, plan, setup
from tests.unit.kept_stage import Kept
from tests.unit.test_app_next_plan import BOTH, SETS

COMPARE = Procedure.model_validate(PROCEDURES["set_one"].model_dump() | {
    "name": "compare", "done_when": ["switch", "crossing"], "data_window": "lap", "needs_lap": "reference"})
NOTHING = "nothing left to compare it with: "
OFF = "began with a switch out of place: torque stands at 3, this timed lap needs 2"
OFF_BIAS = "began with a switch out of place: bias stands at 55, this timed lap needs 58"
PLAIN, WRONG, STEP, STEP_WRONG, OTHER = (55, 2), (55, 3), (58, 2), (58, 3), (52, 2)
"""Where bias and torque map stand on a lap: as wanted without the comparison, with the torque map out of place, and the
same with the step that is compared; and with another step."""


def compares(*numbers: int, position: float = 58, **more: Any) -> dict[str, Any]:
    """The item that compares the brake bias on these timed laps."""
    return {"do": "compare", "on": {"timed": list(numbers)}, "with": {"switch": "brake_bias", "position": position},
            **more}


def driven(laps: str, items: list[dict[str, Any]], *stands: tuple[float, int], red: bool = False) -> Kept:
    """A run of these timed laps with the switches so; after it the car comes in. ``red``: for a red flag."""
    stage = Kept(setup(plan(MAIN | {"run": "first", "tyres": "B1", "laps": laps, "items": items}, tyre_sets=SETS,
                            starts_with={"tyres": "A1"}), regulations=BOTH,
                       procedures=PROCEDURES | {"compare": COMPARE}))
    stage.green()
    t, start, seconds = 200.0, PIT_EXIT, 125.0
    stage.leave(t)
    for bias, torque in (*stands, PLAIN):
        for loop, share in LOOPS.items():
            stage.cross(t + seconds * (share - start) / (1 - start), loop)
        t, start, seconds = t + seconds, 0.0, 100.0
        stage.switch(t - 4, "brake_bias", bias)
        stage.switch(t - 3, "torque_map", torque)
        stage.cross(t, "line")
    if red:
        stage.status(t + 10, "red")
    stage.home(t)
    return stage


def told(stage: Kept) -> CarDebrief:
    """The debrief after the session was closed."""
    return debrief(stage.close().facts, "test").cars[0]


def became(stage: Kept) -> list[tuple[str, str]]:
    """What became of each comparison, and why that; of one that was done nothing."""
    return [(one.outcome, one.reason if one.outcome == "done_badly" else "") for one in told(stage).items]


DONE = ("done", "")


@pytest.mark.parametrize(("stands", "expected"), [
    ((PLAIN, STEP, STEP), [DONE, DONE]),
    ((WRONG, STEP, STEP), [("done_badly", f"{NOTHING}lap 2 {OFF}")] * 2),
    ((PLAIN, STEP_WRONG, STEP), [("done_badly", f"the lap {OFF}"), DONE]),
    ((WRONG, PLAIN, STEP), [("done_badly", f"the lap {OFF_BIAS}; {NOTHING}lap 2 {OFF}"), DONE]),
])
def test_a_comparison_beside_a_lap_with_a_switch_out_of_place_was_done_badly(
    stands: tuple[tuple[float, int], ...], expected: list[tuple[str, str]]
) -> None:
    """Its only lap without the step began with another switch out of place; a lap of its own that did is told as ever.
    Where the step was not made on one of its laps, that is a lap without it: its own bias is no switch out of place."""
    found = became(driven("out, 3 timed, in", [compares(2, 3)], *stands))
    assert found == expected


def test_one_lap_that_is_worth_something_is_enough() -> None:
    """Of two laps without the step one began with a switch out of place: the other is compared with; also where it is
    driven after it, and where it is beyond the plan."""
    assert became(driven("out, 3 timed, in", [compares(3)], WRONG, PLAIN, STEP)) == [DONE]
    assert became(driven("out, 3 timed, in", [compares(2)], WRONG, STEP, PLAIN)) == [DONE]
    both = f"{NOTHING}lap 2 {OFF}; lap 3 {OFF}"
    assert became(driven("out, 3 timed, in", [compares(3)], WRONG, WRONG, STEP)) == [("done_badly", both)]


def test_positions_that_are_driven_in_turn_are_compared_with_each_other() -> None:
    """No lap of the run is without: each is compared with the other. A run that never had another lap is compared with
    what only its people know."""
    items = [compares(1), compares(2, position=52)]
    assert became(driven("out, 2 timed, in", items, STEP, OTHER)) == [DONE, DONE]
    assert [one for one, _ in became(driven("out, 2 timed, in", items, STEP_WRONG, OTHER))] == ["done_badly"] * 2
    assert became(driven("out, 1 timed, in", [compares(1)], STEP)) == [DONE]


def test_a_step_that_stays_has_no_lap_without_it_behind_it() -> None:
    """It is not put back: the laps behind it all have it."""
    items = [compares(2, put_back=False, why="stays")]
    assert became(driven("out, 3 timed, in", items, WRONG, STEP, STEP)) == [("done_badly", f"{NOTHING}lap 2 {OFF}")]


def test_what_was_compared_with_nothing_goes_on_with_a_lap_to_compare_it_with(tmp_path: Path) -> None:
    """The step's lap and the one before it; a must run that was for it is done in part."""
    stage = driven("out, 2 timed, in", [compares(2)], WRONG, STEP)
    car = told(stage)
    assert (car.runs[0].in_part, car.items[0].next_want, car.data_windows[0].outcome) == (True, "must", "done_badly")
    assert car.data_windows[0].spoilt == car.items[0].reason
    (run,) = next_plan(stage.journal(tmp_path)).plan.runs
    assert (run.run, run.laps, [one.do for one in run.items]) == ("first-rest", ("out", "timed", "timed", "in"),
                                                                  ["compare"])


def test_a_run_that_was_broken_off_before_its_lap_without_the_step_compared_nothing(tmp_path: Path) -> None:
    """A red flag came before it. As long as it may still be driven nothing is said of it."""
    stage = driven("out, 3 timed, in", [compares(1)], STEP, red=True)
    assert became(stage) == [("done_badly", f"{NOTHING}no timed lap without it was driven")]
    (run,) = next_plan(stage.journal(tmp_path)).plan.runs
    assert (run.items[0].do, run.laps.count("timed")) == ("compare", 2)


def compared_after(act: Callable[[Kept, float], None]) -> list[tuple[str, str]]:
    """Two timed laps, the second with the step. On the first ``act`` happens, given when it began; the bias is back
    before the in-lap."""
    stage = Kept(setup(plan(MAIN | {"run": "first", "tyres": "B1", "laps": "out, 2 timed, in", "items": [compares(2)]},
                            tyre_sets=SETS, starts_with={"tyres": "A1"}), regulations=BOTH,
                       procedures=PROCEDURES | {"compare": COMPARE}))
    stage.green()
    t = stage.drive(200, 125)
    act(stage, t)
    t = stage.lap(t + 100, 100)
    stage.home(t)
    return became(stage)


def test_a_driver_who_acts_on_the_lap_on_which_he_is_told_leaves_no_lap_without_the_step() -> None:
    """Told on the first timed lap what the second one needs, he set it at once, and telemetry shows it: a lap without
    the step was driven in part, and that is the cause that is told."""
    def at_once(stage: Kept, t: float) -> None:
        stage.cross(t + 30, "1")
        stage.switch(t + 40, "brake_bias", 58)
        stage.cross(t + 70, "2")
        stage.cross(t + 100)

    assert compared_after(at_once) == [
        ("done_badly", f"{NOTHING}lap 2 began without it and had bias at 58 from 40 s on")]


def test_what_was_told_on_a_timed_lap_counts_from_its_line_on() -> None:
    """Nothing measures the bias here. The call said "before the line": that it was told, and read back, some seconds
    sooner makes no lap with the step of the lap before."""
    def told_in_time(stage: Kept, t: float) -> None:
        stage.cross(t + 30, "1")
        stage.cross(t + 70, "2")
        stage.wait(t + 88)
        call = stage.call("first-1-2-switch-0")
        assert call.due_t is not None
        stage.command("said", call=call.id)
        stage.wait(t + 91)
        stage.command("confirm", call=call.id)
        stage.cross(t + 100)

    assert compared_after(told_in_time) == [("probably_done", "")]  # nothing measured it
