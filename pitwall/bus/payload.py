"""Bytes from the bus to a plain object, strictly; and what to say when they are not what the topic promises.

JSON as RFC 8259 has it, and narrower: UTF-8, one object, no name twice, no NaN or Infinity, no whole number beyond
2^53 (RFC 8259 section 6: beyond it receivers disagree), no control characters in text but tab and line feed (they
would reach terminals and logs). Nesting of any depth is refused without harm.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterable, Mapping
from functools import cache
from typing import Any, NoReturn

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from pitwall.errors import PayloadError

MOST_EXACT = 2**53
_MOST_FINDINGS = 3
_FOUND_LENGTH = 40
_TOO_DEEP = "nested too deeply: messages are almost flat"

_MOST_DEPTH = 16
_CONTROL = re.compile("[\x00-\x08\x0b-\x1f\x7f\ud800-\udfff]")

_KIND_WORDS = {
    "string": "text", "number": "a number", "integer": "a whole number", "boolean": "true or false", "array": "a list",
    "object": "an object", "null": "null",
}
_TYPE_WORDS = {
    "string_type": "text", "float_type": "a number", "int_type": "a whole number", "int_from_float": "a whole number",
    "bool_type": "true or false", "finite_number": "a finite number", "tuple_type": "a list", "list_type": "a list",
    "dict_type": "an object", "model_type": "an object",
}


class _Unreadable(Exception):
    """Carries one sentence from deep within the JSON reader."""


def _pairs(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) == len(pairs):
        return found
    names = [name for name, _ in pairs]
    twice = next(name for at, name in enumerate(names) if name in names[:at])
    raise _Unreadable(f"the name {shown(twice)} stands twice in one object: keep one")


def _constant(text: str) -> NoReturn:
    raise _Unreadable(f"{text} is not JSON: leave the field out when there is no value")


def _decimal(text: str) -> float:
    value = float(text)
    if not math.isfinite(value):
        raise _Unreadable(f"the number {text[:_FOUND_LENGTH]} is too large")
    return value


def _whole(text: str) -> int:
    if len(text) > 17 or abs(int(text)) > MOST_EXACT:
        raise _Unreadable(f"the whole number {text[:_FOUND_LENGTH]} is too large: at most 2^53")
    return int(text)


_READER = json.JSONDecoder(
    object_pairs_hook=_pairs, parse_constant=_constant, parse_float=_decimal, parse_int=_whole, strict=True
)


def read_object(topic: str, payload: bytes, most_bytes: int) -> dict[str, Any]:
    """Read one JSON object.

    Raises:
        PayloadError: naming what is wrong; never anything else.
    """
    if not payload:
        raise PayloadError(topic, "the message is empty: expected a JSON object")
    if len(payload) > most_bytes:
        raise PayloadError(topic, f"the message has {len(payload)} bytes: at most {most_bytes} are taken")
    try:
        value = _READER.decode(payload.decode("utf-8"))
    except UnicodeDecodeError as error:
        raise PayloadError(topic, f"byte {error.start} is not UTF-8: send UTF-8 text") from None
    except json.JSONDecodeError as error:
        raise PayloadError(topic, f"not JSON at character {error.pos}: {error.msg.lower()}") from None
    except RecursionError:
        raise PayloadError(topic, _TOO_DEEP) from None
    except _Unreadable as error:
        raise PayloadError(topic, str(error)) from None
    if not isinstance(value, dict):
        raise PayloadError(topic, f"found {kind_of(value)}, expected a JSON object")
    # What opens fewer brackets is no deeper than that, and most open one.
    if payload.count(b"{") + payload.count(b"[") >= _MOST_DEPTH and _deeper_than(value, _MOST_DEPTH):
        raise PayloadError(topic, _TOO_DEEP, readable_id(value))
    return value


def _deeper_than(value: object, most: int) -> bool:
    layer: list[object] = [value]
    for _ in range(most):
        if not layer:
            return False
        layer = [inner for item in layer for inner in _inside(item)]
    return bool(layer)


def _inside(value: object) -> Iterable[object]:
    if isinstance(value, dict):
        return value.values()
    return value if isinstance(value, list) else ()


def readable_id(fields: Mapping[str, Any]) -> str | None:
    """The message's id if it can be quoted in an answer, else None."""
    value = fields.get("id")
    good = isinstance(value, str) and 1 <= len(value) <= 128 and value.isprintable()
    return value if good else None


