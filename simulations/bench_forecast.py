"""How long a forecast takes: two cars of about 40 activities each. Prints one JSON object.

    python simulations/bench_forecast.py [--repeat 15] [--runs 5]
"""

from __future__ import annotations

import argparse
import json
import statistics
import time

from pitwall.forecast.futures import forecast
from pitwall.model.outputs import Activity, CarSnapshot, ForecastSnapshot, ForecastWanted
from pitwall.model.rules import Interruptions


def session(futures: int, runs: int, cars: int = 2) -> ForecastWanted:
    """A full practice hour before its start: ``runs`` runs of seven laps with a garage stop before each."""
    return ForecastWanted(
        t=0.0,
        revision=1,
        seed=7,
        snapshot=ForecastSnapshot(
            t=0.0, remaining_s=3600.0, clock_running=True, status="green", red_clock="runs", finish_started_lap=True,
            interruptions=Interruptions(), futures=futures, confidence=0.9,
            cars=tuple(car(str(41 + 17 * number), runs) for number in range(cars)),
        ),
    )


def car(number: str, runs: int) -> CarSnapshot:
    """One car with out, five timed laps and in, five times over."""
    activities: list[Activity] = []
    for index in range(runs):
        name = f"run-{index}"
        activities.append(Activity(run=name, kind="garage", low_s=90, likely_s=180, high_s=400))
        activities.append(Activity(run=name, kind="out", low_s=96, likely_s=112, high_s=127))
        activities.extend(Activity(run=name, kind="timed", low_s=89, likely_s=90, high_s=96) for _ in range(5))
        activities.append(Activity(run=name, kind="in", low_s=92, likely_s=106, high_s=135))
    wants = {f"run-{index}": "must" if index < 3 else "should" for index in range(runs)}
    return CarSnapshot(car=number, from_s=0.0, on_track=False, activities=tuple(activities), wants=wants)  # type: ignore[arg-type]  # literals


def measure(futures: int, runs: int, repeat: int) -> dict[str, float]:
    """Milliseconds for one forecast: best and median of ``repeat``."""
    wanted = session(futures, runs)
    forecast(wanted)
    times = []
    for _ in range(repeat):
        began = time.perf_counter()
        forecast(wanted)
        times.append((time.perf_counter() - began) * 1000)
    return {"best_ms": round(min(times), 1), "median_ms": round(statistics.median(times), 1)}


def main() -> None:
    """Measure 5,000 and 10,000 futures."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--repeat", type=int, default=15)
    parser.add_argument("--runs", type=int, default=5, help="runs of each of the two cars, eight activities each")
    options = parser.parse_args()
    result = {str(n): measure(n, options.runs, options.repeat) for n in (5000, 10_000)}
    print(json.dumps({"cars": 2, "activities_per_car": 8 * options.runs, "futures": result}))


if __name__ == "__main__":
    main()
