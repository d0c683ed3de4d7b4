"""The scenario file: what it accepts, what it refuses, its schema, and the scenarios that are shipped."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import jsonschema
import pytest
import yaml
from pydantic import ValidationError

from pitwall.app.scenarios import load_rehearsal
from pitwall.rehearsal.scenario import Scenario, scenario_schema
from tests.unit.rehearsal_stage import setup

FOLDER = Path(__file__).parents[2] / "simulations"
SHIPPED = sorted(FOLDER.glob("*.yaml"))
LEAST: dict[str, Any] = {"scenario": 1, "name": "least", "event": "event.yaml"}


def refused(**more: Any) -> str:
    """What is said about a scenario that is refused."""
    with pytest.raises(ValidationError) as caught:
        Scenario.model_validate(LEAST | more)
    return str(caught.value)


def test_three_lines_make_a_scenario() -> None:
    """Everything but version, name and event has a default."""
    made = Scenario.model_validate(LEAST)
    assert (made.field.cars, made.engineer.keys, made.flags.scripted, made.starts_at_s) == (18, "all", (), -60)


def test_the_shipped_scenarios_are_there() -> None:
    """The five days that the documents name."""
    names = {path.name for path in SHIPPED}
    assert {"practice_hour.yaml", "practice_hour_quiet.yaml", "red_flag.yaml", "forgetful_driver.yaml",
            "short_demo.yaml"} <= names


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_shipped_scenarios_are_sound(path: Path) -> None:
    """Each obeys the published schema, and loads with every file that it names."""
    raw = yaml.safe_load(path.read_text())
    written = raw | {"plans": {str(car): plan for car, plan in raw.get("plans", {}).items()}}
    jsonschema.Draft202012Validator(scenario_schema()).validate(written)
    rehearsal = load_rehearsal(str(path))
    assert sorted(rehearsal.setup.plans) == ["41", "58"]
    whole = 7 * 3600 if rehearsal.setup.session == "test-day" else 3600
    assert rehearsal.setup.duration_s == (rehearsal.scenario.duration_s or whole)


def test_the_schema_is_a_schema_of_its_dialect() -> None:
    """The published document is valid JSON Schema 2020-12 and says so."""
    schema = scenario_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"


def test_the_schema_refuses_what_the_model_refuses() -> None:
    """A word that does not exist and a share above one are refused by both."""
    validator = jsonschema.Draft202012Validator(scenario_schema())
    cases: list[dict[str, Any]] = [
        {"enginer": {}}, {"engineer": {"keys": "most"}}, {"driver": {"forgets": 1.5}}, {"name": ""}]
    for more in cases:
        assert not validator.is_valid(LEAST | more)
        refused(**more)


def test_times_may_be_written_as_a_clock() -> None:
    """``+00:21:30`` is 1290 s, in the model and in the schema."""
    flags = {"flags": {"scripted": [{"at": "+00:21:30", "status": "red", "lasts": "10:00"}]}}
    made = Scenario.model_validate(LEAST | flags)
    assert (made.flags.scripted[0].at, made.flags.scripted[0].lasts) == (1290, 600)
    assert jsonschema.Draft202012Validator(scenario_schema()).is_valid(LEAST | flags)


def test_percentiles_must_rise() -> None:
    """Three numbers that do not rise are no spread."""
    assert "rising numbers" in refused(engineer={"reaction_s": [3, 2, 1]})


def test_sectors_belong_to_a_yellow() -> None:
    """A red flag in one marshal sector is refused."""
    flag = {"at": 10, "status": "red", "lasts": 5, "sectors": ["3"]}
    assert "sectors belong to a yellow" in refused(flags={"scripted": [flag]})


def test_a_flag_lasts() -> None:
    """An interruption without length is refused."""
    assert "longer than nothing" in refused(flags={"scripted": [{"at": 10, "status": "red", "lasts": 0}]})


def test_scripted_flags_must_not_overlap() -> None:
    """A slow period inside a red flag is refused; two yellows in different sectors are fine."""
    red, slow = {"at": 100, "status": "red", "lasts": 300}, {"at": 200, "status": "slow", "lasts": 60}
    assert "overlap" in refused(flags={"scripted": [red, slow]})
    yellows = [{"at": 100, "status": "yellow", "lasts": 30, "sectors": [n]} for n in (1, 2)]
    assert len(Scenario.model_validate(LEAST | {"flags": {"scripted": yellows}}).flags.scripted) == 2


def test_delays_must_be_in_order() -> None:
    """A 99th percentile below the median is refused."""
    assert "delay_median_s <=" in refused(feed={"delay_median_s": 3, "delay_p99_s": 2})


def test_a_scenario_may_shorten_the_session() -> None:
    """Only the session that is rehearsed gets the length; without one the setup stays the object it was."""
    session = setup(minutes=60)
    assert Scenario.model_validate(LEAST).fitted(session) is session
    short = Scenario.model_validate(LEAST | {"duration_s": "20:00"}).fitted(session)
    assert (short.duration_s, session.duration_s) == (1200, 3600)
