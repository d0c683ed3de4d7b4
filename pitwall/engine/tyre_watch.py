"""Tyre temperatures and pressures beyond the limits of the car file: one alert for each car and side, with its corners.

Only what was measured on track since the car left, or drove on after a stop, counts. Where the timing of all cars is
silent, a car that nobody sees has not stopped for that: what its telemetry shows counts all the same. With no other car
out nobody can tell the two apart, and a car that is not seen is one that stands. A value
is beyond its limit once reports of ``holds_s`` and more, without one inside between them, have shown it there (an
on-delay in the time of the telemetry, so a single report never does); it is back inside only by the deadband.
Telemetry that falls silent shows nothing: what stands, stands.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Literal, NamedTuple

from pitwall.engine.alerts.book import AlertBook
from pitwall.engine.alerts.policy import Limit
from pitwall.engine.field import SLOWEST
from pitwall.engine.team import TeamCar
from pitwall.model.events import TyreReported
from pitwall.model.outputs import Output, Status
from pitwall.model.tyre import Corner, TyreLimit, TyreValue, axle_of, limit_of

Side = Literal["low", "high"]
VALUES: tuple[TyreValue, ...] = ("carcass_c", "surface_c", "pressure_kpa")
SIDES: tuple[Side, ...] = ("high", "low")
CORNERS: dict[Corner, str] = {"fl": "front left", "fr": "front right", "rl": "rear left", "rr": "rear right"}
UNITS: dict[TyreValue, tuple[str, str]] = {
    "carcass_c": ("carcass", "°C"), "surface_c": ("surface", "°C"), "pressure_kpa": ("pressure", "kPa")
}  # fmt: skip
TYRE_KINDS = ("tyre_hot", "tyre_cold", "tyre_pressure_high", "tyre_pressure_low")
RESTS_S = 60.0  # a gap in the reports longer than this breaks the on-delay


class _Place(NamedTuple):
    corner: Corner
    of: TyreValue
    side: Side


@dataclass
class _Beyond:
    """A value beyond its limit: since when, until which report, and whether that was long enough. Telemetry's time."""

    since_t: float
    last_t: float
    told: bool = False


@dataclass
class _CarTyres:
    exit_t: float | None = None
    spoke_t: float = float("-inf")
    value: dict[tuple[Corner, TyreValue], tuple[float, float]] = field(default_factory=dict)
    beyond: dict[_Place, _Beyond] = field(default_factory=dict)


