"""A plan as tables, and tables as a plan: four sheets, each a list of rows of cells.

    plan    a name and its value a row
    runs    a run a row
    items   an item a row, beside the name of its run
    tyres   a tyre set a row, beside its label

Columns may stand in any order, and those that nobody uses may be missing. A column whose name stands in brackets is a
remark, and is not read. Nothing else is passed over: what cannot be a part of the plan is told with sheet and cell.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from difflib import get_close_matches
from typing import Any

from pitwall.errors import FilePath, Finding
from pitwall.model.plan import Plan
from pitwall.sheets.cells import CellError, text
from pitwall.sheets.columns import ABSENT, ITEMS, PLAN, RUNS, TYRES, Cell, Column, Unreadable
from pitwall.sheets.headings import as_yours, headings, near, same_name, sheets_there, yours

OF_RUN = Column("run", ("run",), "word", lambda run: run, needed=True, listed_in="runs", note="a run of the sheet runs")
LABEL = Column("set", ("set",), "text", lambda label: label, needed=True, note="its label; such as: B1")
TABLES: dict[str, tuple[Column, ...]] = {"runs": RUNS, "items": (OF_RUN, *ITEMS), "tyres": (LABEL, *TYRES)}
"""Sheet -> its columns, in order."""
SHEETS: dict[str, tuple[str, ...]] = {
    "plan": ("what", "value"),
    **{sheet: tuple(column.name for column in columns) for sheet, columns in TABLES.items()},
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


def empty_tables() -> dict[str, list[list[Cell]]]:
    """The tables of no plan yet: names only, and the version of the format."""
    found: dict[str, list[list[Cell]]] = {sheet: [list(names)] for sheet, names in SHEETS.items()}
    found["plan"] += [[row.name, 1 if row.path == ("plan",) else None] for row in PLAN]
    return found


@dataclass(frozen=True)
class Filed:
    """What a file holds.

    Attributes:
        tables: the rows of each sheet of ours that is there.
        others: the names of all other sheets.
        notes: what a person should know although it is read, each with a sentence.
        decimal_comma: numbers may be written 20,5.
    """

    tables: Mapping[str, Rows]
    others: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    decimal_comma: bool = False


@dataclass
class Read:
    """What came of the tables: plain data for the plan's model, where each part of it stood, and what is wrong."""

    decimal_comma: bool = False
    data: dict[str, Any] = field(default_factory=lambda: {"runs": []})
    places: dict[FilePath, Place] = field(default_factory=dict)
    findings: list[tuple[Place, Finding]] = field(default_factory=list)
    torn: bool = False
    """Names of parts could not be read: what is said in the same rows is missing, and not told as missing."""
    in_part: set[Place] = field(default_factory=set)
    """Cells of which only some parts could be read: what those say is looked at all the same."""
    runs_lost: bool = False
    """One of them is of a run: a run that is not there may be that one."""

    def unreadable(self, cell: Unreadable, place: Place) -> None:
        """Note a cell that cannot be read; one that is merged with another once."""
        if not cell.again:
            self.wrong(place, cell.found, cell.expected)

    def wrong(self, place: Place, found: str, expected: str | None = None, suggestion: str | None = None) -> None:
        """Note a finding."""
        self.findings.append((place, Finding(code="PW016", found=found, expected=expected, suggestion=suggestion)))

    def put(self, at: FilePath, path: FilePath, value: Any, place: Place) -> None:
        """Put a value below ``at`` into the data, and note where it stood."""
        here: Any = self.data
        for part in (*at, *path[:-1]):
            here = here[part] if isinstance(part, int) else here.setdefault(part, {})
        here[path[-1]] = value
        self.places[(*at, *path)] = place

    def place(self, path: FilePath) -> Place | None:
        """Where that part of the plan stood: itself, else the first part of it, else the nearest part around it."""
        while path:
            below = [place for known, place in self.places.items() if known[: len(path)] == path]
            if path in self.places or below:
                return self.places.get(path, min(below))
            path = path[:-1]
        return None


def read_tables(filed: Filed) -> Read:
    """The data of a plan from its sheets. Rows without anything in them are passed over."""
    read, tables = Read(filed.decimal_comma), filed.tables
    for sheet, found, expected in sheets_there(tuple(tables), filed.others, tuple(SHEETS)):
        read.wrong((sheet, 1, 1), found, expected)
    _read_plan(read, tables.get("plan", ()))
    if _read_rows(read, "runs", tables.get("runs", ()), _Runs(read)) and "runs" in tables:
        _read_rows(read, "items", tables.get("items", ()), _Items(read))
    _read_rows(read, "tyres", tables.get("tyres", ()), _TyreSets(read))
    return read


