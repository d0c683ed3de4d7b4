"""The score of the forecast: what counts as happened, the two rivals, and the figures on cases with known answers."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path

import pytest

from pitwall.model.outlook import Activity, CarSnapshot
from pitwall.model.plan import Plan, Run
from pitwall.rehearsal.truth import CarTruth, DrivenLap, Release
from simulations.score_follow_truth import Stint, TrueLap
from simulations.score_forecast import calibration, figures, main, reliability, run, summary
from simulations.score_forecast_recorded import outcomes, recorded
from simulations.score_forecast_rivals import (
    Averages,
    chance,
    fixed,
    fixed_moments,
    hindsight,
    pert,
    pert_moments,
)
from simulations.score_forecast_rows import Day, Leg, Row, Took, happened, legs_to, loaded

ROOT = Path(__file__).parents[2]


def row(stated: float, happened: bool, *legs: Leg, left_s: float = 100.0, seed: int = 1) -> Row:
    """A question about a must."""
    return Row("a.yaml", seed, 0.0, "41", "main", "must", stated, happened, left_s, legs, "green")


def lap(kind: str, start_s: float, time_s: float = 80.0, run: str = "main") -> DrivenLap:
    """A lap as the world writes it down."""
    return DrivenLap.model_validate({"car": "41", "number": 1, "run": run, "kind": kind, "meant": kind,
                                     "start_s": start_s, "end_s": start_s + time_s, "time_s": time_s})


def truth(*laps: DrivenLap, releases: tuple[Release, ...] = ()) -> CarTruth:
    """One car's session with these laps."""
    return CarTruth(car="41", laps=laps, calls=(), never_spoken=(), boxes=(), procedures=(), releases=releases,
                    switches=(), keys_pressed=0, refusals=(), driver_spoke_s=0, engineer_spoke_s=0)


def test_brier_score_of_the_published_example() -> None:
    """Chances .9, .2, .6 against 1, 0, 1 give .07 (SOURCES: computed with scoringrules and properscoring)."""
    rows = [row(0.9, True), row(0.2, False), row(0.6, True)]
    assert figures([(one, 0.5, 1.0, 0.0) for one in rows]) == {
        "questions": 3, "brier": 0.07, "brier_fixed": 0.25, "brier_pert": pytest.approx(1 / 3, abs=1e-5),
        "brier_hindsight": pytest.approx(2 / 3, abs=1e-5),
        "calibration": 0.1, "sharpness": pytest.approx((0.09 + 0.16 + 0.24) / 3, abs=1e-5),
        "stated": pytest.approx(1.7 / 3, abs=1e-5), "happened": pytest.approx(2 / 3, abs=1e-5),
    }


def test_calibration_is_the_gap_in_the_band_that_is_judged() -> None:
    """Of four that were given 80 to 95 percent (mean .9) three happened: off by .15; others do not count."""
    band = [row(0.9, True), row(0.9, True), row(0.85, True), row(0.95, False)]
    assert calibration([*band, row(0.3, True), row(0.99, False)]) == 0.15
    assert calibration([row(0.3, True)]) is None


def test_reliability_counts_every_question_once() -> None:
    """Edges belong to the band above, certainty to the last one."""
    table = reliability([row(stated, True) for stated in (0.0, 0.05, 0.8, 0.9499, 0.95, 1.0)])
    assert [(one["from"], one["questions"]) for one in table] == [(0.0, 1), (0.05, 1), (0.8, 2), (0.95, 2)]


def test_pert_is_the_textbook_one() -> None:
    """Taylor, Introduction to Management Science: critical path of mean 24, variance 5, P(<= 28) = .9633 (.96318)."""
    path = [Leg("garage", *points) for points in ((5, 8, 17), (3, 5, 7), (4, 6, 8), (3, 4, 5))]
    assert sum(pert_moments(leg)[0] for leg in path) == 24.0
    assert sum(pert_moments(leg)[1] for leg in path) == pytest.approx(5.0)
    assert pert(row(0.5, True, *path, left_s=28.0)) == pytest.approx(0.96318, abs=1e-5)


def test_a_rival_waits_for_a_release_time_and_is_sure_of_what_has_no_spread() -> None:
    """A leg that may not begin before second 60 ends at 70 at the earliest; without spread the answer is yes or no."""
    legs = (Leg("garage", 10, 10, 10), Leg("out", 10, 10, 10, not_before_s=60.0))
    assert [pert(row(0.5, True, *legs, left_s=left)) for left in (69.9, 70.0)] == [0.0, 1.0]


