"""The tables of a debrief as files: CSV, JSON and Parquet, one file a table, each there whole or not at all."""

from __future__ import annotations

import csv
import io
import json
import os
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

from pitwall.debrief.model import Debrief
from pitwall.debrief.tables import Cell, Table, tables
from pitwall.errors import UserError

FORMULA_SIGNS = ("=", "+", "-", "@", "\t", "\r")
"""What a spreadsheet takes for the beginning of a formula: such text gets an apostrophe before it, in CSV only."""
PARQUET = "pip install -c .ci/constraints.txt -e '.[parquet]'"


def write_tables(debrief: Debrief, folder: Path, formats: Sequence[str]) -> tuple[Path, ...]:
    """Write every table in each of these formats (``csv``, ``json``, ``parquet``); older files are replaced.

    Raises:
        UserError: for a format that is not known or cannot be written here, and when the folder cannot be written.
    """
    check_formats(formats)
    written = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for table in tables(debrief):
            for name in formats:
                path = folder / f"{table.name}.{name}"
                part = path.with_name(f".{path.name}.{os.getpid()}.part")
                try:
                    part.write_bytes(WRITERS[name](table))
                    part.replace(path)
                finally:
                    part.unlink(missing_ok=True)
                written.append(path)
    except OSError as problem:
        why = problem.strerror or problem
        raise UserError(f"{folder}: cannot be written ({why}); give another folder") from problem
    return tuple(written)


def check_formats(formats: Sequence[str]) -> None:
    """What cannot be written is said before anything is: half of the files would be taken for all of them.

    Raises:
        UserError: for no format at all, one that is not known, or one whose package is not installed.
    """
    unknown = [name for name in formats if name not in WRITERS]
    if unknown or not formats:
        found = f"no format {unknown[0]!r} for tables" if unknown else "no format for the tables is named"
        raise UserError(f"{found}: {', '.join(WRITERS)} are known")
    if "parquet" in formats:
        _arrow()


def as_csv(table: Table) -> bytes:
    """RFC 4180 in UTF-8, a header line first; what is not known is empty, yes and no are ``true`` and ``false``."""
    made = io.StringIO(newline="")
    writer = csv.writer(made, lineterminator="\r\n")
    writer.writerow(column.name for column in table.columns)
    writer.writerows([_csv_cell(cell) for cell in row] for row in table.rows)
    return made.getvalue().encode()


def _csv_cell(cell: Cell) -> str:
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "true" if cell else "false"
    if isinstance(cell, str):
        return f"'{cell}" if cell.startswith(FORMULA_SIGNS) else cell
    return repr(cell)


def as_json(table: Table) -> bytes:
    """A list of objects, one a row, by name of the column."""
    return (json.dumps(list(table.records()), indent=1, ensure_ascii=False, allow_nan=False) + "\n").encode()


def as_parquet(table: Table) -> bytes:
    """Apache Parquet: numbers as doubles and 64-bit integers, text as UTF-8; the columns are typed without rows too."""
    arrow, parquet = _arrow()
    kinds = {"text": arrow.string(), "number": arrow.float64(), "whole": arrow.int64(), "yes_no": arrow.bool_()}
    schema = arrow.schema([(column.name, kinds[column.kind]) for column in table.columns])
    columns = [arrow.array([row[at] for row in table.rows], type=field.type) for at, field in enumerate(schema)]
    made = io.BytesIO()
    parquet.write_table(arrow.Table.from_arrays(columns, schema=schema), made)
    return made.getvalue()


WRITERS: Mapping[str, Callable[[Table], bytes]] = {"csv": as_csv, "json": as_json, "parquet": as_parquet}


def _arrow() -> tuple[Any, Any]:
    try:
        import pyarrow
        import pyarrow.parquet
    except ImportError as missing:
        raise UserError(f"Parquet files need the package pyarrow, which is not installed, and nothing was "
                        f"written: in pitwall's folder {PARQUET}, or leave parquet out of --formats") from missing
    return pyarrow, pyarrow.parquet
