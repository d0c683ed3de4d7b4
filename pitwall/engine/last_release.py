"""Until when a car that stands in the garage may leave, so that its next run is still one.

A run with timed laps is one as long as a quick out-lap can be over before the flag, and, where a lap that was begun may
not be finished after it, a timed lap as well. A run without is one as long as the car leaves before the flag. Once not
even quick work on the car lets it leave by then, nobody is briefed or told to fire up for it.

What is to be done after the flag, such as practice starts, asks for a car that is on track when it falls: where the
next run is none any more, the car is readied for that, and leaves shortly before the flag.
"""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

from pitwall.engine import drivers, windows
from pitwall.engine.remaining import SPREAD, to_the_track_s
from pitwall.engine.run_state import RunState
from pitwall.engine.session_clock import RUNNING, SessionClock

if TYPE_CHECKING:  # the car asks for it
    from pitwall.engine.team import TeamCar

NONE_ANY_MORE = "no timed lap can start before the flag any more"
IN_HAND_S = 30.0
"""So long before the last moment the car is called out for what comes after the flag: whoever releases it may have to
wait for others, and a lap that is far on when the flag falls leaves no time to tell of it (a choice of ours)."""


def last_release_s(car: TeamCar, run: RunState, clock: SessionClock, now: float) -> float | None:
    """The latest moment at which the run may leave, session seconds, by the quickest usual laps and all that the
    clock may be off; None while nobody knows of a flag that ends it. Under red the usual lap counts: what can be won
    on it goes for the way to the exit, once it opens."""
    elsewhere = clock.more_windows and windows.bound_to(car.setup, run.run) != clock.window
    if not run.laps or elsewhere or not _flag_is_known(clock):
        return None
    flag_s = clock.end_s(now)
    if not needs_a_timed_lap(run):
        return flag_s
    pace, rules = car.track.pace, car.setup.regulations
    laps = ("out", *itertools.takewhile(lambda kind: kind != "timed", run.laps[run.resume_at :]))
    quick = {kind: 1.0 if clock.status == "red" else SPREAD[kind][0] for kind in laps}
    first_s = sum(quick[kind] * pace.lap_s(kind) for kind in laps)
    whole_s = 0.0 if rules.finish_started_lap else SPREAD["timed"][0] * pace.lap_s("timed")
    return flag_s + rules.clock_uncertainty_s - first_s - whole_s


def needs_a_timed_lap(run: RunState) -> bool:
    """Guard: timed laps of it are still to be driven."""
    return "timed" in run.laps[run.resume_at :]


def too_late(car: TeamCar, clock: SessionClock, now: float) -> bool:
    """Guard: the car stands in the garage, and however quick the work on it is, its next run is none any more."""
    run = car.progress.next
    last = None if run is None or car.track.on_track else last_release_s(car, run, clock, now)
    return last is not None and _soonest_s(car, clock, now) > last


def why_not(car: TeamCar, clock: SessionClock, now: float) -> str:
    """Why nobody is told to send the car that stands in the garage on its run, in words; empty where it may go."""
    if car.track.on_track:
        return ""
    return "kept in" if car.kept_in else NONE_ANY_MORE if too_late(car, clock, now) else ""


def note(car: TeamCar, clock: SessionClock, run: RunState | None, now: float) -> None:
    """The car came in: that its run, next by the plan, can have no timed lap any more stands beside why it ended."""
    if run is not None and run.state == "next" and needs_a_timed_lap(run) and too_late(car, clock, now):
        run.reason = "; ".join(one for one in (run.reason, NONE_ANY_MORE) if one)


def take_back_note(car: TeamCar, clock: SessionClock, now: float) -> None:
    """The flag moved back: what stood there of the next run holds no longer."""
    run = car.progress.next
    noted = run is not None and (run.reason or "").endswith(NONE_ANY_MORE)
    if run is None or not noted or not _flag_is_known(clock) or too_late(car, clock, now):
        return
    run.reason = (run.reason or "").removesuffix(NONE_ANY_MORE).removesuffix("; ") or None
    car.progress.revision += 1


