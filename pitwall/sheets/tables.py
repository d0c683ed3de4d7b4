"""A plan as tables, and tables as a plan: four sheets, each a list of rows of cells.

    plan    a name and its value a row
    runs    a run a row
    items   an item a row, behind the name of its run
    tyres   a tyre set a row, behind its label

Whoever reads the cells of a file hands the tables over as text; what is wrong comes back with sheet and cell.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from pitwall.errors import FilePath, Finding
from pitwall.model.plan import Plan
from pitwall.sheets.cells import CellError, read_text, text
from pitwall.sheets.columns import ABSENT, ITEMS, PLAN, RUNS, TYRES, Cell, Column

SHEETS: dict[str, tuple[str, ...]] = {
    "plan": ("what", "value"),
    "runs": tuple(column.name for column in RUNS),
    "items": ("run", *(column.name for column in ITEMS)),
    "tyres": ("set", *(column.name for column in TYRES)),
}
"""Sheet -> the names at the top of its columns, in order."""

Rows = Sequence[Sequence[Cell]]
Place = tuple[str, int, int]
"""Sheet, row and column, the latter two counted from 1 as spreadsheets do."""


def tables_of(plan: Plan) -> dict[str, list[list[Cell]]]:
    """The rows of each sheet, the names of the columns first."""
    found: dict[str, list[list[Cell]]] = {sheet: [list(names)] for sheet, names in SHEETS.items()}
    found["plan"] += [[row.name, row.write(plan)] for row in PLAN]
    for run in plan.runs:
        found["runs"].append([column.write(run) for column in RUNS])
        found["items"] += [[run.run, *(column.write(item) for column in ITEMS)] for item in run.items]
    for label, tyres in plan.tyre_sets.items():
        found["tyres"].append([text(label), *(column.write(tyres) for column in TYRES)])
    return found


@dataclass
class Read:
    """What came of the tables: plain data for the plan's model, where each part of it stood, and what is wrong."""

    data: dict[str, Any] = field(default_factory=dict)
    places: dict[FilePath, Place] = field(default_factory=dict)
    findings: list[tuple[Place, Finding]] = field(default_factory=list)

    def wrong(self, place: Place, found: str, expected: str | None = None) -> None:
        """Note a finding."""
        self.findings.append((place, Finding(code="PW016", found=found, expected=expected)))

    def put(self, at: FilePath, path: FilePath, value: Any, place: Place) -> None:
        """Put a value below ``at`` into the data, and note where it stood."""
        here: Any = self.data
        for part in (*at, *path[:-1]):
            here = here[part] if isinstance(part, int) else here.setdefault(part, {})
        here[path[-1]] = value
        self.places[(*at, *path)] = place

    def place(self, path: FilePath) -> Place | None:
        """Where that part of the plan stood: the nearest part around it that stood somewhere."""
        while path not in self.places and path:
            path = path[:-1]
        return self.places.get(path)


def read_tables(tables: Mapping[str, Rows]) -> Read:
    """The data of a plan from its sheets. Rows without anything in them are passed over."""
    read = Read()
    read.data["runs"] = []
    for sheet in SHEETS:
        if sheet not in tables and sheet in ("plan", "runs"):
            read.wrong((sheet, 1, 1), f"no sheet {sheet!r}", f"the sheets {', '.join(SHEETS)}")
    _read_plan(read, tables.get("plan", ()))
    _read_runs(read, tables.get("runs", ()))
    _read_items(read, tables.get("items", ()))
    _read_tyres(read, tables.get("tyres", ()))
    return read


def _text(cell: Cell) -> str:
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    return str(int(cell)) if isinstance(cell, float) and cell.is_integer() else str(cell)


def _blank(cell: Cell) -> bool:
    return not _text(cell).strip()


def _read_cell(read: Read, at: FilePath, column: Column, cell: Cell, place: Place) -> None:
    if _blank(cell):
        return
    if column.path[0] == "quiet" and _text(cell).strip() == ABSENT:
        read.data.setdefault("quiet", {})
        return
    try:
        read.put(at, column.path, column.read(_text(cell)), place)
    except CellError as problem:
        found, _, expected = str(problem).removeprefix("found ").partition(", expected ")
        read.wrong(place, found, expected or None)


def _read_plan(read: Read, rows: Rows) -> None:
    known = {column.name: column for column in PLAN}
    for number, row in enumerate(rows[1:], start=2):
        if not row or all(_blank(cell) for cell in row):
            continue
        name = _text(row[0]).strip()
        if name not in known:
            read.wrong(("plan", number, 1), repr(name), f"one of: {', '.join(known)}")
        elif len(row) > 1:
            _read_cell(read, (), known[name], row[1], ("plan", number, 2))


def _columns(read: Read, sheet: str, rows: Rows, columns: Sequence[Column], first: str | None) -> dict[int, Column]:
    """Which column stands where: they may be in any order, and some may be missing."""
    known = {column.name: column for column in columns}
    found: dict[int, Column] = {}
    for at, cell in enumerate(rows[0] if rows else ()):
        name = _text(cell).strip()
        if not name or (at == 0 and name == first):
            continue
        if name not in known:
            read.wrong((sheet, 1, at + 1), f"a column {name!r}", f"one of: {', '.join(known)}")
        else:
            found[at] = known[name]
    return found


def _read_runs(read: Read, rows: Rows) -> None:
    columns = _columns(read, "runs", rows, RUNS, None)
    for number, row in enumerate(rows[1:], start=2):
        if all(_blank(cell) for cell in row):
            continue
        at: FilePath = ("runs", len(read.data["runs"]))
        read.data["runs"].append({})
        read.places[at] = ("runs", number, 1)
        for index, column in columns.items():
            _read_cell(read, at, column, row[index] if index < len(row) else None, ("runs", number, index + 1))


def _read_items(read: Read, rows: Rows) -> None:
    columns = _columns(read, "items", rows, ITEMS, "run")
    runs = {run.get("run"): index for index, run in enumerate(read.data["runs"])}
    for number, row in enumerate(rows[1:], start=2):
        if all(_blank(cell) for cell in row):
            continue
        name = _text(row[0]).strip()
        if name not in runs:
            known = ", ".join(str(one) for one in runs) or "none is there"
            read.wrong(("items", number, 1), f"run {name!r}", f"a run of the sheet runs: {known}")
            continue
        items = read.data["runs"][runs[name]].setdefault("items", [])
        at: FilePath = ("runs", runs[name], "items", len(items))
        items.append({})
        read.places[at] = ("items", number, 1)
        for index, column in columns.items():
            _read_cell(read, at, column, row[index] if index < len(row) else None, ("items", number, index + 1))


def _label(read: Read, cell: Cell, place: Place) -> str:
    try:
        return read_text(_text(cell))
    except CellError as problem:
        read.wrong(place, str(problem))
        return _text(cell)


def _read_tyres(read: Read, rows: Rows) -> None:
    columns = _columns(read, "tyres", rows, TYRES, "set")
    for number, row in enumerate(rows[1:], start=2):
        if all(_blank(cell) for cell in row):
            continue
        label = _label(read, row[0], ("tyres", number, 1))
        if label in read.data.get("tyre_sets", {}):
            read.wrong(("tyres", number, 1), f"set {label!r} twice", "each set once")
            continue
        at: FilePath = ("tyre_sets", label)
        read.data.setdefault("tyre_sets", {})[label] = {}
        read.places[at] = ("tyres", number, 1)
        for index, column in columns.items():
            _read_cell(read, at, column, row[index] if index < len(row) else None, ("tyres", number, index + 1))
