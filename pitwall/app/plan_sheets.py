"""Plans between the files that people have: YAML, the source; a spreadsheet; a folder of CSV files."""

from __future__ import annotations

import re
import tempfile
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import yaml
from pydantic import ValidationError

from pitwall.app.loading import load_setup, read_plan
from pitwall.app.plain_words import findings_from
from pitwall.app.plan_sheet_rest import rest_of
from pitwall.app.scenarios import is_event
from pitwall.app.yaml_document import Document
from pitwall.app.yaml_lines import read_document
from pitwall.errors import FileProblem, Finding, UserError
from pitwall.model.plan import LapChoice, Plan, write_laps
from pitwall.model.setup import SessionSetup
from pitwall.sheets.csv_folder import read_csv, write_csv
from pitwall.sheets.tables import Filed, Place, Read, empty_tables, read_tables, tables_of

_LINES = re.compile(r"[!-~][ -~]*(\n[!-~][ -~]*)+\n?")
"""Texts of several lines that a reader of YAML gives back as they stand."""
_PLAIN_WORD = re.compile(r"[A-Za-z_][A-Za-z0-9_ .,/+-]*")
_NEEDED_KEY = re.compile(r"no key '(\w+)'")
OF_THE_EVENT = ("unknown ", "position ")
"""So begins what is found of a word, or of a switch's position, that the event does not have."""
SPREADSHEET, YAML = (".xlsx",), (".yaml", ".yml")

Placing = Callable[[Finding], Finding]
"""Gives a finding about a part of a plan its place in the file that the plan was read from."""


def read_any(path: Path) -> Plan:
    """A plan from any of the three forms, by its name: ``.yaml``, ``.xlsx``, or a folder of CSV files.

    Raises:
        FileProblem: with every finding: file and line in YAML, sheet and cell elsewhere.
        UserError: when it is none of them.
    """
    return read_with_notes(path)[0]


def read_with_notes(path: Path) -> tuple[Plan, tuple[str, ...]]:
    """The plan, and what a person should know of how it was read: sheets that are none of its, hidden rows.

    Raises:
        FileProblem, UserError: as :func:`read_any`.
    """
    plan, notes, _ = _read_any(path)
    return plan, notes


def read_for_event(path: Path, event_path: Path) -> tuple[Plan, tuple[str, ...], tuple[Finding, ...]]:
    """A plan in any form, checked against an event as ``pitwall check`` does it.

    Returns:
        The plan, notes of how it was read, and warnings; each finding names the cell, or the line of YAML, it is about.

    Raises:
        FileProblem: when the plan or the event has errors: a procedure, switch, driver or tyre set that is not there.
        UserError: as :func:`read_any`.
    """
    try:
        plan, notes, place = _read_any(path)
    except UnsoundSheets as problem:
        raise FileProblem([*problem.findings, *_names_beside(problem, event_path)]) from None
    found = _against(plan, event_path, place)
    if any(one.severity == "error" for one in found):
        raise FileProblem(found)
    return plan, notes, found


def _against(plan: Plan, event_path: Path, place: Placing) -> tuple[Finding, ...]:
    """What the check says of the plan in this event, each finding where it stands in the file."""
    with tempfile.TemporaryDirectory() as folder:
        # The event's other plans are no part of it: they may be missing, or be what this one is to mend.
        written = Path(folder) / "plan.yaml"
        written.write_text(yaml_of(plan.model_copy(update={"alternates": {}})), encoding="utf-8")
        loaded = read_plan(written, event_path)
    told = [(one, (one.file or "").endswith(written.name)) for one in loaded.findings]
    return tuple(place(replace(one, line=None, column=None)) if of_plan else one for one, of_plan in told)


def _names_beside(problem: UnsoundSheets, event_path: Path) -> Iterator[Finding]:
    """Names and positions that the event does not know, in what could be read: told at once with what could not."""
    rest, files = rest_of(problem.data), {one.file for one in problem.findings} - problem.in_part
    if rest is not None:
        yield from (one for one in _against(rest, event_path, problem.place)
                    if one.found.startswith(OF_THE_EVENT) and one.file not in files)


class UnsoundSheets(FileProblem):
    """Sheets that make no plan: what is wrong with them, the data that could be read, and where each part stood.

    ``in_part``: cells, as findings name them, of which some parts could be read and stand in the data.
    """

    def __init__(
        self, findings: Sequence[Finding], data: Mapping[str, Any], place: Placing, in_part: Collection[str] = (),
    ) -> None:  # fmt: skip
        super().__init__(findings)
        self.data, self.place, self.in_part = data, place, frozenset(in_part)


def _read_any(path: Path) -> tuple[Plan, tuple[str, ...], Placing]:
    """The plan, notes, and what gives a finding about a part of the plan its place in the file."""
    if path.suffix.lower() in YAML:
        plan, document = _read_yaml(path)
        return plan, (), lambda one: replace(one, file=path.name, line=document.line(one.path))
    if path.suffix.lower() in SPREADSHEET:
        if not path.exists():
            raise UserError(f"{path}: no such file")
        from pitwall.sheets.xlsx import read_xlsx  # only here: nobody else waits for the spreadsheet library

        filed = read_xlsx(path)
    elif path.is_dir():
        filed = read_csv(path)
    else:
        raise UserError(f"{path}: expected a plan as .yaml or .xlsx, or a folder of CSV files")
    plan, read = _plan_of(path, filed)
    return plan, filed.notes, lambda one: _placed(path, one, read.place(one.path))