def test_fixed_averages_are_common_multiples_with_the_spread_that_serves_best() -> None:
    """An out-lap of 1.25 good laps and a stop of the plan's mean; a spread as wide as what happened beside it."""
    legs = (Leg("out", 1, 2, 3), Leg("garage", 60, 90, 180))
    assert sum(fixed_moments(leg, 80.0)[0] for leg in legs) == 100.0 + 100.0
    sure = Day("a", 1, tuple(row(0.5, left > 200, *legs, left_s=left) for left in (100.0, 190.0, 210.0)), (), 80.0)
    assert [round(one, 2) for one in fixed([sure])[0]] == [0.0, 0.37, 0.63]  # 30 s, the least that is tried
    unsure = Day("a", 1, tuple(row(0.5, left < 200, *legs, left_s=left) for left in (100.0, 300.0)), (), 80.0)
    assert [round(one, 2) for one in fixed([unsure])[0]] == [0.46, 0.54]  # 900 s, the most


def test_hindsight_has_the_averages_of_the_other_days() -> None:
    """A day's own laps say nothing to its rival: laps of 1.5 and 2.5 good laps elsewhere are a mean of 2, spread .5."""
    own = Day("a", 1, (row(0.5, True, Leg("out", 1, 2, 3), left_s=250.0),), (Took("out", 9.0),), 100.0)
    others = [Day("a", seed, (), (Took("out", times),), 100.0) for seed, times in ((2, 1.5), (3, 2.5))]
    assert Averages.over(others).of == {"out": (2.0, 0.25)}
    (of_own,), *_ = hindsight([own, *others])
    assert of_own == pytest.approx(0.5 * (1 + math.erf(1 / math.sqrt(2))))  # one deviation of 50 s above 200 s


def test_stops_go_by_what_the_plan_says() -> None:
    """A stop is a multiple of the plan's mean; what is under way, or has no average, goes by its points."""
    averages = Averages({"garage": (1.2, 0.01), "out": (1.3, 0.0)})
    assert averages.moments(Leg("garage", 100, 100, 100), 80.0) == pytest.approx((120.0, 100.0))
    assert averages.moments(Leg("garage", 100, 100, 100, lasted_s=90.0), 80.0)[0] == pytest.approx(30.0)
    assert averages.moments(Leg("out", 30, 30, 30, under_way=True), 80.0) == (30.0, 0.0)
    assert averages.moments(Leg("cool", 60, 60, 60), 80.0) == (60.0, 0.0)


def test_what_counts_as_happened() -> None:
    """Timed laps by their fewest, begun (or ended) before the flag; an installation lap by its leaving."""
    main = Run.model_validate({"run": "main", "want": "must", "laps": "out, 3 timed, in", "shorten_to": 2})
    car = truth(lap("out", 0), lap("timed", 100), lap("timed", 180), lap("timed", 900, run="other"))
    assert happened(main, car, 181.0, must_end=False)
    assert not happened(main, car, 180.0, must_end=False)
    assert not happened(main, car, 259.0, must_end=True)
    assert happened(main, car, 260.0, must_end=True)
    assert not happened(main.model_copy(update={"shorten_to": None}), car, 900.0, must_end=False)
    checks = Run.model_validate({"run": "checks", "want": "must", "laps": "out-in"})
    left = Release(car="41", call="c", run="checks", said_s=1, left_s=2, exit_s=12)
    assert happened(checks, truth(releases=(left,)), 12.1, must_end=False)
    assert not happened(checks, truth(releases=(left.model_copy(update={"exit_s": None}),)), 99.0, must_end=False)


