"""Positions on the lap, from feeds that have them: they say where a car is between two loops."""

from __future__ import annotations

from pitwall.engine import holds
from pitwall.engine.field import Field
from pitwall.engine.team import TeamCar
from pitwall.model.events import CarPositioned, CarSighted


def sighted(field: Field, event: CarPositioned | CarSighted) -> bool:
    """Tell the car's track where it was seen; True when it was believed.

    A car that is not followed yet is not made one by a position: nothing is known of its lap. On a circuit without
    geometry metres say nothing; a share of the lap does.
    """
    track = field.tracks.get(event.car)
    if track is None:
        return False
    phase = event.share if isinstance(event, CarSighted) else track.lap_map.phase_at_distance(event.distance_m)
    return phase is not None and track.sight(event.t, phase)


def positioned(field: Field, car: TeamCar | None, event: CarPositioned | CarSighted, now: float) -> bool:
    """A position came, of one of our cars (``car``) or of another. True when the calls must be looked at anew."""
    seen = sighted(field, event)
    if car is None:
        return False
    held = isinstance(event, CarPositioned) and holds.position(car, event, now)
    return held or (seen and car.strayed)
