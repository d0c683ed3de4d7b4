"""Types of every message for the page's JavaScript, from the same schemas as the AsyncAPI document.

    python -m tests.screen.make_types          write pitwall/screen/static/app/wire.d.ts anew

A test sees to it that the file is what this makes of the models, and the type checker that the page fits them.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from pitwall.bus.topics import TOPICS

TARGET = Path(__file__).parents[2] / "pitwall" / "screen" / "static" / "app" / "wire.d.ts"
HEAD = "// Made from the models of the wire by tests/screen/make_types.py: change those, then run it.\n\n"
SIMPLE = {"string": "string", "integer": "number", "number": "number", "boolean": "boolean", "null": "null"}


def types() -> str:
    """The whole file."""
    found: dict[str, dict[str, Any]] = {}
    for row in TOPICS:
        schema = row.model.model_json_schema(mode="serialization")
        found.update(schema.pop("$defs", {}))
        found[row.model.__name__] = schema
    return HEAD + "\n".join(_declared(name, schema) for name, schema in sorted(found.items()))


def _declared(name: str, schema: dict[str, Any]) -> str:
    if schema.get("type") != "object":
        return f"export type {name} = {_type(schema)};\n"
    lines = [f"export interface {name} {{"]
    needed = set(schema.get("required", ()))
    for field, inner in schema.get("properties", {}).items():
        if "description" in inner:
            lines.append(f"  /** {inner['description']} */")
        # The daemon writes defaults out, but leaves out what is null.
        optional = "?" if field not in needed and _may_be_none(inner) else ""
        lines.append(f"  {field}{optional}: {_type(inner)};")
    return "\n".join([*lines, "}", ""])


def _may_be_none(schema: dict[str, Any]) -> bool:
    return any(one.get("type") == "null" for one in schema.get("anyOf", ()))


def _type(schema: dict[str, Any]) -> str:
    if "$ref" in schema:
        return str(schema["$ref"]).rsplit("/", 1)[-1]
    for several in ("anyOf", "oneOf"):
        if several in schema:
            return " | ".join(dict.fromkeys(_type(one) for one in schema[several]))
    if "const" in schema:
        return f'"{schema["const"]}"'
    if "enum" in schema:
        return " | ".join(f'"{one}"' for one in schema["enum"])
    if schema.get("type") == "array":
        return _array(schema)
    if schema.get("type") == "object":
        return f"Record<string, {_type(schema.get('additionalProperties') or {}) or 'unknown'}>"
    return SIMPLE.get(schema.get("type", ""), "unknown")


def _array(schema: dict[str, Any]) -> str:
    if "prefixItems" in schema:
        return f"[{', '.join(_type(one) for one in schema['prefixItems'])}]"
    inner = _type(schema.get("items", {}))
    return f"({inner})[]" if "|" in inner else f"{inner}[]"


if __name__ == "__main__":
    TARGET.write_text(types(), encoding="utf-8")
    print(TARGET.name)
