"""The tyres of one team car as they really are, and the telemetry that reports them.

Each corner's carcass follows what the lap asks of it with a lag, and its pressure follows the temperature. A fault
heats one corner, or lets its air out, until the car is in its garage. Sizes are common practice, without a source.
"""

from __future__ import annotations

import math
from typing import Literal

from pitwall.model.events import TyreReported
from pitwall.rehearsal.agenda import Agenda
from pitwall.rehearsal.draws import Rng
from pitwall.rehearsal.feed import Feed
from pitwall.rehearsal.racing import RacingCar
from pitwall.rehearsal.truth import FaultShown, Span

What = Literal["tyre_hot", "pressure_loss"]
Corner = Literal["fl", "fr", "rl", "rr"]
CORNERS: tuple[Corner, ...] = ("fl", "fr", "rl", "rr")
LAGS_S = 40.0
BLANKET_C, GARAGE_C = 72.0, 25.0
SETTLES_C = {"out": 92.0, "timed": 98.0, "cool": 86.0, "in": 84.0}
CORNER_SPREAD_C, SCATTER_C, SCATTER_KPA = 2.5, 0.6, 0.4
KPA_AT_GARAGE, KPA_PER_C = 112.0, 0.55
HOTTER_C, LEAKS_KPA_PER_S = 45.0, 0.6
PLAINLY_HOT_C, PLAINLY_LOW_KPA, PLAINLY_LOW_OUT_KPA = 118.0, 118.0, 98.0
"""What nobody would doubt: beyond the limits of the demo car by more than telemetry scatters."""


class TyreModel:
    """Four corners, at most one of them at fault."""

    def __init__(self, car: RacingCar, every_s: float, feed: Feed, agenda: Agenda, prefix: str, rng: Rng) -> None:
        self._car, self._every_s, self._feed, self._agenda = car, every_s, feed, agenda
        self._prefix, self._rng = prefix, rng
        self._own = {corner: float(rng.normal(0.0, CORNER_SPREAD_C)) for corner in CORNERS}
        self._carcass = dict.fromkeys(CORNERS, BLANKET_C)
        self._lost = dict.fromkeys(CORNERS, 0.0)
        self._fault: tuple[What, Corner, float, float] | None = None
        self._count, self._plain = 0, list[Span]()
        self._over: list[FaultShown] = []

    def start(self, t: float) -> None:
        """Report from now on, as long as the world lasts."""
        self._agenda.at(t + self._every_s, self._step)

    def goes_wrong(self, what: What, lasts: float, t: float) -> None:
        """From now on, if the car is on track and nothing else is wrong with its tyres."""
        corner = CORNERS[int(self._rng.integers(len(CORNERS)))]
        if self._car.where == "track" and not self._stands(t) and self._fault is None:
            self._fault, self._plain = (what, corner, t, t + lasts), []

    def faults(self, t: float) -> tuple[FaultShown, ...]:
        """What went wrong until now, and in which spans it was plain to see."""
        if self._fault is None:
            return tuple(self._over)
        what, corner, since, _ = self._fault
        open_ = FaultShown(what=what, car=self._car.number, start_s=round(since, 3), end_s=round(t, 3), detail=corner,
                           plain=tuple(self._plain))
        return (*self._over, open_)

    def _end(self, t: float) -> None:
        self._over, self._fault = list(self.faults(t)), None

    def _step(self, t: float) -> None:
        if self._stands(t):
            pass  # what a tyre does under a car that stands on track is nobody's concern
        elif self._car.where == "track" and self._car.lap is not None:
            self._drive(t, SETTLES_C.get(self._car.lap.kind, SETTLES_C["out"]))
        elif self._car.where == "garage":
            self._end(t)
            self._carcass, self._lost = dict.fromkeys(CORNERS, BLANKET_C), dict.fromkeys(CORNERS, 0.0)
        self._agenda.at(t + self._every_s, self._step)

    def _stands(self, t: float) -> bool:
        return any(begin <= t < end for begin, end in self._car.halts[-1:])

    def _drive(self, t: float, settles_c: float) -> None:
        what, where, _, until = self._fault if self._fault is not None else (None, CORNERS[0], 0.0, 0.0)
        for corner in CORNERS:
            target = settles_c + self._own[corner]
            if what == "tyre_hot" and corner == where and t < until:
                target += HOTTER_C
            if what == "pressure_loss" and corner == where:
                self._lost[corner] += LEAKS_KPA_PER_S * self._every_s
            before = self._carcass[corner]
            self._carcass[corner] = target + (before - target) * math.exp(-self._every_s / LAGS_S)
            pressure = max(0.0, KPA_AT_GARAGE + KPA_PER_C * (self._carcass[corner] - GARAGE_C) - self._lost[corner])
            if corner == where and what is not None:
                hot = self._carcass[corner] > PLAINLY_HOT_C
                self._note(t, hot if what == "tyre_hot" else pressure < self._low_kpa)
            self._report(t, corner, self._carcass[corner], pressure)
        if what == "tyre_hot" and t >= until and self._carcass[where] < PLAINLY_HOT_C:
            self._end(t)

    @property
    def _low_kpa(self) -> float:
        on_out_lap = self._car.lap is not None and self._car.lap.kind == "out"
        return PLAINLY_LOW_OUT_KPA if on_out_lap else PLAINLY_LOW_KPA

    def _note(self, t: float, plain: bool) -> None:
        if plain and self._plain and t - self._plain[-1][1] <= 1.5 * self._every_s:
            self._plain[-1] = (self._plain[-1][0], round(t, 3))
        elif plain:
            self._plain.append((round(t, 3), round(t, 3)))

    def _report(self, t: float, corner: Corner, carcass_c: float, pressure_kpa: float) -> None:
        self._count += 1
        heat, air = self._rng.normal(0.0, SCATTER_C), self._rng.normal(0.0, SCATTER_KPA)
        fact = TyreReported(
            id=f"{self._prefix}-{self._car.number}-tyre-{self._count}", t=round(t, 3), car=self._car.number,
            corner=corner, carcass_c=round(carcass_c + float(heat), 1),
            pressure_kpa=round(max(0.0, pressure_kpa + float(air)), 1),
        )  # fmt: skip
        self._feed.message(fact, f"{self._car.number}-tyre")