def kind_of(value: object) -> str:
    """What a JSON value is, in words."""
    for types, name in (((bool,), "boolean"), ((int, float), "number"), ((str,), "string"), ((list,), "array"),
                        ((dict,), "object")):
        if isinstance(value, types):
            return _KIND_WORDS[name]
    return _KIND_WORDS["null"]


def shown(value: object) -> str:
    """A value as it is quoted in a message: JSON, ASCII, short."""
    if isinstance(value, dict | list):
        return kind_of(value)
    text = json.dumps(value)
    return text if len(text) <= _FOUND_LENGTH else text[:_FOUND_LENGTH] + "..."


def may_hold_controls(payload: bytes) -> bool:
    """Guard: some text of a readable message may hold what ``control_character`` finds. JSON has those as escapes only,
    all but DEL."""
    return b"\\" in payload or b"\x7f" in payload


def control_character(value: object) -> str | None:
    """The first control character (tab and line feed excepted) or lone surrogate within a value, else None."""
    if isinstance(value, str):
        match = _CONTROL.search(value)
        return match.group() if match else None
    if isinstance(value, dict):
        value = [*value, *value.values()]
    if isinstance(value, list):
        return next((found for item in value if (found := control_character(item)) is not None), None)
    return None


@cache
def _properties(model: type[BaseModel]) -> dict[str, Any]:
    properties: dict[str, Any] = model.model_json_schema()["properties"]
    return properties


def expectation(model: type[BaseModel], field: str) -> str:
    """What a field takes, in words, from its JSON Schema: ``'entry' or 'exit'``, ``a whole number``."""
    schema: dict[str, Any] = _properties(model).get(field, {})
    options = [schema, *schema.get("anyOf", ())]
    for option in options:
        values = option.get("enum") or ([option["const"]] if "const" in option else None)
        if values:
            return " or ".join(repr(value) for value in values)
    for option in options:
        if option.get("type") in _KIND_WORDS and option["type"] != "null":
            return _KIND_WORDS[option["type"]]
    return "a value"


def complaint(model: type[BaseModel], error: ValidationError, wire_name: Mapping[str, str]) -> str:
    """One sentence for a failed validation: field, what was found, what was expected; the first three fields."""
    found: dict[str, str] = {}
    expected: dict[str, list[str]] = {}
    for detail in error.errors(include_url=False):
        inside = str(detail["loc"][0]) if detail["loc"] else "message"
        field = repr(wire_name.get(inside, inside))
        missing = detail["type"] == "missing"
        found.setdefault(field, "missing" if missing else shown(detail["input"]))
        words = expectation(model, inside) if missing else _expected(model, inside, detail)
        if words not in expected.setdefault(field, []):
            expected[field].append(words)
    findings = [f"field {field} is {what}: expected {' or '.join(expected[field])}" for field, what in found.items()]
    more = len(findings) - _MOST_FINDINGS
    return "; ".join(findings[:_MOST_FINDINGS]) + (f"; and {more} more" if more > 0 else "")


def _expected(model: type[BaseModel], field: str, detail: ErrorDetails) -> str:
    context = detail.get("ctx", {})
    if detail["type"] == "literal_error":
        return str(context.get("expected", expectation(model, field)))
    if detail["type"] in _TYPE_WORDS:
        return _TYPE_WORDS[detail["type"]] if len(detail["loc"]) > 1 else expectation(model, field)
    if detail["type"] == "string_pattern_mismatch":
        return "1 to 32 lower-case letters, digits or hyphens"
    message = detail["msg"]
    for opening in ("Input should be ", "Value error, ", "String should have ", "String should "):
        message = message.removeprefix(opening)
    return message[:1].lower() + message[1:]
