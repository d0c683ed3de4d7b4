"""Questions to the forecast, and what came of them: one row for each chance that the product published.

**What is real.** A whole rehearsal as ``pitwall rehearse --instant`` runs it: the host, the engine, its snapshots, its
forecast. A row is a chance as it stood in ``forecast/<car>``, at the moment when it stood there.

**What is the world's.** Whether it happened is read off the laps that were driven (``rehearsal/truth.py``): lap kinds,
beginnings and ends as the world has them, never as the engine believes them. The rules are stated here once more:

* a run with timed laps happened when the fewest that count were driven, each begun before the session's end where a
  started lap may be finished, else ended by it;
* an installation run happened when its car passed the pit exit before the end;
* a run of items only happened when each of its procedures was done by the end;
* the musts of a car happened when each of its must runs did.

Not asked is what nothing can stop (allowed after the flag, or its fewest laps are driven already), and nothing is asked
once the flag is out.
"""

from __future__ import annotations

import asyncio
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache

from pitwall.app.scenarios import Rehearsal, load_rehearsal
from pitwall.app.wiring import Evidence, instant_evidence
from pitwall.forecast.futures import forecast
from pitwall.model.outputs import CarSnapshot, ForecastAnswer, ForecastSnapshot, ForecastState, ForecastWanted
from pitwall.model.plan import Plan, Run
from pitwall.rehearsal.truth import CarTruth, WorldOutcome

MUSTS = "musts"
LEAVES = ("out", "out_in")
Order = tuple[str, int]
"""A scenario file and a seed."""


@dataclass(frozen=True)
class Leg:
    """One activity before the decisive moment, three points in seconds; of garage work those that the plan gives.

    ``lasted_s``: so much of it is over. ``under_way``: a lap that has begun; the points are of what is left of it.
    """

    kind: str
    low_s: float
    likely_s: float
    high_s: float
    not_before_s: float | None = None
    lasted_s: float = 0.0
    under_way: bool = False


@dataclass(frozen=True)
class Row:
    """One chance and what came of it. ``about`` is the run, or ``musts``; ``legs`` lie between ``t`` and its decisive
    moment (of the last must), ``left_s`` is the time left by the official clock."""

    scenario: str
    seed: int
    t: float
    car: str
    about: str
    want: str
    stated: float
    happened: bool
    left_s: float
    legs: tuple[Leg, ...]
    status: str

    @property
    def session(self) -> tuple[str, int]:
        """Which rehearsal it is from."""
        return self.scenario, self.seed


@dataclass(frozen=True)
class Took:
    """How long one lap or stop of a team car took: as a multiple of a good lap, or of the plan's mean for that stop."""

    kind: str
    times: float


@dataclass(frozen=True)
class Day:
    """What one rehearsal gave; ``lap_s`` is a good lap there."""

    scenario: str
    seed: int
    rows: tuple[Row, ...]
    took: tuple[Took, ...]
    lap_s: float


@lru_cache
def loaded(scenario: str) -> Rehearsal:
    """The scenario with its files: read once in each process."""
    return load_rehearsal(scenario)


def rehearse(order: Order) -> Day:
    """One rehearsal, its chances, and what came of them."""
    rehearsal = replace(loaded(order[0]), seed=order[1])
    asked: dict[int, ForecastSnapshot] = {}

    def noting(wanted: ForecastWanted) -> ForecastAnswer:
        asked[wanted.revision] = wanted.snapshot
        return forecast(wanted)

    evidence = asyncio.run(instant_evidence(rehearsal, work=noting))
    plans = dict(rehearsal.setup.plans)
    outcome = evidence.outcome
    return Day(*order, rows_of(order, evidence, asked, plans), times_taken(outcome, plans), outcome.reference_lap_s)


def rows_of(
    order: Order, evidence: Evidence, asked: dict[int, ForecastSnapshot], plans: dict[str, Plan]
) -> tuple[Row, ...]:
    """A row for each chance that was published and that something could still stop."""
    cars, flag_s = evidence.outcome.cars, evidence.outcome.flag_s
    found: list[Row] = []
    for state in evidence.recorder.forecasts:
        snapshot, truth = asked[revision_of(state)], cars[state.car]
        must_end = not snapshot.finish_started_lap
        done = {run.run: happened(run, truth, flag_s, must_end) for run in plans[state.car].runs}
        found += judged(order, state, snapshot, plans[state.car], done)
    return tuple(found)


def revision_of(state: ForecastState) -> int:
    """The number of the question that this forecast answers."""
    return int(state.id.rpartition("-")[2])


