"""Finding a scenario and making a rehearsal of it."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from pitwall.app.resources import demo_event
from pitwall.app.scenarios import load_rehearsal, locate, names
from pitwall.errors import FileProblem, UserError


def test_shipped_names_are_scenarios_and_events_only() -> None:
    """Plans, cars and circuits lie in the same folders and are not offered."""
    assert "practice_hour.yaml" in names("simulations")
    assert names("config") == ("event.yaml", "test_day.yaml")


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


def _own_event(folder: Path, sessions: str = "practice-1") -> Path:
    shutil.copytree(demo_event().parent, folder / "mine")
    event = folder / "mine" / "event.yaml"
    text = event.read_text(encoding="utf-8").replace("Saltmarsh Park spring test", "My test")
    event.write_text(text.replace("session: practice-1", f"session: {sessions}"), encoding="utf-8")
    return event


def test_own_event_comes_with_its_own_plans(tmp_path: Path) -> None:
    """--event leaves the scenario's day as it is, and takes this event with its plans instead of the scenario's."""
    event = _own_event(tmp_path)
    own, shipped = load_rehearsal("short_demo", event=str(event)), load_rehearsal("short_demo")
    assert own.setup.event == "My test"
    assert own.setup.duration_s == shipped.setup.duration_s == 1200.0
    assert own.plan_names == {"41": "plan_41.yaml", "58": "plan_58.yaml"}
    assert shipped.plan_names == {"41": "demo_41.yaml", "58": "demo_58.yaml"}
    assert own.setup.plans == load_rehearsal("practice_hour").setup.plans


def test_session_is_the_scenarios_if_the_event_has_it(tmp_path: Path) -> None:
    """An event set to its second session is rehearsed in the scenario's first; without that one, in its own."""
    event = _own_event(tmp_path, "practice-2")
    assert load_rehearsal("practice_hour", event=str(event)).setup.session == "practice-1"
    for path in (event.with_name("regulations.yaml"), *sorted(event.parent.rglob("plan_*.yaml"))):
        text = path.read_text(encoding="utf-8").replace("practice-1", "morning")
        path.write_text(text, encoding="utf-8")
    event.write_text(event.read_text(encoding="utf-8").replace("practice-2", "morning"), encoding="utf-8")
    assert load_rehearsal("practice_hour", event=str(event)).setup.session == "morning"


@pytest.mark.parametrize(
    ("name", "kind", "told"),
    [
        ("test_dey.yaml", "config", "did you mean 'test_day.yaml'"), ("evnt", "config", "did you mean 'event.yaml'"),
        ("practise_hour", "simulations", "did you mean 'practice_hour.yaml'"), (".", "config", "'.' is a folder"),
    ],
)  # fmt: skip
def test_a_slip_in_a_shipped_name_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str, kind: str, told: str
) -> None:
    """The nearest shipped name, and that a folder is no file."""
    monkeypatch.chdir(tmp_path)
    with pytest.raises(UserError, match=told):
        locate(name, kind)


def test_rehearsal_says_in_words_what_it_is_made_of(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Scenario, event with its file and session, and each car's plan: nobody rehearses the demo unawares."""
    monkeypatch.chdir(tmp_path)
    _own_event(tmp_path)
    words = load_rehearsal("practice_hour", 7, "mine/event.yaml").in_words()
    assert "'practice hour'" in words
    assert "seed 7" in words
    assert "My test (mine/event.yaml), session practice-1" in words
    assert "car 41 plan_41.yaml, car 58 plan_58.yaml" in words


def test_event_in_the_place_of_a_scenario_is_told_apart(tmp_path: Path) -> None:
    """The message is the command that was meant; a missing event names the shipped one."""
    event = _own_event(tmp_path)
    with pytest.raises(UserError, match=r"this is an event: pitwall rehearse practice_hour\.yaml --event .*\.yaml"):
        load_rehearsal(str(event))
    with pytest.raises(UserError, match=r"event\.yaml"):
        load_rehearsal("practice_hour", event="nowhere.yaml")
