"""The columns of each table: where in a plan a column belongs, and how its cells are written and read.

A column's name is what a person reads at its top; an empty cell is what the plan has when nothing is said.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from typing import Any, Literal

from pitwall.errors import FilePath
from pitwall.model.plan import Item, LapKind, Plan, Run, StartsWith, TyreSet, write_laps
from pitwall.sheets import cells

Kind = Literal["word", "text", "number", "whole", "truth", "values", "list", "laps of an item"]


@dataclass(frozen=True)
class Unreadable:
    """A cell of a file that holds nothing which a plan could take: what was found, and what was expected. ``again``:
    it is told of another cell that is merged with this one."""

    found: str
    expected: str
    again: bool = False


Cell = str | int | float | bool | Unreadable | None

AS_DEFAULTS = StartsWith.model_fields["switches"].default
ABSENT = "-"
"""In a row of what is said on laps: there is no rule, not even the usual one."""


@dataclass(frozen=True)
class Column:
    """One column, or one row of the sheet of the plan as a whole.

    Attributes:
        name: at its top.
        path: below the row's entry in the plan.
        kind: what a cell holds.
        write: the cell of an entry; None leaves it empty.
        choices: the words that may stand there, for a list in the spreadsheet.
        note: what it means, for the template.
        least: the smallest number that is taken, or None.
        most: the largest.
        needed: no plan without it.
        own_words: reads a cell in which more may stand than its kind says.
        listed_in: the sheet, or the list of the event, whose names are offered there; another may be written as well.
    """

    name: str
    path: FilePath
    kind: Kind
    write: Callable[[Any], Cell]
    choices: tuple[str, ...] = ()
    note: str = ""
    least: float | None = None
    most: float | None = None
    needed: bool = False
    own_words: Callable[[str], Any] | None = None
    listed_in: str = ""

    def read(self, text: str) -> Any:
        """The value of a cell's text; what is no number in a column of numbers is left to the plan's model to refuse.

        Raises:
            cells.CellError: saying what was found and what was expected.
        """
        return (self.own_words or _READ[self.kind])(text)


def _number(text: str) -> Any:
    value = cells.read_number(text)
    point = cells.with_a_point(text.strip())
    if point is not None:
        raise cells.CellError(f"found {cells.shortened(text)}, expected a number with a decimal point: write {point}")
    return text if value is None else value


def _yes_no(text: str) -> Any:
    value = cells.read_scalar(text)
    return value if isinstance(value, bool) else text


_READ: Mapping[Kind, Callable[[str], Any]] = {
    "word": cells.read_word, "text": cells.read_text, "number": _number, "whole": _number, "truth": _yes_no,
    "values": cells.read_mapping, "list": cells.read_list, "laps of an item": cells.read_laps_of_item,
}  # fmt: skip


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
    return {} if text.strip() == "none" else text.strip() if text.strip() == AS_DEFAULTS else cells.read_mapping(text)


def _quiet(kind: LapKind, plan: Plan) -> Cell:
    rule = plan.quiet.get(kind)
    if kind == "timed" and rule is None:
        return ABSENT  # an empty cell would mean the usual rule of timed laps
    return None if rule is None else rule if isinstance(rule, str) else cells.listed(rule) or "nothing"


def _read_quiet(text: str) -> Any:
    return "all" if text.strip() == "all" else [] if text.strip() == "nothing" else cells.read_list(text)


WANTS = ("must", "should", "could")
TRUTH = (cells.YES, cells.NO)

RUNS: tuple[Column, ...] = (
    Column("run", ("run",), "word", lambda run: cells.text(run.run), needed=True,
           note="its name: small letters, digits, hyphens; such as: baseline"),
    Column("purpose", ("purpose",), "text", lambda run: cells.text(run.purpose or None), note="what it is for"),
    Column("want", ("want",), "word", lambda run: cells.text(run.want), WANTS, needed=True,
           note="must, should or could"),
    Column("value", ("value",), "number", lambda run: _unless(run.value, 1.0), least=0, most=1000,
           note="orders the runs of one class; 1 when empty"),
    Column("laps", ("laps",), "text", lambda run: write_laps(run.laps) if run.laps else None,
           note="such as: out, 3 timed, cool, 1 timed, in; or: out-in"),
    Column("fewest timed", ("shorten_to",), "whole", lambda run: run.shorten_to, least=1, most=400,
           note="with how many timed laps it still counts; empty: only with all"),
    Column("tyres", ("tyres",), "word", lambda run: cells.label(run.tyres), listed_in="tyres",
           note="a set of the sheet tyres"),
    Column("fuel kg", ("fuel_kg",), "number", lambda run: run.fuel_kg, least=0, most=500,
           note="on board when it leaves"),
    Column("driver", ("driver",), "word", lambda run: cells.text(run.driver), listed_in="drivers",
           note="empty: the plan's driver"),
    Column("window", ("window",), "word", lambda run: cells.label(run.window),
           note="only in this window of the session: its name or number"),
    Column("not before", ("release", "not_before"), "number", lambda run: run.release.not_before,
           note="earliest leaving, session time: seconds, or a text such as +00:08:00"),
    Column("not after", ("release", "not_after"), "number", lambda run: run.release.not_after,
           note="latest leaving, likewise"),
    Column("gap ahead s", ("release", "gap_ahead_s"), "number", lambda run: run.release.gap_ahead_s, least=0,
           note="to the car ahead at the pit exit"),
    Column("work quick s", ("after_garage_s", "low_s"), "number", _work(0), least=0,
           note="garage work after it: all three, or none"),
    Column("work likely s", ("after_garage_s", "likely_s"), "number", _work(1), least=0),
    Column("work slow s", ("after_garage_s", "high_s"), "number", _work(2), least=0),
    Column("crew", ("crew",), "list", lambda run: cells.listed(run.crew) or None,
           note="who does that work; such as: tyres, floor"),
    Column("switches", ("switches",), "values", lambda run: cells.mapping(run.switches) or None,
           note="for the whole run; such as: torque_map=3; flap=closed"),
    Column("before", ("before",), "list", lambda run: cells.listed(run.before) or None,
           note="runs that it must come before"),
    Column("same as", ("same_as",), "word", lambda run: cells.text(run.same_as), listed_in="runs",
           note="the run whose fuel and switches it repeats"),
    Column("group", ("group",), "word", lambda run: cells.label(run.group),
           note="runs of one group are done all or not at all"),
    Column("dry only", ("dry_only",), "truth", lambda run: _unless(run.dry_only, False), TRUTH),
    Column("after flag", ("after_flag",), "word", lambda run: cells.text(run.after_flag), ("allowed", "only"),
           note="may it be done after the chequered flag; empty: no"),
    Column("other cars", ("also_on",), "list", lambda run: cells.listed(run.also_on) or None,
           note="that could do it as well"),
    Column("cut by flag", ("cut_by_flag",), "word", lambda run: _unless(run.cut_by_flag, "resume"),
           ("resume", "give_up"), note="when a window's flag cuts it: go on in the next one, or give up"),
    Column("feedback", ("feedback",), "list", lambda run: cells.listed(run.feedback) or None,
           note="what the driver is to comment on; such as: balance, tyres"),
)
"""A run a row."""

ITEMS: tuple[Column, ...] = (
    Column("do", ("do",), "word", lambda item: cells.text(item.do), needed=True, listed_in="procedures",
           note="a procedure of the library"),
    Column("on", ("on",), "laps of an item", lambda item: cells.laps_of_item(item.on) or None,
           note="on which laps; such as: out; timed 1 3; in"),
    Column("after", ("after",), "word", lambda item: cells.label(item.after), note="the place; such as: turn 4"),
    Column("at", ("at",), "word", lambda item: cells.label(item.at), note="or exactly at the place"),
    Column("with", ("with",), "values", lambda item: cells.mapping(item.arguments) or None,
           note="such as: gear=5; seconds=5"),
    Column("want", ("want",), "word", lambda item: _unless(item.want, "should"), WANTS, note="should when empty"),
    Column("put back", ("put_back",), "truth", lambda item: _unless(item.put_back, True), TRUTH,
           note="are its switches put back; yes when empty, no needs a why"),
    Column("why", ("why",), "text", lambda item: cells.text(item.why)),
    Column("times", ("times",), "whole", lambda item: _unless(item.times, 1), least=1, most=20),
    Column("not before", ("when", "not_before"), "number", lambda item: item.when.not_before if item.when else None,
           note="session time: seconds, or a text such as +00:20:00"),
    Column("after item", ("when", "after_item"), "word",
           lambda item: cells.text(item.when.after_item) if item.when else None, note="once that item is done"),
)
"""An item a row, beside the name of its run."""

TYRES: tuple[Column, ...] = (
    Column("compound", ("compound",), "text", lambda tyres: cells.text(tyres.compound), needed=True,
           note="such as: medium"),
    Column("laps", ("laps",), "whole", lambda tyres: _unless(tyres.laps, 0), least=0, note="driven on it already"),
    Column("most laps", ("most_laps",), "whole", lambda tyres: tyres.most_laps, least=1,
           note="after which the set is not run any more"),
)
"""A tyre set a row, beside its label."""

PLAN: tuple[Column, ...] = (
    Column("format version", ("plan",), "whole", lambda plan: plan.plan, needed=True, least=1, most=1, note="1"),
    Column("car", ("car",), "word", lambda plan: cells.text(plan.car), needed=True, listed_in="cars",
           note="such as: 41"),
    Column("driver", ("driver",), "word", lambda plan: cells.text(plan.driver), needed=True, listed_in="drivers",
           note="a name of the event file"),
    Column("session", ("session",), "word", lambda plan: cells.text(plan.session), needed=True, listed_in="sessions",
           note="as the regulations name it; such as: practice-1"),
    Column("medium", ("medium",), "word", lambda plan: _unless(plan.medium, "two_way"),
           ("two_way", "one_way", "board"), note="how the driver is told; two_way when empty"),
    Column("starts with tyres", ("starts_with", "tyres"), "word", lambda plan: cells.label(plan.starts_with.tyres),
           note="the set that is on the car when the session opens"),
    Column("starts with fuel kg", ("starts_with", "fuel_kg"), "number", lambda plan: plan.starts_with.fuel_kg,
           least=0),
    Column("starts with switches", ("starts_with", "switches"), "values", _starting_switches,
           own_words=_read_starting_switches, note="those that differ from the defaults; empty: as the defaults say"),
    Column("alternates", ("alternates",), "values", lambda plan: cells.mapping(plan.alternates) or None,
           note="other plans to go over to; such as: wet=plan_41_wet.yaml"),
    Column("minimum laps", ("minimum_laps",), "values", lambda plan: cells.mapping(plan.minimum_laps) or None,
           note="by driver; such as: ines=20"),
    *(Column(f"said on {kind} laps", ("quiet", kind), "list", partial(_quiet, kind), own_words=_read_quiet,
             note="all, nothing, or kinds of call; such as: session, safety, box")
      for kind in ("out", "timed", "cool", "in", "installation")),
    Column("notes", ("notes",), "text", lambda plan: cells.text(plan.notes or None),
           note="what people should know, a line each; it stands on the run sheet and times nothing"),
)
"""The plan as a whole, a row each: the name, and the value beside it."""

COVERED: dict[type, set[str]] = {
    Run: {str(column.path[0]) for column in RUNS} | {"items"},
    Item: {str(column.path[0]) for column in ITEMS},
    TyreSet: {str(column.path[0]) for column in TYRES},
    Plan: {str(column.path[0]) for column in PLAN} | {"runs", "tyre_sets"},
}
"""Which fields have a column: a test sees to it that none is forgotten."""