def not_there(name: str, sheets: Collection[str]) -> tuple[str, ...]:
    """A note for each sheet that a plan can do without and that may have been lost.

    Args:
        name: of the file or folder.
        sheets: those that are there.
    """
    return tuple(f"{name}: there is no sheet {sheet!r}: this is a plan without {what}"
                 for sheet, what in (("items", "items"), ("tyres", "tyre sets")) if sheet not in sheets)


def cell_text(cell: Cell) -> str:
    """The text of a cell as CSV has it; a cell that cannot be read has none."""
    if cell is None or isinstance(cell, Unreadable):
        return ""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    return str(int(cell)) if isinstance(cell, float) and cell.is_integer() else str(cell)


_CLOCK = re.compile(r"(?:(\d{1,2}):(?=[0-5]?\d:))?(\d{1,2}):([0-5]\d)", re.ASCII)
NEAR = 0.75
"""So much alike is a run that is meant by another name: ``CHECKS``, ``check``."""


def blank(cell: Cell) -> bool:
    """Guard: nothing stands in the cell."""
    return not isinstance(cell, Unreadable) and not cell_text(cell).strip()


def _read_cell(read: Read, column: Column, cell: Cell, place: Place) -> Any:
    """The value of a cell that is not blank, or what of it could be read; None when nothing could. What could not is
    noted."""
    if isinstance(cell, Unreadable):
        read.unreadable(cell, place)
        return None
    if isinstance(cell, bool) and column.kind != "truth":
        read.wrong(place, f"the truth value {str(cell).upper()}", "text or a number",
                   "format the cell as text and write it again")
        return None
    try:
        words = cell_text(cell)
        if read.decimal_comma and column.kind in ("number", "whole"):
            words = _with_point(words.strip())
        if column.kind == "number" and column.name.endswith(" s") and (clock := _CLOCK.fullmatch(words.strip())):
            hours, minutes, seconds = (int(part or 0) for part in clock.groups())
            read.wrong(place, repr(words), "a number of seconds", f"write {3600 * hours + 60 * minutes + seconds}")
            return None
        return column.read(words)
    except CellError as problem:
        for part in problem.parts:
            found, _, expected = str(part).removeprefix("found ").partition(", expected ")
            read.wrong(place, found, expected or None)
        if problem.read:
            read.in_part.add(place)
        return problem.read or None


def _with_point(number: str) -> str:
    """``20,5`` as ``20.5``; three digits behind a comma or a point may be thousands, which is refused."""
    whole, sign, rest = number.partition("," if "," in number else ".")
    if not sign or not rest.isdigit() or not whole.lstrip("+-").isdigit():
        return number
    if len(rest) == 3 and whole.lstrip("+-0"):
        raise CellError(f"found {number!r}, expected a number that cannot be read as thousands: {whole},{rest}0 or "
                        f"{whole}{rest}")
    return f"{whole}.{rest}"


def _take(read: Read, at: FilePath, column: Column, cell: Cell, place: Place) -> None:
    read.places.setdefault((*at, *column.path), place)  # also where nothing stands: it may be needed
    if blank(cell):
        return
    if column.path[0] == "quiet" and cell_text(cell).strip() == ABSENT:
        read.data.setdefault("quiet", {})
        return
    value = _read_cell(read, column, cell, place)
    if value is not None:
        read.put(at, column.path, value, place)


def _read_plan(read: Read, rows: Rows) -> None:
    known = {column.name: column for column in PLAN}
    if _torn_heading(read, "plan", rows[:1]):
        return
    if rows and [same_name(cell_text(cell)) for cell in rows[0][:2]] != list(SHEETS["plan"]):
        read.wrong(("plan", 1, 1), f"{cell_text(rows[0][0]) if rows[0] else ''!r} in the first row",
                   "the names of the two columns: what, value")
    done: dict[str, int] = {}
    for number, row in enumerate(rows[1:], start=2):
        for index, cell in enumerate(row[2:], start=3):
            if not blank(cell) and not _a_remark(rows[0], index - 1):
                read.wrong(("plan", number, index), f"{cell_text(cell)!r} beside the table", "nothing there",
                           "a column of remarks has its name in brackets, such as (remarks)")
        if all(blank(cell) for cell in row[:2]):
            continue
        if isinstance(row[0], Unreadable):
            read.torn = True
            read.unreadable(row[0], ("plan", number, 1))
            continue
        name = same_name(cell_text(row[0]))
        if yours(name):
            continue
        if name not in known:
            mend = as_yours(cell_text(row[0])) if name else None
            expected = f"one of: {', '.join(known)}{near(name, tuple(known))}"
            read.wrong(("plan", number, 1), repr(cell_text(row[0])), expected, mend)
        elif name in done:
            read.wrong(("plan", number, 1), f"{name!r} again", f"it once: it stands in row {done[name]} already")
        else:
            done[name] = number
            _take(read, (), known[name], row[1] if len(row) > 1 else None, ("plan", number, 2))


