"""``pitwall schema``: print the JSON Schema of a file, or the AsyncAPI document of the wire."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from importlib import import_module
from typing import Any

HELP = "print the schema of a file or of the wire"
EXAMPLE = "pitwall schema plan > plan.schema.json"

_MODELS = "pitwall.model.schemas"

SCHEMAS: dict[str, tuple[str, str]] = {
    "plan": (_MODELS, "plan_schema"),
    "procedure": (_MODELS, "procedure_schema"),
    "circuit": (_MODELS, "circuit_schema"),
    "car": (_MODELS, "car_schema"),
    "regulations": (_MODELS, "regulations_schema"),
    "event": (_MODELS, "event_schema"),
    "settings": (_MODELS, "settings_schema"),
    "scenario": ("pitwall.rehearsal.scenario", "scenario_schema"),
    "asyncapi": ("pitwall.bus.asyncapi", "asyncapi_document"),
}
"""What can be printed -> (module, function that makes it)."""


def add_parser(subparsers: Any) -> None:
    """Add the command's options."""
    parser: argparse.ArgumentParser = subparsers.add_parser(
        "schema", help=HELP,
        description="Print the JSON Schema (draft 2020-12) of a kind of file, or the AsyncAPI 3.0 document of the "
                    "wire. Point your editor at a schema to see mistakes while typing.",
    )
    parser.add_argument("kind", metavar="KIND", choices=tuple(SCHEMAS), help=", ".join(SCHEMAS))
    parser.add_argument("--json", action="store_true", help="no effect: the output is always JSON")


def run(args: argparse.Namespace) -> int:
    """Print the document; always 0."""
    import json

    print(json.dumps(document(args.kind), indent=2, ensure_ascii=False))
    return 0


def document(kind: str) -> dict[str, Any]:
    """The document of one kind.

    Raises:
        KeyError: unknown kind.
    """
    module, function = SCHEMAS[kind]
    make: Callable[[], dict[str, Any]] = getattr(import_module(module), function)
    return make()
