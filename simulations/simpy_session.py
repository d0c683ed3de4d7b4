"""The same session as the forecast's, one future at a time, as a SimPy model: processes for cars, works and flags.

It shares no code with ``pitwall/forecast`` but the models of the question: the beta-PERT durations come from NumPy's
own beta distribution, the crews are SimPy resources, a red flag interrupts the process of a car. So it is a second
opinion, and what the forecast's speed is measured against (``bench_forecast.py``). It knows sessions in one piece.

SimPy: https://simpy.readthedocs.io (process-based discrete-event simulation).
"""

from __future__ import annotations

import math
from collections.abc import Generator
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import simpy

from pitwall.model.outlook import Activity, CarSnapshot, ForecastSnapshot

SLOW_PACE, RED_PACE = 0.65, 0.5
DAY, OWN = 0.9, 0.8
Z90 = 1.2815515655446004
HOURS = 3600.0
ON_TRACK = ("out", "timed", "cool", "in")
Steps = Generator[simpy.Event, Any, None]


def chances(snapshot: ForecastSnapshot, count: int, seed: int) -> dict[tuple[str, str], float]:
    """By car and run: in which share of ``count`` futures the run fits."""
    rng = np.random.default_rng(seed)
    fits: dict[tuple[str, str], int] = {}
    for _ in range(count):
        for key, ok in Session(snapshot, rng).run().items():
            fits[key] = fits.get(key, 0) + ok
    return {key: number / count for key, number in fits.items()}


@dataclass
class Driven:
    """When the activities of one car began and ended."""

    starts: list[float] = field(default_factory=list)
    ends: list[float] = field(default_factory=list)


