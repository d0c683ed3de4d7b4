"""The JSON Schemas: valid themselves, true of every shipped file, and as strict as the models where a schema can be."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from pitwall.app.resources import shipped
from pitwall.app.yaml_lines import read_document
from pitwall.model import schemas
from pitwall.model.plan import Plan, Run

MAKERS: dict[str, Callable[[], dict[str, Any]]] = {
    "plan": schemas.plan_schema, "procedure": schemas.procedure_schema, "circuit": schemas.circuit_schema,
    "car": schemas.car_schema, "regulations": schemas.regulations_schema, "event": schemas.event_schema,
    "settings": schemas.settings_schema,
}
SHIPPED = sorted(shipped("config").rglob("*.yaml"))


def validator(kind: str) -> jsonschema.Draft202012Validator:
    """A validator for one kind of file."""
    return jsonschema.Draft202012Validator(MAKERS[kind]())


@pytest.mark.parametrize("kind", MAKERS)
def test_each_schema_is_valid_against_the_metaschema(kind: str) -> None:
    """Draft 2020-12, as the schema itself says."""
    schema = MAKERS[kind]()
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    jsonschema.Draft202012Validator.check_schema(schema)


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.name)
def test_every_shipped_file_is_valid_against_the_schema_of_its_kind(path: Path) -> None:
    """What we ship passes the checks we publish; the first key says which kind a file is."""
    data = read_document(path).data
    kind = next(iter(data))
    errors = [f"{list(error.path)}: {error.message}" for error in validator(kind).iter_errors(data)]
    assert errors == []


def test_the_library_and_the_plans_are_all_there() -> None:
    """The parametrised test above looked at the whole demo event, not at an empty folder."""
    kinds = [next(iter(read_document(path).data)) for path in SHIPPED]
    least = {"event": 1, "settings": 1, "procedure": 15, "plan": 4, "circuit": 1, "car": 1, "regulations": 1}
    assert [kind for kind, number in least.items() if kinds.count(kind) < number] == []


def plan_with(**run: Any) -> dict[str, Any]:
    """A small plan as a file would have it, with one run of these keys."""
    return {"plan": 1, "car": 41, "driver": "ines", "session": "practice-1",
            "runs": [{"run": "a", "want": "must", "laps": "out, 3 timed, in", **run}]}


WRITTEN = [
    {"laps": "out-in"}, {"laps": [{"kind": "out"}, {"kind": "in"}]},
    {"laps": ["out", {"kind": "timed", "times": 2}, "in"]},
    {"after_garage_s": [240, 360, 600]}, {"after_garage_s": 300}, {"release": {"not_before": "+00:08:00"}},
    {"release": {"not_before": 480, "not_after": "20:00"}}, {"tyres": 3}, {"run": 7}, {"switches": {"torque_map": 3}},
    {"items": [{"do": "x", "on": "out", "with": {"gear": 5}}]}, {"items": [{"do": "x", "on": {"timed": [1, 3]}}]},
    {"items": [{"do": "x", "on": ["out", {"timed": 1}]}]}, {"before": ["b"], "same_as": "b", "group": "g"},
]
WRONG = [
    {"laps": "out, fast, in"}, {"laps": [{"kid": "out"}]}, {"laps": 3}, {"after_garage_s": [1, 2]}, {"want": "maybe"},
    {"release": {"not_before": "soon"}}, {"tyrs": "A1"}, {"items": [{"do": "Not A Name"}]},
    {"items": [{"do": "x", "on": {"fast": 1}}]}, {"items": [{"do": "x", "on": {"timed": 0}}]}, {"fuel_kg": "5 kg"},
    {"items": [{"on": "out"}]}, {"run": "Not A Slug"}, {"value": -1}, {"shorten_to": 0},
]


@pytest.mark.parametrize("run", WRITTEN, ids=str)
def test_the_schema_takes_every_form_that_the_model_takes(run: dict[str, Any]) -> None:
    """Shorthand, long forms, clock texts and numbers for labels pass both."""
    assert list(validator("plan").iter_errors(plan_with(**run))) == []
    Plan.model_validate(plan_with(**run))


@pytest.mark.parametrize("run", WRONG, ids=str)
def test_the_schema_refuses_what_the_model_refuses(run: dict[str, Any]) -> None:
    """An editor that knows the schema shows these while typing."""
    assert list(validator("plan").iter_errors(plan_with(**run))) != []
    with pytest.raises(ValidationError):
        Plan.model_validate(plan_with(**run))


LAPS_TEXT = st.lists(
    st.sampled_from(["out", "in", "2 timed", "timed", "cool", "3x timed laps", "fast", "out-in", "", "0", "timed lap"]),
    max_size=6,
).map(", ".join)


@settings(max_examples=200, deadline=None)
@given(LAPS_TEXT)
def test_laps_that_the_model_takes_pass_the_schema(text: str) -> None:
    """The schema's pattern is never stricter than the reader (it may be looser: an order is no pattern)."""
    try:
        Run.model_validate({"run": "a", "want": "must", "laps": text})
    except ValidationError:
        return
    assert list(validator("plan").iter_errors(plan_with(laps=text))) == []


def test_the_key_on_the_plan_is_called_with() -> None:
    """The schema shows the name that people write, not the one that the code uses."""
    keys = schemas.plan_schema()["$defs"]["Item"]["properties"]
    assert "with" in keys
    assert "arguments" not in keys
