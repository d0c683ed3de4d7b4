"""The forecast against a SimPy model of the same session, which shares no code with it: the same chances.

SimPy: https://simpy.readthedocs.io. Both sides are samples: they may differ by what samples of their size do.
"""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Any

import pytest

from pitwall.forecast.futures import forecast
from pitwall.model.outlook import Activity, CarSnapshot, RunPace
from pitwall.model.outputs import ForecastWanted
from pitwall.model.rules import Interruptions
from simulations.bench_forecast import demo
from simulations.simpy_session import chances
from tests.unit.test_forecast_futures import lap
from tests.unit.test_forecast_sharing import cars, stint

THEIRS, OURS = 1500, 8000
DEVIATIONS = 4.0
"""By how many deviations a chance may differ: one in 16,000 does by chance alone."""
BUSY = {"interruptions": Interruptions(red_per_hour=2.5, slow_per_hour=3.0, slow_length_s=(100, 300, 700))}


def differ(wanted: ForecastWanted, seed: int = 11) -> dict[tuple[str, str], tuple[float, float]]:
    """By car and run, our chance and SimPy's, where they differ by more than samples do."""
    ours = {(car.car, run.run): run.chance for car in forecast(wanted).cars for run in car.runs}
    theirs = chances(wanted.snapshot, THEIRS, seed)
    assert ours.keys() == theirs.keys()
    found = {}
    for key, chance in theirs.items():
        mean = (chance * THEIRS + ours[key] * OURS) / (THEIRS + OURS)
        deviation = math.sqrt(mean * (1 - mean) * (1 / THEIRS + 1 / OURS))
        if abs(chance - ours[key]) > DEVIATIONS * deviation + 1e-9:
            found[key] = ours[key], chance
    return found


def plans() -> list[list[Any]]:
    """Two cars with one tyre crew, works of uncertain length, and laps that hang together."""
    def run(name: str, timed: int, work: float, *crew: str) -> list[Any]:
        acts = stint(name, timed, work, *crew, spread=30.0)
        return [one.model_copy(update={"points": "pace"}) if one.kind == "timed" else one for one in acts]

    return [
        [*run("a", 4, 300, "tyres"), *run("b", 3, 400, "tyres", "floor"), *run("c", 5, 200, "tyres"), *run("d", 3, 1)],
        [*run("e", 3, 350, "tyres"), *run("f", 5, 300, "floor"), *run("g", 4, 250, "tyres"), *run("h", 4, 1)],
    ]


def asked(**more: Any) -> ForecastWanted:
    """The question about these two cars, with time for about half of what they plan."""
    wanted = cars(*plans(), futures=OURS, **more)
    pace = {name: RunPace(level=0.01, lap=0.004, mistake_chance=0.1) for name in "abcdefgh"}
    snapshot = wanted.snapshot
    paced = tuple(car.model_copy(update={"pace": pace}) for car in snapshot.cars)
    return wanted.model_copy(update={"snapshot": snapshot.model_copy(update={"cars": paced})})


@pytest.mark.parametrize("more", [
    {"remaining": 2900.0},
    {"remaining": 2700.0, **BUSY},
    {"remaining": 2700.0, "red_clock": "stops", **BUSY},
    {"remaining": 2500.0, "finish_started_lap": False, **BUSY},
], ids=["calm", "busy", "clock stops", "lap must end"])  # fmt: skip
def test_both_models_give_the_same_chances(more: dict[str, Any]) -> None:
    """Shared crews, red flags that cut laps, slow periods, a clock that stops: no run's chance differs."""
    wanted = asked(**more)
    assert differ(wanted) == {}
    found = [run.chance for car in forecast(wanted).cars for run in car.runs]
    assert sum(0.02 < chance < 0.98 for chance in found) >= 2  # the question is not settled beforehand


def test_the_demo_gives_the_same_chances() -> None:
    """The question of the demo event at its green light, crews and calls as the engine asks it."""
    wanted = demo(OURS)
    # SimPy's model knows a clock without doubt, and runs by their laps only.
    snapshot = wanted.snapshot.model_copy(update={"clock_uncertainty_s": 0.0, "cars": tuple(
        car.model_copy(update={"activities": tuple(one for one in car.activities if one.kind != "item")})
        for car in wanted.snapshot.cars)})  # fmt: skip
    assert differ(wanted.model_copy(update={"snapshot": snapshot})) == {}


def test_the_check_sees_a_difference() -> None:
    """One model with 60 s less on the clock differs: the comparison is no formality."""
    wanted = asked(remaining=2700.0)
    theirs = chances(wanted.snapshot, THEIRS, 3)
    less = wanted.model_copy(update={"snapshot": wanted.snapshot.model_copy(update={"remaining_s": 2640.0})})
    ours = {(car.car, run.run): run.chance for car in forecast(less).cars for run in car.runs}
    assert max(abs(theirs[key] - ours[key]) for key in ours) > 0.06


def test_a_cut_lap_in_simpy_is_done_as_the_walk_says() -> None:
    """Cut at 150 until 400: the out-lap again, then the whole lap; the run then ends in time or not."""
    out, timed = lap("a", "out", 110), lap("a", "timed", 90)
    always = Interruptions(red_per_hour=20, red_length_s=(249.9, 250, 250.1), slow_per_hour=0)
    wanted = cars([out, timed, lap("a", "in", 105)], remaining=600.0, futures=OURS, interruptions=always,
                  finish_started_lap=False)  # fmt: skip
    assert differ(wanted) == {}


def test_a_run_that_counts_is_ended_by_a_red_flag_in_both() -> None:
    """Runs that may be shorter, a garage that keeps cars sent back, and many reds: the same chances."""
    wanted = asked(remaining=2700.0, interruptions=Interruptions(red_per_hour=4.0, slow_per_hour=1.0))
    fewest = dict.fromkeys("abcdefgh", 2)
    shorter = tuple(car.model_copy(update={"cut_work": sent_back(car), "minimum_laps": fewest})
                    for car in wanted.snapshot.cars)
    wanted = wanted.model_copy(update={"snapshot": wanted.snapshot.model_copy(update={"cars": shorter})})
    assert differ(wanted) == {}


def sent_back(car: CarSnapshot) -> dict[str, Activity]:
    """By run, its work in the garage with 12 s from the line in the lane to there."""
    found = {}
    for last, work in pairwise(car.activities):
        if last.kind == "in" and last.run is not None:
            points = {"low_s": work.low_s + 12, "likely_s": work.likely_s + 12, "high_s": work.high_s + 12}
            found[last.run] = work.model_copy(update={**points, "crew": ()})
    return found
