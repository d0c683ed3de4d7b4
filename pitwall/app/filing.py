"""Files being read: each into its model, with every finding put at its line. One :class:`Files` for one reading."""

from __future__ import annotations

import os
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Generic, TypeVar

from pydantic import BaseModel, ValidationError

from pitwall.app.plain_words import findings_from, refusal, shown
from pitwall.app.salvage import Rest, salvage
from pitwall.app.yaml_document import Document
from pitwall.app.yaml_lines import near_file, read_document
from pitwall.bus.users import UsersFile
from pitwall.checks.codes import finding
from pitwall.errors import FilePath, FileProblem, Finding
from pitwall.model.car import Car
from pitwall.model.circuit import Circuit
from pitwall.model.eventfile import EventFile, SettingsFile
from pitwall.model.plan import Plan
from pitwall.model.procedure import Procedure
from pitwall.model.rules import Regulations
from pitwall.rehearsal.scenario import Scenario

M = TypeVar("M", bound=BaseModel)

KIND_KEYS: dict[type[BaseModel], str] = {
    EventFile: "event", Plan: "plan", Circuit: "circuit", Car: "car", Regulations: "regulations",
    Procedure: "procedure", SettingsFile: "settings", Scenario: "scenario", UsersFile: "users",
}
"""The key that says what a file is and which version of its format it follows."""

MAX_PROCEDURES = 500


@dataclass(frozen=True)
class Filed(Generic[M]):
    """One file as read. ``model`` may be made of the sound parts only; ``sound`` is None then."""

    model: M | None = None
    path: Path | None = None
    document: Document | None = None
    rest: Rest[M] | None = None

    @property
    def is_sound(self) -> bool:
        """True when nothing had to be cut out."""
        return self.rest is None or not self.rest.removed

    @property
    def sound(self) -> M | None:
        """The model of a file without errors of its own, else None."""
        return self.model if self.is_sound else None

    def with_whole(self, *keys: str) -> M | None:
        """The model when nothing was cut out under these top-level keys: good enough to look names up in."""
        cut = self.rest.removed if self.rest is not None else frozenset()
        return None if any(path[:1] == () or path[0] in keys for path in cut) else self.model

    @property
    def name(self) -> str:
        """How messages call the file."""
        return self.document.name if self.document is not None else ""

    @property
    def short_name(self) -> str:
        """The last part of its path."""
        return self.path.name if self.path is not None else ""

    def said_names(self, where: FilePath = (), key: str = "name") -> frozenset[str]:
        """Names that the raw file gives under ``key``, in the mapping at ``where`` or each entry of a list there."""
        here: Any = self.document.data if self.document is not None else None
        for part in where:
            here = here.get(part) if isinstance(here, dict) else None
        entries = here if isinstance(here, list) else [here]
        return frozenset(str(entry[key]) for entry in entries if isinstance(entry, dict) and key in entry)


