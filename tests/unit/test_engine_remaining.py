"""What the forecaster is told of the rest of a session: waits, works, crews, items, limits, how laps scatter."""

from __future__ import annotations

from typing import Any

import pytest

from pitwall.engine.remaining import CALLED_AGAIN_S, ENDS_BEYOND, INTO_BOX_S, LANE_PART, PIT_LANE_S, ROLLS_S, running
from pitwall.forecast.futures import forecast
from pitwall.model.events import ForecastReady
from pitwall.model.outlook import Activity, CarSnapshot, ForecastSnapshot
from pitwall.model.outputs import ForecastState, ForecastWanted
from pitwall.model.setup import CarLimits
from tests.unit.engine_stage import CHECKS, MAIN, SPARE, Stage, car_file, plan, regulations, setup

WORK = {"after_garage_s": [200, 300, 500], "crew": ["tyres"]}
PART = LANE_PART * PIT_LANE_S


def asked(stage: Stage, number: int = 0) -> CarSnapshot:
    """The last question's part for one car."""
    return whole(stage).cars[number]


def whole(stage: Stage) -> ForecastSnapshot:
    """The last question."""
    return stage.made(ForecastWanted)[-1].snapshot


def activity(car: CarSnapshot, kind: str, run: str | None = None) -> Activity:
    """The first one of that kind."""
    return next(one for one in car.activities if one.kind == kind and (run is None or one.run == run))


def test_a_stop_is_a_beta_pert_whose_ends_lie_beyond_what_one_stop_in_ten_passes() -> None:
    """Of 200, 300, 500 s: the ends twice as far off, the call at the likely time after the pit entry, the crew."""
    stop = activity(asked(Stage(setup(plan(MAIN | WORK, SPARE)))), "garage")
    assert (stop.low_s, stop.likely_s, stop.high_s) == (
        300 - ENDS_BEYOND * 100 + CALLED_AGAIN_S, 300 + CALLED_AGAIN_S, 300 + ENDS_BEYOND * 200 + CALLED_AGAIN_S)
    assert stop.not_under_s == 300 - PART - INTO_BOX_S
    assert (stop.points, stop.crew, stop.lasted_s) == ("ends", ("tyres",), 0.0)


def test_a_stop_of_known_length_has_no_ends() -> None:
    """Three equal points: nothing is stretched, and the car is ready when it is called."""
    stop = activity(asked(Stage(setup(plan(MAIN | {"after_garage_s": 240}, SPARE)))), "garage")
    assert (stop.low_s, stop.likely_s, stop.high_s) == (240, 240, 240)


def came_in(*plans: Any, **more: Any) -> tuple[Stage, float]:
    """The first car drove its main run and came in; when it passed the pit entry."""
    stage = Stage(setup(*plans, **more)).green()
    return stage, stage.home(stage.drive(100, 125, 100, 100), 118)


def test_a_stop_under_way_is_told_with_how_long_it_has_lasted() -> None:
    """100 s after the pit entry: the whole work, of which some is done, and what is left until the call."""
    stage, entry = came_in(plan(MAIN | WORK | {"laps": "out, 2 timed, in"}, SPARE))
    stage.wait(entry + 100)
    stage.command("extend", run="spare")
    wait = asked(stage).activities[0]
    assert (wait.kind, wait.crew, wait.likely_s) == ("wait", ("tyres",), 300 + CALLED_AGAIN_S)
    assert wait.lasted_s == pytest.approx(100 - PART - INTO_BOX_S, abs=1)
    assert wait.not_under_s - wait.lasted_s == pytest.approx(200, abs=1)


def test_two_stops_with_one_crew_follow_one_another() -> None:
    """The car that came in first is worked on; the other's work has not begun, whatever the clock says."""
    plans = [plan(MAIN | WORK | {"laps": "out, 2 timed, in"}, SPARE, car=car) for car in ("41", "58")]
    stage = Stage(setup(*plans)).green()
    for car, begin in (("41", 100.0), ("58", 160.0)):
        stage.leave(begin, car)
    for t, car in ((225, "41"), (285, "58"), (325, "41"), (385, "58"), (425, "41"), (485, "58")):
        stage.cross(t, car=car)
    stage.pit(520, "entry", "41")
    stage.pit(590, "entry", "58")
    stage.wait(680)
    stage.command("extend", run="spare")
    first, second = asked(stage).activities[0], asked(stage, 1).activities[0]
    assert first.lasted_s == pytest.approx(160 - PART - INTO_BOX_S, abs=1)
    assert second.lasted_s == 0.0
    found = forecast(stage.made(ForecastWanted)[-1])
    # Some 140 s are left of the first stop, and all of the second follows on them.
    leaves = [car.next_lap.starts_q50_s - 680 - 125 for car in found.cars if car.next_lap is not None]
    assert leaves[1] - leaves[0] > 200


