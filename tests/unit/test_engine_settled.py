"""What is said of a call that was said, a minute after its place: only where nothing speaks against it, that."""

from __future__ import annotations

import pytest

from pitwall.app.debrief_cars import run_rows
from pitwall.app.debrief_watch import NotedSession
from pitwall.engine.calls import SETTLED
from pitwall.engine.settled import DROVE_ON
from tests.unit.engine_stage import MAIN, Stage, plan, setup
from tests.unit.test_engine_switch_calls import asking


@pytest.mark.parametrize("drives_on", [True, False])
def test_a_box_call_after_which_the_car_drove_on_says_so(drives_on: bool) -> None:
    """Said, and the car passed the line instead of the pit entry: that speaks against it. Where it came in, that is the
    reason."""
    stage = Stage(setup(plan(MAIN))).green()
    t = stage.drive(200, 125, 100, 100)
    stage.wait(t + 30)
    box = stage.call("box-1-0")
    stage.command("said", call=box.id)
    if drives_on:
        stage.lap(t, 100)
    else:
        stage.pit(t + 95, "entry")
    stage.wait(t + 180)
    assert (box.state, box.reason) == ("done", DROVE_ON if drives_on else "the car came in")
    stage.pit(t + 195 if drives_on else t + 181, "entry")
    row = next(one for one in run_rows(NotedSession(stage.session), stage.car, (), ()) if one.run == "main")
    assert (row.state, row.reason) == ("done", "the car stayed out 1 lap beyond the in-lap" if drives_on else "")


@pytest.mark.parametrize("shown", [None, 2])
def test_a_switch_that_telemetry_shows_elsewhere_speaks_against_its_call(shown: int | None) -> None:
    """The map for the cool-down lap was said. Telemetry that still shows the other one speaks against it; where it says
    nothing of the switch, nothing does."""
    stage = Stage(setup(plan(MAIN | {"laps": "out, 1 timed, cool, 1 timed, in"}))).green()
    if shown is not None:
        stage.switch(10, "torque_map", shown)
    t = stage.drive(200, 125, 100)
    stage.wait(t + 4)
    call = asking(stage, "torque_map", 1)[0]
    stage.command("said", call=call.id)
    stage.wait(t + 90)
    assert call.state == "done"
    assert call.reason == (SETTLED if shown is None else "said, but telemetry shows torque at 2")