class Session:
    """One future."""

    def __init__(self, snapshot: ForecastSnapshot, rng: np.random.Generator) -> None:
        self.snapshot, self.rng = snapshot, rng
        self.env = simpy.Environment(initial_time=max(snapshot.t, 0.0) if snapshot.status == "waiting" else snapshot.t)
        self.flag_s = self.env.now + snapshot.remaining_s
        self.shut, self.slow = 0, False
        self.changed = self.env.event()
        labels = sorted({label for car in snapshot.cars for one in car.activities for label in one.crew})
        self.crews = {label: simpy.Resource(self.env) for label in labels}
        self.driven = {car.car: Driven() for car in snapshot.cars}
        rates = snapshot.interruptions
        self.reds_per_hour = self._rate(rates.red_per_hour, snapshot.reds_seen)
        self.slows_per_hour = self._rate(rates.slow_per_hour, snapshot.slows_seen)
        self.alike = [DAY * self.rng.standard_normal() for _ in range(2)] if snapshot.rate_spread > 0 else None

    def _rate(self, per_hour: float, seen: int) -> float:
        """How often it happens in this future: a gamma variable that knows of what was seen."""
        if per_hour <= 0 or self.snapshot.rate_spread <= 0:
            return per_hour
        shape = self.snapshot.rate_spread**-2
        return float(self.rng.gamma(shape + seen, 1.0 / (shape / per_hour + self.snapshot.seen_s / HOURS)))

    def run(self) -> dict[tuple[str, str], bool]:
        """Play it; which runs fit."""
        self.env.process(self._reds())
        self.env.process(self._slows())
        cars = [self.env.process(self._car(car)) for car in self.snapshot.cars]
        self.env.run(until=self.env.all_of(cars))
        return {(car.car, run): self._fits(car, run) for car in self.snapshot.cars
                for run in dict.fromkeys(one.run for one in car.activities if one.run is not None)}

    # -- flags -----------------------------------------------------------------------------------------------------

    def _reds(self) -> Steps:
        rates = self.snapshot.interruptions
        while self.reds_per_hour > 0:
            yield self.env.timeout(self.rng.exponential(HOURS / self.reds_per_hour))
            length = self._length(rates.red_length_s, 0)
            if self.snapshot.red_clock == "stops" and self.env.now < self.flag_s:
                self.flag_s += length
            self._tell(shut=1)
            yield self.env.timeout(length)
            self.env.process(self._reopens())

    def _reopens(self) -> Steps:
        """Cars leave again some time after the red flag, unless another one has come by then."""
        yield self.env.timeout(self.snapshot.reopening_s)
        self._tell(shut=-1)

    def _slows(self) -> Steps:
        rates = self.snapshot.interruptions
        while self.slows_per_hour > 0:
            yield self.env.timeout(self.rng.exponential(HOURS / self.slows_per_hour))
            self._tell(slow=True)
            yield self.env.timeout(self._length(rates.slow_length_s, 1))
            self._tell(slow=False)

    @property
    def red(self) -> bool:
        """Nobody leaves: a red flag is out, or was until a moment ago."""
        return self.shut > 0

    def _tell(self, shut: int = 0, slow: bool | None = None) -> None:
        self.shut += shut
        self.slow = self.slow if slow is None else slow
        told, self.changed = self.changed, self.env.event()
        told.succeed()

    def _length(self, tenths: tuple[float, float, float], kind: int | None = None) -> float:
        low, middle, high = tenths
        z = self.rng.standard_normal()
        if kind is not None and self.alike is not None:
            z = self.alike[kind] + OWN * z
        return min(middle * math.exp(z / Z90 * math.log(middle / low if z < 0 else high / middle)), 7200.0)

    # -- a car -----------------------------------------------------------------------------------------------------

    def _car(self, car: CarSnapshot) -> Steps:
        note = self.driven[car.car]
        took = self._durations(car)
        stops = {run: max(self._duration(work), work.not_under_s) for run, work in car.cut_work.items()}
        homes = {run: self._way_home(car, run) for run in stops}
        counted: dict[str | None, int] = {}
        over = None
        for index, one in enumerate(car.activities):
            if over is not None and one.run == over:
                note.starts.append(math.inf)
                note.ends.append(self.env.now)
                continue
            if one.not_before_s is not None and self.env.now < one.not_before_s:
                yield self.env.timeout(one.not_before_s - self.env.now)
            if one.kind in ON_TRACK:
                outs = [took[i] for i, lap in enumerate(car.activities) if lap.run == one.run and lap.kind == "out"]
                out = outs[0] if outs else took[index]
                whole = sum(lap.run == one.run and lap.kind == "timed" for lap in car.activities)
                enough = counted.get(one.run, 0) >= min(car.minimum_laps.get(one.run or "", whole), whole)
                counted[one.run] = counted.get(one.run, 0) + (one.kind == "timed")
                if enough and one.kind != "in":
                    cut = yield from self._last_lap(one, took[index], homes.get(one.run or "", 0.0), note)
                    over = one.run if cut else None
                    continue
                yield from self._lap(one, took[index], out, stops.get(one.run or "") if stops else None, note)
            else:
                yield from self._work(one, took[index], note)

    def _work(self, one: Activity, took: float, note: Driven) -> Steps:
        came = self.env.now
        asked = [(self.crews[label], self.crews[label].request()) for label in one.crew]
        for _, request in asked:
            yield request
        note.starts.append(self.env.now)
        yield self.env.timeout(took)
        for resource, request in asked:
            resource.release(request)
        if came + one.not_under_s > self.env.now:
            yield self.env.timeout(came + one.not_under_s - self.env.now)
        note.ends.append(self.env.now)

    @staticmethod
    def _way_home(car: CarSnapshot, run: str) -> float:
        """From the line in the lane to the garage: the stop of a car sent back begins there, the planned one here."""
        last = max((i for i, one in enumerate(car.activities) if one.run == run), default=len(car.activities))
        after = [one for one in car.activities[last + 1 : last + 2] if one.kind == "garage"]
        return max(car.cut_work[run].likely_s - after[0].likely_s, 0.0) if after else 0.0

    def _last_lap(self, one: Activity, took: float, home: float, note: Driven) -> Generator[simpy.Event, Any, bool]:
        """A lap of a run that counts already: whether a red flag ended the run on it."""
        if one.kind == "out":
            yield from self._green()
        note.starts.append(self.env.now)
        left = took
        while left > 1e-9 and not self.red:
            pace, began = SLOW_PACE if self.slow else 1.0, self.env.now
            yield self.env.timeout(left / pace) | self.changed
            left -= (self.env.now - began) * pace
        cut = left > 1e-9
        if cut:
            yield self.env.timeout(left / RED_PACE + home)
        note.ends.append(self.env.now)
        return cut

    def _lap(self, one: Activity, took: float, out: float, stop: float | None, note: Driven) -> Steps:
        if one.kind == "out":
            yield from self._green()
        start, left, again = self.env.now, took, 0.0
        while again + left > 1e-9:
            if self.red and one.kind != "in":
                if stop is not None:
                    yield self.env.timeout(min(again + left, took) / RED_PACE + stop)
                yield from self._green()
                again = out if one.kind != "out" else 0.0
                left = took if one.kind != "cool" or stop is None else 0.0
                start = self.env.now
            pace = SLOW_PACE if self.slow else 1.0
            began, going = self.env.now, (again or left) / pace
            yield self.env.timeout(going) | self.changed
            done = (self.env.now - began) * pace
            if again:
                again = max(again - done, 0.0)
                again = again if again > 1e-9 else 0.0
                start = self.env.now
            else:
                left -= done
        note.starts.append(start)
        note.ends.append(self.env.now)

    def _green(self) -> Steps:
        while self.red:
            yield self.changed

    def _durations(self, car: CarSnapshot) -> list[float]:
        levels = {run: math.exp(self.rng.normal(0.0, pace.level)) for run, pace in car.pace.items()}
        return [self._timed(car, one, levels) if one.points == "pace" else self._duration(one)
                for one in car.activities]

    def _timed(self, car: CarSnapshot, one: Activity, levels: dict[str, float]) -> float:
        pace = car.pace[one.run or ""]
        lost = self._length(pace.mistake) if self.rng.random() < pace.mistake_chance else 0.0
        return one.likely_s * levels[one.run or ""] * (1.0 + self.rng.normal(0.0, pace.lap) + lost)

    def _duration(self, one: Activity) -> float:
        low, likely, high = one.low_s, one.likely_s, one.high_s
        if one.points == "tenths":
            return self._length((low, likely, high))
        if high <= low:
            return low
        alpha, beta = 1 + 4 * (likely - low) / (high - low), 1 + 4 * (high - likely) / (high - low)
        return low + (high - low) * float(self.rng.beta(alpha, beta))

    def _fits(self, car: CarSnapshot, run: str) -> bool:
        timed = [i for i, one in enumerate(car.activities) if one.run == run and one.kind == "timed"]
        if not timed:
            first = next(i for i, one in enumerate(car.activities) if one.run == run)
            return self.driven[car.car].starts[first] < self.flag_s
        needed = timed[min(car.minimum_laps.get(run, len(timed)), len(timed)) - 1]
        note = self.driven[car.car]
        if self.snapshot.finish_started_lap:
            return note.starts[needed] < self.flag_s
        return note.ends[needed] <= self.flag_s
