"""JSON Schemas (draft 2020-12) of the files people write, made from the models.

A model says what a file means; people may write more than the model stores: ``laps`` as shorthand, ``on`` in four
forms, times as ``"+00:08:00"``, a car as the number 41. The readers that turn the one into the other are functions
in front of a field, so the table ``WRITTEN`` below widens the schema wherever such a reader stands.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from pydantic import BaseModel
from pydantic.json_schema import GenerateJsonSchema, JsonSchemaValue
from pydantic_core import core_schema

from pitwall.model import base, plan, timetable, units
from pitwall.model.car import Car
from pitwall.model.circuit import Circuit
from pitwall.model.eventfile import EventFile, SettingsFile
from pitwall.model.plan import LAPS_PART, Plan
from pitwall.model.procedure import Procedure
from pitwall.model.rules import Regulations

DIALECT = "https://json-schema.org/draft/2020-12/schema"
Widen = Callable[[JsonSchemaValue], JsonSchemaValue]

_LAP_KINDS = ["out", "timed", "cool", "in", "installation"]
_COUNT = {"type": "integer", "minimum": 1, "maximum": plan.MAX_LAPS}


def _laps(stored: JsonSchemaValue) -> JsonSchemaValue:
    part = LAPS_PART.replace("(", "(?:").replace("(?:?:", "(?:")
    entry = {
        "anyOf": [
            {"enum": _LAP_KINDS},
            {"type": "object", "required": ["kind"], "additionalProperties": False,
             "properties": {"kind": {"enum": _LAP_KINDS}, "times": _COUNT}},
        ]
    }
    return {
        "anyOf": [
            {"type": "string", "pattern": rf"^\s*{part}(?:\s*,\s*{part})*\s*$"},
            {"type": "array", "items": entry, "maxItems": plan.MAX_LAPS},
        ],
        "examples": ["out-in", "out, 3 timed, cool, 1 timed, in"],
    }


def _on(stored: JsonSchemaValue) -> JsonSchemaValue:
    numbers = {"anyOf": [_COUNT, {"type": "array", "items": _COUNT, "minItems": 1}]}
    by_kind = {
        "type": "object", "minProperties": 1, "additionalProperties": False,
        "properties": dict.fromkeys(_LAP_KINDS, numbers),
    }
    one = [{"enum": _LAP_KINDS}, by_kind, stored["items"]]
    return {"anyOf": [*one, {"type": "array", "items": {"anyOf": one}}],
            "examples": ["out", ["out", "in"], {"timed": 2}, {"timed": [1, 3]}]}


def _three_points(stored: JsonSchemaValue) -> JsonSchemaValue:
    number = {"type": "number", "minimum": 0}
    return {"anyOf": [number, {"type": "array", "items": number, "minItems": 3, "maxItems": 3}, stored],
            "examples": [[240, 360, 600]]}


def _clock_text(stored: JsonSchemaValue) -> JsonSchemaValue:
    text = {"type": "string", "pattern": r"^\s*[+-]?(?:\d{1,2}:)?\d{1,3}:\d{2}(?:\.\d{1,3})?\s*$"}
    return {"anyOf": [stored, text], "examples": [480, "+00:08:00"]}


def _time_of_day(stored: JsonSchemaValue) -> JsonSchemaValue:
    return {"type": "string", "pattern": r"^\s*(?:[01]?\d|2[0-3]):[0-5]\d\s*$", "examples": ["08:30", "8:30"]}


def _number_too(stored: JsonSchemaValue) -> JsonSchemaValue:
    return {"anyOf": [stored, {"type": "integer", "minimum": 0}]}


WRITTEN: dict[Any, Widen] = {
    plan.laps_from_file: _laps,
    plan.lap_choices: _on,
    plan.three_points: _three_points,
    units.seconds_from_text: _clock_text,
    base.number_to_text: _number_too,
    timetable.time_of_day: _time_of_day,
}
"""Reader in front of a field -> the schema of what it takes, from the schema of what it makes."""


class WrittenSchema(GenerateJsonSchema):
    """Pydantic's generator, which looks behind a reader; ours also says what may be put in front of it."""

    schema_dialect = DIALECT

    def function_before_schema(self, schema: core_schema.BeforeValidatorFunctionSchema) -> JsonSchemaValue:
        """Widen by the table; a reader that is not in it adds nothing."""
        stored = super().function_before_schema(schema)
        widen = WRITTEN.get(schema["function"]["function"])
        return stored if widen is None else widen(stored)


def _written(model: type[BaseModel], name: str) -> dict[str, Any]:
    made = model.model_json_schema(by_alias=True, mode="validation", schema_generator=WrittenSchema)
    return {"$schema": DIALECT, "$id": f"urn:pitwall:schema:{name}:1", **made, "title": f"pitwall {name} file"}


def plan_schema() -> dict[str, Any]:
    """The schema of a run plan as people may write it."""
    return _written(Plan, "plan")


def procedure_schema() -> dict[str, Any]:
    """The schema of a procedure file."""
    return _written(Procedure, "procedure")


def circuit_schema() -> dict[str, Any]:
    """The schema of a circuit file."""
    return _written(Circuit, "circuit")


def car_schema() -> dict[str, Any]:
    """The schema of a car file."""
    return _written(Car, "car")


def regulations_schema() -> dict[str, Any]:
    """The schema of a regulations file. A session's length may be left to its windows."""
    made = _written(Regulations, "regulations")
    session = made["$defs"]["SessionWindow"]
    session["required"] = [name for name in session["required"] if name != "duration_s"]
    session["anyOf"] = [{"required": ["duration_s"]}, {"required": ["windows"]}]
    return made


def event_schema() -> dict[str, Any]:
    """The schema of an event file."""
    return _written(EventFile, "event")


def settings_schema() -> dict[str, Any]:
    """The schema of a settings file."""
    return _written(SettingsFile, "settings")
