"""The forecast: known answers, what may never happen, and the edges of a session."""

from __future__ import annotations

import os
import subprocess
import sys
from statistics import NormalDist
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pitwall.forecast.futures import forecast
from pitwall.forecast.pert import mean, variance
from pitwall.model.outputs import Activity, CarOutlook, CarSnapshot, ForecastAnswer, ForecastSnapshot, ForecastWanted
from pitwall.model.rules import Interruptions

CALM = Interruptions(red_per_hour=0, slow_per_hour=0)


def lap(run: str, kind: str, seconds: float, spread: float = 0.0, **more: Any) -> Activity:
    """One activity of a run; ``spread`` widens it to both sides."""
    low = max(seconds - spread, 0)
    return Activity.model_validate(
        {"run": run, "kind": kind, "low_s": low, "likely_s": seconds, "high_s": seconds + spread, **more}
    )


def run_of(name: str, timed: int, spread: float = 0.0, garage: float = 300.0) -> list[Activity]:
    """Out, timed laps, in, and the garage work after it."""
    quick = [lap(name, "timed", 90, spread) for _ in range(timed)]
    laps = [lap(name, "out", 110, spread), *quick, lap(name, "in", 105, spread)]
    work = Activity(run=None, kind="garage", low_s=garage * 0.6, likely_s=garage, high_s=garage * 1.6)
    return [*laps, work] if garage else laps


def ask(*activities: Activity, remaining: float = 3600.0, seed: int = 1, t: float = 0.0, **more: Any) -> ForecastWanted:
    """A question about one car; anything of the snapshot or the car may be set by name."""
    car = {"car": "41", "from_s": t, "on_track": False, "activities": activities,
           "wants": {a.run: "must" for a in activities if a.run}}
    car |= {name: more.pop(name) for name in list(more) if name in CarSnapshot.model_fields}
    snapshot = {
        "t": t, "remaining_s": remaining, "clock_running": True, "status": "green", "red_clock": "runs",
        "finish_started_lap": True, "interruptions": CALM, "futures": 400, "confidence": 0.9, "cars": (car,), **more,
    }
    return ForecastWanted(t=t, revision=1, seed=seed, snapshot=ForecastSnapshot.model_validate(snapshot))


def car(wanted: ForecastWanted) -> CarOutlook:
    """The answer's one car."""
    return forecast(wanted).cars[0]


def test_certain_durations_give_certain_answers() -> None:
    """Without spread or interruptions: end, chance, spare time and latest release are plain sums."""
    found = car(ask(*run_of("a", 3), remaining=1000))
    only = found.runs[0]
    assert only.chance == 1.0
    assert only.end_q10_s == only.end_q50_s == only.end_q90_s == 110 + 3 * 90 + 105
    assert only.last_release_s == pytest.approx(1000 - 110 - 2 * 90, abs=2.1)
    assert only.last_release_s is not None
    assert only.last_release_s <= 1000 - 110 - 2 * 90
    assert found.spare_q50_s == pytest.approx(1000 - 110 - 2 * 90)


@pytest.mark.parametrize(
    ("remaining", "started", "ended"), [(289, 0.0, 0.0), (291, 1.0, 0.0), (379, 1.0, 0.0), (381, 1.0, 1.0)]
)
def test_started_lap_may_be_finished(remaining: float, started: float, ended: float) -> None:
    """Out 110 s and three laps of 90: the third begins at 290 and ends at 380; which of them counts is the rule's."""
    assert car(ask(*run_of("a", 3), remaining=remaining)).runs[0].chance == started
    assert car(ask(*run_of("a", 3), remaining=remaining, finish_started_lap=False)).runs[0].chance == ended


def test_shortened_run_counts_as_fit() -> None:
    """With a minimum of one of its three timed laps, a run fits when the first can still begin."""
    assert car(ask(*run_of("a", 3), remaining=120)).runs[0].chance == 0.0
    assert car(ask(*run_of("a", 3), remaining=120, minimum_laps={"a": 1})).runs[0].chance == 1.0


