"""How long a forecast takes, what it does to the timers of the loop, and how it compares with SimPy. Prints JSON.

    python simulations/bench_forecast.py [--repeat 15] [--runs 5] [--simpy 1000] [--seconds 5]

``demo`` is the question that the engine asks at the green light about the demo's two cars, who share a crew, with 5,000
and with 10,000 futures; ``full`` is two cars of about 40 activities each, who share nobody. ``best_ms`` and
``median_ms`` are by the wall clock, ``thread_ms`` is the least processor time of the thread: what it would take on a
machine of its own. ``timers``: lateness of a 1 ms timer of an asyncio loop, alone and while the forecaster's thread
works without a pause. ``simpy``: a SimPy model of the same question in the same run, milliseconds for 10,000 futures as
extrapolated from a few, and how many times the forecast's it is.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import statistics
import sys
import time
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from pitwall.forecast.futures import forecast
from pitwall.model.outputs import Activity, CarSnapshot, ForecastSnapshot, ForecastWanted
from pitwall.model.rules import Interruptions
from pitwall.runtime.forecaster import ThreadForecaster

TIMER_S = 0.001
MANY = 10_000


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


def demo(futures: int) -> ForecastWanted:
    """What the engine asks at the green light of the demo event, with so many futures."""
    # The engine and the loader are heavy; a test takes `session` from here in a process of its own.
    from pitwall.app.loading import load_setup
    from pitwall.engine.session import Session
    from pitwall.model import events as ev

    setup = load_setup(Path(__file__).resolve().parents[1] / "config" / "event.yaml")
    engine, facts = Session(), (
        ev.SessionPrepared(id="prepared", t=-10.0, setup=setup), ev.StatusChanged(id="green", t=0.0, status="green"),
    )  # fmt: skip
    asked: list[ForecastWanted] = []
    for number, fact in enumerate(facts):
        found = engine.handle(ev.Stamped(seq=number, received_t=fact.t, event=fact))
        asked += [one for one in found if isinstance(one, ForecastWanted)]
    snapshot = asked[-1].snapshot.model_copy(update={"futures": futures})
    return asked[-1].model_copy(update={"snapshot": snapshot})


def measure(wanted: ForecastWanted, repeat: int) -> dict[str, float]:
    """Milliseconds for one forecast: best and median of ``repeat``, and the least processor time."""
    forecast(wanted)
    walls, threads = [], []
    for _ in range(repeat):
        began, worked = time.perf_counter(), time.thread_time()
        forecast(wanted)
        walls.append((time.perf_counter() - began) * 1000)
        threads.append((time.thread_time() - worked) * 1000)
    return {"best_ms": round(min(walls), 1), "median_ms": round(statistics.median(walls), 1),
            "thread_ms": round(min(threads), 1)}


async def timers(wanted: ForecastWanted | None, seconds: float) -> dict[str, float]:
    """How late a 1 ms timer comes, milliseconds at 50 and 99 percent, while forecasts follow one another."""
    loop, late, answers = asyncio.get_running_loop(), list[float](), 0
    forecaster = ThreadForecaster(forecast)

    def again(_: Any = None) -> None:
        nonlocal answers
        answers += 1
        if wanted is not None:
            forecaster.ask(wanted, again)

    again()
    until = loop.time() + seconds
    while loop.time() < until:
        due, woken = loop.time() + TIMER_S, loop.create_future()
        loop.call_at(due, woken.set_result, None)
        await woken
        late.append((loop.time() - due) * 1000)
    forecaster.close()
    late.sort()
    return {"median_ms": round(late[len(late) // 2], 2), "p99_ms": round(late[int(len(late) * 0.99)], 2),
            "forecasts": answers - 1}


def simpy(wanted: ForecastWanted, count: int, ours_ms: float) -> dict[str, float]:
    """Processor time of the SimPy model for as many futures, and how many times ours that is."""
    from simulations.simpy_session import chances

    began = time.thread_time()
    chances(wanted.snapshot, count, 1)
    theirs_ms = (time.thread_time() - began) * 1000 / count * wanted.snapshot.futures
    return {"ms": round(theirs_ms), "times": round(theirs_ms / ours_ms)}


def main() -> None:
    """Measure 5,000 and 10,000 futures, the timers, and SimPy."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--repeat", type=int, default=15)
    parser.add_argument("--runs", type=int, default=5, help="runs of each of the two cars, eight activities each")
    parser.add_argument("--simpy", type=int, default=1000, help="futures of the SimPy model; 0: without it")
    parser.add_argument("--seconds", type=float, default=5.0, help="how long the timers are watched")
    options = parser.parse_args()
    result: dict[str, Any] = {"cars": 2, "activities_per_car": 8 * options.runs}
    result["futures"] = {str(n): measure(session(n, options.runs), options.repeat) for n in (5000, MANY)}
    result["demo"] = {str(n): measure(demo(n), options.repeat) for n in (5000, MANY)}
    wanted = demo(MANY)
    result["timers"] = {"alone": asyncio.run(timers(None, options.seconds / 2)),
                        "beside": asyncio.run(timers(wanted, options.seconds))}
    if options.simpy:
        result["simpy"] = simpy(wanted, options.simpy, result["demo"][str(MANY)]["thread_ms"])
    print(json.dumps(result))


if __name__ == "__main__":
    main()
