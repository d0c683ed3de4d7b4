"""What really happened in a recorded session, for scoring: opened when following is over, never before.

Laps come from the answer key ``laps.csv`` (columns ``car``, ``lap_no``, ``run``, ``label``, ``t_end_s``). What it does
not say (when a lap began, when a loop was passed, pit entry and exit, the worst status) is read off ``events.csv`` and
``status.csv``. Which driven run a planned run was made from stands in the side file of ``plan_from_session.py``.
"""

from __future__ import annotations

import csv
import json
from dataclasses import dataclass, field
from pathlib import Path

from pitwall.feeds.recording import Recording, TimingRow, read_recording
from pitwall.feeds.status import tell_status
from pitwall.model.setup import SessionSetup
from simulations.plan_from_session import MADE_FROM

COMPLETE = ("timed", "cool")
AFTER_ENTRY_S = 120.0
WORST = ("green", "yellow", "slow", "red")


@dataclass(frozen=True)
class TrueLap:
    """One lap in session seconds. ``stint`` is the driven run; ``passed`` has the loops of the lap, the line last."""

    car: str
    number: int
    stint: str
    label: str
    begin_s: float | None
    end_s: float | None
    out_s: float | None = None
    in_s: float | None = None
    status: str = ""
    ratio: float | None = None
    passed: dict[str, float] = field(default_factory=dict)

    @property
    def start_s(self) -> float | None:
        """When the car was on its way: at the pit exit, else at the line."""
        return self.out_s if self.out_s is not None else self.begin_s

    @property
    def off_s(self) -> float | None:
        """When the lap was over on the track: at the pit entry, else at the line."""
        return self.in_s if self.in_s is not None else self.end_s

    def holds(self, t: float) -> bool:
        """True when the car was on this lap at ``t``."""
        return self.start_s is not None and self.off_s is not None and self.start_s - 0.5 <= t < self.off_s

    def at_share(self, share: float) -> float | None:
        """When the car was at this share of a whole lap: between the line or exit before and the end; None unknown."""
        if self.start_s is None or self.off_s is None:
            return None
        return self.start_s + share * (self.off_s - self.start_s)


@dataclass(frozen=True)
class Stint:
    """One driven run of a car: from a leaving to the coming in."""

    car: str
    name: str
    laps: tuple[TrueLap, ...]
    made_into: str | None

    @property
    def timed(self) -> int:
        """Timed laps that were driven."""
        return sum(lap.label == "timed" for lap in self.laps)


@dataclass(frozen=True)
class Truth:
    """One session as it was. ``changes`` are ``(second, status, whole track)``; cars with a plan have stints."""

    session: str
    laps: dict[str, list[TrueLap]]
    stints: dict[str, list[Stint]]
    changes: tuple[tuple[float, str, bool], ...]
    wanted: dict[tuple[str, str], int]
    shares: dict[tuple[str, str], int]
    lap_s: float
    last_chance: float
    pit_entry: float

    def lap_at(self, car: str, t: float) -> TrueLap | None:
        """The lap that the car was on, None in the pits or where nobody knows."""
        return next((lap for lap in self.laps.get(car, ()) if lap.holds(t)), None)

    def lap_after(self, lap: TrueLap) -> TrueLap | None:
        """The car's next lap of the same run."""
        mine = self.laps[lap.car]
        later = mine[mine.index(lap) + 1 :]
        return later[0] if later and later[0].stint == lap.stint else None

    def leaving_after(self, car: str, t: float) -> TrueLap | None:
        """The next lap of the car that began at the pit exit."""
        return next((lap for lap in self.laps.get(car, ()) if lap.out_s is not None and lap.out_s > t), None)

    def as_planned(self, stint: Stint) -> bool:
        """True when a planned run was made from this stint alone, and wants as many timed laps as were driven."""
        key = (stint.car, stint.made_into or "")
        return self.shares.get(key) == 1 and self.wanted.get(key) == stint.timed


