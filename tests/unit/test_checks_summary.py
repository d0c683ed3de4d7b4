"""The plan told back, and its likely spans on the session clock."""

from __future__ import annotations

import pytest

from pitwall.checks.around import Around
from pitwall.checks.summary import item_words, plan_summary
from pitwall.model.plan import Item, Plan
from pitwall.track.lapmap import lap_map
from pitwall.track.likely import LAP_FACTORS, fits, likely_run_s, likely_spans
from tests.unit.engine_stage import shipped

SETUP = shipped()
CAR = SETUP.cars["41"]
LAP = lap_map(SETUP.circuit, CAR, SETUP.calls)
AROUND = Around(regulations=SETUP.regulations, circuit=SETUP.circuit, car=CAR, lap=LAP, procedures=SETUP.procedures)


def plan(*runs: dict[str, object]) -> Plan:
    """A plan of these runs."""
    return Plan.model_validate({"plan": 1, "car": 41, "driver": "ines", "session": "practice-1", "runs": list(runs)})


def test_a_run_is_the_sum_of_its_laps_and_what_its_items_add() -> None:
    """On a 100 s lap: out, two timed, in, and 3 s for each of two holds."""
    made = plan({"run": "a", "want": "must", "laps": "out, 2 timed, in", "items": [
        {"do": "constant_speed_hold", "on": ["out", "in"], "after": "turn 4", "with": {"gear": 5}}]})
    length, last = likely_run_s(made.runs[0], 100.0, SETUP.procedures)
    assert length == pytest.approx(125 + 101 + 101 + 118 + 6)
    assert last == pytest.approx(125 + 3 + 101)


def test_an_installation_lap_is_one_lap() -> None:
    """Out and straight in, items on either half included."""
    made = plan({"run": "a", "want": "must", "laps": "out-in", "items": [
        {"do": "coast_down", "on": "in", "after": "turn 4"}]})
    length, last = likely_run_s(made.runs[0], 100.0, SETUP.procedures)
    assert length == pytest.approx(100 * LAP_FACTORS["installation"] + 6)
    assert last is None


def test_runs_follow_each_other_with_the_likely_garage_work_between() -> None:
    """The next run leaves after the work, or not before its release window."""
    made = plan({"run": "a", "want": "must", "laps": "out, 1 timed, in", "after_garage_s": [100, 200, 900]},
                {"run": "b", "want": "must", "laps": "out-in", "release": {"not_before": 2000}},
                {"run": "c", "want": "could", "after_flag": "allowed", "items": [{"do": "practice_start"}]})
    first, second, third = likely_spans(made, 100.0, SETUP.procedures, 3600.0)
    assert (first.start_s, first.end_s) == (0.0, pytest.approx(344.0))
    assert second.start_s == 2000.0
    assert (third.start_s, third.after_flag) == (3600.0, True)
    unbound = plan(made.runs[0].model_dump(), {"run": "b", "want": "must", "laps": "out-in"})
    assert likely_spans(unbound, 100.0, SETUP.procedures, 3600.0)[1].start_s == pytest.approx(544.0)


def test_a_run_fits_by_the_start_of_its_last_timed_lap_or_by_its_end() -> None:
    """Where a started lap may be finished the start decides; elsewhere, and without timed laps, the end."""
    made = plan({"run": "a", "want": "must", "laps": "out, 1 timed, in"},
                {"run": "b", "want": "must", "laps": "out-in"})
    timed, installation = likely_spans(made, 100.0, {}, 9999.0)
    assert fits(timed, 200.0, True)
    assert not fits(timed, 200.0, False)
    assert not fits(timed, 120.0, True)
    assert not fits(installation, installation.end_s - 1, True)
    assert fits(installation, installation.end_s, True)


def test_the_summary_tells_each_run_in_the_trades_words() -> None:
    """Laps, tyres, fuel and what is left, switches, the likely span, the items."""
    text = "\n".join(plan_summary(SETUP.plans["41"], AROUND))
    assert text.startswith("car 41, ines, practice-1, 60 min: 5 runs")
    assert "holds: should, out, 2 timed, cool, 1 timed, in (6 laps), tyres B1, 20 kg (9.5 left), torque_map 3" in text
    assert "constant_speed_hold on out and in, after turn 4 (gear 5, seconds 5), held at 55 m/s" in text
    assert "compare: must, out, 1 timed, cool, 1 timed, in (5 laps), tyres C1, 22 kg" in text
    assert text.count("likely ") == 5
    assert "beyond the flag at 1:00:00" in text


def test_the_summary_tells_what_waits_for_the_flag() -> None:
    """An item block has no laps and stands after the flag."""
    text = "\n".join(plan_summary(SETUP.plans["58"], AROUND))
    assert "starts: could, no laps" in text
    assert "after the flag at 1:00:00" in text
    assert "practice_start 2 times, at grid" in text


def test_without_the_other_files_the_summary_tells_what_the_plan_says() -> None:
    """No spans and no spare fuel, but every run."""
    lines = plan_summary(SETUP.plans["41"], Around())
    assert lines[0] == "car 41, ines, practice-1: 5 runs"
    assert not any("likely" in line or "left" in line for line in lines)


def test_a_switch_that_stays_changed_is_told_with_its_reason() -> None:
    """put_back: false is the exception, so it shows."""
    made = Item.model_validate({"do": "flap_compare", "on": {"timed": [1, 3]}, "with": {"flap": "open"},
                                "put_back": False, "why": "last lap"})
    assert item_words(made) == "flap_compare on timed 1 and 3 (flap open), not put back: last lap"