@dataclass
class TyreWatch:
    """Mutable: what telemetry showed of each car's tyres since it left.

    ``silent``: from when to when the timing of all cars was silent last, session seconds.
    """

    cars: dict[str, _CarTyres] = field(default_factory=dict)
    silent: tuple[float, float] | None = None

    def timing(self, heard_t: float | None, apart_s: float, silent_after_s: float, now: float) -> None:
        """Every few seconds: when any message of the timing was received last, how long a car at the pace takes from
        loop to loop at most, and after how long a car that is not seen counts as stopped.

        With a single car out the timing says nothing for an out-lap from loop to loop. Where that is longer than a car
        may be unseen, every car would stand before the timing counts as silent: the shorter of the two decides."""
        if heard_t is not None and now - heard_t >= min(SLOWEST * apart_s, silent_after_s):
            self.silent = heard_t, now

    def _running(self, car: TeamCar, now: float) -> bool:
        """Guard: on track, and nothing says that it stands there: as long as the timing is silent, and then for as
        long as a car may be unseen, its own silence says nothing while its telemetry speaks."""
        if not car.track.on_track or car.track.state != "stopped":
            return car.track.on_track
        after, seen = car.setup.calls.silent_after_s, self.cars.get(car.car)
        if self.silent is None or seen is None or now - seen.spoke_t > RESTS_S:
            return False
        since, until = self.silent
        others = (track for name, track in car.field_tracks.items() if name != car.car)
        unseen = any(track.on_track and track.moving_t + after > since for track in others)
        return unseen and car.track.seen_t + after > since and now <= until + after

    def reported(
        self, event: TyreReported, team: Mapping[str, TeamCar], alerts: AlertBook, status: Status, now: float
    ) -> list[Output]:
        """Telemetry spoke of a corner."""
        car = team.get(event.car)
        if car is None or not car.switches.car.tyre_limits:
            return []
        self._of(car).spoke_t = now
        if not self._running(car, now):
            return self.look(car, alerts, status, now)
        seen = self._of(car)
        for of in VALUES:
            value = getattr(event, of)
            before = seen.value.get((event.corner, of))
            if value is not None and (before is None or event.t >= before[0]):
                seen.value[event.corner, of] = (event.t, value)
                self._judge(car, event.corner, of)
        return self.look(car, alerts, status, now)

    def look(self, car: TeamCar, alerts: AlertBook, status: Status, now: float) -> list[Output]:
        """Every few seconds and after each report: which alerts stand for what is beyond its limit."""
        if not car.switches.car.tyre_limits:
            return []
        found: list[Output] = []
        running = self._running(car, now)
        if not running:
            self.cars.pop(car.car, None)
        told = list(self._told(car)) if running else []
        places = {(kind, axle_of(corner)) for kind, corner, _ in told}
        car.tyres_told = {place: car.tyres_told.get(place, now) for place in sorted(places)}
        for kind in TYRE_KINDS:
            words = [text for this, _, text in told if this == kind]
            if words:
                found += alerts.hold(kind, car.car, f"Car {car.car}: {'; '.join(words)}", now, status)
            else:
                found += alerts.over(kind, car.car, now)
        return found

    def _of(self, car: TeamCar) -> _CarTyres:
        """What is known of the tyres on the car: nothing from before it left."""
        seen = self.cars.setdefault(car.car, _CarTyres())
        if seen.exit_t != car.track.pit_exit_t:
            self.cars[car.car] = seen = _CarTyres(car.track.pit_exit_t)
        return seen

    def _judge(self, car: TeamCar, corner: Corner, of: TyreValue) -> None:
        seen = self._of(car)
        t, value = seen.value[corner, of]
        for side in SIDES:
            place = _Place(corner, of, side)
            before, limit = seen.beyond.get(place), _limit(car, place)
            if before is not None and not before.told and t - before.last_t > RESTS_S:
                before = None
            if limit is None or not _line(limit, side).holds(value, before is not None and before.told):
                seen.beyond.pop(place, None)
                continue
            beyond = seen.beyond[place] = before or _Beyond(t, t)
            beyond.last_t = t
            beyond.told = beyond.told or (t > beyond.since_t and t - beyond.since_t >= limit.holds_s)

    def _told(self, car: TeamCar) -> Iterator[tuple[str, Corner, str]]:
        """Kind of alert, corner and words for each value beyond its limit, corner after corner."""
        seen = self._of(car)
        for corner, name in CORNERS.items():
            for of in VALUES:
                for side in SIDES:
                    place = _Place(corner, of, side)
                    beyond = seen.beyond.get(place)
                    limit = _limit(car, place) if beyond is not None and beyond.told else None
                    if limit is not None:
                        word, unit = UNITS[of]
                        at, value = _line(limit, side).at, seen.value[corner, of][1]
                        yield _kind(of, side), corner, f"{name} {word} {value:.0f} {unit}, limit {at:g}"


def _limit(car: TeamCar, place: _Place) -> TyreLimit | None:
    track, tyres = car.track, car.plan.tyre_sets.get(car.carried.tyres or "")
    compound = track.compound or (tyres.compound if tyres is not None else None)
    return limit_of(car.switches.car.tyre_limits, place.side, place.of, place.corner, compound, track.lap_kind)


def _line(limit: TyreLimit, side: Side) -> Limit:
    at = limit.high if side == "high" else limit.low
    assert at is not None
    return Limit(at, limit.deadband, rising=side == "high")


def _kind(of: TyreValue, side: Side) -> str:
    if of == "pressure_kpa":
        return f"tyre_pressure_{side}"
    return "tyre_hot" if side == "high" else "tyre_cold"
