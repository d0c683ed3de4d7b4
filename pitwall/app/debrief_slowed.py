"""Laps on which most was lost where the car was held for an item: he did as he was told, and made no mistake."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from pitwall.app.debrief_items import ItemsOfCar
from pitwall.engine.team import TeamCar
from pitwall.errors import UserError
from pitwall.model.debrief_rows import DataWindow, LapRow


def slowed(car: TeamCar, laps: Sequence[LapRow], items: ItemsOfCar) -> tuple[LapRow, ...]:
    """The same laps; on which a hold explains what was lost, ``hold`` stands in the place of ``mistake``."""
    places = {}
    for row in items.rows:
        try:
            places[row.item] = None if row.place is None else car.lap_map.phase_of(row.place)
        except UserError:
            continue  # a changed plan may name a place that the circuit does not know
    holds = [one for one in items.windows if one.what == "hold" and one.outcome != "not_done"]
    return tuple(lap.model_copy(update={"clean": "hold"}) if lap.clean == "mistake" and any(
        one.lap_number == lap.number and lost_to(lap, one, places.get(one.item), car.lap_map.loops) for one in holds)
        else lap for lap in laps)


def lost_to(lap: LapRow, hold: DataWindow, place: float | None, loops: Mapping[str, float]) -> bool:
    """Guard: the car was held, or on its way to the speed, on the stretch on which most was lost.

    Args:
        lap: with the loop that ends that stretch.
        hold: of an item on this lap. It begins where its speed is reached; the driver slows from its place on.
        place: phase at which it is to begin.
        loops: phase of each loop.
    """
    at = next((number for number, one in enumerate(lap.sectors) if one.loop == lap.clean_at), None)
    if at is None:
        return False
    begin = loops[lap.sectors[at - 1].loop] if at else 0.0
    end = loops[lap.clean_at] or 1.0
    if place is not None and begin <= place < end:
        return True
    since, until = lap.sectors[at - 1].t if at else lap.start_s, lap.sectors[at].t
    return since is not None and until is not None and hold.from_s.value < until and hold.to_s.value > since
