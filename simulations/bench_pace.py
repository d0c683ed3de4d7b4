"""What one crossing costs the pace model: 20 cars that drive for two hours.

    python simulations/bench_pace.py [--cars 20] [--laps 60] [--stretches 20] [--json]

Each car's track takes its crossings as the engine does, and is asked for its outlook after each: a loop, the line
(which ends a lap: the field learns from it), and an arrival at a place between the loops. With ``--stretches`` the
circuit has so many more loops, evenly along the lap: ``stretch`` is a passage of one of those, judged and asked for the
arrival at the line. The same laps on every run; printed are the median and the 99 % quantile of each, microseconds.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from pitwall.app.loading import load_setup
from pitwall.engine.car import CarTrack
from pitwall.engine.field import Field

EVENT = Path(__file__).resolve().parents[1] / "config" / "event.yaml"
PLACES = tuple(np.linspace(0.02, 0.98, 25))


def bench(cars: int, laps: int, stretches: int = 0) -> dict[str, list[float]]:
    """Drive all laps; returns the microseconds of each step by what it was."""
    field, rng = Field(load_setup(EVENT)), np.random.default_rng(1)
    further = {f"m{number}": (number + 0.5) / stretches for number in range(stretches)}
    field.lap_map = replace(field.lap_map, loops={**field.lap_map.loops, **further})
    tracks = [field.track(f"car-{number}") for number in range(cars)]
    took: dict[str, list[float]] = {"loop": [], "line": [], "place": [], "stretch": []}
    starts = [100.0 + 4.0 * car for car in range(cars)]
    for track, start in zip(tracks, starts, strict=True):
        track.leave(start)
    for number in range(laps):
        for at, track in enumerate(tracks):
            starts[at] = _drive(track, starts[at], number, rng, took)
    return took


def _drive(track: CarTrack, start: float, number: int, rng: np.random.Generator, took: dict[str, list[float]]) -> float:
    slow = number == 0 or rng.random() < 0.2
    seconds = track.lap_map.lap_s * (1.0 + 0.01 * abs(rng.normal())) * (rng.uniform(1.2, 1.6) if slow else 1.0)
    inner = sorted((share, loop) for loop, share in track.lap_map.loops.items() if 0.0 < share < 1.0)
    for share, loop in (*inner, (1.0, "line")):
        if share < track.seen_phase and loop != "line":
            continue
        t = start + seconds * share * (1.0 + 0.002 * rng.normal())
        before = time.perf_counter()
        track.cross(loop, t, False)
        passage = loop != "line" and loop not in track.pace.labels
        if passage:
            track.judge("timed")
            track.arrival(1.0)
        else:
            track.outlook()
        what = "stretch" if passage else "line" if loop == "line" else "loop"
        took[what].append((time.perf_counter() - before) * 1e6)
        for place in () if passage else PLACES[:: len(PLACES) // 5]:
            if place > track.seen_phase:
                before = time.perf_counter()
                outlook = track.outlook()
                assert outlook is not None
                outlook.at(track.pace.bend(place))
                took["place"].append((time.perf_counter() - before) * 1e6)
        end = t
    return end


def main() -> int:
    """Command line; always 0."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--cars", type=int, default=20)
    parser.add_argument("--laps", type=int, default=60)
    parser.add_argument("--stretches", type=int, default=0, help="further loops on the lap (default: none)")
    parser.add_argument("--json", action="store_true")
    options = parser.parse_args()
    found = {what: {"steps": len(values), "median_us": round(float(np.median(values)), 1),
                    "p99_us": round(float(np.quantile(values, 0.99)), 1)}
             for what, values in bench(options.cars, options.laps, options.stretches).items() if values}
    if options.json:
        print(json.dumps(found, indent=1))
        return 0
    for what, one in found.items():
        print(f"{what}: {one['steps']} steps, median {one['median_us']} us, 99 % {one['p99_us']} us")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
