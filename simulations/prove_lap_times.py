"""Lap-time forecasts on invented sessions of teams with other habits, beside the simple rule on the same laps.

    python simulations/prove_lap_times.py [--seeds 4] [--json]

Six kinds of session, 20 cars each: quick runs on two compounds and then long ones (``usual``, ``short_usual``), quick
runs only (``quick_only``, ``knockout``), long runs only (``long_only``), and whatever comes (``any``). Pace, wear,
track, mistakes and noise are drawn anew for each session, from wider ranges than the model expects; the laps are made
by code that shares nothing with the model. Printed by kind: mean absolute error over that of the simple rule (median
of the run's, or before a run of the car's, last three timed laps), and the share within the 80 % interval.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from statistics import median

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from pitwall.pace.runpace import AHEAD, SUM_OF, DrivenLaps, FieldLaps, Forecast
from pitwall.pace.weighing import HIGH, LOW, MIDDLE

COMPOUNDS = ("soft", "medium", "hard")
CARS, LENGTH_S = 20, 5400.0
Run = tuple[bool, str, int]
"""A long run or not, on what, how many timed laps."""


def runs_of(habit: str, rng: np.random.Generator) -> list[Run]:
    """What one car does in a session."""
    few, many = (lambda: int(rng.integers(1, 4))), (lambda: int(rng.integers(5, 14)))
    if habit == "usual":
        return [(False, "medium", few()), (False, "soft", few()), (True, "medium", many()), (True, "soft", many())]
    if habit == "short_usual":
        return [(False, "hard", few()), (False, "soft", few()), (True, str(rng.choice(COMPOUNDS)), many())]
    if habit == "quick_only":
        return [(False, str(rng.choice(COMPOUNDS)), few()) for _ in range(5)]
    if habit == "knockout":
        return [(False, "soft", few()) for _ in range(6)]
    if habit == "long_only":
        return [(True, str(rng.choice(COMPOUNDS)), many()) for _ in range(5)]
    return [(bool(rng.random() < 0.5), str(rng.choice(COMPOUNDS)), int(rng.integers(1, 10))) for _ in range(6)]


HABITS = ("usual", "short_usual", "quick_only", "knockout", "long_only", "any")


@dataclass(frozen=True)
class Lap:
    """A timed lap, or with no ``seconds`` the end of a run."""

    t: float
    car: str
    compound: str
    seconds: float | None


def session(habit: str, seed: int) -> list[Lap]:
    """All timed laps and ends of runs of a session, in the order in which they ended."""
    rng = np.random.default_rng([seed, HABITS.index(habit)])
    base, gain, cost = rng.uniform(70, 110), rng.uniform(0, 0.015) / 3600, rng.uniform(0.025, 0.065)
    wear = dict(zip(COMPOUNDS, rng.uniform(-0.0002, 0.0022, 3), strict=True))
    slower = dict(zip(COMPOUNDS, (0.0, rng.uniform(0, 0.01), rng.uniform(0.004, 0.016)), strict=True))
    noise, mistakes = rng.uniform(0.0018, 0.0045), rng.uniform(0.02, 0.12)
    laps = []
    for number in range(CARS):
        t, own, own_cost = rng.uniform(60, 900), rng.normal(0, 0.01), cost + rng.normal(0, 0.006)
        for long_run, compound, count in runs_of(habit, rng):
            level = own + slower[compound] + rng.normal(0, 0.003) + (own_cost if long_run else 0.0)
            t += 1.25 * base
            for lap in range(count):
                if t > LENGTH_S:
                    break
                level += rng.normal(0, 0.0008) + (wear[compound] if long_run and lap else 0.0)
                log = level - gain * t + noise * rng.standard_t(5) + (rng.gamma(2, 0.022) * (rng.random() < mistakes))
                t += base * np.exp(log)
                laps.append(Lap(t, str(number), compound, float(base * np.exp(log))))
                t += 0.0 if long_run else 1.45 * base
            laps.append(Lap(t + base, str(number), compound, None))
            t += base + rng.uniform(120, 1000)
    return sorted(laps, key=lambda lap: lap.t)


@dataclass
class Follower:
    """Follows one car; yields each forecast when its lap is known: horizon, simple rule, quantiles, truth."""

    car: str
    teaches: FieldLaps
    laps: DrivenLaps = field(default_factory=DrivenLaps)
    awaited: list[tuple[str, int, Forecast]] = field(default_factory=list)
    first: Forecast | None = None

    def take(self, lap: Lap) -> Iterator[tuple[str, float, Forecast, float]]:
        """Take a lap, or the end of a run."""
        if lap.seconds is None:
            self.laps, self.awaited = self.laps.came_in(), []
            self.first = self.teaches.first(self.car, self.laps, lap.t, LENGTH_S) or self.first
            return
        run = self.teaches.model.timed(self.car, self.laps.run, lap.t, lap.seconds, lap.compound)
        if not self.laps.this_run and self.first is not None:
            self.teaches.learn("first", self.first, lap.seconds, run.mode)
            yield "first", median(self.laps.before[-3:]), self.first, lap.seconds
        self.first, self.laps = None, self.laps.lap(lap.seconds, run)
        waiting = []
        for horizon, left, said in self.awaited:
            if left > 1:
                waiting.append((horizon, left - 1, said))
                continue
            truth = sum(self.laps.this_run[-SUM_OF:]) / SUM_OF if horizon == "sum" else lap.seconds
            self.teaches.learn(horizon, said, truth)
            yield horizon, said.rules[0], said, truth
        self.awaited = waiting + [(horizon, 1 if horizon == "next" else SUM_OF,
                                   self.teaches.inside(self.car, self.laps, horizon)) for horizon in AHEAD]  # fmt: skip


def prove(habit: str, seeds: int) -> dict[str, dict[str, float]]:
    """By horizon: how many forecasts, error over the simple rule's, share within the interval."""
    found: dict[str, list[tuple[float, float, bool]]] = defaultdict(list)
    for seed in range(seeds):
        teaches = FieldLaps()
        cars = {str(number): Follower(str(number), teaches) for number in range(CARS)}
        for lap in session(habit, seed):
            for horizon, rule, said, truth in cars[lap.car].take(lap):
                inside = bool(said.told[LOW] <= truth <= said.told[HIGH])
                found[horizon].append((abs(said.told[MIDDLE] - truth), abs(rule - truth), inside))
    return {
        horizon: {"n": len(rows), "ratio": round(float(sum(row[0] for row in rows) / sum(row[1] for row in rows)), 3),
                  "inside": round(sum(row[2] for row in rows) / len(rows), 3)}
        for horizon, rows in sorted(found.items())
    }  # fmt: skip


def main() -> int:
    """Command line; always 0."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seeds", type=int, default=4)
    parser.add_argument("--json", action="store_true")
    options = parser.parse_args()
    found = {habit: prove(habit, options.seeds) for habit in HABITS}
    if options.json:
        print(json.dumps(found, indent=1))
        return 0
    for habit, rows in found.items():
        for horizon, one in rows.items():
            print(f"{habit:<12} {horizon:<6} {one['n']:>5} forecasts, error {one['ratio']:.2f} of the simple rule's, "
                  f"{one['inside']:.0%} within the 80 % interval")  # fmt: skip
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
