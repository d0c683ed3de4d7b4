"""Car care: what telemetry shows of the tyres reaches the driver on the laps on which something can be done."""

from __future__ import annotations

from typing import Any

from pitwall.model.events import TyreReported
from tests.unit.engine_stage import CAR, MAIN, Stage, car_file, plan, setup

COLD: dict[str, Any] = {"of": "carcass_c", "low": 60, "lap": "out", "deadband": 4, "holds_s": 5}
HOT: dict[str, Any] = {"of": "carcass_c", "high": 110, "deadband": 4, "holds_s": 5}
PRESSURE: dict[str, Any] = {"of": "pressure_kpa", "low": 140, "high": 190, "deadband": 5, "holds_s": 5}


def out(*limits: dict[str, Any], laps: str = "out, 2 timed, cool, 1 timed, in", **more: Any) -> Stage:
    """A car with these limits leaves at 200 s; its line comes at about 325 s."""
    made = plan(MAIN | {"laps": laps}, **more)
    return Stage(setup(made, cars={CAR: car_file(tyre_limits=list(limits))})).green().leave(200)


def tell(stage: Stage, t: float, *corners: str, **values: float) -> None:
    """Telemetry of these corners, twice within eight seconds."""
    for moment in (t, t + 8):
        for corner in corners:
            stage.give(TyreReported.model_validate(
                {"id": f"t:{moment}:{corner}", "t": moment, "car": CAR, "corner": corner, **values}))


def test_cold_fronts_are_told_before_the_line_of_a_timed_lap() -> None:
    """Both front tyres are too cold on the out-lap: one sentence about the axle, over before the lap ends."""
    stage = out(COLD)
    stage.cross(232, "1")
    tell(stage, 240, "fl", "fr", carcass_c=48)
    stage.wait(252)
    care = stage.call("care-1-tyre_cold-front")
    assert (care.state, care.spec.kind) == ("due", "care")
    assert care.spec.text == "Fronts are cold, work them before the line."
    assert care.spec.say_by_s + care.spec.spoken_s < 320
    assert not stage.has_call("rear")


def test_it_is_taken_back_when_the_tyres_are_as_they_should_be() -> None:
    """They came up before it was said: nothing is left to say."""
    stage = out(COLD)
    stage.cross(232, "1")
    tell(stage, 240, "rl", carcass_c=50)
    stage.wait(250)
    tell(stage, 251, "rl", carcass_c=80)
    stage.wait(262)
    assert (stage.call("care-1").state, stage.call("care-1").reason) == ("withdrawn", "no longer needed")


def test_cold_tyres_before_the_in_lap_are_no_trouble() -> None:
    """No timed lap follows, so nobody needs them warm."""
    stage = out(COLD, laps="out-in")
    tell(stage, 230, "fl", carcass_c=40)
    stage.wait(250)
    assert not stage.has_call("care")


def test_hot_tyres_wait_for_the_cool_down_lap() -> None:
    """On the timed lap the driver is left alone and the engineer has the alert; on the lap after it the driver hears
    of it."""
    stage = out(HOT)
    t = stage.lap(200, 125, from_exit=True)
    t = stage.lap(t, 101)
    stage.cross(t + 30, "1")
    tell(stage, t + 40, "rl", "rr", carcass_c=120)
    stage.cross(t + 70, "2")
    stage.wait(t + 95)
    assert not stage.has_call("care")
    t = stage.cross(t + 100) and t + 100
    stage.cross(t + 50, "1")
    stage.wait(t + 51)
    assert stage.call("care").spec.text == "Rears are hot, look after them this lap."


def test_a_driver_who_wants_quiet_there_is_left_alone() -> None:
    """The quiet rule of the driver for out-laps counts for care as for all else."""
    stage = out(COLD, quiet={"out": ["session", "safety", "box"]})
    tell(stage, 240, "fl", carcass_c=48)
    stage.wait(260)
    assert not stage.has_call("care")


def test_a_lost_pressure_is_no_care_but_an_alert() -> None:
    """A puncture is not something to look after: the alert says box."""
    stage = out(PRESSURE)
    stage.lap(200, 125, from_exit=True)
    tell(stage, 340, "fl", pressure_kpa=100)
    stage.wait(360)
    assert not stage.has_call("care")
