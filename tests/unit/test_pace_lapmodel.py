"""The lap model: what one car's laps say of another's, and what a run's first lap says of the run."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pitwall.pace.estimate import Estimate, weight_of
from pitwall.pace.lapmodel import LapModel, RunSoFar
from pitwall.pace.programme import LONG_RUN, QUICK_RUN, Programme, log_odds


def run(model: LapModel, car: str, t: float, times: list[float], compound: str, so_far: RunSoFar) -> RunSoFar:
    """A run of timed laps."""
    for seconds in times:
        t += seconds
        so_far = model.timed(car, so_far, t, seconds, compound)
    return so_far


@given(st.floats(-50.0, 50.0))
def test_the_further_off_the_less_it_counts(off: float) -> None:
    """In full up to Huber's limit, less beyond; a mistake pulls less the further off it lies."""
    assert 0.0 < weight_of(off) <= 1.0
    assert weight_of(off) == weight_of(-off) >= weight_of(off * 1.5)
    assert abs(off) * weight_of(off) <= 1.345 + 1e-9
    if abs(off) > 4.5:
        assert abs(off) * weight_of(off, mistake_from=3.0) > abs(off * 1.1) * weight_of(off * 1.1, mistake_from=3.0)


def test_a_first_lap_tells_a_long_run_from_a_quick_one() -> None:
    """After quick laps of 88 s, 88.3 begins a quick run and 92.5 a long one."""
    model = LapModel()
    before = run(model, "41", 0.0, [88.0, 88.2], "medium", RunSoFar()).over()
    assert run(model, "41", 900.0, [88.3], "soft", before).mode == QUICK_RUN
    assert run(model, "41", 900.0, [92.5], "soft", before).mode == LONG_RUN


def test_a_quickening_track_is_common_to_all() -> None:
    """Five cars find a second within half an hour; one that stood in its garage is expected quicker than it was."""
    model = LapModel()
    runs = {f"car-{at}": RunSoFar() for at in range(6)}
    for step in range(6):
        for car in list(runs)[: 6 if step == 0 else 5]:
            runs[car] = run(model, car, 300.0 * step, [90.0 - 0.2 * step], "soft", runs[car].over())
    mean, _ = model.first_of_next("car-5", QUICK_RUN, 1600.0)
    assert math.exp(mean) < 89.5


def test_rain_moves_a_run_at_once() -> None:
    """On tyres for a wet track a lap 20 % slower is where the run is, not a mistake."""
    model = LapModel()
    for at in range(5):
        run(model, f"car-{at}", 100.0, [90.0, 90.0], "soft", RunSoFar())
    wet = run(model, "car-1", 1500.0, [108.0], "intermediate", RunSoFar())
    assert model.later("car-1", wet, 1.0)[0] == pytest.approx(108.0, abs=3.0)
    assert wet.mode == QUICK_RUN
    assert wet.over().wet


def test_compounds_of_quick_runs_are_tried_and_no_others() -> None:
    """Two laps on softs try them; nine laps in a row are no quick run; a compound nobody names is none."""
    model = LapModel()
    assert run(model, "41", 0.0, [90.0, 90.1], "soft", RunSoFar()).over().tried == {"soft"}
    assert not run(model, "42", 0.0, [90.0] * 9, "soft", RunSoFar()).over().tried
    assert not run(model, "43", 0.0, [90.0], "unknown", RunSoFar()).over().tried
    assert not RunSoFar().over().tried


def test_what_is_learned_at_once_and_one_by_one_in_any_order_is_the_same() -> None:
    """Without robust weights the order of observations does not matter."""
    rng = np.random.default_rng(4)
    rows = [(float(x), float(1.0 + 2.0 * x + rng.normal())) for x in rng.normal(size=30)]
    found = []
    for order in (rows, rows[::-1]):
        belief = Estimate()
        belief.begin("level", 0.0, 10.0)
        belief.begin("slope", 0.0, 10.0)
        for x, y in order:
            belief.take([("level", 1.0), ("slope", x)], y, 1.0, huber=math.inf)
        found.append((belief.mean("level"), belief.mean("slope"), belief.variance("slope")))
    assert found[0] == pytest.approx(found[1])