def write_any(path: Path, plan: Plan) -> None:
    """Write a plan in the form that the name asks for; a name without an ending is a folder of CSV files.

    Raises:
        UserError: when it cannot be written.
    """
    if path.suffix.lower() in YAML:
        try:
            path.write_text(yaml_of(plan), encoding="utf-8")
        except OSError as problem:
            raise UserError(f"{path}: cannot be written ({problem.strerror})") from None
    elif path.suffix.lower() in SPREADSHEET:
        from pitwall.sheets.xlsx import write_xlsx

        write_xlsx(path, tables_of(plan))
    elif not path.suffix:
        write_csv(path, tables_of(plan))
    else:
        raise UserError(f"{path}: expected a name that ends with .yaml or .xlsx, or a folder's for CSV files")


def write_template(path: Path, event_path: Path | None = None) -> None:
    """An empty spreadsheet to fill in.

    Args:
        path: the file.
        event_path: an event file; the names that it and its library know are offered where one is wanted.

    Raises:
        UserError: when it cannot be written, or its name is none of a spreadsheet's.
        FileProblem: when the event has errors.
    """
    if path.suffix.lower() not in SPREADSHEET:
        raise UserError(f"{path}: expected a name that ends with .xlsx")
    from pitwall.sheets.xlsx import write_xlsx

    write_xlsx(path, empty_tables(), {} if event_path is None else _names(load_setup(event_path)))


def _names(setup: SessionSetup) -> dict[str, tuple[str, ...]]:
    return {
        "procedures": tuple(sorted(setup.procedures)), "drivers": tuple(sorted(setup.drivers)),
        "sessions": tuple(session.session for session in setup.regulations.sessions), "cars": tuple(setup.cars),
    }  # fmt: skip


def _read_yaml(path: Path) -> tuple[Plan, Document]:
    try:
        document = read_document(path)
    except FileProblem as problem:
        if path.exists():
            raise
        raise UserError(str(problem)) from None  # no faulty file, but a wrong name
    if is_event(path):
        raise UserError(f"{path}: this is an event file, not a plan; name the plan of one car, such as plan_41.yaml")
    if document.findings:
        raise FileProblem(document.findings)
    try:
        return Plan.model_validate(document.data), document
    except ValidationError as error:
        found = findings_from(error, document.data, Plan, document.line)
        raise FileProblem([replace(one, file=path.name, line=document.line(one.path)) for one in found]) from None


def _plan_of(path: Path, filed: Filed) -> tuple[Plan, Read]:
    read = read_tables(filed)
    findings = [_placed(path, finding, place) for place, finding in read.findings]
    plan, torn = None, read.torn or any(row == 1 for (_, row, _), _ in read.findings)
    try:
        plan = Plan.model_validate(read.data)
    except ValidationError as error:
        told = {place for place, _ in read.findings}
        for one in findings_from(error, read.data, Plan):
            needed = _NEEDED_KEY.match(one.found)
            if torn and (needed or one.path not in read.places):
                continue  # below a wrong heading nothing was read: it would all be told as missing
            place = read.place((*one.path, needed[1]) if needed else one.path)
            if place not in told:  # what could not be read is missing in the data
                findings.append(_placed(path, one, place))
    if plan is None or findings:
        in_part = [_cell_of(path, place) for place in read.in_part]
        raise UnsoundSheets(findings, read.data, lambda one: _placed(path, one, read.place(one.path)), in_part)
    return plan, read


def _placed(path: Path, finding: Finding, place: Place | None) -> Finding:
    """The finding with its sheet and cell in the place of the path that YAML would have."""
    if place is None:
        return replace(finding, file=path.name)
    if _NEEDED_KEY.match(finding.found):  # as YAML would have it
        finding = replace(finding, found="an empty cell", expected="a value, it is needed", suggestion=None)
    return replace(finding, file=_cell_of(path, place), path=())


def _cell_of(path: Path, place: Place) -> str:
    sheet, row, column = place
    return f"{path.name}: {sheet} {column_letters(column)}{row}"


def column_letters(number: int) -> str:
    """How spreadsheets name a column, counted from 1: ``A``, ``Z``, ``AA``."""
    letters = ""
    while number:
        number, rest = divmod(number - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters


def yaml_of(plan: Plan) -> str:
    """The plan as YAML: what is as usual left out, laps and places of items in their short forms."""
    data = plan.model_dump(mode="json", by_alias=True, exclude_defaults=True)
    data = {"plan": plan.plan, **data}
    for run, entry in zip(plan.runs, data["runs"], strict=True):
        if run.laps:
            entry["laps"] = write_laps(run.laps)
        if "after_garage_s" in entry:
            work = run.after_garage_s
            entry["after_garage_s"] = [work.low_s, work.likely_s, work.high_s]
        for item, made in zip(run.items, entry.get("items", ()), strict=False):
            if item.on:
                made["on"] = _short_laps(item.on)
    return yaml.dump(data, Dumper=_PlanDumper, sort_keys=False, allow_unicode=True, width=110)


class _PlanDumper(yaml.SafeDumper):
    """As usual, but what is no plain word stands in double quotes: nothing is folded there, or read as a number."""

    def represent_str(self, data: str) -> yaml.ScalarNode:
        """A text, so that our own reader gives the same."""
        style = None if _PLAIN_WORD.fullmatch(data) else "|" if _LINES.fullmatch(data) else '"'
        return self.represent_scalar("tag:yaml.org,2002:str", data, style=style)


_PlanDumper.add_representer(str, _PlanDumper.represent_str)


def _short_laps(choices: tuple[LapChoice, ...]) -> Any:
    if all(not choice.numbers for choice in choices):
        kinds = [choice.kind for choice in choices]
        return kinds[0] if len(kinds) == 1 else list(kinds)
    if len({choice.kind for choice in choices}) == len(choices) and all(choice.numbers for choice in choices):
        return {choice.kind: list(choice.numbers) for choice in choices}
    return [{"kind": choice.kind, "numbers": list(choice.numbers)} for choice in choices]
