"""What the rest of a plan runs into: limits of fuel, tyres and mileage, and runs that are to be compared."""

from __future__ import annotations

import math
from itertools import pairwise

from pitwall.engine import drivers
from pitwall.engine.carried import goes_on
from pitwall.engine.run_state import RunState
from pitwall.engine.team import TeamCar
from pitwall.model.outlook import Comparison, Limit

BURN_SPREAD = 0.03
"""Deviation of the fuel that a lap burns, as a share (common practice, no source)."""
BELIEVED_PAIRS = 6.0
"""The scatter believed beforehand counts as much as so many pairs of laps seen (a choice of ours)."""
MISTAKE_FROM = 4.0
"""Two laps that differ by so many deviations of what is believed: one of them was spoilt."""


def laps_of(run: RunState) -> int:
    """Laps of the run still to be driven, the running one included."""
    if not run.laps:
        return 0
    if run.out_in:
        return 1
    return len(run.laps) - run.pointer if run.state == "running" else 1 + len(run.laps) - run.resume_at


def on_what_is_fitted(car: TeamCar, run: RunState) -> bool:
    """Guard: the run is the next to be left for, and the car leaves with the set and the fuel that it came in with. Of
    a run that was left before and comes behind another neither is on the car any more."""
    first = run.state == "cut" if car.progress.current is None and car.progress.next is None else (
        run is car.progress.next)
    return first and run.leavings > 0 and goes_on(run, car.track)


def limits_ahead(car: TeamCar, rest: list[RunState]) -> tuple[Limit, ...]:
    """Every limit that the rest of the plan, driven as written, runs into or comes near."""
    return (*_fuel(car, rest), *_tyres(car, rest), *_mileage(car, rest))


def _fuel(car: TeamCar, rest: list[RunState]) -> list[Limit]:
    model = car.switches.car
    found = []
    for run in rest:
        fuel = run.run.fuel_kg if run.run.fuel_kg is not None else car.plan.original(run.run).fuel_kg
        if run.state == "running" or on_what_is_fitted(car, run):
            fuel = car.carried.fuel(car.track, model.fuel_per_lap_kg)
        if fuel is None or not run.laps:
            continue
        allowed = max(fuel - model.fuel_reserve_kg, 0.0) / model.fuel_per_lap_kg
        if laps_of(run) > allowed * (1.0 - 2.0 * BURN_SPREAD):
            found.append(Limit(kind="fuel", what=f"the reserve of {model.fuel_reserve_kg:g} kg", run=run.run.run,
                               laps=allowed, spread=BURN_SPREAD))
    return found


def _tyres(car: TeamCar, rest: list[RunState]) -> list[Limit]:
    ages = dict(car.carried.ages)
    fitted = car.carried.tyres
    if fitted is not None:
        ages[fitted] = car.carried.tyre_laps(car.track) or 0
    found, told = [], set()
    for run in rest:
        name = run.run.tyres or car.plan.original(run.run).tyres or fitted
        if run.state == "running" or on_what_is_fitted(car, run):
            name = fitted
        if name is None or not run.laps:
            continue
        fitted = name
        tyres, age = car.plan.tyre_sets.get(name), ages.get(name, car.carried.done_on(name, car.plan))
        ages[name] = age + laps_of(run)
        if tyres is None or tyres.most_laps is None or ages[name] <= tyres.most_laps or name in told:
            continue
        told.add(name)
        found.append(Limit(kind="tyres", what=f"{name} has done {tyres.most_laps} laps", run=run.run.run,
                           laps=max(tyres.most_laps - age, 0)))
    return found


def _mileage(car: TeamCar, rest: list[RunState]) -> list[Limit]:
    limits = car.setup.limits.get(car.car)
    if limits is None:
        return []
    found: list[Limit] = []
    if limits.most_laps is not None:
        found += _first_over("laps", f"{limits.most_laps} laps of the car", rest,
                             limits.most_laps - len(car.track.laps))
    km, length = drivers.kilometres(car), car.setup.circuit.length_m
    if limits.most_km is not None and km is not None and length:
        found += _first_over("km", f"{limits.most_km:g} km of the car", rest, (limits.most_km - km) * 1000.0 / length)
    return found


def _first_over(kind: str, what: str, rest: list[RunState], allowed: float) -> list[Limit]:
    """The run in which so many laps more are used up; none when the plan has fewer."""
    for run in rest:
        laps = laps_of(run)
        if laps > allowed:
            return [Limit.model_validate({"kind": kind, "what": what, "run": run.run.run, "laps": max(allowed, 0.0)})]
        allowed -= laps
    return []


# -- comparisons -------------------------------------------------------------------------------------------------------


def comparisons(car: TeamCar) -> tuple[Comparison, ...]:
    """Each run against the one that it repeats, or against the first of its group; only those still to be completed."""
    found: list[Comparison] = []
    states = {run.run.run: run for run in car.progress.runs}
    for run in car.progress.runs:
        other = _against(car, run, states)
        over = ("done", "dropped", "skipped")
        if other is None or (run.state in over and other.state in over) or "dropped" in (run.state, other.state):
            continue
        scatter_s, seen = scatter(car)
        found.append(Comparison(run=run.run.run, against=other.run.run, laps=_timed(run), against_laps=_timed(other),
                                scatter_s=scatter_s, seen=seen))
    return tuple(found)


def _against(car: TeamCar, run: RunState, states: dict[str, RunState]) -> RunState | None:
    model = car.plan.original(run.run)
    if model is not run.run:
        return states.get(model.run)
    if run.run.group is None or not run.timed_wanted:
        return None
    group = [one for one in car.progress.runs if one.run.group == run.run.group and one.timed_wanted]
    first = group[0]
    repeated = any(one.run.same_as in states for one in group)
    return None if first is run or repeated else first


def _timed(run: RunState) -> int:
    return run.timed_own if run.state in ("done", "skipped") else max(run.timed_wanted, run.timed_done)


def scatter(car: TeamCar) -> tuple[float, int]:
    """Deviation of the car's lap times from lap to lap within a run, seconds, and on how many pairs of laps it rests.

    From successive differences, which wear and fuel hardly touch (von Neumann, Ann. Math. Stat. 12 (1941)): half the
    mean square of a difference is the variance. What is believed beforehand counts as some pairs seen.
    """
    pace = car.track.pace
    believed = pace.field_pace.first.noise_pct / 100.0 * pace.lap_s("timed")
    squares, seen = BELIEVED_PAIRS * believed**2, 0
    laps = car.track.laps
    for before, lap in pairwise(laps):
        timed = before.kind == lap.kind == "timed" and lap.number == before.number + 1
        if not timed or before.lap_time_s is None or lap.lap_time_s is None or before.disturbed or lap.disturbed:
            continue
        difference = lap.lap_time_s - before.lap_time_s
        if abs(difference) <= MISTAKE_FROM * math.sqrt(2.0) * believed:
            squares, seen = squares + difference**2 / 2.0, seen + 1
    return math.sqrt(squares / (BELIEVED_PAIRS + seen)), seen
