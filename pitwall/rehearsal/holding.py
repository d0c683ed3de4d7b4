"""How a hold is really driven: to the speed, at the speed for as long as the driver counts, and back to the lap's pace.

Only where a scenario has its holds *driven*: then positions, speeds and the loops behind show what the driver did, and
the world knows to the hundredth where the data are. Elsewhere a hold costs time and nobody sees how.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from pitwall.model.plan import Scalar
from pitwall.model.procedure import Procedure
from pitwall.rehearsal.draws import Rng, between
from pitwall.rehearsal.ground import Ground
from pitwall.rehearsal.scenario import DriverHabits
from pitwall.rehearsal.truth import HeldTruth

STEP_S = 0.02
UP_MPS2, DOWN_MPS2 = (4.5, 6.0, 8.0), (5.0, 7.0, 10.0)  # off the throttle the air alone slows a quick car by 1 g
OFF_MPS, WAVERS_MPS, WAVERS_FOR_S = 0.35, 0.12, 0.6  # how far off the speed, and how unsteady, a driver is (invented)
LONGEST_S = 40.0
GIVES_UP_S = 15.0
MUST_BRAKE_MPS = 1.0
SAME_MPS, LEFT_MPS = 0.1, 0.5


@dataclass(frozen=True, eq=False)
class HeldPath:
    """The way of the car from the place at which it was asked to hold until it is back at the pace of its lap.

    Attributes:
        t, phase, at_m, mps: step by step; ``phase`` as the car counts it on this lap.
        on_s, off_s: when the speed was reached, and left.
    """

    t: np.ndarray
    phase: np.ndarray
    at_m: np.ndarray
    mps: np.ndarray
    on_s: float
    off_s: float

    @property
    def end_s(self) -> float:
        """When the car is back at the pace of its lap."""
        return float(self.t[-1])

    def metres(self, t: float) -> float:
        """Where the car is at ``t``."""
        return float(np.interp(t, self.t, self.at_m))

    def speed(self, t: float) -> float:
        """How fast it is at ``t``."""
        return float(np.interp(t, self.t, self.mps))

    def truth(self) -> HeldTruth:
        """What is written down of it."""
        begin, end = self.metres(self.on_s), self.metres(self.off_s)
        return HeldTruth(from_s=round(self.on_s, 3), to_s=round(self.off_s, 3), from_m=round(begin, 1),
                         to_m=round(end, 1), speed_mps=round((end - begin) / (self.off_s - self.on_s), 2))


@dataclass(frozen=True)
class HoldOrder:
    """What the driver was asked to hold, as he heard it."""

    speed_mps: float
    settle_s: float
    seconds: float


def hold_path(
    order: HoldOrder, ground: Ground, phases: np.ndarray, lap_s: float, start: tuple[float, float],
    habits: DriverHabits, rng: Rng,
) -> HeldPath | None:
    """Drive it.

    Args:
        order, ground: what to hold, and on which circuit; without geometry there is no path.
        phases: of each step of the ground, as the car counts them on this lap.
        lap_s: what a whole lap at the pace of this one would take.
        start: ``(session second, metres)`` at the place.
        habits: how the driver counts.
        rng: chance.

    Returns:
        the way; None where the speed is not reached before the next corner.
    """
    if ground.strain is None:
        return None
    metres = ground.strain.at_m
    usual = np.diff(metres) / np.maximum(np.diff(phases), 1e-9) / lap_s
    best = np.diff(metres) / np.diff(ground.strain.phase) / ground.lap_s
    middle = (metres[1:] + metres[:-1]) / 2
    up, down = between(rng, UP_MPS2), between(rng, DOWN_MPS2)
    level = order.speed_mps + OFF_MPS * float(rng.standard_normal())
    counted = order.settle_s + order.seconds * between(rng, habits.count)
    drive = _Drive(start[0], start[1], float(np.interp(start[1], middle, usual)), float(metres[-1]))

    def pace() -> float:
        return float(np.interp(drive.at_m, middle, usual))

    def limit() -> float:
        return float(np.interp(drive.at_m, middle, best))

    while abs(drive.mps - level) > 1e-6:
        if drive.t - start[0] > GIVES_UP_S or drive.at_its_end:
            return None
        drive.towards(min(level, limit() if level > drive.mps else level), up, down)
    on_s, wavers = drive.t, 0.0
    while drive.t < on_s + counted and not drive.at_its_end and level <= limit() + MUST_BRAKE_MPS:
        wavers += -wavers * STEP_S / WAVERS_FOR_S
        wavers += WAVERS_MPS * np.sqrt(2 * STEP_S / WAVERS_FOR_S) * float(rng.standard_normal())
        drive.at(level + wavers)
    off_s = drive.back_to(pace, level, up, down, start[0] + LONGEST_S)
    if off_s - on_s < 1.0:
        return None
    t, at_m, mps = (np.array(values) for values in (drive.ts, drive.ms, drive.vs))
    return HeldPath(t, np.interp(at_m, metres, phases), at_m, mps, on_s, off_s)


class _Drive:
    """A car on its way, step by step."""

    def __init__(self, t: float, at_m: float, mps: float, length_m: float) -> None:
        self.t, self.at_m, self.mps, self._length_m = t, at_m, mps, length_m
        self.ts, self.ms, self.vs = [t], [at_m], [mps]

    @property
    def at_its_end(self) -> bool:
        """So near the line that the next lap begins first."""
        return self.at_m > self._length_m - 60.0

    def back_to(self, pace: Callable[[], float], level: float, up: float, down: float, until_s: float) -> float:
        """From a held speed back to the pace of the lap; returns when the held speed was left: where both are about
        the same, later than the driver stopped counting."""
        off_s = self.t
        while (abs(self.mps - pace()) > up * STEP_S or abs(self.mps - level) < LEFT_MPS) and not self.at_its_end:
            self.towards(pace(), up, down)
            if abs(self.mps - level) < SAME_MPS and self.t - off_s < 1.5 * STEP_S:
                off_s = self.t
            if self.t > until_s:
                break
        return off_s

    def towards(self, mps: float, up: float, down: float) -> None:
        """One step nearer to a speed."""
        most = up * STEP_S if mps > self.mps else down * STEP_S
        self.at(mps if abs(mps - self.mps) <= most else self.mps + most * (1 if mps > self.mps else -1))

    def at(self, mps: float) -> None:
        """One step at a speed."""
        before, self.mps = self.mps, mps
        self.t, self.at_m = self.t + STEP_S, self.at_m + STEP_S * (before + mps) / 2
        self.ts.append(self.t)
        self.ms.append(self.at_m)
        self.vs.append(mps)


def hold_order(procedure: Procedure, arguments: Mapping[str, Scalar]) -> HoldOrder | None:
    """What a call asks the driver to hold; None where it names no speed."""
    if procedure.hold is None:
        return None
    _, value, to_mps = procedure.hold.speed()
    speed = _figure(procedure, value, arguments)
    if speed is None or speed <= 0:
        return None
    return HoldOrder(speed * to_mps, procedure.hold.settle_s, hold_seconds(procedure, arguments))


def hold_seconds(procedure: Procedure, arguments: Mapping[str, Scalar]) -> float:
    """For how long; nothing for a procedure without a hold."""
    if procedure.hold is None:
        return 0.0
    found = _figure(procedure, procedure.hold.seconds, arguments)
    return max(0.0, found) if found is not None else 5.0


def _figure(procedure: Procedure, wanted: Scalar, arguments: Mapping[str, Scalar]) -> float | None:
    """A number, or the argument of that name; None where it is none."""
    given: Scalar | None = wanted
    if isinstance(wanted, str):
        name = wanted.strip("{}")
        known = procedure.arguments.get(name)
        given = arguments.get(name, known.default if known is not None else None)
    try:
        return float(given) if given is not None else None
    except ValueError:
        return None


def speed_of(phases: np.ndarray, metres: np.ndarray, phase: float) -> float:
    """Metres that a lap covers for each whole of its time, at this phase."""
    here = min(max(int(np.searchsorted(phases, phase, side="right")) - 1, 0), len(phases) - 2)
    return float((metres[here + 1] - metres[here]) / max(phases[here + 1] - phases[here], 1e-9))
