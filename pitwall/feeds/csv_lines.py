"""Lines of a CSV file whose faults are told one by one: file, line, column, what was found and what to do about it."""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TypeVar, cast

from pitwall.model.base import SLUG_PATTERN

MOST_FINDINGS = 20

T = TypeVar("T")


class CsvLine:
    """One line of a CSV file: reads its cells, notes what is wrong with them and goes on."""

    def __init__(self, path: Path, number: int, cells: dict[str, str], findings: list[str]) -> None:
        self.path, self.line, self.cells, self.findings = path, number, cells, findings

    def wrong(self, column: str, expected: str) -> None:
        """Note a finding."""
        found = self.cells.get(column, "")
        self.findings.append(
            f"{self.path}, line {self.line}, column {column}: found {found!r}, expected {expected}: "
            "mend the cell or leave the line out"
        )

    def text(self, column: str) -> str:
        return self.cells.get(column, "").strip()

    def number_or_none(self, column: str, low: float = -1e9, high: float = 1e9) -> float | None:
        text = self.text(column)
        if not text:
            return None
        try:
            value = float(text)
        except ValueError:
            value = math.nan
        if not low <= value <= high:
            self.wrong(column, f"a number from {low:g} to {high:g}")
            return None
        return value

    def number(self, column: str) -> float:
        value = self.number_or_none(column)
        if value is None and not self.text(column):
            self.wrong(column, "a number")
        return value or 0.0

    def whole_or_none(self, column: str, high: int = 100_000) -> int | None:
        text = self.text(column)
        if not text:
            return None
        if not re.fullmatch(r"\d{1,9}", text) or int(text) > high:
            self.wrong(column, f"a whole number from 0 to {high}")
            return None
        return int(text)

    def whole(self, column: str) -> int:
        if not self.text(column):
            self.wrong(column, "a whole number")
        return self.whole_or_none(column) or 0

    def flag(self, column: str) -> bool:
        text = self.text(column)
        if text not in ("0", "1"):
            self.wrong(column, "0 or 1")
        return text == "1"

    def car(self, column: str) -> str:
        text = self.text(column).lower()
        if not re.match(SLUG_PATTERN, text):
            self.wrong(column, "a car number: letters, digits and hyphens, at most 32")
        return text


def read_rows(path: Path, columns: tuple[str, ...], findings: list[str], make: Callable[[CsvLine], T]) -> tuple[T, ...]:
    """What ``make`` makes of each line. What is wrong is added to ``findings``; too much of it ends the reading."""
    rows = []
    mine: list[str] = []
    for cell in lines_of(path, columns, mine):
        rows.append(make(cell))
        if len(mine) >= MOST_FINDINGS:
            mine.append(f"{path}: more of the kind may follow: mend these first")
            break
    findings.extend(mine)
    return tuple(rows)


def lines_of(path: Path, columns: tuple[str, ...], findings: list[str]) -> Iterator[CsvLine]:
    """Every line under the first one, which must name ``columns``; what cannot be read is added to ``findings``."""
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            reader = csv.DictReader(file, restkey="", restval="")
            missing = [column for column in columns if column not in (reader.fieldnames or ())]
            if missing:
                findings.append(f"{path}, line 1: column {', '.join(missing)} missing: name it in the first line")
                return
            for cells in reader:
                if "" in cells:
                    findings.append(
                        f"{path}, line {reader.line_num}: more cells than columns: put a cell with a comma into quotes"
                    )
                    continue
                yield CsvLine(path, reader.line_num, cast(dict[str, str], cells), findings)
    except FileNotFoundError:
        findings.append(f"{path}: no such file: a recording needs it, see pitwall/feeds/recording.py for the format")
    except UnicodeDecodeError as error:
        findings.append(f"{path}: not UTF-8 text (byte {error.start}): save it as UTF-8")
    except csv.Error as error:
        findings.append(f"{path}: not readable as CSV: {error}: look for a stray quotation mark")
    except OSError as error:
        findings.append(f"{path}: cannot be read: {error.strerror}: check the permissions")