def test_which_legs_lie_before_the_decisive_moment() -> None:
    """Up to the beginning of the last lap that is needed, or to its end; nothing is asked of what nothing can stop."""
    plan = Plan.model_validate({"plan": 1, "car": "41", "driver": "d", "session": "s", "runs": [
        {"run": "checks", "want": "must", "laps": "out-in", "after_garage_s": [60, 90, 200]},
        {"run": "main", "want": "must", "laps": "out, 2 timed, in"}]})
    kinds = ("garage", "out", "timed", "timed", "in")
    acts = tuple(Activity.model_validate({"run": "main" if kind != "garage" else None, "kind": kind, "low_s": 1,
                                          "likely_s": 2, "high_s": 3}) for kind in kinds)
    acts = (Activity(run="checks", kind="in", low_s=1, likely_s=2, high_s=3), *acts)
    car = CarSnapshot(car="41", from_s=0, on_track=True, activities=acts, wants={"checks": "must", "main": "must"})
    legs = legs_to(car, plan, "main", must_end=False)
    assert legs is not None
    assert [leg.kind for leg in legs] == ["in", "garage", "out", "timed"]
    assert (legs[0].under_way, legs[1]) == (True, Leg("garage", 60, 90, 200))
    assert len(legs_to(car, plan, "main", must_end=True) or ()) == 5
    assert len(legs_to(car.model_copy(update={"minimum_laps": {"main": 1}}), plan, "main", must_end=False) or ()) == 3
    assert legs_to(car.model_copy(update={"minimum_laps": {"main": 0}}), plan, "main", must_end=False) is None
    assert legs_to(car.model_copy(update={"after_flag": ("main",)}), plan, "main", must_end=False) is None
    assert legs_to(car, plan, "checks", must_end=False) is None


def test_rehearsals_end_with_their_budget() -> None:
    """The first one is always rehearsed; none is begun once the time is over."""
    days = run([("a", 1), ("a", 2)], jobs=1, budget_s=0.0, work=lambda order: Day(*order, (), (), 80.0))
    assert [day.seed for day in days] == [1]


def test_the_ratio_to_a_rival_has_a_band_over_sessions() -> None:
    """Where the product is off by .1 and fixed averages by .2 in every session, a quarter is left whatever is drawn."""
    days = [Day("a.yaml", seed, (row(0.9, True, Leg("out", 1, 1, 1), seed=seed),), (), 80.0) for seed in (1, 2, 3)]
    found = summary([replace(day, rows=(replace(day.rows[0], left_s=0.5),)) for day in days])
    assert found["ratio_pert"] == {"ratio": 0.01, "from": 0.01, "to": 0.01}
    assert chance(days[0].rows[0], pert_moments) == 1.0


def test_a_small_run_prints_every_figure(capsys: pytest.CaptureFixture[str]) -> None:
    """One rehearsal of the shipped folder: one JSON object with the scores, and questions of both cars."""
    loaded.cache_clear()
    assert main(["--rehearsals", "1", "--jobs", "1", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert {"brier", "brier_fixed", "brier_pert", "calibration", "sharpness", "reliability"} <= set(found)
    assert found["questions"] > 100
    assert 0 <= found["brier"] <= 0.5


def test_a_folder_without_scenarios_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """It names the folder and says what is missing."""
    assert main(["--scenarios", str(tmp_path)]) == 2
    assert "no scenario file" in capsys.readouterr().err


def test_a_recording_is_scored_with_plans_of_the_night_before() -> None:
    """The small recording of the tests: chances of its cars' runs, judged by its answer key; its laps make averages."""
    day = recorded(ROOT / "tests" / "data" / "recording_small", cars=2, seed=1)
    assert day.rows
    assert all(0.0 <= row.stated <= 1.0 and row.left_s > 0 for row in day.rows)
    assert {one.kind for one in day.took} >= {"timed", "out"}
    timed = [one.times for one in day.took if one.kind == "timed"]
    assert 0.95 < sum(timed) / len(timed) < 1.15


def test_what_a_recording_can_tell_of_a_planned_run() -> None:
    """Done with the laps it needs before the flag; not done where the flag came before them; of others it is silent."""
    plan = Plan.model_validate({"plan": 1, "car": "41", "driver": "d", "session": "s", "runs": [
        {"run": name, "want": "must", "laps": "out, 2 timed, in"} for name in ("a", "b", "c", "d")]})

    def stint(name: str, into: str, *labels: tuple[str, float]) -> Stint:
        laps = tuple(TrueLap("41", number, name, label, start, start + 80.0)
                     for number, (label, start) in enumerate(labels))
        return Stint("41", name, laps, into)

    stints = [stint("1", "a", ("out", 0), ("timed", 80), ("timed", 160), ("in", 240)),
              stint("2", "b", ("out", 700), ("timed", 800), ("timed", 1001)),
              stint("3", "c", ("out", 400), ("timed", 480), ("in", 560))]
    assert outcomes(plan, stints, flag_s=1000.0) == {"a": True, "b": False}