def _a_remark(heads: Sequence[Cell], index: int) -> bool:
    return index < len(heads) and yours(cell_text(heads[index]))


def _torn_heading(read: Read, sheet: str, first: Rows) -> bool:
    """Guard: names of columns cannot be read, which is noted; nobody knows what stands below them."""
    heads = [(index, cell) for row in first for index, cell in enumerate(row, start=1) if isinstance(cell, Unreadable)]
    for index, cell in heads:
        read.unreadable(cell, (sheet, 1, index))
    return bool(heads)


class _Runs:
    """Where the rows of the runs go."""

    def __init__(self, read: Read) -> None:
        self.read = read

    def entry(self, first: Any, place: Place) -> FilePath | None:
        """The place of the row's entry in the plan, made for it; None when there can be none."""
        runs = self.read.data["runs"]
        runs.append({})
        at: FilePath = ("runs", len(runs) - 1)
        if first is not None:
            self.read.put(at, ("run",), first, place)
        self.read.places[(*at, "run")] = place
        return at


class _Items:
    """Where the rows of the items go: to the run that is named in them."""

    def __init__(self, read: Read) -> None:
        self.read = read
        self.runs = {run.get("run"): index for index, run in reversed(list(enumerate(read.data["runs"])))}

    def entry(self, first: Any, place: Place) -> FilePath | None:
        """As for runs."""
        if first not in self.runs and self.read.runs_lost:
            return None
        if first not in self.runs:
            names = [str(one) for one in reversed(self.runs) if one is not None]
            known = ", ".join(one if one.isprintable() else repr(one) for one in names) or "none is there"
            near = get_close_matches(str(first).lower(), names, 1, NEAR) if first is not None else []
            self.read.wrong(place, "no run" if first is None else f"run {first!r}", f"a run of the sheet runs: {known}",
                            f"did you mean {near[0]!r}?" if near else None)
            return None
        items = self.read.data["runs"][self.runs[first]].setdefault("items", [])
        items.append({})
        return ("runs", self.runs[first], "items", len(items) - 1)


class _TyreSets:
    """Where the rows of the tyre sets go."""

    def __init__(self, read: Read) -> None:
        self.read = read

    def entry(self, first: Any, place: Place) -> FilePath | None:
        """As for runs."""
        sets = self.read.data.setdefault("tyre_sets", {})
        if first is None or first in sets:
            self.read.wrong(place, "no label" if first is None else f"set {first!r} again", "each set once, by a label")
            return None
        sets[first] = {}
        return ("tyre_sets", first)


def _read_rows(read: Read, sheet: str, rows: Rows, goes_to: _Runs | _Items | _TyreSets) -> bool:
    """Read a table below its headings; False when these are such that its rows would mean something else."""
    if _torn_heading(read, sheet, rows[:1]):
        return False
    heads, wrong = headings([cell_text(cell) for cell in rows[0]] if rows else [], TABLES[sheet])
    for index, found, expected in wrong if rows else ():
        name = cell_text(rows[0][index]) if index < len(rows[0]) else ""
        strange_name = found == f"a column {name!r}"
        read.wrong((sheet, 1, index + 1), found, expected, as_yours(name) if strange_name else None)
    strange = {index for index, found, _ in wrong if not found.startswith("no column")}
    first, *others = TABLES[sheet]
    place_of = {column.name: index for index, column in heads.items()}
    if first.name not in place_of:
        return not rows
    for number, row in enumerate(rows[1:], start=2):
        cells = {index: cell for index, cell in enumerate(row) if not blank(cell) and not _a_remark(rows[0], index)}
        if not cells:
            continue
        for index in cells.keys() - heads.keys() - strange:
            read.wrong((sheet, number, index + 1), f"{cell_text(row[index])!r} in a column that is none of the table's",
                       "nothing there", "a column of remarks has its name in brackets, such as (remarks)")
        at_first = place_of[first.name]
        place, before = (sheet, number, at_first + 1), len(read.findings)
        if isinstance(cells.get(at_first), Unreadable):
            read.torn, read.runs_lost = True, read.runs_lost or sheet == "runs"
        value = _read_cell(read, first, cells[at_first], place) if at_first in cells else None
        known = len(read.findings) == before and not isinstance(cells.get(at_first), Unreadable)
        at = goes_to.entry(value, place) if known else None
        if at is None:
            continue
        for column in others:
            if column.name in place_of:
                index = place_of[column.name]
                _take(read, at, column, cells.get(index), (sheet, number, index + 1))
    return True