@settings(deadline=None)
@given(st.lists(st.tuples(st.sampled_from("abc"), st.floats(-1e3, 1e3), st.floats(1e-4, 1e2)), max_size=40))
def test_variances_never_grow_by_learning(observations: list[tuple[str, float, float]]) -> None:
    """Whatever is observed, what is known is known no worse after it, and never better than perfectly."""
    belief = Estimate()
    for name in "abc":
        belief.begin(name, 0.0, 3.0)
    for name, value, variance in observations:
        before = [belief.variance(one) for one in "abc"]
        belief.take([(name, 1.0), ("a", 0.5)], value, variance)
        for one, was in zip("abc", before, strict=True):
            assert -1e-9 <= belief.variance(one) <= was + 1e-9


def test_common_practice_says_when_long_runs_come() -> None:
    """Late, with two compounds tried, it is likelier than early; with no time left, or in the wet, it is unlikely."""
    programme = Programme()

    def chance(mode: int, tried: int, wet: bool, t: float, end_s: float) -> float:
        return programme.long_run(mode, log_odds(mode, tried, wet, t, end_s))

    late = chance(QUICK_RUN, 2, False, 3300.0, 5400.0)
    assert late > 0.6 > chance(QUICK_RUN, 1, False, 3300.0, 5400.0) > chance(QUICK_RUN, 1, False, 600.0, 5400.0)
    assert chance(LONG_RUN, 1, False, 3300.0, 5400.0) > 0.6
    assert chance(QUICK_RUN, 2, False, 4800.0, 5400.0) < 0.4
    assert chance(QUICK_RUN, 2, True, 3300.0, 5400.0) < 0.1
    assert 0.05 < chance(QUICK_RUN, 1, False, 3300.0, math.inf) < 0.4


def test_what_the_teams_do_corrects_common_practice() -> None:
    """Eight cars stay on quick runs late in the session: the ninth is expected to; old news fades."""
    programme = Programme()
    odds = log_odds(QUICK_RUN, 2, False, 3300.0, 5400.0)
    before = programme.long_run(QUICK_RUN, odds)
    for _ in range(8):
        programme.learn(QUICK_RUN, odds, QUICK_RUN)
    after = programme.long_run(QUICK_RUN, odds)
    assert after < 0.35 < 0.6 < before
    assert programme.long_run(LONG_RUN, log_odds(LONG_RUN, 2, False, 3300.0, 5400.0)) > 0.6
    for _ in range(40):
        programme.learn(QUICK_RUN, odds, LONG_RUN)
    assert programme.long_run(QUICK_RUN, odds) > 0.8


def test_nobody_is_quick_by_mistake() -> None:
    """A lap 2 s quicker than all others moves what is expected of the car much more than one 2 s slower."""
    moved = []
    for seconds in (88.0, 92.0):
        model = LapModel()
        for at in range(5):
            run(model, f"car-{at}", 0.0, [90.0, 90.1, 90.0], "medium", RunSoFar())
        now = run(model, "car-0", 400.0, [seconds], "medium", run(model, "car-0", 0.0, [90.0], "medium", RunSoFar()))
        moved.append(abs(model.later("car-0", now, 1.0)[0] - 90.0))
    assert moved[0] > 2.0 * moved[1]


def test_two_slow_laps_in_a_row_leave_open_whether_the_run_has_moved() -> None:
    """After two laps 3 s too slow the next may be either; one more settles it, and back at the old pace does, too."""
    found = []
    for third in (93.0, 90.1):
        model = LapModel()
        now = run(model, "41", 0.0, [90.0, 90.1, 90.0, 93.0], "medium", RunSoFar())
        sure = model.later("41", now, 1.0)[1]
        now = run(model, "41", 400.0, [93.1], "medium", now)
        assert model.later("41", now, 1.0)[1] > 1.5 * sure
        found.append(model.later("41", run(model, "41", 500.0, [third], "medium", now), 1.0)[0])
    assert found == pytest.approx([93.0, 90.1], abs=0.7)


def test_a_car_whose_only_lap_was_taken_back_is_as_any_other() -> None:
    """Its run is known and the model knows nothing of it: the field's pace, less surely than for a car it knows."""
    model = LapModel()
    known = model.timed("58", RunSoFar(), 100.0, 90.0, "")
    known = model.timed("58", known, 190.0, 90.0, "")
    stranger, doubt = model.later("41", known, 1.0)
    own, sure = model.later("58", known, 1.0)
    assert 85.0 < stranger < 95.0
    assert doubt > sure
    assert 85.0 < own < 95.0
