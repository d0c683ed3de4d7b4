"""Several days of each shipped scenario: nothing raises, no call stays open, nobody is told a false "missed"."""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import Any

import pytest
import structlog

from pitwall.engine.rules import box
from simulations import many_seeds

SEEDS = {"practice_hour": 3, "practice_hour_quiet": 2, "red_flag": 2, "forgetful_driver": 2, "test_day": 1}


def _days(scenario: str, jobs: int = 1) -> list[many_seeds.Day]:
    return many_seeds.run(scenario, range(21, 21 + SEEDS[scenario]), jobs)


def _nothing_went_wrong(scenario: str, days: list[many_seeds.Day]) -> None:
    found = many_seeds.summary(scenario, days)
    assert found["failures"] == {}
    assert found["left_open"] == {}
    assert found["false_missed"] == {}
    assert found["seeds"] == SEEDS[scenario]
    assert found["calls"]["planned"] > 80 * SEEDS[scenario]
    assert found["procedures"]["done"] > 0
    assert found["laps"]["timed"] > 5 * SEEDS[scenario]


def test_practice_hours_go_well() -> None:
    """No exception, in the engine or around it; each call at rest a minute after the close; no call reported as missed
    that was spoken in time."""
    _nothing_went_wrong("practice_hour", _days("practice_hour"))


def test_hours_without_a_key_go_well_and_nothing_is_late() -> None:
    """The same for an engineer who never presses a key, who is told of no late call, and of a missed one only where it
    was never shown."""
    days = _days("practice_hour_quiet")
    _nothing_went_wrong("practice_hour_quiet", days)
    for day in days:
        assert day.report["calls"]["late"] == 0
        assert set(day.report["calls"]["reasons"]["missed"]) <= {"it became known too late to be said in time"}


def test_red_flag_days_go_well() -> None:
    """The same with a red flag in the middle of a must run, and procedures are done all the same."""
    days = _days("red_flag")
    _nothing_went_wrong("red_flag", days)
    for day in days:
        assert any(flag["status"] == "red" for flag in day.report["flags"])
        assert day.report["procedures"]["done"] > 0


def test_forgetful_drivers_are_followed_in_two_processes_at_a_time() -> None:
    """The same with drivers who forget and mishear; days that run side by side come back in the order of their
    seeds."""
    days = _days("forgetful_driver", jobs=2)
    _nothing_went_wrong("forgetful_driver", days)
    assert [day.report["seed"] for day in days] == [21, 22]
    assert any(day.report["alerts"].get("switch_wrong") for day in days)


def test_a_test_day_goes_well() -> None:
    """The same for two windows with lunch and a change of drivers: both drivers drive, and nothing is raised or left
    open. (`python simulations/many_seeds.py test_day --seeds 10` runs ten of them.)"""
    days = _days("test_day")
    _nothing_went_wrong("test_day", days)
    for day in days:
        laps = day.report["truth"]["41"]["laps"]["by_driver"]
        assert laps["ines"] >= 25
        assert laps["maro"] >= 15


def _raise(*_: Any) -> Iterable[Any]:
    raise RuntimeError("a rule that breaks")


def test_an_engine_that_raises_is_a_failed_day(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A rule that breaks ends no rehearsal, but the day counts as failed, and the command ends with 1."""
    monkeypatch.setattr(box, "_call", _raise)
    with structlog.testing.capture_logs():
        assert many_seeds.main(["short_demo", "--seeds", "1", "--json"]) == 1
    found = json.loads(capsys.readouterr().out)
    assert "the engine raised on" in found["failures"]["1"]


def test_an_unknown_scenario_is_bad_usage(capsys: pytest.CaptureFixture[str]) -> None:
    """A scenario that is not there: one sentence with the names that are, and 2."""
    assert many_seeds.main(["no_such_day", "--seeds", "1"]) == 2
    assert "practice_hour.yaml" in capsys.readouterr().err
