"""Several days of each shipped scenario: nothing raises, no call stays open, nobody is told a false "missed"."""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import Any

import pytest
import structlog

from pitwall.engine.rules import box
from simulations import many_seeds

SEEDS = {"practice_hour": 3, "practice_hour_quiet": 2, "red_flag": 2, "forgetful_driver": 2}


@pytest.fixture(scope="module")
def days() -> dict[str, list[many_seeds.Day]]:
    """Every day, two at a time."""
    return {name: many_seeds.run(name, range(21, 21 + count), jobs=2) for name, count in SEEDS.items()}


@pytest.mark.parametrize("scenario", sorted(SEEDS))
def test_no_day_goes_wrong(days: dict[str, list[many_seeds.Day]], scenario: str) -> None:
    """No exception, in the engine or around it; each call at rest a minute after the close; no call reported as missed
    that was spoken in time."""
    found = many_seeds.summary(scenario, days[scenario])
    assert found["failures"] == {}
    assert found["left_open"] == {}
    assert found["false_missed"] == {}
    assert found["seeds"] == SEEDS[scenario]
    assert found["calls"]["planned"] > 80 * SEEDS[scenario]
    assert found["procedures"]["done"] > 0
    assert found["laps"]["timed"] > 5 * SEEDS[scenario]


def test_a_quiet_engineer_is_late_for_nothing(days: dict[str, list[many_seeds.Day]]) -> None:
    """Who never presses a key is never told of a late call, and of a missed one only where it was never shown."""
    for day in days["practice_hour_quiet"]:
        assert day.report["calls"]["late"] == 0
        assert set(day.report["calls"]["reasons"]["missed"]) <= {"it became known too late to be said in time"}


def test_a_red_flag_day_has_its_red_and_goes_on(days: dict[str, list[many_seeds.Day]]) -> None:
    """The scripted red flag came, calls were withdrawn for it, and timed laps were driven after it."""
    for day in days["red_flag"]:
        assert any(flag["status"] == "red" for flag in day.report["flags"])
        assert day.report["procedures"]["done"] > 0


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
