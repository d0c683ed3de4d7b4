"""From a recording, the plans that engineers could have written the night before, and all files to follow it with.

    python simulations/plan_from_session.py FOLDER --car 4 --car 16 --seed 1 --out DIR
    pitwall check DIR/event.yaml
    pitwall serve DIR/event.yaml          # and in a second terminal: pitwall replay FOLDER

What was really driven is read from ``laps.csv``, the answer key, which nothing that *follows* a session ever opens.
Then the plan is made wrong in the ways in which plans are (all draws from the seed and the car's number):

* cool-down laps are not in it: only how many timed laps each run wants;
* a fifth of the runs is longer or shorter than what was driven, by one or two laps (never under one timed lap);
* of each ten runs one does not match at all: it was planned and not driven, or driven and not planned (even odds);
* one stop was not planned: two runs stand in the plan as one (where a car has two runs with timed laps in a row);
* garage work is estimated around base rates of practice sessions, not by what it took: (300, 540, 960) s, each car's
  and run's by up to a fifth more or less, and (60, 120, 300) s where the car left again within three minutes.

Beside the plans: event, regulations, a plain car without switches, a library of one procedure, and the
timing-only circuit that the recording shows. Each plan's first lines say what was changed, and ``made_from.json`` says
from which driven runs each planned run was made: for whoever scores how a session was followed, and for nobody else.
"""

from __future__ import annotations

import argparse
import csv
import itertools
import json
import sys
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import yaml

from pitwall.errors import FileProblem
from pitwall.feeds.circuit_from_recording import circuit_from_recording
from pitwall.feeds.official_clock import OfficialClock
from pitwall.feeds.recording import Recording, read_recording
from pitwall.feeds.status import tell_status
from pitwall.model.plan import LapKind, write_laps

SESSION = "recorded-1"
GARAGE_S = (300.0, 540.0, 960.0)
SHORT_GARAGE_S = (60.0, 120.0, 300.0)
SHORT_STOP_S = 180.0
FUEL_RESERVE_KG = 4.0
OFF_SHARE, MISMATCH_SHARE = 0.2, 0.1
MADE_FROM = "made_from.json"


@dataclass(frozen=True)
class Driven:
    """A run as it was driven, or as the plan has it; ``made_from`` names the driven runs behind it."""

    timed: int
    out_in: bool
    compound: str
    short_stop_after: bool = False
    made_from: tuple[str, ...] = ()


def read_driven(folder: Path, car: str) -> list[Driven]:
    """The car's runs from the answer key.

    Raises:
        FileProblem: when there is no answer key, or the car is not in it.
    """
    path = folder / "laps.csv"
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            rows = list(csv.DictReader(file))
    except OSError as error:
        raise FileProblem([f"{path}: cannot be read: {error.strerror}: plans are made from this answer key"]) from error
    missing = [column for column in ("car", "run", "label", "compound") if rows and column not in rows[0]]
    if missing:
        raise FileProblem([f"{path}, line 1: column {', '.join(missing)} missing: name it in the first line"])
    mine = [row for row in rows if row["car"] == car]
    if not mine:
        known = ", ".join(sorted({row["car"] for row in rows}, key=lambda name: (len(name), name)))
        raise FileProblem([f"{path}: no lap of car {car}: choose one of {known}"])
    runs: dict[str, list[dict[str, str]]] = {}
    for row in mine:
        runs.setdefault(row["run"], []).append(row)
    return [_driven(name, laps) for name, laps in runs.items()]


def _driven(name: str, laps: list[dict[str, str]]) -> Driven:
    labels = [row["label"] for row in laps]
    compounds = [row["compound"] for row in laps if row["compound"] not in ("", "unknown")]
    timed = labels.count("timed")
    return Driven(
        timed=max(timed, 1),
        # An aborted run was planned as a run; only a lone lap out and in was meant as one.
        out_in=timed == 0 and set(labels) <= {"outin"},
        compound=compounds[-1] if compounds else "unknown",
        made_from=(name,),
    )