def read_truth(folder: Path, setup: SessionSetup, event: Path) -> Truth:
    """Read the answer key, the recording and the side file that lies beside the event file."""
    recording = read_recording(folder)
    changes = tuple((change.t, change.status, change.scope == "all")
                    for change in tell_status(recording.status).changes if change.status is not None)
    laps = _laps(folder, recording, tuple((t, status) for t, status, whole in changes if whole))
    made_from = json.loads((event.parent / MADE_FROM).read_text(encoding="utf-8"))
    stints: dict[str, list[Stint]] = {}
    for car in setup.plans:
        into = {name: run for run, names in made_from.get(car, {}).items() for name in names}
        names = list(dict.fromkeys(lap.stint for lap in laps.get(car, ())))
        stints[car] = [
            Stint(car, name, tuple(lap for lap in laps[car] if lap.stint == name), into.get(name)) for name in names
        ]
    pit = setup.circuit.pit
    entry = pit.entry_share or 0.95
    return Truth(
        session=folder.name, laps=laps, stints=stints, changes=changes,
        wanted={(car, run.run): 0 if run.laps == ("out", "in") else run.laps.count("timed")
                for car, plan in setup.plans.items() for run in plan.runs},
        shares={(car, run): len(names) for car, runs in made_from.items() for run, names in runs.items()},
        lap_s=setup.circuit.lap_s or 90.0, last_chance=pit.last_chance_share or entry, pit_entry=entry,
    )


def _laps(folder: Path, recording: Recording, changes: tuple[tuple[float, str], ...]) -> dict[str, list[TrueLap]]:
    zero = recording.meta.start_t_s
    timing: dict[str, list[TimingRow]] = {}
    for row in sorted(recording.timing, key=lambda row: row.t):
        timing.setdefault(row.car, []).append(row)
    found: dict[str, list[TrueLap]] = {}
    with (folder / "laps.csv").open(encoding="utf-8-sig", newline="") as file:
        for cells in csv.DictReader(file):
            mine = found.setdefault(cells["car"], [])
            mine.append(_lap(cells, zero, mine[-1] if mine else None, timing.get(cells["car"], []),
                             recording.finish_loop, changes))
    return found


def _lap(
    cells: dict[str, str], zero: float, before: TrueLap | None, timing: list[TimingRow], finish: int,
    changes: tuple[tuple[float, str], ...],
) -> TrueLap:
    def second(column: str) -> float | None:
        return round(float(cells[column]) - zero, 3) if cells.get(column) else None

    same_run = before is not None and before.stint == cells["run"]
    begin, end, out_s, in_s = (second(name) for name in ("t_start_s", "t_end_s", "pit_out_s", "pit_in_s"))
    if begin is None and same_run and before is not None:
        begin = before.end_s
    start = out_s if out_s is not None else begin
    if in_s is None and cells["label"] in ("in", "outin") and start is not None:
        latest = (end if end is not None else start + 600.0) + AFTER_ENTRY_S
        in_s = next((row.t for row in timing if row.kind == "pit_in" and start < row.t <= latest), None)
    over = in_s if in_s is not None else end
    passed = {}
    if start is not None and over is not None:
        for row in timing:
            if row.kind == "loop" and start + 1.0 < row.t <= over + 0.01 and row.loop is not None:
                passed.setdefault("line" if row.loop == finish else str(row.loop), row.t)
    status = cells.get("worst_status") or _worst(changes, start, over)
    return TrueLap(
        cells["car"], int(cells["lap_no"]), cells["run"], cells["label"], begin, end, out_s, in_s, status,
        float(cells["ratio"]) if cells.get("ratio") else None, passed,
    )


def _worst(changes: tuple[tuple[float, str], ...], start: float | None, over: float | None) -> str:
    if start is None or over is None:
        return ""
    held = [status for t, status in changes if t <= start][-1:] + [s for t, s in changes if start < t < over]
    return max((status for status in held if status in WORST), key=WORST.index, default="green")
