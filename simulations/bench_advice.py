"""How long advice takes: in the process that searches, there and back, and beside the loop's timers. Prints JSON.

    python simulations/bench_advice.py [--runs 6 7 8] [--questions 12] [--seconds 4]

The questions are pressed rests of a practice hour of two cars, with so many runs left on each (musts, shoulds and
coulds, some of which may be shortened), with crews of their own and with one that they share; they come from a seed.
``cpu_ms`` is processor time of the search, ``over_half_s`` the share of questions that take more than 500 ms of it,
``exact`` the share that was proven. ``ladder`` asks the same under a red flag with three restarts.
``there_and_back_ms`` is the wall time from question to answer through the process, ``timers`` the lateness of a 1 ms
timer of an asyncio loop alone and while the process works without a pause.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import random
import statistics
import sys
import time
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from pitwall.forecast.advice import advise
from pitwall.model.advice import AdviceAnswer, AdviceQuestion, RunChoice
from pitwall.model.outlook import Activity, CarSnapshot, ForecastSnapshot
from pitwall.model.outputs import AdviceWanted
from pitwall.model.plan import Want
from pitwall.model.rules import Interruptions
from pitwall.runtime.adviser import ProcessAdviser

TIMER_S = 0.001
NOW_S = 600.0
LAP_S = 95.0
BREAK_S = 1800.0
TEAM = ("41", "58", "63")
LADDER_S = (240.0, 480.0, 720.0)
WORKS = ((180, 240, 420), (240, 360, 600), (180, 300, 480))
WANTS: tuple[Want, ...] = ("must", "should", "should", "could")


def question(
    seed: int, runs: int, *, shared: bool = False, red: bool = False, cars: int = 2, crewed: float = 1.0,
    windows: bool = False,
) -> AdviceQuestion:
    """A pressed rest of an hour: so many runs left on each car. Of the works ``crewed`` need the crew, if one is
    ``shared``. With ``windows`` the rest is in two parts with a break between."""
    rng = random.Random(seed)
    names = TEAM[:cars]
    choices = tuple(_run(rng, car, place, shared) for car in names for place in range(runs))
    if crewed < 1.0:
        needs = random.Random(seed + 1)
        choices = tuple(one if needs.random() < crewed else one.model_copy(update={"crew": ()}) for one in choices)
    standing = tuple(
        CarSnapshot(
            car=car, from_s=NOW_S, on_track=False, wants={one.run: one.want for one in choices if one.car == car},
            activities=tuple(a for one in choices if one.car == car for a in one.activities),
        )
        for car in names
    )
    left = rng.choice((1800.0, 2400.0, 3000.0))
    half = NOW_S + left / 2.0
    snapshot = ForecastSnapshot(
        t=NOW_S, remaining_s=left, clock_running=True, status="red" if red else "green", red_clock="runs",
        finish_started_lap=True, interruptions=Interruptions(), futures=500, confidence=0.9, cars=standing,
        windows=((0.0, half), (half + BREAK_S, NOW_S + left + BREAK_S)) if windows else (),
    )
    return AdviceQuestion(snapshot=snapshot, choices=choices, confidence=0.9, seed=seed,
                          restart_s=LADDER_S if red else ())


def _run(rng: random.Random, car: str, place: int, shared: bool) -> RunChoice:
    name, timed = f"run{place}-{car}", rng.randint(2, 6)
    laps = [_lap(name, "out", 1.25, 0.9, 1.13), *(_lap(name, "timed", 1.0, 0.99, 1.03) for _ in range(timed))]
    if rng.random() < 0.4:
        laps.insert(2, _lap(name, "cool", 1.4, 0.88, 1.12))
    low, likely, high = rng.choice(WORKS)
    return RunChoice(
        run=name, car=car, want=rng.choice(WANTS) if place else "must", value=rng.choice((1, 1, 1, 2, 3)),
        activities=(*laps, _lap(name, "in", 1.2, 0.9, 1.25)), timed=timed, fewest=max(1, timed - rng.randint(0, 2)),
        work=Activity(run=None, kind="garage", low_s=low, likely_s=likely, high_s=high),
        crew=("tyres",) if shared else (), before=(f"run3-{car}",) if place == 2 else (),
    )


def _lap(run: str, kind: str, share: float, low: float, high: float) -> Activity:
    likely = LAP_S * share
    return Activity(run=run, kind=kind, low_s=likely * low, likely_s=likely, high_s=likely * high)  # type: ignore[arg-type]  # literals


def measured(questions: list[AdviceQuestion]) -> dict[str, float]:
    """Processor time of each search, and how many were proven."""
    advise(questions[0])
    spent, exact = [], 0
    for asked in questions:
        began = time.process_time()
        answer = advise(asked)
        spent.append(1000.0 * (time.process_time() - began))
        exact += answer.exact
    return {
        "median_cpu_ms": round(statistics.median(spent), 1), "most_cpu_ms": round(max(spent), 1),
        "over_half_s": round(sum(one > 500.0 for one in spent) / len(spent), 3),
        "exact": round(exact / len(questions), 3), "questions": len(questions),
    }


async def beside_a_loop(asked: AdviceQuestion, seconds: float) -> dict[str, Any]:
    """Timers alone, then with the process at work, and how long an answer takes there and back."""
    loop = asyncio.get_running_loop()
    began = time.perf_counter()
    adviser = ProcessAdviser(advise)
    await adviser.until_warm(60.0)
    started_ms = 1000.0 * (time.perf_counter() - began)
    alone = await _timers(seconds)
    trips: list[float] = []

    async def ask_on() -> None:
        while True:
            answered: asyncio.Future[AdviceAnswer] = loop.create_future()
            sent = time.perf_counter()
            adviser.ask(AdviceWanted(t=NOW_S, revision=len(trips), question=asked), answered.set_result)
            await answered
            trips.append(1000.0 * (time.perf_counter() - sent))

    asking = asyncio.create_task(ask_on())
    at_work = await _timers(seconds)
    asking.cancel()
    adviser.close()
    return {"process_starts_ms": round(started_ms), "there_and_back_ms": round(statistics.median(trips or [0.0]), 1),
            "timers_alone": alone, "timers_at_work": at_work}


async def _timers(seconds: float) -> dict[str, float]:
    loop, late = asyncio.get_running_loop(), []
    ends = loop.time() + seconds
    while loop.time() < ends:
        due = loop.time() + TIMER_S
        await asyncio.sleep(TIMER_S)
        late.append(1000.0 * (loop.time() - due))
    return {"median_ms": round(statistics.median(late), 2), "p99_ms": round(statistics.quantiles(late, n=100)[98], 2)}


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description="How long advice takes, and what it does to the loop.")
    parser.add_argument("--runs", type=int, nargs="+", default=[6, 7, 8])
    parser.add_argument("--questions", type=int, default=12)
    parser.add_argument("--seconds", type=float, default=4.0)
    given = parser.parse_args()
    found: dict[str, Any] = {}
    for runs in given.runs:
        seeds = range(1, given.questions + 1)
        found[f"{runs} runs"] = {
            "own_crews": measured([question(seed, runs) for seed in seeds]),
            "shared_crew": measured([question(seed, runs, shared=True) for seed in seeds]),
            "ladder": measured([question(seed, runs, red=True) for seed in seeds]),
        }
    found["loop"] = asyncio.run(beside_a_loop(question(1, min(given.runs)), given.seconds))
    print(json.dumps(found, indent=2))


if __name__ == "__main__":
    main()