def mark_short_stops(runs: list[Driven], recording: Recording, car: str) -> list[Driven]:
    """Note after which runs the car left again within ``SHORT_STOP_S``."""
    pits = sorted((row.t, row.kind) for row in recording.timing if row.car == car and row.kind in ("pit_in", "pit_out"))
    stops = [
        later - earlier
        for (earlier, kind), (later, next_kind) in itertools.pairwise(pits)
        if (kind, next_kind) == ("pit_in", "pit_out")
    ]
    if len(stops) != len(runs) - 1:
        return runs  # a pit message is missing: nothing is known for sure
    return [replace(run, short_stop_after=stop <= SHORT_STOP_S) for run, stop in zip(runs, [*stops, 1e9], strict=True)]


def night_before(runs: list[Driven], rng: np.random.Generator) -> tuple[list[Driven], list[str]]:
    """Make the plan wrong in the ways stated above; returns it with what was changed, in words."""
    planned, notes = list(runs), []
    pairs = [i for i in range(len(planned) - 1) if not planned[i].out_in and not planned[i + 1].out_in]
    if pairs:
        at = int(rng.choice(pairs))
        first, second = planned[at], planned[at + 1]
        planned[at : at + 2] = [
            replace(second, timed=first.timed + second.timed, compound=first.compound,
                    made_from=first.made_from + second.made_from)
        ]
        notes.append(f"the stop after driven run {at + 1} was not planned")
    long = [i for i, run in enumerate(planned) if not run.out_in]
    for at in sorted(rng.choice(long, size=round(OFF_SHARE * len(planned)), replace=False).tolist() if long else []):
        by = int(rng.choice([-2, -1, 1, 2]))
        wanted = max(1, planned[at].timed + by)
        notes.append(f"planned run {at + 1} wants {wanted} timed laps where {planned[at].timed} were driven")
        planned[at] = replace(planned[at], timed=wanted)
    kept: list[Driven] = []
    for number, run in enumerate(planned, start=1):
        if rng.random() >= MISMATCH_SHARE:
            kept.append(run)
        elif rng.random() < 0.5 and len(planned) > 1:
            notes.append(f"run {number} of the plan so far was driven and is left out")
        else:
            kept += [run, Driven(timed=int(rng.integers(1, 6)), out_in=False, compound=run.compound)]
            notes.append(f"after run {number} of the plan so far stands one that was not driven")
    return kept or planned[:1], notes


def plan_file(car: str, runs: list[Driven], rng: np.random.Generator) -> dict[str, Any]:
    """The plan in the shape of the plan format."""
    longest = max(range(len(runs)), key=lambda i: (runs[i].timed, -i))
    entries, sets = [], {}
    for index, run in enumerate(runs):
        label = f"S{index + 1}"
        sets[label] = {"compound": run.compound}
        low, likely, high = SHORT_GARAGE_S if run.short_stop_after else GARAGE_S
        scale = float(rng.uniform(0.8, 1.2))
        timed: list[LapKind] = [] if run.out_in else ["timed" for _ in range(run.timed)]
        kinds: tuple[LapKind, ...] = ("out", *timed, "in")
        want = "must" if index in (0, longest) else "could" if index == len(runs) - 1 else "should"
        entry: dict[str, Any] = {
            "run": f"run-{index + 1}", "purpose": "systems check" if run.out_in else f"{run.timed} timed laps",
            "want": want, "laps": write_laps(kinds), "tyres": label,
            "fuel_kg": round(FUEL_RESERVE_KG + CAR["fuel_per_lap_kg"] * len(kinds), 1),
            "after_garage_s": [round(value * scale) for value in (low, likely, high)],
        }
        if index == 0:
            entry["items"] = [{"do": "radio_check", "on": "out"}]
        if run.timed > 3 and not run.out_in:
            entry["shorten_to"] = run.timed - 1
        entries.append(entry)
    return {
        "plan": 1, "car": int(car) if car.isdigit() else car, "driver": f"driver_{car.replace('-', '_')}",
        "session": SESSION, "starts_with": {"tyres": "S1"}, "tyre_sets": sets, "runs": entries,
    }


