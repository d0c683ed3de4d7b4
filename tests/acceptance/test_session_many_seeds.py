"""Several days of each shipped scenario: nothing raises, no call stays open, nobody is told a false "missed"; and a day
of a seed is the same to the byte in another process, under another hash seed."""

from __future__ import annotations

import json
import os
import shlex
from collections.abc import Iterable
from typing import Any

import pytest
import structlog

from pitwall.app import wiring
from pitwall.app.report import as_json
from pitwall.app.wiring import Evidence
from pitwall.cli.main import main
from pitwall.engine.rules import box
from simulations import many_seeds
from tests.acceptance.processes import QUICK_DAY, ROOT, Processes

SEEDS = {"practice_hour": 2, "practice_hour_quiet": 2, "red_flag": 2, "forgetful_driver": 2, "test_day": 1}
FIRST = 7
README = (ROOT / "README.md").read_text(encoding="utf-8").splitlines()
HOUR = "pitwall rehearse practice_hour.yaml --event config/event.yaml --instant --seed 7"
TEST_DAY = "pitwall rehearse simulations/test_day.yaml --instant"
REPORT_KEYS = {
    "event", "plans", "calls", "procedures", "laps", "alerts", "forecast", "digest", "seed", "scenario", "session_s",
}


def _days(scenario: str, jobs: int = 1) -> list[many_seeds.Day]:
    return many_seeds.run(scenario, range(FIRST, FIRST + SEEDS[scenario]), jobs)


def _same_in_another_process(day: many_seeds.Day, processes: Processes, line: str) -> None:
    """Guard: sets and dicts of text come in another order there; the report, digest and all, does not."""
    processes.copy_folder("config", "simulations")
    processes.environment["PYTHONHASHSEED"] = "1" if os.environ.get("PYTHONHASHSEED") == "4242" else "4242"
    done = processes.run(*shlex.split(line)[1:], "--json")
    assert done.returncode == 0, done.stderr
    assert done.stdout == as_json(day.report) + "\n"
    assert len(day.report["digest"]) == 64


def _line_of_the_readme(line: str) -> str:
    assert line in [one.partition(" #")[0].strip() for one in README]
    return line


def _nothing_went_wrong(scenario: str, days: list[many_seeds.Day]) -> None:
    found = many_seeds.summary(scenario, days)
    assert found["failures"] == {}
    assert found["left_open"] == {}
    assert found["false_missed"] == {}
    assert found["seeds"] == SEEDS[scenario]
    assert found["calls"]["planned"] > 80 * SEEDS[scenario]
    assert found["procedures"]["done"] > 0
    assert found["laps"]["timed"] > 5 * SEEDS[scenario]


def test_practice_hours_go_well_and_the_line_of_the_readme_gives_one_of_them(processes: Processes) -> None:
    """No exception, in the engine or around it; each call at rest a minute after the close; no call reported as missed
    that was spoken in time. One seed gives one report and digest, to the byte."""
    days = _days("practice_hour")
    _nothing_went_wrong("practice_hour", days)
    report = days[0].report
    assert set(report) >= REPORT_KEYS
    assert (report["seed"], report["session_s"], report["scenario"]) == (7, 3600.0, "practice hour")
    assert report["calls"]["open"] == 0, "no call is left open after the session closed"
    assert {"planned", "in_time", "unconfirmed", "late", "missed", "reasons"} <= set(report["calls"])
    assert {"t", "musts_chance"} == set(report["forecast"][0])
    _same_in_another_process(days[0], processes, _line_of_the_readme(HOUR))


def test_hours_without_a_key_go_well_and_nothing_is_late() -> None:
    """The same for an engineer who never presses a key, who is told of no late call, and of a missed one only where it
    was never shown."""
    days = _days("practice_hour_quiet")
    _nothing_went_wrong("practice_hour_quiet", days)
    for day in days:
        assert day.report["calls"]["late"] == 0
        assert set(day.report["calls"]["reasons"]["missed"]) <= {"it became known too late to be said in time"}


def test_red_flag_days_go_well_and_are_the_same_in_another_process(processes: Processes) -> None:
    """The same with a red flag in the middle of a must run, and procedures are done all the same."""
    days = _days("red_flag")
    _nothing_went_wrong("red_flag", days)
    for day in days:
        assert any(flag["status"] == "red" for flag in day.report["flags"])
        assert day.report["procedures"]["done"] > 0
    _same_in_another_process(days[1], processes, f"pitwall rehearse red_flag.yaml --instant --seed {FIRST + 1}")


def test_forgetful_drivers_are_followed_in_two_processes_at_a_time() -> None:
    """The same with drivers who forget and mishear; days that run side by side come back in the order of their
    seeds."""
    days = _days("forgetful_driver", jobs=2)
    _nothing_went_wrong("forgetful_driver", days)
    assert [day.report["seed"] for day in days] == [FIRST, FIRST + 1]
    assert any(day.report["alerts"].get("switch_wrong") for day in days)


def test_a_test_day_goes_well(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The same for two windows with lunch and a change of drivers, by the line that the README gives: both drivers
    drive, and nothing is raised or left open. (`python simulations/many_seeds.py test_day --seeds 10` runs ten.)"""
    real, kept, found = wiring.rehearse_instant, list[Evidence](), list[wiring.Report]()

    async def judged(rehearsal: Any, *rest: Any, **more: Any) -> wiring.Report:
        found.append(await real(rehearsal, *rest, **more, witness=kept.append, screens=True))
        return found[0]

    monkeypatch.setattr(wiring, "rehearse_instant", judged)
    monkeypatch.chdir(ROOT)
    assert main(shlex.split(_line_of_the_readme(TEST_DAY))[1:]) == 0
    assert "test day" in capsys.readouterr().out
    day = many_seeds.judged(found[0]["seed"], found[0], kept[0])
    _nothing_went_wrong("test_day", [day])
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
        assert many_seeds.main([str(QUICK_DAY), "--seeds", "1", "--json"]) == 1
    found = json.loads(capsys.readouterr().out)
    assert "the engine raised on" in found["failures"]["1"]


def test_an_unknown_scenario_is_bad_usage(capsys: pytest.CaptureFixture[str]) -> None:
    """A scenario that is not there: one sentence with the names that are, and 2."""
    assert many_seeds.main(["no_such_day", "--seeds", "1"]) == 2
    assert "practice_hour.yaml" in capsys.readouterr().err
