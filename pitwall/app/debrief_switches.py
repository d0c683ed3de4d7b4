"""Timed laps that began with a switch that they must not have, by the alerts that the engine raised about it.

No belief of its own: what was told at the wall is what the lap table says. *Wrong* is what telemetry showed,
*unverified* is what nothing showed to be in place; the two are kept apart.
"""

from __future__ import annotations

from pitwall.app.debrief_watch import CarWatch, LapStart
from pitwall.debrief.notes import AlertNotes, Notes
from pitwall.engine.alerts.book import alert_key
from pitwall.engine.laps import LapRecord
from pitwall.engine.switch_watch import SETTLES_S
from pitwall.engine.team import TeamCar


def switches_off(
    notes: Notes, car: TeamCar, watch: CarWatch, lap: LapRecord, start: LapStart | None
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """``(wrong, unverified)``: the words of the alerts about switches that were out of place as this lap began.

    Empty for a lap that is not timed, and for one whose beginning nobody followed.
    """
    if lap.kind != "timed" or start is None:
        return (), ()
    found: dict[str, list[str]] = {"switch_wrong": [], "switch_unverified": []}
    # That another lap than the planned one is a timed lap may show only by its pace.
    known_by = start.heard_s + SETTLES_S if _planned(car, watch, lap) else lap.end_t or float("inf")
    for kind, texts in found.items():
        for switch in car.switches.car.switches:
            key = alert_key(kind, car.car, switch.switch)
            moves = [one.t for one in watch.moves if one.switch == switch.switch]
            alerts = [one for one in notes.alerts if one.raised.id == key]
            texts += [one.last.text for one in alerts if _of_the_start(one, start, moves, known_by)]
    return tuple(dict.fromkeys(found["switch_wrong"])), tuple(dict.fromkeys(found["switch_unverified"]))


def _planned(car: TeamCar, watch: CarWatch, lap: LapRecord) -> bool:
    """Guard: the plan had a timed lap there."""
    name, leg = watch.legs.get(lap.number, ("", 0))
    run = car.progress.find(name)
    return run is None or leg >= len(run.laps) or run.laps[leg] == "timed"


def _of_the_start(alert: AlertNotes, start: LapStart, moves: list[float], known_by: float) -> bool:
    """Guard: it stood after the line was heard of, or came so soon after it that it was about the lap's beginning.

    A switch that moved between the line and the alert was in place as the lap began. An alert that ended so soon, and
    no move ended it, was taken back: what became of the calls before the line showed another position to be wanted, or
    the driver's word that it was in place.
    """
    settled, raised, over = start.heard_s + SETTLES_S, alert.raised.t, alert.over_s
    if raised > known_by or (over is not None and over <= start.heard_s):
        return False
    if any(start.start_t < moved <= raised for moved in moves):
        return False
    return over is None or over > settled or any(start.start_t < moved <= over for moved in moves)
