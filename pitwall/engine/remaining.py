"""What is left of one car's session, as the forecaster reads it: laps, waits and works in their order.

A stop is told in the three points of the plan. People are known to tell ends that are passed now and then: quick and
slow stand for what one stop in ten is quicker or slower than, so the ends that nothing lies beyond are taken about
twice as far from the likely value (compare Moder and Rodgers, Judgment estimates of the moments of PERT type
distributions, Management Science 15 (1968), who read them as the 5th and 95th percentile). The car is called at the
likely time and leaves no sooner; work that takes longer than that is called for once more.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from pitwall.engine import drivers
from pitwall.engine.calling_again import REOPEN_LEAD_S
from pitwall.engine.progress import RunState
from pitwall.model.outlook import Activity, RunPace
from pitwall.model.plan import LapKind, ThreePoint
from pitwall.pace import horizon
from pitwall.pace.horizon import LapsAhead

if TYPE_CHECKING:  # the car asks how long it takes to the track
    from pitwall.engine.team import TeamCar

SPREAD: dict[str, tuple[float, float]] = {
    "out": (0.86, 1.13),
    "timed": (0.99, 1.03),
    "cool": (0.81, 1.12),
    "in": (0.87, 1.27),
}
"""One lap in ten is shorter or longer, over the likely lap time (quantiles in TRADE's measured base rates)."""
PIT_LANE_S = 20.0
"""Through the pit lane where the circuit file does not tell (common practice, no source)."""
LANE_PART = 0.3
"""Part of the lane between the line beside it and the garage, and again from there to its exit (common practice)."""
INTO_BOX_S, ROLLS_S = 6.0, 4.0
"""From the lane into the garage, and from the call until the car is in the lane (common practice, no source)."""
SAID_S = 6.0
"""From a call being due until the garage has heard it (common practice, no source)."""
CALLED_AGAIN_S = 10.0
"""What a car loses that was not ready when it was called (common practice, no source)."""
ENDS_BEYOND = 2.0
"""How many times as far from the likely value the ends of a beta-PERT lie as its 10th and 90th percentile: 1.98 for an
even one."""
MISTAKES = 0.1
"""Share of timed laps that a mistake or traffic spoils (common practice, no source)."""


def lane_s(car: TeamCar) -> float:
    """Seconds through the pit lane."""
    return car.lap_map.pit_lane_s(car.setup.regulations.pit_limit_kph) or PIT_LANE_S


def to_the_track_s(car: TeamCar) -> float:
    """Seconds from the garage to the pit exit."""
    return LANE_PART * lane_s(car) + ROLLS_S


def running(car: TeamCar, run: RunState, now: float, more: bool) -> tuple[list[Activity], RunPace]:
    """The rest of the run that the car is on, and the stop after it; ``more``: another run follows."""
    timed = sum(leg.kind == "timed" and not leg.running for leg in car.legs)
    begun = bool(car.legs) and car.legs[0].running and car.legs[0].kind == "timed"
    ahead = horizon.of_this_run(car.track.pace, timed + begun)
    seconds = iter(ahead.seconds[begun:])
    found: list[Activity] = []
    for leg in car.legs:
        if leg.running:
            found.append(_under_way(car, run, now))
        else:
            extra = car.extra_s(run, leg.index)
            found.append(_lap(car, run, leg.kind, leg.index, next(seconds) if leg.kind == "timed" else None, extra))
    return [*_with_lane(car, found, leaves=False), *stop_after(car, run, more)], _pace(ahead)


def to_come(car: TeamCar, run: RunState, t: float, begins: float, more: bool) -> tuple[list[Activity], RunPace]:
    """A run that is still to be driven, from its leaving to the stop after it. ``begins``: about when, for its pace."""
    legs = (0, *range(run.resume_at, len(run.laps))) if not run.out_in else (0,)
    timed = sum(run.laps[leg] == "timed" for leg in legs)
    ahead = horizon.of_next_run(car.track.pace, timed, max(0.0, begins - t))
    seconds = iter(ahead.seconds)
    if run.out_in:
        # One lap holds both halves, and what is to be done on either.
        extra = car.extra_s(run, 0) + car.extra_s(run, 1)
        laps = [_lap(car, run, "installation", None, None, extra)]
    else:
        laps = [_lap(car, run, run.laps[leg], leg, next(seconds) if run.laps[leg] == "timed" else None,
                     car.extra_s(run, leg)) for leg in legs]
    laps = _with_lane(car, laps, leaves=True)
    release = run.run.release
    laps[0] = laps[0].model_copy(update={"not_before_s": release.not_before, "not_after_s": release.not_after})
    return [*laps, *stop_after(car, run, more)], _pace(ahead)


def _pace(ahead: LapsAhead) -> RunPace:
    return RunPace(level=ahead.level, lap=ahead.lap, mistake_chance=MISTAKES)


def _lap(
    car: TeamCar, run: RunState, kind: LapKind, leg: int | None, timed_s: float | None, extra_s: float
) -> Activity:
    likely = (timed_s if timed_s is not None else car.track.pace.lap_s(kind)) + extra_s
    name = kind if kind in ("out", "timed", "cool", "in") else "out"
    low, high = SPREAD[name]
    return Activity(
        run=run.run.run, kind=name, low_s=likely * low, likely_s=likely, high_s=likely * high,
        points="pace" if name == "timed" else "tenths", items=_items(run, leg),
    )


def _items(run: RunState, leg: int | None) -> tuple[str, ...]:
    """Items still to be done on this lap; on either half of an installation lap."""
    return tuple(item.key for item in run.items if item.state in ("planned", "called") and leg in (None, item.leg))


def _under_way(car: TeamCar, run: RunState, now: float) -> Activity:
    """What is left of the lap that the car is on: to the line, or to the pit entry's side of it on an in-lap."""
    leg = car.legs[0]
    left = max(leg.end_s - max(now, leg.start_s), 0.0)
    name = leg.kind if leg.kind in ("out", "timed", "cool", "in") else "out"
    low, high = SPREAD[name]
    spread = car.track.spread(1.0)
    span = (left * low, left * high) if spread is None else (max(left - spread, 0.0), left + spread)
    whole = None if run.out_in and run.pointer == 0 else leg.index
    spoilt = any(after.again for after in car.legs[1:2])  # its items are done on the lap that is driven for it
    return Activity(run=run.run.run, kind=name, low_s=span[0], likely_s=left, high_s=span[1], points="tenths",
                    items=() if spoilt else _items(run, whole))


def _with_lane(car: TeamCar, laps: list[Activity], *, leaves: bool) -> list[Activity]:
    """The way from the garage to the pit exit, and from the pit entry to the garage, go with the first and last lap."""
    part = LANE_PART * lane_s(car)
    ways = [0.0] * len(laps)
    ways[0] += part + ROLLS_S if leaves else 0.0
    ways[-1] += part + INTO_BOX_S
    return [
        lap.model_copy(update={"low_s": lap.low_s + way, "likely_s": lap.likely_s + way, "high_s": lap.high_s + way})
        if way else lap for lap, way in zip(laps, ways, strict=True)
    ]


def stop_after(car: TeamCar, run: RunState, more: bool) -> list[Activity]:
    """The stop after this run; none when no run follows."""
    if not more:
        return []
    called = max(run.run.after_garage_s.likely_s - LANE_PART * lane_s(car) - INTO_BOX_S, 0.0)
    return [_work("garage", run.run.after_garage_s, called, 0.0, run.run.crew)]


def cut_work(car: TeamCar, run: RunState) -> Activity:
    """From the line in the lane until the car may leave again, when a red flag sent it back: the garage works on it as
    after the run, and it is called no sooner."""
    work = run.run.after_garage_s
    to_box = LANE_PART * lane_s(car) + INTO_BOX_S
    done = ThreePoint(low_s=work.low_s + to_box, likely_s=work.likely_s + to_box, high_s=work.high_s + to_box)
    return _work("garage", done, work.likely_s, 0.0, ())


def leaves_after_red_s(car: TeamCar) -> float:
    """From the end of a red flag until a car that is ready goes: it is called anew, and fired up once that is said."""
    return max(REOPEN_LEAD_S, car.setup.calls.fire_up_s) + SAID_S


def _work(
    kind: str, work: ThreePoint, called_s: float, lasted_s: float, crew: tuple[str, ...]
) -> Activity:
    low = max(work.likely_s - ENDS_BEYOND * (work.likely_s - work.low_s), 0.0)
    high = work.likely_s + ENDS_BEYOND * (work.high_s - work.likely_s)
    late = CALLED_AGAIN_S if high > low else 0.0
    return Activity.model_validate({
        "run": None, "kind": kind, "low_s": low + late, "likely_s": work.likely_s + late, "high_s": high + late,
        "not_under_s": called_s, "lasted_s": lasted_s, "crew": crew,
    })


def wait(car: TeamCar, now: float, team: list[TeamCar]) -> list[Activity]:
    """What is left of the stop that the car is in, up to its release: none when it is not known to leave."""
    if car.release_s is None:
        return []
    # Nobody leaves before the green light: a wait before it is counted from there.
    now_or_green = max(now, 0.0)
    left = max(0.0, car.release_s - now_or_green)
    parked = car.progress.parked_t
    if parked is None:
        return [Activity(run=None, kind="wait", low_s=left, likely_s=left, high_s=left)]
    work, crew = drivers.stop(car), _crew_of(car)
    box = parked + LANE_PART * lane_s(car) + INTO_BOX_S
    lasted = max(0.0, now - box) if not _queues(car, crew, team, now) else 0.0
    return [_work("wait", work, left + lasted, lasted, crew)]


def _crew_of(car: TeamCar) -> tuple[str, ...]:
    """Who works on the car in the garage: the crew of the run that it came in from."""
    ended = [run for run in car.progress.runs if run.end_t is not None]
    last = max(ended, key=lambda run: run.end_t or 0.0, default=None)
    return last.run.crew if last is not None else ()


def _queues(car: TeamCar, crew: tuple[str, ...], team: list[TeamCar], now: float) -> bool:
    """Guard: a car that came in before this one, with some of the same crew, is likely still worked on."""
    mine = car.progress.parked_t or 0.0
    for other in team:
        parked = other.progress.parked_t
        if other is car or other.track.on_track or parked is None or not set(crew) & set(_crew_of(other)):
            continue
        if (parked, other.car) < (mine, car.car) and now < parked + drivers.stop(other).likely_s:
            return True
    return False