def test_minimum_already_done() -> None:
    """Nothing still needed of a run: it fits, even with no time left."""
    assert car(ask(*run_of("a", 3), remaining=0, minimum_laps={"a": 0})).runs[0].chance == 1.0


def test_not_before_is_kept() -> None:
    """A run that may not leave before a moment waits for it."""
    acts = [lap("a", "out", 110, not_before_s=500.0), lap("a", "timed", 90), lap("a", "in", 105)]
    found = car(ask(*acts, remaining=620))
    assert found.runs[0].end_q50_s == 500 + 110 + 90 + 105
    assert found.runs[0].chance == 1.0
    assert found.runs[0].last_release_s == pytest.approx(510, abs=2.1)


def test_chance_of_a_chain_is_that_of_the_sum() -> None:
    """Fifty uncertain laps are nearly normal: the chance agrees with the moments of the beta-PERT durations."""
    laps = [Activity(run="a", kind="timed", low_s=88, likely_s=90, high_s=99) for _ in range(50)]
    length, spread = 50 * mean(88, 90, 99), (50 * variance(88, 90, 99)) ** 0.5
    found = car(ask(*laps, remaining=length + spread, finish_started_lap=False, futures=20_000))
    assert found.runs[0].chance == pytest.approx(NormalDist().cdf(1.0), abs=0.012)
    assert found.runs[0].end_q90_s == pytest.approx(length + NormalDist().inv_cdf(0.9) * spread, abs=0.15 * spread)


def test_latest_release_keeps_its_promise() -> None:
    """A car that leaves at the latest release time fits with the wanted chance, and a minute later it does not."""
    rates = Interruptions(red_per_hour=2, slow_per_hour=2)
    run = run_of("a", 5, spread=8)
    latest = car(ask(*run, interruptions=rates, futures=4000)).runs[0].last_release_s
    assert latest is not None
    at = car(ask(*run, interruptions=rates, futures=4000, from_s=latest)).runs[0].chance
    later = car(ask(*run, interruptions=rates, futures=4000, from_s=latest + 60)).runs[0].chance
    assert at == pytest.approx(0.9, abs=0.002)
    assert at >= 0.9
    assert later < 0.9


def test_no_release_is_early_enough() -> None:
    """When leaving now would not give the wanted confidence there is no latest release."""
    assert car(ask(*run_of("a", 5), remaining=200)).runs[0].last_release_s is None


def test_red_flag_now_holds_everyone() -> None:
    """Under red nobody leaves: the run ends later by part of a red flag; a clock that stops makes up for it."""
    rates = Interruptions(red_per_hour=0, slow_per_hour=0, red_length_s=(399, 400, 401))
    runs = car(ask(*run_of("a", 1, garage=0), remaining=300, status="red", interruptions=rates, futures=2000)).runs
    stops = car(
        ask(*run_of("a", 1, garage=0), remaining=300, status="red", interruptions=rates, red_clock="stops")
    ).runs
    assert runs[0].end_q50_s == pytest.approx(305 + 200, abs=12)  # half of a length of 400
    assert runs[0].chance == pytest.approx((300 - 110) / 400, abs=0.04)
    assert stops[0].chance == 1.0


def test_red_flag_sends_the_car_back() -> None:
    """A car on its timed lap owes an out-lap and the whole lap once the red is over; an in-lap is just finished."""
    rates = Interruptions(red_per_hour=0, slow_per_hour=0, red_length_s=(1e-3, 1e-3, 1e-3))
    half_done = [lap("a", "timed", 40), lap("a", "timed", 90), lap("a", "in", 105), *run_of("b", 1)]
    found = car(ask(*half_done, status="red", on_track=True, interruptions=rates))
    assert found.runs[0].end_q50_s == pytest.approx(110 + 90 + 90 + 105, abs=0.1)
    coming_in = car(ask(lap("a", "in", 40), status="red", on_track=True, interruptions=rates))
    assert coming_in.runs[0].end_q50_s == pytest.approx(40, abs=0.1)


