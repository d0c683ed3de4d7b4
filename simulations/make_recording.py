"""Make a small invented recording in the format of pitwall/feeds/recording.py, for tests and for trying things out.

    python simulations/make_recording.py OUT_FOLDER [--seed 5] [--cars 4]

A practice of 25 minutes with a yellow sector, a slow period, a red flag and the chequered flag; cars that do an
out-and-in lap, timed and cool-down laps. What real feeds do is in it: messages that come late and out of order, a line
that stands twice, a loop that missed a car, an out-lap without its first sector time, a compound that is known late, a
finish line beside the pit lane, a status word that nobody knows. ``laps.csv`` is the answer key, made with hindsight.
"""

from __future__ import annotations

import argparse
import csv
import json
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

START_T_S = 120.5
SCHEDULED_S = 1500.0
LAP_S = 80.0
SHARES = (0.31, 0.69, 1.0)
PIT_ENTRY, PIT_EXIT = 0.96, 0.05
RED = (700.0, 900.0)
Row = dict[str, object]
EVENT_COLUMNS = [
    "t_s", "car", "kind", "loop", "lap_no", "lap_time_s", "sector_time_s", "compound", "tyre_age", "t_msg_s",
]

STATUS: tuple[tuple[float, str, str, str], ...] = (
    (-110.0, "green", "track", ""),
    (-100.0, "inactive", "session", ""),
    (0.0, "started", "session", ""),
    (0.1, "green", "control", "track"),
    (300.0, "yellow", "track", ""),
    (300.04, "yellow", "control", "sector 3"),
    (331.0, "clear", "control", "sector 3"),
    (331.1, "green", "track", ""),
    (480.0, "vsc_deployed", "control", "track"),
    (480.01, "vsc", "track", ""),
    (540.0, "vsc_ending", "control", "track"),
    (552.0, "green", "track", ""),
    (RED[0], "aborted", "session", ""),
    (RED[0] + 0.06, "red", "control", "track"),
    (RED[0] + 40.0, "fog_on_the_hill", "control", "track"),
    (RED[1], "started", "session", ""),
    (RED[1] + 0.1, "green", "control", "track"),
    (SCHEDULED_S, "finished", "session", ""),
    (SCHEDULED_S + 0.2, "chequered", "control", "track"),
    (SCHEDULED_S + 260.0, "finalised", "session", ""),
    (SCHEDULED_S + 300.0, "ends", "session", ""),
)


@dataclass
class Car:
    """One car as it drives: its pace, and the rows that it leaves behind."""

    number: int
    pace_s: float
    rng: np.random.Generator
    compound: str = "medium"
    lap: int = 1
    run: int = 0
    lap_start: float | None = None
    events: list[Row] = field(default_factory=list)
    laps: list[Row] = field(default_factory=list)
    passages: list[Row] = field(default_factory=list)

    def drive_lap(self, t: float, kind: str) -> float:
        """Drive one lap from ``t`` (pit exit for out- and out-in laps, else the line); returns when it ended."""
        ratio = {"out": 1.2, "outin": 1.3, "timed": 1.0, "cool": 1.45, "in": 1.15}[kind]
        lap_s = self.pace_s * ratio + float(self.rng.normal(0, 0.25))
        since = PIT_EXIT if kind in ("out", "outin") else 0.0
        marks: list[float] = []
        previous: float | None = t if since == 0.0 else None
        for loop, share in enumerate(SHARES, start=1):
            at = t + (share - since) * lap_s
            if kind in ("in", "outin") and loop == 3:
                pit_in = t + (PIT_ENTRY - since) * lap_s
                at = pit_in + 6.0
                self._row(pit_in, "pit_in", lap_no=self.lap)
            self._loop(at, loop, None if previous is None else at - previous, kind)
            marks.append(at)
            previous = at
        self._end_of_lap(marks, kind, t)
        return pit_in if kind in ("in", "outin") else marks[-1]

    def leave(self, t: float) -> None:
        """Drive out of the pits."""
        self.run += 1
        self._row(t, "pit_out", lap_no=self.lap)

    def _loop(self, at: float, loop: int, sector_s: float | None, kind: str) -> None:
        known = self.compound if self.lap > 1 or loop == 3 else "unknown"
        cells: Row = {"loop": loop, "lap_no": self.lap, "compound": known, "tyre_age": 0 if kind == "out" else self.lap}
        if not (kind in ("out", "outin") and loop == 1) and sector_s is not None:
            cells["sector_time_s"] = round(sector_s, 3)
        self._row(at, "loop", **cells)
        for segment in (1, 2, 3):
            self.passages.append(
                {"t_msg_s": round(at - 6.0 * (3 - segment), 3), "car": self.number, "lap_no": self.lap, "sector": loop,
                 "segment": segment, "pit": int(kind in ("in", "outin") and loop == 3 and segment == 3)}
            )

    def _end_of_lap(self, marks: list[float], kind: str, left: float) -> None:
        end = marks[-1]
        lap_time = None if self.lap_start is None else round(end - self.lap_start, 3)
        self._row(end, "lap", loop=3, lap_no=self.lap, compound=self.compound,
                  **({} if lap_time is None else {"lap_time_s": lap_time}))
        self.laps.append(
            {"car": self.number, "lap_no": self.lap, "run": self.run, "label": kind, "t_end_s": round(end, 3),
             "lap_time_s": "" if lap_time is None else lap_time, "compound": self.compound,
             "pit_out_s": round(left, 3) if kind in ("out", "outin") else ""}
        )
        self.lap_start = end
        self.lap += 1

    def _row(self, t: float, kind: str, **cells: object) -> None:
        late = float(self.rng.exponential(0.08)) if kind in ("loop", "lap") else 0.0
        if self.rng.random() < 0.02:
            late += 4.0
        said = round(t + late, 3)
        self.events.append({"t_s": round(t, 3), "car": self.number, "kind": kind, "t_msg_s": said, **cells})


