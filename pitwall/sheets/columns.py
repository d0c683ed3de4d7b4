"""The columns of each table: where in a plan a column belongs, and how its cells are written and read.

A column's name is what a person reads at its top; an empty cell is what the plan has when nothing is said.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Any

from pitwall.errors import FilePath
from pitwall.model.plan import Item, LapKind, Plan, Run, TyreSet, write_laps
from pitwall.sheets import cells

Cell = str | int | float | bool | None

ABSENT = "-"
"""In a row of what is said on laps: there is no rule, not even the usual one."""


@dataclass(frozen=True)
class Column:
    """One column, or one row of the sheet of the plan as a whole.

    Attributes:
        name: at its top.
        path: below the row's entry in the plan.
        write: the cell of an entry; None leaves it empty.
        read: the value of a cell's text; may raise ``cells.CellError``.
        choices: the words that may stand there, for a list in the spreadsheet.
        note: what it means, for the template.
    """

    name: str
    path: FilePath
    write: Callable[[Any], Cell]
    read: Callable[[str], Any]
    choices: tuple[str, ...] = ()
    note: str = ""


def _number(text: str) -> Any:
    value = cells.read_scalar(text)
    return text if isinstance(value, bool | str) else value


def _yes_no(text: str) -> Any:
    value = cells.read_scalar(text)
    return value if isinstance(value, bool) else text


def _unless(value: Any, usual: Any) -> Any:
    return None if value == usual else value


def _work(index: int) -> Callable[[Run], Cell]:
    def write(run: Run) -> Cell:
        if run.after_garage_s == Run.model_fields["after_garage_s"].default:
            return None
        work = run.after_garage_s
        return (work.low_s, work.likely_s, work.high_s)[index]

    return write


def _starting_switches(plan: Plan) -> Cell:
    given = plan.starts_with.switches
    return None if isinstance(given, str) else cells.mapping(given) or "none"


def _read_starting_switches(text: str) -> Any:
    return {} if text.strip() == "none" else cells.read_mapping(text)


def _quiet(kind: LapKind, plan: Plan) -> Cell:
    rule = plan.quiet.get(kind)
    if kind == "timed" and rule is None:
        return ABSENT  # an empty cell would mean the usual rule of timed laps
    return None if rule is None else rule if isinstance(rule, str) else cells.listed(rule) or "nothing"


def _read_quiet(text: str) -> Any:
    return "all" if text.strip() == "all" else [] if text.strip() == "nothing" else cells.read_list(text)


WANTS = ("must", "should", "could")
RUNS: tuple[Column, ...] = (
    Column("run", ("run",), lambda run: cells.text(run.run), cells.read_text, note="its name: lower-case letters, digits, hyphens"),
    Column("purpose", ("purpose",), lambda run: cells.text(run.purpose or None), cells.read_text),
    Column("want", ("want",), lambda run: cells.text(run.want), cells.read_text, WANTS),
    Column("value", ("value",), lambda run: _unless(run.value, 1.0), _number, note="orders runs within their class"),
    Column("laps", ("laps",), lambda run: write_laps(run.laps) if run.laps else None, cells.read_text,
           note="such as: out, 3 timed, in"),
    Column("fewest timed", ("shorten_to",), lambda run: run.shorten_to, _number,
           note="with how many timed laps it still counts"),
    Column("tyres", ("tyres",), lambda run: cells.text(run.tyres), cells.read_text),
    Column("fuel kg", ("fuel_kg",), lambda run: run.fuel_kg, _number),
    Column("driver", ("driver",), lambda run: cells.text(run.driver), cells.read_text),
    Column("window", ("window",), lambda run: cells.text(run.window), cells.read_text),
    Column("not before", ("release", "not_before"), lambda run: run.release.not_before, _number, note="session time"),
    Column("not after", ("release", "not_after"), lambda run: run.release.not_after, _number, note="session time"),
    Column("gap ahead s", ("release", "gap_ahead_s"), lambda run: run.release.gap_ahead_s, _number),
    Column("work quick s", ("after_garage_s", "low_s"), _work(0), _number, note="garage work after it"),
    Column("work likely s", ("after_garage_s", "likely_s"), _work(1), _number),
    Column("work slow s", ("after_garage_s", "high_s"), _work(2), _number),
    Column("crew", ("crew",), lambda run: cells.listed(run.crew) or None, cells.read_list),
    Column("switches", ("switches",), lambda run: cells.mapping(run.switches) or None, cells.read_mapping,
           note="such as: torque_map=3; flap=closed"),
    Column("before", ("before",), lambda run: cells.listed(run.before) or None, cells.read_list),
    Column("same as", ("same_as",), lambda run: cells.text(run.same_as), cells.read_text),
    Column("group", ("group",), lambda run: cells.text(run.group), cells.read_text),
    Column("dry only", ("dry_only",), lambda run: _unless(run.dry_only, False), _yes_no, (cells.YES, cells.NO)),
    Column("after flag", ("after_flag",), lambda run: cells.text(run.after_flag), cells.read_text, ("allowed", "only")),
    Column("other cars", ("also_on",), lambda run: cells.listed(run.also_on) or None, cells.read_list,
           note="that could do it as well"),
    Column("cut by flag", ("cut_by_flag",), lambda run: _unless(run.cut_by_flag, "resume"), cells.read_text,
           ("resume", "give_up")),
)
"""A run a row."""

ITEMS: tuple[Column, ...] = (
    Column("do", ("do",), lambda item: cells.text(item.do), cells.read_text, note="a procedure of the library"),
    Column("on", ("on",), lambda item: cells.laps_of_item(item.on) or None, cells.read_laps_of_item,
           note="such as: out; timed 1 3"),
    Column("after", ("after",), lambda item: cells.text(item.after), cells.read_text),
    Column("at", ("at",), lambda item: cells.text(item.at), cells.read_text),
    Column("with", ("with",), lambda item: cells.mapping(item.arguments) or None, cells.read_mapping,
           note="such as: gear=5; seconds=5"),
    Column("want", ("want",), lambda item: _unless(item.want, "should"), cells.read_text, WANTS),
    Column("put back", ("put_back",), lambda item: _unless(item.put_back, True), _yes_no, (cells.YES, cells.NO)),
    Column("why", ("why",), lambda item: cells.text(item.why), cells.read_text),
    Column("times", ("times",), lambda item: _unless(item.times, 1), _number),
    Column("not before", ("when", "not_before"), lambda item: item.when.not_before if item.when else None, _number),
    Column("after item", ("when", "after_item"), lambda item: cells.text(item.when.after_item) if item.when else None, cells.read_text),
)
"""An item a row, behind the name of its run."""

TYRES: tuple[Column, ...] = (
    Column("compound", ("compound",), lambda tyres: cells.text(tyres.compound), cells.read_text),
    Column("laps", ("laps",), lambda tyres: _unless(tyres.laps, 0), _number, note="driven already"),
    Column("most laps", ("most_laps",), lambda tyres: tyres.most_laps, _number),
)
"""A tyre set a row, behind its label."""

PLAN: tuple[Column, ...] = (
    Column("format version", ("plan",), lambda plan: plan.plan, _number),
    Column("car", ("car",), lambda plan: cells.text(plan.car), cells.read_text),
    Column("driver", ("driver",), lambda plan: cells.text(plan.driver), cells.read_text),
    Column("session", ("session",), lambda plan: cells.text(plan.session), cells.read_text),
    Column("medium", ("medium",), lambda plan: _unless(plan.medium, "two_way"), cells.read_text,
           ("two_way", "one_way", "board")),
    Column("starts with tyres", ("starts_with", "tyres"), lambda plan: cells.text(plan.starts_with.tyres),
           cells.read_text),
    Column("starts with fuel kg", ("starts_with", "fuel_kg"), lambda plan: plan.starts_with.fuel_kg, _number),
    Column("starts with switches", ("starts_with", "switches"), _starting_switches, _read_starting_switches,
           note="those that differ from the defaults; empty: as the defaults say"),
    Column("alternates", ("alternates",), lambda plan: cells.mapping(plan.alternates) or None, cells.read_mapping,
           note="such as: wet=plan_41_wet.yaml"),
    Column("minimum laps", ("minimum_laps",), lambda plan: cells.mapping(plan.minimum_laps) or None,
           cells.read_mapping, note="by driver, such as: ines=20"),
    *(Column(f"said on {kind} laps", ("quiet", kind), partial(_quiet, kind), _read_quiet,
             note="all, or kinds of call such as: session, safety, box")
      for kind in ("out", "timed", "cool", "in", "installation")),
)
"""The plan as a whole, a row each: the name, and the value beside it."""

COVERED: dict[type, set[str]] = {
    Run: {str(column.path[0]) for column in RUNS} | {"items"},
    Item: {str(column.path[0]) for column in ITEMS},
    TyreSet: {str(column.path[0]) for column in TYRES},
    Plan: {str(column.path[0]) for column in PLAN} | {"runs", "tyre_sets"},
}
"""Which fields have a column: a test sees to it that none is forgotten."""
