"""The truth that forecasts are judged by: laps of the answer key, and each forecast beside what it was."""

from __future__ import annotations

import csv
import json
from bisect import bisect_left
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from simulations.score_pace_rows import Row

SAME_S = 0.6
COMPLETE = ("timed", "cool")


@dataclass(frozen=True)
class TrueLap:
    """One lap of the answer key, in seconds of the session. ``passed`` has the loops, ``run`` the driven run."""

    car: str
    number: int
    run: str
    label: str
    start_s: float | None
    end_s: float | None
    out_s: float | None
    in_s: float | None
    seconds: float | None
    passed: dict[str, float]


@dataclass(frozen=True)
class Case:
    """One forecast of a row of the table, and the truth. Kinds: the one that was most likely and the true one."""

    key: str
    row: Row
    truth: float
    label: str


@dataclass
class Truth:
    """The answer key of one recording."""

    laps: dict[str, list[TrueLap]] = field(default_factory=dict)

    def find(self, car: str, place: str, seen_s: float) -> TrueLap | None:
        """The lap on which the car was at this place then. ``end``: the lap that ended there."""
        found = [lap for lap in self.laps.get(car, ()) if _near(_at(lap, place), seen_s)]
        return found[0] if found else None

    def timed_after(self, lap: TrueLap) -> list[float]:
        """Times of the later timed laps of the same run."""
        mine = self.laps[lap.car]
        return [one.seconds for one in mine[mine.index(lap) + 1 :]
                if one.run == lap.run and one.label == "timed" and one.seconds is not None]

    def first_of_next_run(self, lap: TrueLap) -> float | None:
        """Time of the first timed lap of the run after the one that this lap ended."""
        later = [one for one in self.laps[lap.car] if int(one.run) == int(lap.run) + 1 and one.label == "timed"]
        return later[0].seconds if later else None


def _near(t: float | None, seen_s: float) -> bool:
    return t is not None and abs(t - seen_s) < SAME_S


def _at(lap: TrueLap, place: str) -> float | None:
    known = {"line": lap.start_s, "exit": lap.out_s, "end": lap.end_s, "entry": lap.in_s}
    return known[place] if place in known else lap.passed.get(place)


def read_truth(folder: Path) -> Truth:
    """Read ``laps.csv``, ``meta.json`` and, for pit entries that it leaves out, ``events.csv``."""
    zero = float(json.loads((folder / "meta.json").read_text(encoding="utf-8"))["start_t_s"])
    entries: dict[str, list[float]] = {}
    with (folder / "events.csv").open(encoding="utf-8-sig", newline="") as file:
        for cells in csv.DictReader(file):
            if cells["kind"] == "pit_in":
                entries.setdefault(_car(cells), []).append(float(cells["t_s"]) - zero)
    truth = Truth()
    with (folder / "laps.csv").open(encoding="utf-8-sig", newline="") as file:
        for cells in csv.DictReader(file):
            car = _car(cells)
            truth.laps.setdefault(car, []).append(_lap(car, cells, zero, sorted(entries.get(car, []))))
    return truth


def _car(cells: dict[str, str]) -> str:
    """A car as forecasts name it: names on the wire are in lower case (``feeds/recording.py``)."""
    return cells["car"].strip().lower()


def _lap(car: str, cells: dict[str, str], zero: float, entries: list[float]) -> TrueLap:
    def second(column: str) -> float | None:
        return float(cells[column]) - zero if cells.get(column) else None

    start, end, out_s, in_s = (second(name) for name in ("t_start_s", "t_end_s", "pit_out_s", "pit_in_s"))
    begin = out_s if out_s is not None else start
    if in_s is None and cells["label"] in ("in", "outin") and begin is not None:
        at = bisect_left(entries, begin)
        in_s = entries[at] if at < len(entries) else None
    passed = {name: t for name, column in (("1", "t_s1_s"), ("2", "t_s2_s")) if (t := second(column)) is not None}
    seconds = float(cells["lap_time_s"]) if cells.get("lap_time_s") else None
    number, run, label = int(cells["lap_no"]), cells["run"], cells["label"]
    return TrueLap(car, number, run, label, start, end, out_s, in_s, seconds, passed)


ARRIVALS = {("1", True): "s1_line", ("2", True): "s2_line", ("exit", False): "out_lap", ("1", False): "out_lap_s1",
            ("2", False): "out_lap_s2"}  # fmt: skip
KINDS = {"1": "kind_s1", "2": "kind_s2"}
AHEAD = {"next_lap": 1, "fifth": 5, "sum5": 5}


def cases(truth: Truth, rows: list[Row]) -> Iterator[Case]:
    """Every forecast that belongs into the table, beside the truth. Of doubles the last counts."""
    last: dict[tuple[str, str, str, float], Row] = {(row.car, row.target, row.at, row.seen_s): row for row in rows}
    for row in last.values():
        if row.target in ("line", "timed_line"):
            yield from _arrival_cases(truth, row)
        elif row.target == "first_of_run":
            lap = truth.find(row.car, "entry", row.seen_s)
            first = truth.first_of_next_run(lap) if lap is not None else None
            if first is not None:
                yield Case("first_of_run", row, first, "timed")
        else:
            lap = truth.find(row.car, "end", row.seen_s)
            later = truth.timed_after(lap) if lap is not None and lap.label == "timed" else []
            ahead = AHEAD[row.target]
            if len(later) >= ahead:
                yield Case(row.target, row, sum(later[:5]) if row.target == "sum5" else later[ahead - 1], "timed")


def _arrival_cases(truth: Truth, row: Row) -> Iterator[Case]:
    lap = truth.find(row.car, row.at, row.seen_s)
    if lap is None:
        return
    complete = lap.label in COMPLETE
    if row.target == "timed_line":
        if lap.label == "timed" and lap.end_s is not None:
            yield Case("line_line", row, lap.end_s, lap.label)
        return
    key = ARRIVALS.get((row.at, complete)) if complete or lap.label == "out" else None
    if key is not None and lap.end_s is not None:
        yield Case(key, row, lap.end_s, lap.label)
    if row.at in KINDS and row.p_timed is not None and lap.label in ("timed", "cool", "in"):
        yield Case(KINDS[row.at], row, 0.0, lap.label)
