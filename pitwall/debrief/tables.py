"""The tables of a debrief, for other programs: flat rows, names of columns with units, one file a table.

Columns follow from the models, not from the values: a table has the same columns whatever the session was. A value with
an interval becomes three columns, ``from_s``, ``from_s_low`` and ``from_s_high``; a list becomes text with ``; ``
between; times of day are RFC 3339.
"""

from __future__ import annotations

import types
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel

from pitwall.debrief import wording as say
from pitwall.debrief.model import (
    AlertRow,
    CallRow,
    ChangeRow,
    DataWindow,
    Debrief,
    Expected,
    ItemRow,
    LapRow,
    MinuteLoad,
    QuestionRow,
    RunRow,
    Sector,
    StatusSpan,
    Stint,
    SwitchAt,
    SwitchMove,
    TenMinutes,
    Uncertain,
)
from pitwall.model.base import Frozen
from pitwall.model.comments import Comment, Remark
from pitwall.model.laps_in_doubt import switch_words

Kind = Literal["text", "number", "whole", "yes_no"]
Cell = str | float | int | bool | None
KINDS: Mapping[type, Kind] = {bool: "yes_no", int: "whole", float: "number", str: "text", datetime: "text"}
NOT_HERE: Mapping[type[BaseModel], tuple[str, ...]] = {
    LapRow: ("sectors", "car"), DataWindow: ("switches",), RunRow: ("stints",),
    Comment: ("remarks",),
}
"""Lists of rows that have a table of their own, and the car, which every table has anyway."""


@dataclass(frozen=True)
class Column:
    """One column; ``kind`` holds for every value that is there at all."""

    name: str
    kind: Kind


@dataclass(frozen=True)
class Table:
    """One table: its name is the name of its file."""

    name: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]

    def records(self) -> Iterator[dict[str, Cell]]:
        """Row by row, by name of the column."""
        names = [column.name for column in self.columns]
        for row in self.rows:
            yield dict(zip(names, row, strict=True))


def tables(debrief: Debrief) -> tuple[Table, ...]:
    """Every table of a debrief, in a fixed order; one without rows is there with its columns."""
    own = _own_rows(debrief)
    return tuple(_table(name, model, keys, own[name]) for name, (model, keys) in SHAPES.items())


CAR = Column("car", "text")
LAP = (CAR, Column("lap_number", "whole"))
ITEM = (CAR, Column("item", "text"))
SHAPES: Mapping[str, tuple[type[BaseModel], tuple[Column, ...]]] = {
    "runs": (RunRow, (CAR,)),
    "stints": (Stint, (CAR, Column("run", "text"))),
    "items": (ItemRow, (CAR,)),
    "data_windows": (DataWindow, (CAR,)),
    "data_window_switches": (SwitchAt, ITEM),
    "laps": (LapRow, (CAR,)),
    "sectors": (Sector, LAP),
    "switches": (SwitchMove, (CAR,)),
    "calls": (CallRow, (CAR,)),
    "radio_load": (MinuteLoad, (CAR,)),
    "questions": (QuestionRow, (CAR,)),
    "changes": (ChangeRow, (CAR,)),
    "comments": (Comment, (CAR,)),
    "remarks": (Remark, (CAR, Column("comment", "whole"))),
    "alerts": (AlertRow, ()),
    "alert_rates": (TenMinutes, ()),
    "statuses": (StatusSpan, ()),
}
"""Name of a table -> the model of its rows, and the columns that say to what a row belongs."""

MORE: Mapping[type[BaseModel], tuple[Column, Callable[[Any], Cell]]] = {
    RunRow: (Column("came_to", "text"), say.came_to),
    LapRow: (Column("marked", "text"), lambda lap: "; ".join(switch_words(lap))),
}
"""A last column, of what the page says beside the values: a run that does not count has the state ``done``, too."""

Rows = dict[str, list[tuple[tuple[Cell, ...], Frozen]]]


