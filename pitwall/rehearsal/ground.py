"""The world's own circuit: places as shares of the lap time, from its own idea of grip and power.

Written apart from ``track/`` on purpose: if the world drove on the product's speed profile, a mistake in that profile
would be invisible in a rehearsal. The method here is coarser: corner speeds in closed form, then one pass forward under
power and one backward under braking, 5 m apart, without coupling of lateral and longitudinal grip.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from pitwall.model.car import Car
from pitwall.model.circuit import Circuit, Segment
from pitwall.model.units import KPH_PER_MPS
from pitwall.rehearsal.draws import Rng, shifted
from pitwall.rehearsal.scenario import PaceOfWorld

GRAVITY_MPS2 = 9.81
AIR_KG_M3 = 1.2
STEP_M = 5.0


@dataclass(frozen=True, eq=False)
class Strain:
    """What a good lap does to whoever drives it, step by step.

    Attributes:
        phase: where each step begins and the last one ends, shares of the lap time, shape ``(n + 1,)``.
        aside_mps2: load to the side on each step, shape ``(n,)``.
        slowing_mps2: how hard the car slows down there; negative under power.
        at_m: metres from the line where each step begins and the last one ends, shape ``(n + 1,)``.
    """

    phase: np.ndarray
    aside_mps2: np.ndarray
    slowing_mps2: np.ndarray
    at_m: np.ndarray


@dataclass(frozen=True)
class Ground:
    """A circuit as the world drives it. Phases are shares of the lap time, 0 to 1 from line to line.

    ``lane_s`` is the drive through the pit lane without stopping; ``line_part`` the share of it that lies before the
    finish line.
    """

    lap_s: float
    loops: tuple[tuple[str, float], ...]
    entry: float
    exit: float
    last_chance: float
    lane_s: float
    line_part: float
    line_in_lane: bool
    sectors: dict[str, tuple[float, float]]
    places: dict[str, float]
    speeds: dict[str, float]
    strain: Strain | None = None

    def phase_of(self, place: str | None) -> float | None:
        """Where a place named in a call lies; ``after turn 4`` is the end of the turn. None when it is unknown."""
        if place is None:
            return None
        words = place.strip().lower()
        for form in (words, words.removeprefix("at ").removeprefix("the ").removeprefix("before ")):
            if form in self.places:
                return self.places[form]
        return None


def _speed_limits(segments: tuple[Segment, ...], car: Car, grip: float) -> tuple[np.ndarray, np.ndarray]:
    """Highest cornering speed at each step (m/s) and the length of each step (m).

    In a corner m v^2 / R = grip (m g + 0.5 rho A v^2); solved for v.
    """
    limits: list[float] = []
    lengths: list[float] = []
    mass = car.mass_kg + 30.0
    lift = 0.5 * AIR_KG_M3 * car.downforce_area_m2
    for segment in segments:
        steps = max(1, round(segment.length_m / STEP_M))
        top = car.top_speed_mps
        if segment.radius_m is not None:
            room = mass / segment.radius_m - grip * lift
            top = min(top, math.sqrt(grip * mass * GRAVITY_MPS2 / room)) if room > 0 else top
        limits.extend([top] * steps)
        lengths.extend([segment.length_m / steps] * steps)
    return np.array(limits), np.array(lengths)


def _drive(limits: np.ndarray, lengths: np.ndarray, car: Car, grip: float, power: float) -> np.ndarray:
    """Speed at each step (m/s): forward under power, backward under braking, twice round so that the ends meet."""
    speed = limits.tolist()
    steps = lengths.tolist()
    count, mass = len(speed), car.mass_kg + 30.0
    drag = 0.5 * AIR_KG_M3 * car.drag_area_m2 / mass
    lift = 0.5 * AIR_KG_M3 * car.downforce_area_m2 / mass
    for index in range(2 * count):
        here, after = index % count, (index + 1) % count
        v = speed[here]
        push = min(car.traction_mps2, power / (mass * max(v, 5.0))) - drag * v * v
        speed[after] = min(speed[after], math.sqrt(max(v * v + 2 * push * steps[here], 4.0)))
    for index in range(2 * count, 0, -1):
        here, before = index % count, (index - 1) % count
        v = speed[here]
        brake = min(car.brake_mps2, grip * (GRAVITY_MPS2 + lift * v * v)) + drag * v * v
        speed[before] = min(speed[before], math.sqrt(v * v + 2 * brake * steps[before]))
    return np.array(speed)


class _Shares:
    """Turns metres into shares of the lap time; on a timing-only circuit shares are given already."""

    def __init__(self, circuit: Circuit, car: Car, pace: PaceOfWorld, rng: Rng) -> None:
        grip, power = car.grip * shifted(rng, pace.grip), car.power_w * shifted(rng, pace.power)
        factor = shifted(rng, pace.lap)
        self._at: np.ndarray | None = None
        if circuit.timing_only:
            assert circuit.lap_s is not None
            self.lap_s = circuit.lap_s * factor
            return
        limits, lengths = _speed_limits(circuit.segments, car, grip)
        self._speed = _drive(limits, lengths, car, grip, power)
        # The mean of both ends: a step's time at its entry speed alone is long under power and short under braking.
        after = np.roll(self._speed, -1)
        times = 2 * lengths / (self._speed + after)
        self._at = np.concatenate(([0.0], np.cumsum(lengths)))
        self._time = np.concatenate(([0.0], np.cumsum(times)))
        self.lap_s = float(self._time[-1]) * factor

    def phase(self, metres: float | None, share: float | None) -> float:
        """Share of the lap time at which this place lies."""
        if self._at is None:
            return float(share or 0.0)
        return float(np.interp(metres or 0.0, self._at, self._time) / self._time[-1])

    def strain(self, segments: tuple[Segment, ...]) -> Strain | None:
        """Loads along a good lap; None without geometry."""
        if self._at is None:
            return None
        bends: list[float] = []
        for segment in segments:
            bend = 1.0 / segment.radius_m if segment.radius_m else 0.0
            bends.extend([bend] * max(1, round(segment.length_m / STEP_M)))
        after = np.roll(self._speed, -1)
        slowing = (self._speed**2 - after**2) / (2 * np.diff(self._at))
        aside = np.maximum(self._speed, after) ** 2 * np.array(bends)
        return Strain(self._time / self._time[-1], aside, slowing, self._at)

    def speed(self, metres: float | None) -> float | None:
        """Speed there on a good lap, m/s; None without geometry."""
        if self._at is None or metres is None:
            return None
        return float(np.interp(metres, self._at[:-1], self._speed))


def _turns(circuit: Circuit, shares: _Shares) -> dict[str, float]:
    found: dict[str, float] = {}
    metres = 0.0
    for segment in circuit.segments:
        if segment.turn is not None:
            name = f"turn {segment.turn}"
            found.setdefault(name, shares.phase(metres, None))
            found[f"after {name}"] = shares.phase(metres + segment.length_m, None)
        metres += segment.length_m
    return found


def _places(circuit: Circuit, shares: _Shares) -> dict[str, float]:
    pit = circuit.pit
    found = _turns(circuit, shares)
    found["line"] = 0.0
    found["pit entry"] = shares.phase(pit.entry_m, pit.entry_share)
    found["pit exit"] = shares.phase(pit.exit_m, pit.exit_share)
    found["grid"] = found["line"]
    for place in circuit.places:
        found[place.place.strip().lower()] = shares.phase(place.at_m, place.at_share)
    for loop in circuit.loops:
        found[f"loop {loop.loop}".lower()] = shares.phase(loop.at_m, loop.at_share)
    for name in sorted(found):
        if not name.startswith("after "):
            found.setdefault(f"after {name}", found[name])
    return found


def _lane(circuit: Circuit, limit_kph: float, lap_s: float) -> tuple[float, float]:
    """Seconds through the pit lane, and the part of it before the line."""
    pit = circuit.pit
    if circuit.timing_only:
        before, after = 1.0 - (pit.entry_share or 0.0), pit.exit_share or 0.0
        length = None
    else:
        before, after = (circuit.length_m or 0.0) - (pit.entry_m or 0.0), pit.exit_m or 0.0
        length = pit.lane_length_m or before + after
    part = before / (before + after) if before + after > 0 else 0.5
    if pit.lane_s:
        return pit.lane_s, part
    if length is None:
        return max(12.0, 0.2 * lap_s), part
    return length / (limit_kph / KPH_PER_MPS), part


def lay_ground(circuit: Circuit, car: Car, limit_kph: float, pace: PaceOfWorld, rng: Rng) -> Ground:
    """The circuit as this world drives it, for a car like ``car`` whose grip and power this world changes."""
    shares = _Shares(circuit, car, pace, rng)
    places = _places(circuit, shares)
    pit = circuit.pit
    lane_s, part = _lane(circuit, limit_kph, shares.lap_s)
    loops = sorted(
        (shares.phase(loop.at_m, loop.at_share), loop.loop) for loop in circuit.loops if loop.loop != "line"
    )
    speeds = {loop.loop: shares.speed(loop.at_m or 0.0) for loop in circuit.loops}
    return Ground(
        lap_s=shares.lap_s,
        loops=tuple((name, phase) for phase, name in loops),
        entry=places["pit entry"],
        exit=places["pit exit"],
        last_chance=shares.phase(pit.last_chance_m, pit.last_chance_share),
        lane_s=lane_s * abs(shifted(rng, pace.pit)),
        line_part=part,
        line_in_lane=pit.line_in_lane,
        sectors={
            item.sector: (shares.phase(item.from_m, item.from_share), shares.phase(item.to_m, item.to_share))
            for item in circuit.marshal_sectors
        },
        places=places,
        speeds={name: speed for name, speed in speeds.items() if speed is not None},
        strain=shares.strain(circuit.segments),
    )
