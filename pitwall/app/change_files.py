"""Changes of a plan as a person writes them for ``amend``: a list, each change judged against what it says it does."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any, get_args

from pydantic import BaseModel, ValidationError

from pitwall.app.filing import display_name
from pitwall.app.plain_words import LineOf, findings_from, near, shown
from pitwall.app.yaml_lines import read_document
from pitwall.checks.codes import finding
from pitwall.errors import FilePath, FileProblem, Finding
from pitwall.model.changes import PlanChange

EXAMPLE = "{do: drop_run, run: long}"
KINDS: dict[str, type[BaseModel]] = {
    get_args(kind.model_fields["do"].annotation)[0]: kind for kind in get_args(get_args(PlanChange)[0])
}
"""What a change may do -> its model."""


def read_changes(path: Path) -> list[Any]:
    """The list of changes in a JSON or YAML file, as it stands there, checked.

    Raises:
        FileProblem: with every fault, each with file and line.
    """
    document = read_document(path, display_name(path))
    found = [*document.findings, *findings_in(document.data, document.line)]
    if found:
        marks = [document.mark(one.path) for one in found]
        raise FileProblem([
            replace(one, file=document.name, line=one.line or (mark.line if mark else None))
            for one, mark in zip(found, marks, strict=True)
        ])
    changes: list[Any] = document.data
    return changes


def findings_in(data: Any, line_of: LineOf = lambda path: None) -> list[Finding]:
    """What is wrong with a list of changes; the paths begin with the index of the change."""
    if not isinstance(data, list) or not data:
        return [finding("PW010", found=shown(data), expected=f"a list of changes, such as '- {EXAMPLE}'")]
    return [one for index, change in enumerate(data) for one in _in_change((index,), change, line_of)]


def _in_change(place: FilePath, change: Any, line_of: LineOf) -> list[Finding]:
    if not isinstance(change, dict):
        return [finding("PW014", path=place, found=shown(change), expected=f"keys and values, such as {EXAMPLE}")]
    if "do" not in change:
        return [finding("PW012", path=place, found="no key 'do'", expected=f"one of: {', '.join(KINDS)}")]
    model = KINDS.get(str(change["do"]))
    if model is None:
        return [finding("PW013", path=(*place, "do"), found=shown(change["do"]),
                        expected=f"one of: {', '.join(KINDS)}", suggestion=near(str(change["do"]), list(KINDS)))]
    try:
        model.model_validate(change)
    except ValidationError as error:
        found = findings_from(error, change, model, lambda path: line_of((*place, *path)))
        return [replace(one, path=(*place, *one.path)) for one in found]
    return []
