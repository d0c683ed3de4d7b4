"""Positions of the team's own cars, as satellite receivers give them: often, a metre or two off, late."""

from __future__ import annotations

from pitwall.model.events import CarPositioned
from pitwall.rehearsal.agenda import Agenda
from pitwall.rehearsal.draws import Rng
from pitwall.rehearsal.feed import Feed
from pitwall.rehearsal.racing import RacingCar

OFF_M = 1.5  # one sigma of a receiver in motion (common practice, no source)
OFF_MPS = 0.1  # of its speed, which it measures apart from the place (common practice, no source)


class Positions:
    """Reports where one car is, as long as it is on track."""

    def __init__(self, car: RacingCar, every_s: float, lap_m: float, agenda: Agenda, feed: Feed, prefix: str,
                 rng: Rng, *, speeds: bool = False) -> None:
        self._car, self._every_s, self._lap_m = car, every_s, lap_m
        self._agenda, self._feed, self._prefix, self._rng = agenda, feed, prefix, rng
        self._count, self._speeds = 0, speeds

    def start(self, t: float) -> None:
        """Report from now on, until nobody advances the agenda any more."""
        self._look(t)

    def _look(self, t: float) -> None:
        metres = self._car.metres_at(t)
        off = OFF_M * float(self._rng.standard_normal())
        speed = self._speed(t)
        if metres is not None:
            self._count += 1
            self._feed.message(
                CarPositioned(id=f"{self._prefix}-{self._car.number}-at-{self._count}", t=round(t, 3),
                              car=self._car.number, distance_m=round((metres + off) % self._lap_m, 1),
                              speed_mps=speed),
                f"{self._car.number}-positions",
            )  # fmt: skip
        self._agenda.at(t + self._every_s, self._look)

    def _speed(self, t: float) -> float | None:
        if not self._speeds:
            return None
        speed, off = self._car.speed_at(t), OFF_MPS * float(self._rng.standard_normal())
        return None if speed is None else round(max(0.0, speed + off), 2)