# -- after the flag ----------------------------------------------------------------------------------------------------


def on_track_by_s(car: TeamCar, clock: SessionClock, now: float) -> float | None:
    """Until when the car may leave the garage to be on track as the flag falls, by all that the clock may be off;
    None while nobody knows of a flag."""
    if not _flag_is_known(clock):
        return None
    return clock.end_s(now) - car.setup.regulations.clock_uncertainty_s - to_the_track_s(car)


def after_this_flag(car: TeamCar, clock: SessionClock) -> RunState | None:
    """What of the plan is still to be done after this flag, by a car that is on track then, and may be."""
    return next((run for run in car.progress.runs if is_for_flag(run, clock) and any(
        item.state in ("planned", "called") and item.item.do in clock.after_flag_items for item in run.items)), None)


def is_for_flag(run: RunState, clock: SessionClock) -> bool:
    """Guard: a block to be done after this flag. One that is bound to a window is for its flag, any other for the last
    flag of the session."""
    if run.laps or run.run.after_flag is None or run.state not in ("planned", "next"):
        return False
    if run.run.window is None or not clock.windows:
        return not clock.more_windows
    return run.run.window in (clock.windows[clock.window].window, str(clock.window + 1))


def waits_for(car: TeamCar, clock: SessionClock, now: float) -> RunState | None:
    """The block after the flag for which the car must leave its garage: no run is left to leave for, or the next is
    none any more, and there is time for that, if the work on it allows."""
    by_s, block = on_track_by_s(car, clock, now), after_this_flag(car, clock)
    if by_s is None or block is None or now > by_s or car.track.on_track:
        return None
    return block if none_before_flag(car, clock, now) or too_late(car, clock, now) else None


def none_before_flag(car: TeamCar, clock: SessionClock, now: float) -> bool:
    """Guard: no run of the plan is left that could leave before this flag: there is none, or the next one waits for a
    later window."""
    run, release = car.progress.next, car.release_estimate(clock)
    if run is None or release is None:
        return run is None
    waits = clock.more_windows and last_release_s(car, run, clock, now) is None
    return waits and windows.start_within(car, run, release) >= clock.end_s(now)


def leaves_for(car: TeamCar, clock: SessionClock, now: float) -> RunState | None:
    """The same, where the car can be ready in time: it is called out for that."""
    by_s = on_track_by_s(car, clock, now)
    return None if by_s is None or _ready_for_block_s(car, clock) > by_s else waits_for(car, clock, now)


def _ready_for_block_s(car: TeamCar, clock: SessionClock) -> float:
    """A car that only a red flag sent back needs nothing done for that."""
    return 0.0 if car.progress.broken_by_red else ready_s(car, clock)


def release_s(car: TeamCar, clock: SessionClock, now: float, release: float | None) -> float | None:
    """When the car is expected to leave: for its run, in a window in which that fits, else for what comes after the
    flag; None when nothing is left to leave for. ``release``: when work and plan let its run leave."""
    by_s = on_track_by_s(car, clock, now)
    if by_s is not None and leaves_for(car, clock, now) is not None:
        return max(_ready_for_block_s(car, clock), by_s - IN_HAND_S)
    run = car.progress.next
    return None if run is None or release is None else windows.release_within(car, now, run, release)


def _flag_is_known(clock: SessionClock) -> bool:
    return clock.status in RUNNING or (clock.status == "red" and clock.running)


def _soonest_s(car: TeamCar, clock: SessionClock, now: float) -> float:
    return max(now, ready_s(car, clock))


def ready_s(car: TeamCar, clock: SessionClock) -> float:
    """From when the car could leave after quick work: what the plan waits for is left out, for a person may not."""
    parked_t, opens_s = car.progress.parked_t, clock.pit_exit_opens_s
    ready = 0.0 if parked_t is None else parked_t + drivers.stop(car).low_s
    return max(ready, opens_s) if clock.pit_exit == "closed" and opens_s is not None else ready
