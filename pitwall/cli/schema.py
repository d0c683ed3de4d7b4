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
WIRE = "asyncapi"
COMMENT = "# yaml-language-server: $schema="
"""First line of a YAML file: common practice among editors, no standard."""


def add_parser(subparsers: Any) -> None:
    """Add the command's options."""
    parser: argparse.ArgumentParser = subparsers.add_parser(
        "schema", help=HELP,
        description="Print the JSON Schema (draft 2020-12) of a kind of file, or the AsyncAPI 3.0 document of the "
                    "wire. Point your editor at a schema to see mistakes while typing.",
    )
    what = parser.add_mutually_exclusive_group(required=True)
    what.add_argument("kind", metavar="KIND", nargs="?", choices=tuple(SCHEMAS), help=", ".join(SCHEMAS))
    what.add_argument("--editor", metavar="FOLDER", help="write the schema of each kind of file into this folder, and "
                      "print the comment with which a file names its schema to an editor")
    parser.add_argument("--json", action="store_true", help="no effect: the output is always JSON")


def run(args: argparse.Namespace) -> int:
    """Print the document; always 0."""
    import json

    if args.editor is not None:
        return _for_an_editor(args.editor)
    print(json.dumps(document(args.kind), indent=2, ensure_ascii=False))
    return 0


def _for_an_editor(folder: str) -> int:
    """The schemas of the files people write, under one name each: writing them anew changes nothing but what is old."""
    import json
    from pathlib import Path

    from pitwall.errors import UserError

    for kind in (kind for kind in SCHEMAS if kind != WIRE):
        path = Path(folder) / f"{kind}.schema.json"
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(json.dumps(document(kind), indent=2, ensure_ascii=False) + "\n", encoding="utf-8")
        except OSError as problem:
            raise UserError(f"{path}: cannot be written ({problem.strerror})") from None
        print(f"{COMMENT}{path.resolve().as_uri()}")
    return 0


def document(kind: str) -> dict[str, Any]:
    """The document of one kind.

    Raises:
        KeyError: unknown kind.
    """
    module, function = SCHEMAS[kind]
    make: Callable[[], dict[str, Any]] = getattr(import_module(module), function)
    return make()
