"""A car that is on another run than was thought: which of its laps are that run's, and what it carries.

Nobody changes tyres or fills a car on the track. So a car that merely stayed out has what it left the garage with,
whatever run it is taken to be on. Where the feed showed no pit visit, but one of the laps beyond the run took as much
longer as the work before the next run takes, the car was in: it has what that run leaves with, from that lap on.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from pitwall.engine.progress import RESUME_SHARE
from pitwall.engine.run_state import RunState
from pitwall.model.plan import LapKind

if TYPE_CHECKING:
    from pitwall.engine.team import TeamCar

SLOW_KINDS: tuple[LapKind, ...] = ("out", "cool", "in")
SHORTEST_STOP_S = 60.0
"""No lap is taken for one with a stop for less, however little work was planned (common practice, no source)."""


def another_run(car: TeamCar, run: RunState, now: float) -> RunState | None:
    """The car stayed out beyond this run, and nobody called it in: the run that it is taken to be on from now on.

    The laps that count for that run are given its name on the record. None where no run of the plan explains it.
    """
    track = car.track
    stop = _lap_with_stop(car, run)
    timed = None if stop is None else sum(lap.kind == "timed" for lap in track.laps[stop + 1 :])
    before = run.timed_own
    found = car.progress.realign(now, track.on, timed)
    if found is None:
        return None
    first = stop
    if first is None:
        first, left = len(track.laps), before - run.timed_own
        while left > 0 and first > 0:
            first -= 1
            left -= track.laps[first].kind == "timed"
    for lap in track.laps[first:][-1:]:
        lap.run = found.run.run
    # Older laps are shared with what was believed before: they are made anew, not changed.
    track.laps[first:-1] = [replace(lap, run=found.run.run) for lap in track.laps[first:-1]]
    if stop is not None:
        car.carried.leaves(found, car.plan, track, track.laps[stop].start_t)
    return found


def seen_beyond(car: TeamCar, run: RunState) -> bool:
    """Guard: a car that was to come in was seen on the track since.

    The line alone does not show it the first time: a pit entry may be lost, and the line beside the lane taken for the
    track's. A second one does, where nothing else is seen all lap (a circuit without loops between the lines), unless
    the lap between took as long as one with a stop: then it was in.
    """
    if run.out_in or car.track.seen_phase > 0.0:
        return True
    return run.stayed_out > 1 and _lap_with_stop(car, run) is None


def _lap_with_stop(car: TeamCar, run: RunState) -> int | None:
    """Where on the record the last lap beyond the run stands that was long enough for a stop in the garage."""
    laps, stop_s = car.track.laps, max(RESUME_SHARE * run.run.after_garage_s.likely_s, SHORTEST_STOP_S)
    slowest = max(car.track.pace.lap_s(kind) for kind in SLOW_KINDS)
    for at in range(len(laps) - 1, max(len(laps) - run.stayed_out, 0) - 1, -1):
        lap = laps[at]
        long_enough = lap.end_t is not None and lap.end_t - lap.start_t >= slowest + stop_s
        if long_enough and lap.run == run.run.run and not lap.disturbed:
            return at
    return None
