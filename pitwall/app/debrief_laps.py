"""The laps of one car as they were followed, with what is known of each: the lap table of a debrief."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from pitwall.app.debrief_switches import switches_off
from pitwall.app.debrief_watch import CarWatch, LapStart, NotedSession
from pitwall.app.next_sets import sets_of_the_day
from pitwall.debrief.model import StatusSpan
from pitwall.debrief.session import time_of_day
from pitwall.engine.clean_laps import clean_lap
from pitwall.engine.field import Field
from pitwall.engine.laps import LapRecord
from pitwall.engine.team import TeamCar
from pitwall.model.debrief_rows import LapRow, Sector
from pitwall.model.facts import SessionStatus

SAME_LAP_S = 3.0
"""A lap that was mended afterwards begins so little beside what was noted as it began."""


def lap_rows(noted: NotedSession, name: str, spans: Sequence[StatusSpan]) -> tuple[LapRow, ...]:
    """Every lap that ended, in order."""
    car, watch = noted.session.team[name], noted.cars.get(name, CarWatch())
    of_run: Counter[str] = Counter()
    found = []
    for lap in car.track.laps:
        if lap.run is not None:
            of_run[lap.run] += 1
        found.append(_row(noted, car, watch, lap, of_run[lap.run] if lap.run is not None else None, spans))
    return tuple(found)


def _row(
    noted: NotedSession, car: TeamCar, watch: CarWatch, lap: LapRecord, lap_of_run: int | None,
    spans: Sequence[StatusSpan],
) -> LapRow:
    start, field = start_of(watch, lap), noted.session.field
    clean = clean_lap(field, car.car, lap)
    wrong, unverified = switches_off(noted.notes, noted.flags, car, watch, lap, start, noted.retold)
    end_s = lap.end_t if lap.end_t is not None else lap.start_t
    statuses = tuple(dict.fromkeys(_touching(spans, lap.start_t, end_s)))
    tyres = start.tyres if start is not None else None
    known = sets_of_the_day(car).get(tyres) if tyres is not None else None
    return LapRow(
        car=car.car, number=lap.number, run=lap.run, lap_of_run=lap_of_run, kind=lap.kind,
        start_s=round(lap.start_t, 3), end_s=round(end_s, 3), start_time=time_of_day(noted.notes, lap.start_t),
        lap_time_s=None if lap.lap_time_s is None else round(lap.lap_time_s, 3), sectors=sectors(car, lap),
        driver=start.driver if start is not None else None, tyres=tyres,
        compound=known.compound if known is not None else None,
        tyre_laps=start.tyre_laps if start is not None else None,
        fuel_kg=None if start is None or start.fuel_kg is None else round(start.fuel_kg, 2),
        status=statuses, clean=clean.why, clean_at=clean.at, lost_s=round(clean.lost_s, 3) if clean.at else None,
        switches_wrong=wrong, switches_unverified=unverified, car_ahead_s=car_ahead(field, car.car, lap),
        expected=start.expected if start is not None and lap.kind == "timed" else None,
        inferred=(*(("start",) if lap.inferred_start else ()), *(("end",) if lap.inferred_end else ())),
        stopped="red" in statuses,
    )


def start_of(watch: CarWatch, lap: LapRecord) -> LapStart | None:
    """What was noted as this lap began; None where nothing was (a lap that was entered by hand afterwards)."""
    near = min(watch.starts, key=lambda one: abs(one.start_t - lap.start_t), default=None)
    return near if near is not None and abs(near.start_t - lap.start_t) <= SAME_LAP_S else None


def sectors(car: TeamCar, lap: LapRecord) -> tuple[Sector, ...]:
    """Each loop of the lap in order, with the seconds from the place before it; the last ends at the line."""
    found: list[Sector] = []
    begun: float | None = lap.start_t if lap.start_phase == 0.0 else None
    for loop in car.lap_map.loop_order:
        if loop == "line":
            t = lap.end_t if lap.ended_at == "line" else None
        elif car.lap_map.loops[loop] < lap.start_phase:
            continue
        else:
            t = lap.crossings.get(loop)
        seconds = None if t is None or begun is None else round(t - begun, 3)
        found.append(Sector(loop=loop, t=None if t is None else round(t, 3), seconds=seconds))
        begun = t
    return tuple(found)


def car_ahead(field: Field, name: str, lap: LapRecord) -> float | None:
    """Seconds to the closest car ahead at any loop of this lap, its line included; None where nobody was ahead.

    Who passed longer ago than this lap took was in the pits, or a lap ago: he was not ahead.
    """
    passed = [*lap.crossings.items(), *([("line", lap.end_t)] if lap.ended_at == "line" and lap.end_t else [])]
    gaps = [field.passings.behind_s(loop, t, name) for loop, t in passed]
    closest = min((gap for gap in gaps if gap is not None), default=None)
    if closest is None or lap.end_t is None or closest > lap.end_t - lap.start_t:
        return None
    return round(closest, 2)


def _touching(spans: Sequence[StatusSpan], from_s: float, to_s: float) -> list[SessionStatus]:
    found: list[SessionStatus] = []
    for span in spans:
        if span.from_s < to_s and span.to_s > from_s:
            found.append("yellow" if span.status == "green" and span.sectors else span.status)
    return found