def test_out_laps_begin_in_the_garage_and_in_laps_end_there() -> None:
    """The way through the pit lane goes with the first and the last lap of a run, as tenths."""
    car = asked(Stage(setup(plan(MAIN, SPARE))))
    out, back = activity(car, "out", "main"), activity(car, "in", "main")
    assert out.likely_s == pytest.approx(125 + PART + ROLLS_S)
    assert back.likely_s == pytest.approx(118 + PART + INTO_BOX_S)
    assert {out.points, back.points} == {"tenths"}
    assert out.low_s < out.likely_s < out.high_s


def test_timed_laps_scatter_as_the_lap_time_model_says() -> None:
    """Before anybody drove: a wide level and the noise of the circuit file; after some laps the level is narrower."""
    stage = Stage(setup(plan(MAIN | {"laps": "out, 4 timed, in"}, SPARE))).green()
    before = asked(stage).pace["main"]
    assert (before.level, before.lap) == (0.02, pytest.approx(0.0035))
    assert activity(asked(stage), "timed").points == "pace"
    t = stage.drive(100, 125, 101, 101)
    stage.wait(t + 5)
    stage.command("extend", run="main")
    after = asked(stage).pace["main"]
    assert 0 < after.level < before.level
    later = [one.likely_s for one in asked(stage).activities if one.points == "pace" and one.run == "main"]
    assert later == pytest.approx([101] * len(later), rel=0.01)


def test_each_lap_carries_its_items() -> None:
    """By their keys, and on an installation lap those of both halves."""
    items = [{"do": "hold", "on": ["out", "in"], "after": "bridge"}]
    car = asked(Stage(setup(plan(CHECKS | {"items": items}, MAIN | {"items": items}))))
    assert len(activity(car, "out", "checks").items) == 2
    assert len(activity(car, "out", "main").items) == 1
    assert len(activity(car, "in", "main").items) == 1


def test_the_question_says_since_when_it_is_red_and_how_well_the_clock_is_known() -> None:
    """And what the regulations ask of in-laps; under green no beginning is told."""
    rules = regulations(slowest_in_lap_s=125, clock_uncertainty_s=2)
    stage = Stage(setup(plan(MAIN, SPARE), regulations=rules)).green()
    assert (whole(stage).status_since_s, whole(stage).clock_uncertainty_s, whole(stage).slowest_in_lap_s) == (
        None, 2, 125)
    stage.status(60, "red")
    assert whole(stage).status_since_s == 60
    assert whole(stage).status == "red"


def test_limits_that_the_plan_runs_into() -> None:
    """Fuel for fewer laps than planned, a set with too few laps left, and laps of the car."""
    tyres = {"A1": {"compound": "hard", "laps": 8, "most_laps": 12}}
    main = MAIN | {"laps": "out, 4 timed, in", "tyres": "A1", "fuel_kg": 10}
    made = setup(plan(main, SPARE, tyre_sets=tyres), cars={"41": car_file(fuel_per_lap_kg=2, fuel_reserve_kg=2)},
                 limits={"41": CarLimits(most_laps=5)})  # fmt: skip
    found = {one.kind: one for one in asked(Stage(made)).limits}
    assert (found["fuel"].run, found["fuel"].laps) == ("main", 4.0)
    assert (found["tyres"].run, found["tyres"].laps, found["tyres"].what) == ("main", 4, "A1 has done 12 laps")
    assert (found["laps"].run, found["laps"].laps) == ("main", 5)


def test_a_plan_within_its_limits_tells_none() -> None:
    """Enough of everything."""
    made = setup(plan(MAIN | {"fuel_kg": 60}, SPARE), limits={"41": CarLimits(most_laps=500, most_km=9000)})
    assert asked(Stage(made)).limits == ()


def test_the_answer_goes_out_whole() -> None:
    """What the forecaster found of limits, items and the next lap is published with the forecast."""
    stage = Stage(setup(plan(MAIN | {"fuel_kg": 3}, SPARE))).green()
    wanted = stage.made(ForecastWanted)[-1]
    found = stage.handle(ForecastReady(id="r", t=stage.now, revision=wanted.revision, answer=forecast(wanted)))
    (state,) = [one for one in found if isinstance(one, ForecastState)]
    assert state.outlook.next_lap is not None
    assert [one.kind for one in state.outlook.limits] == ["fuel"]
    assert state.outlook.runs[0].timed_q50 is not None
    assert ForecastState.model_validate_json(state.model_dump_json()) == state


def test_an_item_of_a_spoilt_lap_is_asked_about_once() -> None:
    """The lap that a slow period spoilt is driven again, and the item is done on that one."""
    flap = {"do": "flap_lap", "on": {"timed": 2}}
    stage = Stage(setup(plan(MAIN | {"laps": "out, 3 timed, in", "items": [flap]}))).green()
    t = stage.drive(100, 125, 100)
    stage.status(t + 5, "slow")
    stage.cross(t + 40, "1")
    stage.status(t + 50, "green")
    stage.cross(t + 80, "2")
    stage.wait(t + 90)
    run = stage.car.progress.current
    assert run is not None
    assert stage.car.legs[1].again
    rest, _ = running(stage.car, run, stage.now, more=False)
    assert [one.kind for one in rest if one.items] == ["timed"]
    assert sum(len(one.items) for one in rest) == 1
