"""The AsyncAPI 3.0 description of the bus, made from the topic table and the models: the file that others build on.

``pitwall schema asyncapi`` prints it. Operations are the daemon's: it receives facts and commands and sends the rest.
Schemas are JSON Schema draft 07, which AsyncAPI's own schema object extends; pydantic writes 2020-12, so the one
keyword that differs (``prefixItems``) is rewritten.
"""

from __future__ import annotations

from collections.abc import Mapping
from importlib.metadata import PackageNotFoundError, version
from typing import Any

from pydantic import BaseModel
from pydantic.json_schema import models_json_schema

from pitwall.bus.codec import BY_HAND, WIRE_NAMES
from pitwall.bus.topics import MAX_FACT_BYTES, ROOT, TOPICS, Topic
from pitwall.model.base import SLUG_PATTERN

_ABOUT = (
    "Every message is a UTF-8 JSON object with an id and t, session seconds; session zero is the green light. The same "
    "id again is the same message: receivers drop it. Fields that a receiver does not know are passed over. Facts and "
    f"commands above {MAX_FACT_BYTES // 1024} KiB are refused. State is retained and published again on every "
    "connection; an empty retained message means that what the topic held is over. Works on MQTT 3.1.1 and 5."
)
_LEVELS = {
    "session": f"The session's name in the regulations; matches {SLUG_PATTERN}.",
    "car": f"The car's number or name; matches {SLUG_PATTERN}.",
    "alert": "The alert's id; characters other than letters, digits and _.-~:,@ are percent-encoded.",
}
_SPEED = "metres per second"


def asyncapi_document() -> dict[str, Any]:
    """The whole document, ready for ``json.dumps``; the same each time for the same version."""
    schemas = _schemas()
    channels: dict[str, Any] = {}
    operations: dict[str, Any] = {}
    messages: dict[str, Any] = {}
    for row in TOPICS:
        name, message = channel_name(row), row.model.__name__
        messages[message] = {
            "name": message,
            "title": row.summary,
            "contentType": "application/json",
            "payload": {"$ref": f"#/components/schemas/{message}"},
        }
        channels[name] = _channel(row)
        operations[f"{_action(row)}_{name}"] = {
            "action": _action(row),
            "channel": {"$ref": f"#/channels/{name}"},
            "summary": row.summary,
            "bindings": {"mqtt": {"qos": row.qos, "retain": row.retain, "bindingVersion": "0.2.0"}},
        }
    return {
        "asyncapi": "3.0.0",
        "info": {"title": "pitwall", "version": _version(), "description": _ABOUT, "license": {"name": "Apache-2.0"}},
        "defaultContentType": "application/json",
        "servers": {"local": {"host": "127.0.0.1:1883", "protocol": "mqtt", "protocolVersion": "3.1.1",
                              "description": "The broker that the daemon was told to use."}},
        "channels": channels,
        "operations": operations,
        "components": {"messages": messages, "schemas": schemas},
    }


def channel_name(row: Topic) -> str:
    """A row's name in the document: ``desk_car_command`` for ``desk/{car}/command``."""
    return row.pattern.replace("{", "").replace("}", "").replace("/", "_")


def _action(row: Topic) -> str:
    return "receive" if row.direction == "in" else "send"


def _channel(row: Topic) -> dict[str, Any]:
    message = row.model.__name__
    retained = " Retained." if row.retain else ""
    return {
        "address": f"{ROOT}/{{session}}/{row.pattern}",
        "summary": row.summary,
        "description": f"Sent by: {row.sender}. QoS {row.qos}.{retained}",
        "parameters": {level: {"description": _LEVELS[level]} for level in ("session", *row.levels)},
        "messages": {message: {"$ref": f"#/components/messages/{message}"}},
    }


def _schemas() -> dict[str, Any]:
    models: list[tuple[type[BaseModel], Any]] = [(row.model, "validation") for row in TOPICS]
    _, made = models_json_schema(models, ref_template="#/components/schemas/{model}")
    schemas: dict[str, Any] = {name: _draft_7(schema) for name, schema in made["$defs"].items()}
    for row in TOPICS:
        if row.direction == "in":
            schemas[row.model.__name__] = _on_the_wire(row, schemas[row.model.__name__])
    return schemas


def _draft_7(schema: Any) -> Any:
    """Rewrite ``prefixItems`` as a list of ``items`` and a discriminator as its bare name (the official schema takes
    no mapping), and let receivers meet fields that they do not know."""
    if isinstance(schema, list):
        return [_draft_7(item) for item in schema]
    if not isinstance(schema, Mapping):
        return schema
    out = {key: _draft_7(value) for key, value in schema.items() if (key, value) != ("additionalProperties", False)}
    if isinstance(out.get("prefixItems"), list):
        out["items"] = out.pop("prefixItems")
        out["additionalItems"] = False
    if isinstance(out.get("discriminator"), dict):
        out["discriminator"] = out["discriminator"]["propertyName"]
    return out


def _on_the_wire(row: Topic, schema: dict[str, Any]) -> dict[str, Any]:
    """What a sender writes: no ``type``, no need to repeat the topic's car, the wire's own field names."""
    names = WIRE_NAMES.get(row.model, {})
    optional = {"type", *row.levels, *(("t",) if row.model in BY_HAND else ())}
    properties = {names.get(name, name): value for name, value in schema["properties"].items() if name != "type"}
    for wire_name in names.values():
        properties[wire_name] = {**properties[wire_name], "description": _SPEED}
    required = [names.get(name, name) for name in schema.get("required", ()) if name not in optional]
    return {**schema, "properties": properties, "required": required}


def _version() -> str:
    try:
        return version("pitwall-callclock")
    except PackageNotFoundError:
        return "0.0.0"
