"""A car that leaves its garage for nothing but what comes after the flag, such as practice starts.

No run of the plan is left for it before this flag, or the next one waits for a later window. It is briefed, called out
and called home as for a run of one lap, out and in, that bears the name of the block; the plan's own runs stay as they
are. It is on that lap that the flag falls: until then nobody calls it in.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from pitwall.engine import last_release
from pitwall.engine.run_state import RunState
from pitwall.engine.session_clock import SessionClock
from pitwall.model.plan import LapKind

if TYPE_CHECKING:  # the car asks for it
    from pitwall.engine.team import TeamCar

OUT_IN: tuple[LapKind, ...] = ("out", "in")


def next_leaving(car: TeamCar, clock: SessionClock, now: float) -> RunState | None:
    """What the car that stands in its garage leaves for next: its next run, or what stands for the block."""
    following, by_s = car.progress.next, last_release.on_track_by_s(car, clock, now)
    if car.track.on_track or (car.flag_run is not None and by_s is not None and now > by_s):
        return following  # a car that leaves a little too late leaves for the same
    block = last_release.leaves_for(car, clock, now)
    if block is None or not last_release.none_before_flag(car, clock, now):
        car.flag_run = None
    elif car.flag_run is None or car.flag_run.run.run != block.run.run:
        run = block.run.model_copy(update={"laps": OUT_IN, "items": ()})
        car.flag_run = RunState(run, OUT_IN, for_flag=True)
    return car.flag_run or following


def run_of(car: TeamCar) -> RunState | None:
    """The run that the car is on, or leaves for next; what stands for the block where it is that."""
    ours = car.flag_run
    if not car.track.on_track:
        return ours or car.progress.next
    return car.progress.current or (ours if ours is not None and ours.state == "running" else None)


def run_left_for(car: TeamCar, clock: SessionClock, t: float, told: str | None) -> RunState | None:
    """The car left its garage: the run of the plan that it is on; None where it left for the block alone. Long before
    the flag it did not."""
    ours = car.flag_run
    if ours is not None and clock.end_s(t) <= t + car.track.pace.lap_s("out"):
        ours.state, ours.leavings, ours.stayed_out = "running", ours.leavings + 1, 0
        return None
    car.flag_run = None
    return car.progress.leave(t, told)


def over_the_line(car: TeamCar) -> None:
    """The car is over the line: past the pit entry, so it is to be called in anew."""
    if car.flag_run is not None:
        car.flag_run.stayed_out += 1


def came_in(car: TeamCar) -> None:
    """The car is in: should it leave once more, that is another leaving."""
    if car.flag_run is not None:
        car.flag_run.state = "next"