def test_slow_period_stretches_laps() -> None:
    """Under a slow period of known length a lap gains 0.65 s a second, then goes on at full pace."""
    rates = Interruptions(red_per_hour=0, slow_per_hour=0, slow_length_s=(7200, 7200, 7200))
    found = car(ask(lap("a", "out", 130), status="slow", interruptions=rates, futures=4000))
    # The rest of a two-hour period is uniform: nearly always longer than the lap.
    assert found.runs[0].end_q50_s == pytest.approx(130 / 0.65, abs=0.1)


def test_session_over() -> None:
    """After the flag a lap under way may be finished, what is allowed after it may be done, and nothing else."""
    acts = [lap("a", "timed", 30), lap("a", "in", 100), *run_of("b", 2), lap("starts", "item", 60)]
    found = {run.run: run for run in car(
        ask(*acts, remaining=0, status="finished", on_track=True, after_flag=("starts",), t=3600)
    ).runs}
    assert (found["a"].chance, found["b"].chance, found["starts"].chance) == (1.0, 0.0, 1.0)
    assert found["b"].last_release_s is None


def test_session_closed() -> None:
    """Once closed nothing fits, and every figure is still finite."""
    found = car(ask(*run_of("a", 1), lap("starts", "item", 60), remaining=0, status="closed", after_flag=("starts",)))
    assert [run.chance for run in found.runs] == [0.0, 0.0]
    assert found.musts_chance == 0.0
    assert found.spare_q50_s < 0


def test_before_the_green_light() -> None:
    """Asked ten minutes early, the session still lasts from second zero."""
    found = car(ask(*run_of("a", 1), remaining=400, t=-600.0, status="waiting"))
    assert found.runs[0].end_q50_s == 110 + 90 + 105
    assert found.runs[0].last_release_s == pytest.approx(400 - 110, abs=2.1)


def test_nothing_left_to_do() -> None:
    """A car without activities has nothing that can fail, and all the time left to spare."""
    found = car(ask(remaining=500))
    assert (found.runs, found.musts_chance, found.spare_q50_s) == ((), 1.0, 500.0)


def test_no_cars() -> None:
    """A question about nobody has an empty answer, and says why."""
    found = forecast(ask(cars=()))
    assert found == ForecastAnswer(cars=(), futures=400, seed=1, problem=found.problem)
    assert found.problem == "No car has a plan: there is nothing to forecast."


def test_musts_are_counted_together() -> None:
    """The chance that all musts fit concerns musts only, in the same futures."""
    acts = [*run_of("a", 3, spread=20), *run_of("b", 3, spread=20), *run_of("c", 9)]
    found = car(ask(*acts, remaining=1120, wants={"a": "must", "b": "must", "c": "could"}, futures=3000))
    chances = {run.run: run.chance for run in found.runs}
    assert 0.02 < chances["b"] < 0.98
    assert chances["c"] == 0.0
    assert found.musts_chance == min(chances["a"], chances["b"])


def test_more_red_flags_lower_the_chance() -> None:
    """With the clock running on, each step in the red-flag rate lowers the chance of a run near the end."""
    acts = [*run_of("a", 6), *run_of("b", 6), *run_of("c", 6)]
    chances = [
        car(ask(*acts, remaining=2900, interruptions=Interruptions(red_per_hour=rate, slow_per_hour=0), futures=5000))
        .runs[-1].chance
        for rate in (0.0, 0.6, 2.0, 6.0)
    ]
    assert chances == sorted(chances, reverse=True)
    assert chances[0] - chances[1] > 0.05


SCRIPT = """
import sys
sys.path.insert(0, "simulations")
from bench_forecast import session
from pitwall.forecast.futures import forecast
print(forecast(session(500, 4)).model_dump_json())
"""