def _own_rows(debrief: Debrief) -> Rows:
    """The rows of every table, each with what it belongs to."""
    found: Rows = {name: [] for name in SHAPES}
    for car in debrief.cars:
        of_car: Mapping[str, Sequence[Frozen]] = {
            "runs": car.runs, "items": car.items, "data_windows": car.data_windows, "laps": car.laps,
            "switches": car.switches, "calls": car.calls, "radio_load": car.radio.load, "questions": car.questions,
            "changes": car.changes, "comments": car.comments,
        }
        for name, rows in of_car.items():
            found[name] += [((car.car,), row) for row in rows]
        found["stints"] += [((car.car, run.run), stint) for run in car.runs for stint in run.stints]
        found["sectors"] += [((car.car, lap.number), sector) for lap in car.laps for sector in lap.sectors]
        found["remarks"] += [((car.car, one.comment), remark) for one in car.comments for remark in one.remarks]
        found["data_window_switches"] += [
            ((car.car, window.item), switch) for window in car.data_windows for switch in window.switches
        ]
    of_all: Mapping[str, Sequence[Frozen]] = {
        "alerts": debrief.alert_rows, "alert_rates": debrief.alerts.rates if debrief.alerts else (),
        "statuses": debrief.session.statuses,
    }
    found["changes"] += [((None,), row) for row in debrief.changes]  # of no one car
    for name, rows in of_all.items():
        found[name] += [((), row) for row in rows]
    return found


def _table(
    name: str, model: type[BaseModel], keys: tuple[Column, ...], rows: Sequence[tuple[tuple[Cell, ...], Frozen]]
) -> Table:
    fields = {field: info.annotation for field, info in model.model_fields.items()
              if field not in NOT_HERE.get(model, ())}
    columns = [column for field, annotation in fields.items() for column in _columns(field, annotation)]
    made = tuple((*key, *(cell for field, annotation in fields.items()
                          for cell in _cells(getattr(row, field), annotation))) for key, row in rows)
    if model in MORE:
        column, told = MORE[model]
        columns.append(column)
        made = tuple((*cells, told(row)) for cells, (_, row) in zip(made, rows, strict=True))
    return Table(name, (*keys, *columns), made)


def _plain(annotation: Any) -> Any:
    """The annotation without None."""
    if get_origin(annotation) in (Union, types.UnionType):
        left = [one for one in get_args(annotation) if one is not type(None)]
        return left[0] if len(left) == 1 else str
    return annotation


def _columns(field: str, annotation: Any) -> list[Column]:
    plain = _plain(annotation)
    if plain is Uncertain:
        return [Column(field, "number"), Column(f"{field}_low", "number"), Column(f"{field}_high", "number")]
    if plain is Expected:
        return [Column(f"{field}_{part}", "number") for part in Expected.model_fields]
    if _is_pair(plain):
        return [Column(f"{field}_from", "number"), Column(f"{field}_to", "number")]
    return [Column("t_s" if field == "t" else field, KINDS.get(plain, "text"))]


def _is_pair(plain: Any) -> bool:
    return get_origin(plain) is tuple and get_args(plain) == (float, float)


def _cells(value: Any, annotation: Any) -> list[Cell]:
    plain = _plain(annotation)
    if plain is Uncertain:
        return [None] * 3 if value is None else [value.value, value.low, value.high]
    if plain is Expected:
        return [None if value is None else getattr(value, part) for part in Expected.model_fields]
    if _is_pair(plain):
        return [None, None] if value is None else [*value]
    if value is None or KINDS.get(plain, "text") != "text":
        return [value]
    return [_text(value)]


def _text(value: Any) -> str:
    if isinstance(value, datetime):
        return value.isoformat(timespec="milliseconds")
    if isinstance(value, tuple | list):
        return "; ".join(_text(one) for one in value)
    if isinstance(value, dict):
        return "; ".join(f"{name}={_text(one)}" for name, one in value.items())
    if isinstance(value, bool):
        return "true" if value else "false"
    return str(value)
