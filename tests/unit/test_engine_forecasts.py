"""The question to the forecaster, and what is done with its answer."""

from __future__ import annotations

import itertools
from typing import Any

import pytest

from pitwall.engine.remaining import INTO_BOX_S, LANE_PART, PIT_LANE_S, ROLLS_S, SAID_S, SPREAD
from pitwall.model.events import ForecastReady
from pitwall.model.outputs import Activity, CarOutlook, CarSnapshot, ForecastAnswer, ForecastState, ForecastWanted
from tests.unit.engine_stage import CHECKS, MAIN, SPARE, Stage, plan, setup

STARTS = {"run": "starts", "want": "could", "after_flag": "allowed",
          "items": [{"do": "standing_start", "times": 2, "at": "grid"}]}  # fmt: skip
RUNS = (CHECKS, MAIN | {"laps": "out, 2 timed, cool, 1 timed, in", "shorten_to": 2}, SPARE, STARTS)


def asked(stage: Stage) -> CarSnapshot:
    """The last question's part for the first car."""
    return stage.made(ForecastWanted)[-1].snapshot.cars[0]


def shape(activities: tuple[Activity, ...]) -> list[tuple[str | None, str]]:
    """Run and kind of each activity."""
    return [(one.run, one.kind) for one in activities]


def answer(stage: Stage, revision: int, *cars: str) -> list[ForecastState]:
    """The forecaster answers; returns the states that came of it."""
    outlooks = tuple(CarOutlook(car=car, musts_chance=0.8, runs=(), spare_q50_s=5) for car in cars)
    found = stage.handle(ForecastReady(id=f"r{revision}-{stage.now}", t=stage.now, revision=revision,
                                       answer=ForecastAnswer(cars=outlooks, futures=100, seed=1)))  # fmt: skip
    return [one for one in found if isinstance(one, ForecastState)]


def test_what_is_left_in_the_order_in_which_it_will_be_done() -> None:
    """Before the session: wait, run after run with its laps and the work after it, and blocks by their procedures."""
    stage = Stage(setup(plan(*RUNS)))
    car = asked(stage)
    assert shape(car.activities) == [
        (None, "wait"), ("checks", "out"), (None, "garage"),
        ("main", "out"), ("main", "timed"), ("main", "timed"), ("main", "cool"), ("main", "timed"), ("main", "in"),
        (None, "garage"), ("spare", "out"), ("spare", "timed"), ("spare", "in"), ("starts", "item"),
    ]  # fmt: skip
    assert (car.on_track, car.from_s) == (False, -300)
    assert car.wants == {"checks": "must", "main": "must", "spare": "could", "starts": "could"}
    assert (car.minimum_laps, car.after_flag) == ({"main": 2}, ("starts",))
    assert car.activities[-1].likely_s == 24
    wanted = stage.made(ForecastWanted)[-1]
    assert (wanted.snapshot.remaining_s, wanted.snapshot.clock_running) == (3600, True)


def test_lap_times_are_three_points_around_what_is_expected() -> None:
    """Likely as the pace says, low and high by kind; garage work as the plan says."""
    car = asked(Stage(setup(plan(MAIN, SPARE))))
    found = {one.kind: one for one in car.activities[:6]}
    low, high = SPREAD["timed"]
    assert (found["timed"].low_s, found["timed"].likely_s, found["timed"].high_s) == pytest.approx(
        (100 * low, 100, 100 * high)
    )
    assert (found["out"].likely_s, found["garage"].likely_s) == (125 + LANE_PART * PIT_LANE_S + ROLLS_S, 300)


def test_a_run_going_on_counts_what_is_left_of_it() -> None:
    """In the middle of the first timed lap: half of it, the other laps whole, no wait."""
    stage = Stage(setup(plan(MAIN | {"laps": "out, 2 timed, in"}, SPARE))).green()
    t = stage.drive(200, 125)
    stage.cross(t + 30, "1")
    stage.wait(t + 50)
    stage.command("extend", run="spare")
    car = asked(stage)
    assert car.on_track
    assert shape(car.activities)[:4] == [("main", "timed"), ("main", "timed"), ("main", "in"), (None, "garage")]
    assert car.activities[0].likely_s == pytest.approx(50, abs=2)
    assert car.activities[1].likely_s == pytest.approx(100)


def test_a_run_to_be_resumed_counts_what_is_left_of_it() -> None:
    """Cut on timed lap 2 of 3: an out-lap and the laps that are still to be driven, with the time that items add."""
    items = [{"do": "hold", "on": "in", "after": "bridge"}]
    stage = Stage(setup(plan(MAIN | {"laps": "out, 3 timed, in", "shorten_to": 3, "items": items}, SPARE))).green()
    t = stage.drive(200, 125, 100)
    stage.status(t + 20, "red")
    stage.pit(t + 80, "entry")
    car = asked(stage)
    assert [one for one in shape(car.activities) if one[0] == "main"] == [
        ("main", "out"), ("main", "timed"), ("main", "timed"), ("main", "in"),
    ]  # fmt: skip
    in_lap = next(one for one in car.activities if (one.run, one.kind) == ("main", "in"))
    assert in_lap.likely_s == pytest.approx(118 + 4 + LANE_PART * PIT_LANE_S + INTO_BOX_S, abs=1)
    assert car.minimum_laps == {"main": 2}


