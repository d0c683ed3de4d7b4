"""Whether a car has slowed down since a flag: from its own crossings, for nothing else tells what its driver knows.

A section is compared with the same section of the car's quick lap. A car at pace needs no more than a tenth longer;
under red the tenth of the cars that slowed least needed 1.25 times as long and more, from five seconds after the flag
on (two red flags of three recorded sessions; ``FLAG_PACE``).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from pitwall.engine.laps import LapRecord

if TYPE_CHECKING:
    from pitwall.engine.team import TeamCar

SLOW_RATIO = 1.12
HEARS_S = 5.0  # nobody can have slowed for a flag before
LATE_S = 3.0  # a crossing may be told so late


def slowed(car: TeamCar, since: float, now: float) -> bool:
    """Guard: the car is slower than its quick lap by an eighth since a flag that was out at second ``since``: on its
    last section, or it has not come to the next loop in time."""
    last = last_section(car, since)
    if last is not None and last >= SLOW_RATIO:
        return True
    track = car.track
    ahead = min((phase for phase in car.lap_map.loops.values() if phase > track.seen_phase + 1e-9), default=1.0)
    return now > max(track.seen_t + SLOW_RATIO * _quick_s(car, track.seen_phase, ahead), since + HEARS_S) + LATE_S


def last_section(car: TeamCar, since: float) -> float | None:
    """The last section, or what of it was driven well after ``since``, as a multiple of its time on a quick lap; None
    before there is enough of it. Up to the flag the car counts as quick."""
    passed = _passes(car)
    for (begin_s, begin, _), (end_s, _, end) in zip(reversed(passed[:-1]), reversed(passed[1:]), strict=True):
        if end <= begin:
            continue
        after = end_s - max(begin_s, since + HEARS_S)
        if after < HEARS_S:
            return None
        lost = end_s - begin_s - _quick_s(car, begin, end)
        return after / max(after - lost, 0.1)
    return None


def _quick_s(car: TeamCar, begin: float, end: float) -> float:
    pace = car.track.pace
    return max((pace.bend(end) - pace.bend(begin)) * pace.quick_s(), 0.1)


def _passes(car: TeamCar) -> list[tuple[float, float, float]]:
    """Where the car was seen on its last two laps: when, and at which phase a section begins and at which one ends."""
    found: list[tuple[float, float, float]] = []
    for lap in _last_laps(car):
        found.append((lap.start_t, lap.start_phase, 1.0 if lap.start_phase == 0.0 else lap.start_phase))
        for loop, t in sorted(lap.crossings.items(), key=lambda one: one[1]):
            phase = car.lap_map.loops[loop]
            if phase > 0:
                found.append((t, phase, phase))
    return found


def _last_laps(car: TeamCar) -> list[LapRecord]:
    running = [car.track.lap] if car.track.lap is not None else []
    return [*car.track.laps[-1:], *running]
