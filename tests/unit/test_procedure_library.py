"""The library: what the trade does is there as files, and a new procedure is a new file, driven without code."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from pitwall.app.loading import load_setup, read_event
from pitwall.app.resources import demo_event
from pitwall.model.setup import SessionSetup
from tests.unit.engine_stage import Stage, shipped

WANTED = {
    "installation checks": ["systems_check"], "radio check": ["radio_check"], "switch check": ["wheel_check"],
    "constant-speed hold by gear, by speed, flap open or closed": [
        "constant_speed_hold", "constant_speed_hold_display", "constant_speed_hold_flap"],
    "coast-down": ["coast_down"], "pit-lane pass on the limiter": ["pit_lane_pass"],
    "clutch bite point": ["clutch_bite_check"], "practice start": ["practice_start"],
    "pit-stop practice": ["pit_stop_practice"], "brake bedding": ["brake_bedding"],
    "brake and tyre warming": ["brake_tyre_warming"], "tyre scrub": ["tyre_scrub"], "tyre warm-up": ["tyre_warm_up"],
    "steady-state sensor lap": ["sensor_lap"], "low-drag flap comparison": ["flap_compare"],
    "energy recovery lap by lap": ["energy_lap"],
    "differential or torque-map comparison": ["differential_compare", "torque_map_compare"],
    "cool-down lap with tyre care": ["cool_down_lap", "tyre_care_lap"], "high-power lap": ["high_power_lap"],
    "photo pass": ["photo_pass"], "steering symmetry": ["steering_symmetry"],
}  # fmt: skip

INVENTED = """\
# Invented for this test: lift for a moment on a straight, with the display on its page for tyres and the torque lower.
procedure: 1
name: lift_test
purpose: how the car settles when the throttle closes
laps: [out, cool]
place: needed
arguments:
  lifts: {type: whole, default: 2, low: 1, high: 4}
steps:
  - say: "After {after}: {lifts} short lifts, hands still."
    short: "{after}: {lifts} lifts"
    where: place
    reaction_s: 3
switches: {torque_map: 5}
early_end: {say: "Break off, break off.", short: Break off}
done_when: [driver]
data_window: hold
caution: slows on a straight; mirrors first
clear_behind_s: 5
extra_s: 2
"""
PLAN = """\
plan: 1
car: 41
driver: ines
session: practice-1
runs:
  - run: lifts
    want: must
    laps: out, 1 timed, cool, 1 timed, in
    fuel_kg: 30
    tyres: B1
    items:
      - {do: lift_test, on: cool, after: turn 4, with: {lifts: 3}}
"""


@pytest.fixture
def event(tmp_path: Path) -> Path:
    """A copy of the demo event whose first car drives the invented procedure, which is a file in its library."""
    folder = tmp_path / "event"
    shutil.copytree(demo_event().parent, folder)
    (folder / "procedures" / "lift_test.yaml").write_text(INVENTED, encoding="utf-8")
    (folder / "plans" / "plan_41.yaml").write_text(PLAN, encoding="utf-8")
    return folder / "event.yaml"


@pytest.mark.parametrize("wanted", WANTED)
def test_what_the_trade_does_is_in_the_library(wanted: str) -> None:
    """Each procedure of the list has its file, with a purpose, a short form and evidence."""
    for name in WANTED[wanted]:
        procedure = shipped().procedures[name]
        assert procedure.purpose
        assert procedure.done_when
        assert all(len(step.short) < len(step.say) for step in procedure.steps)


def test_every_procedure_that_slows_the_car_warns_and_looks_behind() -> None:
    """A caution and room behind for each that takes speed off on track; each hold can be ended early."""
    slow = ["coast_down", "photo_pass", "sensor_lap", "steering_symmetry", "brake_bedding", "cool_down_lap",
            *(name for name, one in shipped().procedures.items() if one.hold is not None)]  # fmt: skip
    assert len(slow) == 9
    for name in slow:
        procedure = shipped().procedures[name]
        assert procedure.caution, name
        assert procedure.clear_behind_s > 0, name
        assert "timed" not in procedure.laps, name
        assert procedure.hold is None or procedure.early_end is not None, name


def drive(setup: SessionSetup) -> Stage:
    """Out, timed, and onto the cool-down lap up to its first loop."""
    stage = Stage(setup).green().leave(300)
    quick = stage.car.track.pace.quick_s()
    line = 300.0
    for seconds in (quick * 1.25, quick):
        for loop, share in stage.car.lap_map.loops.items():
            if loop != "line":
                stage.cross(line + seconds * share, loop)
        line += seconds
        stage.cross(line, "line")
    return stage


def test_a_new_file_is_a_new_procedure(event: Path) -> None:
    """Called at its place with its argument, its switch set before and put back after, its caution and traffic told."""
    assert [one for one in read_event(event).findings if one.severity == "error"] == []
    stage = drive(load_setup(event))
    call = stage.call("lift_test")
    assert call.spec.text in ("After turn 4: three short lifts, hands still.", "Turn 4: three lifts")
    assert call.spec.caution == "Nobody within 45 s behind. Slows on a straight; mirrors first"
    cool = stage.car.legs[0]
    assert call.spec.act_at_s == pytest.approx(cool.at(stage.car.lap_map.phase_of("turn 4")))
    assert call.spec.say_by_s + call.spec.spoken_s + 3 <= call.spec.act_at_s + 1e-6
    wanted = {one.leg: one for one in stage.car.progress.runs[0].items}
    assert list(wanted) == [2]
    before, back = (stage.car.switches.wanted(stage.car.progress.runs[0], leg) for leg in (2, 3))
    assert (before["torque_map"], back["torque_map"]) == (5, 4)
    stage.wait(call.spec.say_by_s - 0.5)
    stage.command("confirm", call=call.id)
    assert wanted[2].state == "done"


def test_a_mistake_in_a_new_file_is_told_with_its_line(event: Path) -> None:
    """The blank that nobody fills and the action before the place, each where it stands."""
    file = event.parent / "procedures" / "lift_test.yaml"
    file.write_text(INVENTED.replace('"After {after}: {lifts} short lifts, hands still."', '"Lift {lift} times."'),
                    encoding="utf-8")  # fmt: skip
    (found,) = [one for one in read_event(event).findings if one.code == "PW131"]
    assert (found.line, found.suggestion) == (10, "did you mean 'lifts'?")
    turned = INVENTED.replace("After {after}: {lifts} short lifts, hands still.", "Lift {lifts} times after {after}.")
    file.write_text(turned, encoding="utf-8")
    (found,) = [one for one in read_event(event).findings if one.code == "PW136"]
    assert found.line == 10