def test_same_seed_same_answer_in_any_process() -> None:
    """Two processes with different hash seeds answer alike to the last digit; another seed answers otherwise."""
    outs = {
        subprocess.run(
            [sys.executable, "-c", SCRIPT], env={**os.environ, "PYTHONHASHSEED": seed}, capture_output=True, text=True,
            check=True, timeout=300,
        ).stdout
        for seed in ("1", "2")
    }
    assert len(outs) == 1
    acts = run_of("a", 5, spread=20)
    assert forecast(ask(*acts, seed=1)) == forecast(ask(*acts, seed=1))
    assert forecast(ask(*acts, seed=1)) != forecast(ask(*acts, seed=-2))


rates = st.builds(
    Interruptions, red_per_hour=st.floats(0, 8), slow_per_hour=st.floats(0, 8),
    red_length_s=st.tuples(st.floats(0, 300), st.floats(100, 600), st.floats(300, 1500)),
)
plans = st.lists(st.tuples(st.integers(1, 5), st.floats(0, 40), st.floats(0, 900)), min_size=1, max_size=5)
situations = st.fixed_dictionaries({
    "interruptions": rates, "seed": st.integers(-5, 99), "status": st.sampled_from(["green", "yellow", "slow", "red"]),
    "red_clock": st.sampled_from(["runs", "stops"]), "finish_started_lap": st.booleans(), "futures": st.just(200),
})


def activities(plan: list[tuple[int, float, float]], skip: int = -1) -> list[Activity]:
    """A plan of several runs, one of them left out."""
    return [
        activity for index, (timed, spread, garage) in enumerate(plan) if index != skip
        for activity in run_of(f"r{index}", timed, spread, garage)
    ]


@settings(max_examples=60, deadline=None)
@given(plans, situations, st.floats(0, 5000), st.floats(0, 2000), st.booleans())
def test_more_time_never_lowers_a_chance(
    plan: list[tuple[int, float, float]], situation: dict[str, Any], remaining: float, more: float, on_track: bool
) -> None:
    """With the same seed, more time left never lowers any chance nor brings a latest release forward."""
    acts = activities(plan)
    less_time = car(ask(*acts, remaining=remaining, on_track=on_track, **situation))
    more_time = car(ask(*acts, remaining=remaining + more, on_track=on_track, **situation))
    for before, after in zip(less_time.runs, more_time.runs, strict=True):
        assert after.chance >= before.chance
        if before.last_release_s is not None:
            assert after.last_release_s is not None
            assert after.last_release_s >= before.last_release_s - 2.1
    assert more_time.musts_chance >= less_time.musts_chance


@settings(max_examples=60, deadline=None)
@given(plans, situations, st.floats(0, 5000), st.data())
def test_dropping_a_run_never_hurts_the_others(
    plan: list[tuple[int, float, float]], situation: dict[str, Any], remaining: float, data: st.DataObject
) -> None:
    """With the same seed, a plan with one run less leaves no other run a smaller chance."""
    dropped = data.draw(st.integers(0, len(plan) - 1))
    whole = {run.run: run.chance for run in car(ask(*activities(plan), remaining=remaining, **situation)).runs}
    for run in car(ask(*activities(plan, dropped), remaining=remaining, **situation)).runs:
        assert run.chance >= whole[run.run]


@settings(max_examples=60, deadline=None)
@given(plans, situations, st.floats(0, 5000), st.booleans())
def test_figures_are_sound(
    plan: list[tuple[int, float, float]], situation: dict[str, Any], remaining: float, on_track: bool
) -> None:
    """Chances lie in 0 to 1, quantiles are in order, runs end one after the other, musts together are no likelier."""
    found = car(ask(*activities(plan), remaining=remaining, on_track=on_track, **situation))
    for run in found.runs:
        assert 0 <= run.chance <= 1
        assert run.end_q10_s <= run.end_q50_s <= run.end_q90_s
        assert run.last_release_s is None or run.last_release_s >= 0
    ends = [run.end_q50_s for run in found.runs]
    assert ends == sorted(ends)
    assert found.musts_chance <= min(run.chance for run in found.runs)