def test_items_on_either_half_of_an_installation_lap_take_their_time() -> None:
    """Out and straight in is one lap: what is done on its second half counts as well."""
    items = [{"do": "hold", "on": ["out", "in"], "after": "bridge"}]
    stage = Stage(setup(plan(CHECKS | {"items": items}, SPARE)))
    lap = next(one for one in asked(stage).activities if one.run == "checks")
    assert lap.likely_s == pytest.approx(140 + 2 * 4 + ROLLS_S + 2 * LANE_PART * PIT_LANE_S + INTO_BOX_S)


def test_dropped_and_done_runs_are_not_asked_about() -> None:
    """Only what is left, and no work after the last run."""
    stage = Stage(setup(plan(CHECKS, MAIN, SPARE))).green()
    stage.leave(100)
    stage.pit(230, "entry")
    stage.command("drop", run="spare")
    assert {one.run for one in asked(stage).activities} == {None, "main"}
    assert asked(stage).activities[-1].kind == "in"


@pytest.mark.parametrize("not_before", [900, 2000])
def test_a_run_that_may_not_leave_yet_waits(not_before: int) -> None:
    """The wait of the next run ends at its time; a later run's first lap carries its own."""
    later = SPARE | {"release": {"not_before": not_before}}
    car = asked(Stage(setup(plan(MAIN, later))))
    first = next(one for one in car.activities if one.run == "spare")
    assert first.not_before_s == not_before
    next_one = asked(Stage(setup(plan(later, MAIN))))
    assert next_one.activities[0].likely_s == not_before  # from the green light: nobody leaves before it


# -- when, and whose answer --------------------------------------------------------------------------------------------


def test_asked_when_the_plan_changes_and_when_the_answer_is_old() -> None:
    """Every two minutes, and at once on a command; each question has a number and a seed of its own."""
    stage = Stage(setup(plan(MAIN, SPARE))).green()
    asked_so_far = len(stage.made(ForecastWanted))
    stage.wait(400)
    found = stage.made(ForecastWanted)[asked_so_far:]
    every = stage.car.setup.forecast.every_s
    apart = [after.t - before.t for before, after in itertools.pairwise(found)]
    assert apart == pytest.approx([every] * len(apart), abs=1)
    stage.command("extend")
    numbers = [one.revision for one in stage.made(ForecastWanted)]
    assert stage.made(ForecastWanted)[-1].t == 400
    assert numbers == list(range(1, len(numbers) + 1))
    assert len({one.seed for one in stage.made(ForecastWanted)}) == len(numbers)


def test_an_answer_is_published_and_an_old_one_dropped() -> None:
    """Only the answer to the open question counts, once, and only for cars that are ours."""
    stage = Stage(setup(plan(MAIN, SPARE))).green()
    number = stage.made(ForecastWanted)[-1].revision
    assert answer(stage, number - 1, "41") == []
    (state,) = answer(stage, number, "41", "99")
    assert (state.car, state.outlook.musts_chance, state.id) == ("41", 0.8, f"forecast-41-{number}")
    assert answer(stage, number, "41") == []
    assert state in stage.session.standing()


def test_an_open_question_is_a_wish_until_it_is_answered() -> None:
    """After a restart the host asks again what nobody answered."""
    stage = Stage(setup(plan(MAIN))).green()
    wishes: list[Any] = [one for one in stage.session.open_wishes() if isinstance(one, ForecastWanted)]
    assert wishes == stage.made(ForecastWanted)[-1:]
    answer(stage, wishes[0].revision, "41")
    assert not [one for one in stage.session.open_wishes() if isinstance(one, ForecastWanted)]


def test_nothing_is_asked_once_the_session_is_closed() -> None:
    """The last question came before the end."""
    stage = Stage(setup(plan(MAIN))).green()
    stage.status(100, "closed")
    before = len(stage.made(ForecastWanted))
    stage.wait(600)
    assert len(stage.made(ForecastWanted)) == before


def test_what_a_red_flag_costs_beyond_its_end() -> None:
    """A car that it sends back is worked on as after its run and called no sooner; one that is ready is called anew and
    fired up first. Blocks without laps have no such work."""
    prepared = setup(plan(*RUNS))
    stage = Stage(prepared)
    snapshot, car = stage.made(ForecastWanted)[-1].snapshot, asked(stage)
    assert snapshot.reopening_s == prepared.calls.fire_up_s + SAID_S
    assert set(car.cut_work) == {"checks", "main", "spare"}
    work, told = car.cut_work["main"], prepared.plans[car.car].find("main").after_garage_s
    assert work.not_under_s == told.likely_s
    assert work.likely_s == told.likely_s + LANE_PART * PIT_LANE_S + INTO_BOX_S  # without width: it never takes longer