def judged(
    order: Order, state: ForecastState, snapshot: ForecastSnapshot, plan: Plan, done: Mapping[str, bool]
) -> Iterator[Row]:
    """The chances of one forecast. ``done``: by run whether it was done in time; runs not in it are not asked for."""
    car = next((one for one in snapshot.cars if one.car == state.car), None)
    if car is None or snapshot.status in ("finished", "closed"):
        return
    must_end, left_s = not snapshot.finish_started_lap, time_left(snapshot)
    legs = {name: one for name in car.wants
            if name in done and (one := legs_to(car, plan, name, must_end)) is not None}
    common = (*order, snapshot.t, state.car)
    for one in state.outlook.runs:
        if one.run in legs:
            yield Row(*common, one.run, one.want, one.chance, done[one.run], left_s, legs[one.run], snapshot.status)
    musts = [name for name, want in car.wants.items() if want == "must"]
    open_musts = [legs[name] for name in musts if name in legs]
    if open_musts and all(name in done for name in musts):
        # One run follows another: the last must decides.
        yield Row(*common, MUSTS, MUSTS, state.outlook.musts_chance, all(done[name] for name in musts), left_s,
                  max(open_musts, key=len), snapshot.status)


def time_left(snapshot: ForecastSnapshot) -> float:
    """Seconds of running until the last flag, by the official clock."""
    return snapshot.remaining_s + sum(flag - green for green, flag in snapshot.windows[1:])


def legs_to(car: CarSnapshot, plan: Plan, run: str, must_end: bool) -> tuple[Leg, ...] | None:
    """Everything before the run's decisive moment, from the car's first activity on; None when nothing can stop it.

    ``must_end``: a timed lap counts only when it has ended before the time is up.
    """
    mine = [index for index, one in enumerate(car.activities) if one.run == run and one.kind != "wait"]
    if run in car.after_flag or not mine:
        return None
    timed = [index for index in mine if car.activities[index].kind == "timed"]
    needed = min(car.minimum_laps.get(run, len(timed)), len(timed))
    if needed:
        upto = timed[needed - 1] + must_end
    elif timed:
        return None
    elif any(car.activities[index].kind == "item" for index in mine):
        upto = max(index for index in mine if car.activities[index].kind == "item") + 1
    else:
        upto = next((index for index in mine if car.activities[index].kind == "out"), -1)
    if upto < 0 or (upto == 0 and car.on_track):
        return None  # it is on its way, or under way, and cannot be too late any more
    return _legs(car, plan, upto)


def _legs(car: CarSnapshot, plan: Plan, upto: int) -> tuple[Leg, ...]:
    found, after = list[Leg](), None
    for index, one in enumerate(car.activities[:upto]):
        after = one.run or after
        low, likely, high = sorted((one.low_s, one.likely_s, one.high_s))
        behind = plan.find(after) if after is not None else None
        if one.kind == "garage" and behind is not None:
            work = behind.after_garage_s
            low, likely, high = work.low_s, work.likely_s, work.high_s
        under_way = index == 0 and car.on_track
        found.append(Leg(one.kind, low, likely, high, one.not_before_s, one.lasted_s, under_way))
    return tuple(found)


def happened(run: Run, car: CarTruth, flag_s: float, must_end: bool) -> bool:
    """Whether the world saw this run done in time, as far as it counts (see above)."""
    laps = [lap for lap in car.laps if lap.run == run.run]
    if run.timed_laps:
        good = [lap for lap in laps if lap.kind == "timed"
                and (lap.end_s <= flag_s if must_end else lap.start_s < flag_s)]
        return len(good) >= (run.shorten_to or run.timed_laps)
    if run.laps:
        return any(release.run == run.run and release.exit_s is not None and release.exit_s < flag_s
                   for release in car.releases)
    done = {one.procedure for one in car.procedures if one.run == run.run and one.done and one.until_s <= flag_s}
    return {item.do for item in run.items} <= done


def times_taken(outcome: WorldOutcome, plans: dict[str, Plan]) -> tuple[Took, ...]:
    """Laps of every kind, and stops between two runs from the line in the lane to the pit exit, as they were."""
    found: list[Took] = []
    for car, truth in outcome.cars.items():
        for lap, following in zip(truth.laps, [*truth.laps[1:], None], strict=True):
            if lap.kind in ("out", "timed", "cool", "in"):
                found.append(Took(lap.kind, lap.time_s / outcome.reference_lap_s))
            run = plans[car].find(lap.run) if lap.run else None
            if following is None or following.kind not in LEAVES or run is None or following.run == lap.run:
                continue
            work = run.after_garage_s
            mean = pert_mean(work.low_s, work.likely_s, work.high_s)
            if mean > 0:
                found.append(Took("garage", (following.start_s - lap.end_s) / mean))
    return tuple(found)


def pert_mean(low: float, likely: float, high: float) -> float:
    """(a + 4 m + b) / 6, of Malcolm, Roseboom, Clark and Fazar (1959)."""
    return (low + 4.0 * likely + high) / 6.0
