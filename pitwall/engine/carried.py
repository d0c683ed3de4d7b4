"""What the car carries: the tyre set with its age, and about how much fuel.

Both follow from what is known without a scale: a run's set is fitted, and its fuel filled, when the car leaves for
it for the first time; a lap on track ages the set by one and burns the car's fuel per lap, an out-lap from the pit
exit as much less as it is shorter. The desk corrects either. A run that is resumed with no other between goes on
with what was left, and a run that the car was taken for on track with what it has, until it leaves for that run.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from pitwall.engine.car import CarTrack
from pitwall.engine.run_state import RunState
from pitwall.model.plan import Plan

Told = Literal["tyres", "fuel"]
"""What somebody said of the car by hand."""


@dataclass
class Carried:
    """Mutable. ``ages`` holds laps by set up to the moment at which the present one was fitted (or corrected)."""

    tyres: str | None = None
    ages: dict[str, int] = field(default_factory=dict)
    fitted_at: int = 0
    fuel_kg: float | None = None
    filled_at: float = 0.0
    told: frozenset[Told] = frozenset()

    def leaves(self, run: RunState, plan: Plan, track: CarTrack, since_t: float = float("inf")) -> None:
        """The car leaves for this run: on its set and with its fuel, unless it only goes on with it.

        ``since_t``: it left then and has driven laps since; they are laps of that set, and burnt of that fuel.
        """
        self.told = frozenset()
        if run.leavings > 1 and goes_on(run, track):
            return
        self._prepared(run, plan, track, since_t)

    def named(self, run: RunState, plan: Plan, track: CarTrack, left_t: float) -> None:
        """It is this run that the car left for at ``left_t``, as somebody says: what was told by hand since stands."""
        if run.leavings <= 1 or run.left_as is not None:
            self._prepared(run, plan, track, left_t)

    def by_hand(self, what: Told) -> None:
        """Somebody said what is on the car, or in it."""
        self.told |= {what}

    def _prepared(self, run: RunState, plan: Plan, track: CarTrack, since_t: float) -> None:
        since = [lap for lap in track.laps if lap.start_t >= since_t]
        origin = plan.original(run.run)
        tyres = run.run.tyres or origin.tyres
        fuel = run.run.fuel_kg if run.run.fuel_kg is not None else origin.fuel_kg
        if tyres is not None and tyres != self.tyres and "tyres" not in self.told:
            self.fit(tyres, self.done_on(tyres, plan), track, len(since))
        if fuel is not None and "fuel" not in self.told:
            self.fill(fuel, track)
            self.filled_at -= sum(1.0 - lap.start_phase for lap in since)

    def done_on(self, tyres: str, plan: Plan) -> int:
        """Laps of a set that is not on the car: as it was taken off, else as this plan, which may be a later one, has
        it."""
        known = plan.tyre_sets.get(tyres)
        return self.ages.get(tyres, 0 if known is None else known.laps)

    def fit(self, tyres: str, laps: int, track: CarTrack, since: int = 0) -> None:
        """That set is on the car, with so many laps done; for so many laps already (``since``)."""
        if self.tyres is not None:
            self.ages[self.tyres] = max((self.tyre_laps(track) or 0) - since, 0)
        self.tyres, self.fitted_at = tyres, len(track.laps) - since
        self.ages[tyres] = laps

    def fill(self, fuel_kg: float, track: CarTrack) -> None:
        """So much is in the tank at the last line, or in the garage."""
        self.fuel_kg, self.filled_at = fuel_kg, track.fuel_laps

    def tyre_laps(self, track: CarTrack) -> int | None:
        """Laps that the set on the car has done; None when no set is known."""
        return None if self.tyres is None else self.ages.get(self.tyres, 0) + len(track.laps) - self.fitted_at

    def fuel(self, track: CarTrack, per_lap_kg: float) -> float | None:
        """Kilograms at the beginning of the running lap, never below zero; None when nobody said how much is in."""
        if self.fuel_kg is None:
            return None
        return max(0.0, self.fuel_kg - per_lap_kg * (track.fuel_laps - self.filled_at))


def at_the_start(plan: Plan) -> Carried:
    """What the plan says that the car starts with."""
    ages = {name: tyres.laps for name, tyres in plan.tyre_sets.items()}
    return Carried(plan.starts_with.tyres, ages, fuel_kg=plan.starts_with.fuel_kg)


def goes_on(run: RunState, track: CarTrack) -> bool:
    """Guard: a car that left for this run before, and leaves for it again, goes on with the tyres and fuel that it has:
    its last lap was of this run, and it left the garage for it."""
    last = track.laps[-1].run if track.laps else None
    return run.left_as is None and last == run.run.run