def drive_session(car: Car) -> None:
    """Runs until the flag: an out-and-in lap, then runs of a few timed laps, a cool-down lap here and there."""
    t = START_T_S + 20.0 + 15.0 * float(car.rng.random())
    end, red_from, red_to = START_T_S + SCHEDULED_S, START_T_S + RED[0], START_T_S + RED[1]
    first = True
    while t < end - 20:
        if red_from - 5 <= t < red_to:
            t = red_to + 10.0 * float(car.rng.random())
        car.leave(t)
        if first:
            first, t = False, car.drive_lap(t, "outin")
        else:
            t = drive_run(car, t, int(car.rng.integers(1, 5)), end, (red_from, red_to))
        t += float(car.rng.uniform(150, 260))
        car.compound = "soft" if car.compound == "medium" else "medium"


def drive_run(car: Car, t: float, timed: int, end: float, red: tuple[float, float]) -> float:
    """One run; everyone comes in at the end of the lap on which the red flag or the chequered flag fell."""
    t = car.drive_lap(t, "out")
    for number in range(timed):
        if t >= end or red[0] <= t < red[1]:
            break
        t = car.drive_lap(t, "timed")
        if number == 1 and t < end - 200 and not red[0] <= t < red[1]:
            t = car.drive_lap(t, "cool")
    return car.drive_lap(t, "in")


def spoil(events: list[Row]) -> list[Row]:
    """One line twice, one crossing missing: what real feeds do."""
    loops = [index for index, row in enumerate(events) if row["kind"] == "loop" and row["loop"] == 2]
    kept = [row for index, row in enumerate(events) if index != loops[len(loops) // 2]]
    return [*kept[:20], kept[19], *kept[20:]]


def write(path: Path, columns: list[str], rows: list[Row]) -> None:
    """One CSV file."""
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, columns, restval="", lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


def make(folder: Path, seed: int = 5, cars: int = 4) -> None:
    """Write the whole recording."""
    folder.mkdir(parents=True, exist_ok=True)
    field_ = [
        Car(number=3 + 4 * index, pace_s=LAP_S + 0.4 * index, rng=np.random.default_rng([seed, index]))
        for index in range(cars)
    ]
    for car in field_:
        drive_session(car)
    events = spoil(sorted((row for car in field_ for row in car.events), key=lambda row: float(str(row["t_s"]))))
    passages = sorted((row for car in field_ for row in car.passages), key=lambda row: float(str(row["t_msg_s"])))
    write(folder / "events.csv", EVENT_COLUMNS, events)
    write(folder / "passages.csv", ["t_msg_s", "car", "lap_no", "sector", "segment", "pit"], passages)
    write(folder / "laps.csv", ["car", "lap_no", "run", "label", "t_end_s", "lap_time_s", "compound", "pit_out_s"],
          [row for car in field_ for row in car.laps])
    write(folder / "status.csv", ["t_s", "status", "source", "scope"],
          [{"t_s": f"{START_T_S + t:.3f}", "status": word, "source": source, "scope": scope}
           for t, word, source, scope in STATUS])
    write(folder / "weather.csv", ["t_s", "air_c", "track_c", "rain"],
          [{"t_s": f"{t:.1f}", "air_c": f"{19 + t / 1000:.1f}", "track_c": f"{27 + t / 600:.1f}", "rain": 0}
           for t in np.arange(5.0, START_T_S + SCHEDULED_S, 120.0)])
    meta = {"scheduled_s": SCHEDULED_S, "start_t_s": START_T_S, "kind": "practice", "condition": "dry", "cars": cars}
    (folder / "meta.json").write_text(json.dumps(meta, indent=1) + "\n", encoding="utf-8")


def main() -> None:
    """Read the arguments and write."""
    parser = argparse.ArgumentParser(description=str(__doc__).splitlines()[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--seed", type=int, default=5)
    parser.add_argument("--cars", type=int, default=4)
    options = parser.parse_args()
    make(options.folder, options.seed, options.cars)


if __name__ == "__main__":
    main()