RADIO_CHECK: dict[str, Any] = {
    "procedure": 1, "name": "radio_check", "purpose": "the radio works both ways", "laps": ["out"], "place": "none",
    "steps": [{"say": "Radio check, radio check.", "short": "Radio check", "where": "pit_exit", "offset_s": 8}],
    "done_when": ["driver"], "data_window": "none",
}
CAR: dict[str, Any] = {
    "car": 1, "name": "plain car", "mass_kg": 780, "power_w": 580000, "drag_area_m2": 1.3, "downforce_area_m2": 3.6,
    "grip": 1.6, "brake_mps2": 35, "traction_mps2": 13, "fuel_per_lap_kg": 1.75,
}


def regulations(recording: Recording) -> dict[str, Any]:
    """Session length and what the clock did under red, as the recording shows them."""
    parts = OfficialClock(tell_status(recording.status).changes, recording.meta).parts
    ends = [part.end for part in parts if np.isfinite(part.end)]
    several = len(parts) > 1
    return {
        "regulations": 1,
        "sessions": [{"session": SESSION, "duration_s": round(max([recording.meta.scheduled_s, *ends * several]), 1)}],
        "red_clock": "stops" if several else "runs",
        "finish_started_lap": True,
    }


def write_event(folder: Path, cars: list[str], seed: int, out: Path) -> Path:
    """Write every file; returns the event file.

    Raises:
        FileProblem: when the recording cannot be read or a car is not in it.
    """
    recording = read_recording(folder)
    circuit = circuit_from_recording(recording)
    plans, made_from = {}, {}
    for car in cars:
        rng = np.random.default_rng([seed, int.from_bytes(car.encode(), "big")])
        runs, notes = night_before(mark_short_stops(read_driven(folder, car), recording, car), rng)
        plans[car] = (plan_file(car, runs, rng), notes)
        made_from[car] = {f"run-{number}": list(run.made_from) for number, run in enumerate(runs, start=1)}
    (out / "plans").mkdir(parents=True, exist_ok=True)
    (out / "procedures").mkdir(exist_ok=True)
    for car, (plan, notes) in plans.items():
        _write(out / "plans" / f"plan_{car}.yaml", plan, [f"The night before, car {car}, seed {seed}.", *notes])
    _write(out / "procedures" / "radio_check.yaml", RADIO_CHECK)
    _write(out / "car.yaml", CAR, ["A plain car: on a timing-only circuit its figures are not used."])
    _write(out / "regulations.yaml", regulations(recording))
    _write(out / "circuit.yaml", circuit.model_dump(mode="json", exclude_none=True, exclude_defaults=True),
           ["Read off the recording; last_chance_share and the marshal sectors are guesses: put in the real ones."])
    (out / MADE_FROM).write_text(json.dumps(made_from, indent=1) + "\n", encoding="utf-8")
    event = out / "event.yaml"
    _write(event, {
        "event": 1, "name": "A recorded session", "team": "Gannet", "session": SESSION,
        "drivers": {plan["driver"]: {"spoken": "driver"} for plan, _ in plans.values()},
        "cars": {car: {"car": "car.yaml", "plan": f"plans/plan_{car}.yaml", "driver": plan["driver"]}
                 for car, (plan, _) in plans.items()},
        "field_cars": [car for car in recording.cars if car not in plans],
    })
    return event


def _write(path: Path, content: dict[str, Any], comments: list[str] | None = None) -> None:
    head = "".join(f"# {line}\n" for line in comments or [])
    path.write_text(head + yaml.safe_dump(content, sort_keys=False, allow_unicode=True, width=110), encoding="utf-8")


def main() -> int:
    """Read the arguments and write; 0, or 1 when the recording has problems."""
    parser = argparse.ArgumentParser(description=str(__doc__).splitlines()[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--car", action="append", required=True, dest="cars")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--out", type=Path, required=True)
    options = parser.parse_args()
    try:
        print(write_event(options.folder, list(dict.fromkeys(options.cars)), options.seed, options.out))
    except FileProblem as problem:
        print(problem, file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
