"""The tables of a debrief, cell by cell beside our own numbers: CSV, JSON and Parquet."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator
from datetime import datetime
from typing import Any

import pyarrow.parquet

from pitwall.app.debrief_tables import WRITERS
from pitwall.debrief.model import Debrief
from pitwall.debrief.tables import tables
from tests.recount.own import Account, Own, leaves, numbers, seconds
from tests.recount.sessions import Row

INTERVALS, SPANS = ("_low", "_high"), ("_from", "_to")


def own_rows(own: Row, table: str) -> list[Row]:
    """Our own rows of a table, each with the car and what it belongs to."""
    if table in ("alerts", "alert_rates", "statuses"):
        found: list[Row] = {"alerts": own["alert_rows"], "alert_rates": own["alerts"]["rates"],
                            "statuses": own["session"]["statuses"]}[table]
        return found
    parts = {"radio_load": lambda car: car["radio"]["load"],
             "stints": lambda car: [row | {"run": run["run"]} for run in car["runs"] for row in run["stints"]],
             "sectors": lambda car: [row | {"lap_number": lap["number"]} for lap in car["laps"]
                                     for row in lap["sectors"]],
             "remarks": lambda car: [row | {"comment": one["comment"]} for one in car["comments"]
                                     for row in one["remarks"]],
             "data_window_switches": lambda car: [row | {"item": one["item"]} for one in car["data_windows"]
                                                  for row in one["switches"]]}
    return [row | {"car": car["car"]} for car in own["cars"]
            for row in (parts[table](car) if table in parts else car[table])]


def own_cell(row: Row, column: str) -> Any:
    """What we reckon of a cell: the name of its column says of what it is."""
    if column == "t_s":
        return row.get("t")
    if column in row:
        value = row[column]
        return value["value"] if isinstance(value, dict) and {"value", "low"} <= value.keys() else value
    for ending in (*INTERVALS, *SPANS):
        field = column.removesuffix(ending)
        if column.endswith(ending) and isinstance(row.get(field), dict):
            return row[field][ending[1:]]
        if column.endswith(ending) and isinstance(row.get(field), list):
            return row[field][SPANS.index(ending)]
    if column.startswith("expected_"):
        return (row.get("expected") or {}).get(column.removeprefix("expected_"))
    return None


def read(kind: str, body: bytes) -> Iterator[Row]:
    """The rows of a file of this kind, by the names of its columns."""
    if kind == "csv":
        yield from csv.DictReader(io.StringIO(body.decode(), newline=""))
    elif kind == "json":
        yield from json.loads(body)
    else:
        yield from pyarrow.parquet.read_table(io.BytesIO(body)).to_pylist()


def account_for(account: Account, debrief: Debrief, own: Row, kind: str) -> None:
    """Every number of every cell of the files of one kind."""
    for table in tables(debrief):
        rows = own_rows(own, table.name)
        found = list(read(kind, WRITERS[kind](table)))
        if len(rows) != len(found):
            account.lacking.append(f"{table.name}.{kind}: {len(found)} rows, {len(rows)} of our own")
            continue
        for at, (row, ours) in enumerate(zip(found, rows, strict=True)):
            for column, cell in row.items():
                _cell(account, cell, own_cell(ours, column), f"{table.name}.{kind}[{at}].{column}")


def _cell(account: Account, cell: Any, own: Any, path: str) -> None:
    if isinstance(own, list | dict):
        _list(account, str(cell), own, path)
    elif isinstance(cell, str) and numbers(cell) and not isinstance(_plain(own), str | datetime | list):
        text = cell.removeprefix("'")
        account.compare(float(text) if _is_number(text) else text, own, path)
    else:
        account.compare(cell.removeprefix("'") if isinstance(cell, str) else cell, own, path)


def _list(account: Account, cell: str, own: Any, path: str) -> None:
    """A list in one cell: the same numbers, in whatever order."""
    ours = [one for one in leaves(own) if one is not None]
    wanted = sorted(seconds(one) for value in ours for one in numbers(str(_plain(value))))
    shown = sorted(seconds(one) for one in numbers(cell))
    if shown != wanted:
        account.lacking.append(f"{path}: {cell!r}, ours {wanted}")
    elif shown:
        kind = next((one.kind for one in ours if isinstance(one, Own)), "facts")
        account.kinds[kind] += len(shown)


def _plain(own: Any) -> Any:
    return own.value if isinstance(own, Own) else own


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True
