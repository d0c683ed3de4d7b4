"""Finding a scenario and making a rehearsal of it."""

from __future__ import annotations

from pathlib import Path

import pytest

from pitwall.app.scenarios import load_rehearsal, locate, names
from pitwall.errors import FileProblem, UserError


def test_shipped_names_are_scenarios_and_events_only() -> None:
    """Plans, cars and circuits lie in the same folders and are not offered."""
    assert "practice_hour.yaml" in names("simulations")
    assert names("config") == ("event.yaml",)


@pytest.mark.parametrize("name", ["practice_hour", "practice_hour.yaml", "simulations/practice_hour.yaml"])
def test_shipped_scenario_is_found_from_anywhere(name: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Its bare name, with or without the ending, and its path as it stands in the repository all lead to it."""
    monkeypatch.chdir(tmp_path)
    assert locate(name, "simulations").name == "practice_hour.yaml"


def test_own_file_wins_over_a_shipped_one(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """A file of that name in the folder where one stands is taken first."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "practice_hour.yaml").write_text("scenario: 1\n", encoding="utf-8")
    assert locate("practice_hour.yaml", "simulations") == Path("practice_hour.yaml")


@pytest.mark.parametrize("name", ["nowhere", "elsewhere/practice_hour.yaml", "../practice_hour.yaml", ""])
def test_unknown_name_lists_what_there_is(name: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """A path to another folder is not guessed at; the message names the shipped ones."""
    monkeypatch.chdir(tmp_path)
    with pytest.raises(UserError, match=r"practice_hour\.yaml"):
        locate(name, "simulations")


def test_rehearsal_takes_the_scenarios_seed_unless_asked_for_another() -> None:
    """The seed of the file is the default, the asked one wins, and 0 counts as asked."""
    assert load_rehearsal("practice_hour").seed == load_rehearsal("practice_hour").scenario.seed
    assert load_rehearsal("practice_hour", 0).seed == 0


def test_rehearsal_is_as_long_and_on_the_plans_that_the_scenario_wants() -> None:
    """The short demo shortens the session and takes other plans than the event's."""
    demo, hour = load_rehearsal("short_demo"), load_rehearsal("practice_hour")
    assert (demo.setup.duration_s, hour.setup.duration_s) == (1200.0, 3600.0)
    assert demo.setup.plans["41"] != hour.setup.plans["41"]


def test_mistakes_of_scenario_and_event_are_findings(tmp_path: Path) -> None:
    """A bad scenario names its lines; a scenario whose event is missing names that file."""
    bad = tmp_path / "bad.yaml"
    bad.write_text("scenario: 1\nname: bad\nevent: event.yaml\nseed: -1\nfield: {cars: many}\n", encoding="utf-8")
    with pytest.raises(FileProblem) as caught:
        load_rehearsal(str(bad))
    assert {finding.line for finding in caught.value.findings} == {4, 5}
    bad.write_text("scenario: 1\nname: bad\nevent: missing.yaml\n", encoding="utf-8")
    with pytest.raises(FileProblem, match=r"missing\.yaml"):
        load_rehearsal(str(bad))