@dataclass
class Files:
    """Reads files and collects what is found in them."""

    findings: list[Finding] = field(default_factory=list)
    order: dict[str, int] = field(default_factory=dict)
    read_before: dict[tuple[Path, type[BaseModel]], Filed[Any]] = field(default_factory=dict)

    @property
    def has_errors(self) -> bool:
        """True once anything but a warning was found."""
        return any(found.severity == "error" for found in self.findings)

    def read(self, path: Path, model: type[M]) -> Filed[M]:
        """Read a file into a model; findings are kept, nothing is raised. A file asked for twice is read once."""
        known = self.read_before.get((path, model))
        if known is None:
            known = self.read_before[path, model] = self._read(path, model)
        return known

    def read_named(self, path: Path, model: type[M], by: Filed[Any], at: FilePath) -> Filed[M]:
        """The same for a file that another one names ``at`` that place: where there is none, that is the place to
        mend."""
        if may_be_there(path) or by.path is None:
            return self.read(path, model)
        named = path.relative_to(by.path.parent) if path.is_relative_to(by.path.parent) else path
        self.note(by, finding("PW001", path=at, found=f"no file {str(named)!r}",
                              expected="a path from this file's folder", suggestion=near_file(path)))
        return Filed(path=path)

    def _read(self, path: Path, model: type[M]) -> Filed[M]:
        name = display_name(path)
        self.order.setdefault(name, len(self.order))
        try:
            document = read_document(path, name)
        except FileProblem as problem:
            self.findings += problem.findings
            return Filed(path=path)
        self.findings += document.findings
        filed: Filed[M] = Filed(path=path, document=document)
        wrong = _wrong_kind(document.data, model)
        if wrong is not None:
            self.note(filed, wrong)
            return filed
        try:
            return replace(filed, model=model.model_validate(document.data))
        except ValidationError as error:
            found = findings_from(error, document.data, model, document.line)
        for one in found:
            self.note(filed, one)
        rest = salvage(model, document.data, [one.path for one in found])
        for late in rest.late:
            self.note(filed, refusal(late.path, late.reason, late.first, document.line))
        return replace(filed, model=rest.model, rest=rest)

    def note(self, filed: Filed[M], found: Finding) -> None:
        """Keep a finding of this file: its path becomes that of the file, its line is looked up.

        A finding that may only be there because a broken part was cut out is dropped.
        """
        if filed.rest is not None and filed.rest.model is not None:
            found = replace(found, path=filed.rest.in_file(found.path))
            if not filed.rest.trusts(found):
                return
        for one in (filed, *self.read_before.values()):  # a list of what there is may be of another file
            if one.rest is not None and one.rest.stand_ins:
                words = one.rest.as_written
                found = replace(found, found=words(found.found) or "", expected=words(found.expected),
                                suggestion=words(found.suggestion))
        mark = filed.document.mark(found.path) if filed.document is not None else None
        name = filed.name or (display_name(filed.path) if filed.path is not None else None)
        self.findings.append(replace(found, file=name, line=mark.line if mark else None,
                                     column=mark.column if mark else None))

    def listing(self, folder: Path) -> list[Path] | None:
        """The YAML files of a folder, sorted by name; None when it is no folder that can be read."""
        try:
            found = sorted(path for path in folder.iterdir() if path.suffix in (".yaml", ".yml"))
        except (OSError, ValueError):
            return None
        return found[:MAX_PROCEDURES]

    def sorted_findings(self) -> tuple[Finding, ...]:
        """Every finding once: file by file in the order of reading, line by line, errors before warnings."""
        def key(found: Finding) -> tuple[int, int, int, str]:
            return (self.order.get(found.file or "", -1), found.line or 0, found.severity == "warning", found.text())

        return tuple(sorted(dict.fromkeys(self.findings), key=key))


def may_be_there(path: Path) -> bool:
    """False where there surely is no such file or folder; one that cannot be looked for (its name is too long, its
    folder may not be read) says so when it is read."""
    try:
        return path.exists()
    except (OSError, ValueError):
        return True


def display_name(path: Path) -> str:
    """A path as messages show it: relative where that is shorter to read, else as it is."""
    try:
        relative = os.path.relpath(path)
    except (OSError, ValueError):
        return str(path)
    return str(path) if relative.startswith("..") else relative


def _wrong_kind(data: Any, model: type[BaseModel]) -> Finding | None:
    own = KIND_KEYS[model]
    if not isinstance(data, dict):
        return finding("PW010", found=shown(data), expected=f"keys and values, the first of them '{own}: 1'")
    if own in data:
        return None
    # A plan has a key 'car' and an event one 'circuit': only a 1 behind the key makes it the kind of the file.
    other = next((key for key in KIND_KEYS.values() if type(data.get(key)) is int and data[key] == 1), None)
    if other is None:
        return None
    return finding("PW017", path=(other,), found=f"{'an' if other[0] in 'aeio' else 'a'} {other} file",
                   expected=f"{'an' if own[0] in 'aeio' else 'a'} {own} file, which starts with '{own}: 1'")
