"""Runs and the windows of a session: in which one a run can still be done, and what becomes of it when its own is over.

A run waits for the next window when not even its fewest laps that count can be begun before the flag, by likely lap
times: sent all the same, it would be cut. A run that is bound to a window waits for that one.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from pitwall.engine.progress import PlanProgress, RunState
from pitwall.engine.session_clock import SessionClock
from pitwall.model.plan import Run
from pitwall.model.rules import SessionWindow
from pitwall.model.setup import SessionSetup
from pitwall.pace.laptimes import CarPace

if TYPE_CHECKING:
    from pitwall.engine.team import TeamCar

REST_S = 480.0  # nothing of a car comes due earlier than this before its release: brief, check list, driver change
LOOK_S = 5.0
MOVE_NOTHING = ("confirm", "acknowledge", "seen")  # commands: the next look takes in what they changed
REST_LOOK_S, REST_TICK_S = 30.0, 5.0
HAPPENS_AGAIN_S = 60.0  # put off once, a run comes forward again only with so much in hand: estimates waver
WINDOW_OVER = "its window is over"


def bound_to(setup: SessionSetup, run: Run) -> int | None:
    """Index of the window that the run is bound to; None when it may be done in any."""
    window: SessionWindow | None = setup.regulations.window(setup.session)
    return None if run.window is None or window is None else window.find(run.window)


def resting(clock: SessionClock, now: float) -> bool:
    """Guard: a break that lasts for a good while yet. The clock stands: it is told, and cars are looked at, less
    often."""
    if not clock.windows:
        return False
    window = clock.window_now
    waits = clock.status == "waiting" and clock.between_windows and not clock.running
    return waits and window is not None and window.from_s - now > REST_S


def can_wait(car: TeamCar, clock: SessionClock, now: float) -> bool:
    """Guard: on a long day, a car that stands in its garage with its release far off need not be looked at yet."""
    if not clock.windows or car.track.on_track or now >= car.refreshed_t + REST_LOOK_S:
        return False
    return car.release_s is None or car.release_s > now + REST_S


def stale(car: TeamCar, clock: SessionClock, now: float) -> bool:
    """Guard: nothing has had the car laid out anew for so long that it is for the time alone, less often in a break; or
    what its tyres show is told or over since."""
    if car.tyres_laid != tuple(car.tyres_told):
        return True
    if now < car.refreshed_t + LOOK_S or can_wait(car, clock, now):
        return False
    return now >= car.refreshed_t + REST_LOOK_S or not resting(clock, now)


def needs_s(run: RunState, pace: CarPace, finish_started_lap: bool) -> float:
    """Likely seconds from the release until the fewest laps that count are begun (or done, where that is asked for)."""
    if run.out_in:
        return pace.lap_s("installation")
    fewest = run.run.shorten_to if run.run.shorten_to is not None else (run.timed_wanted + 1) // 2
    missing = max(1, min(fewest, run.timed_wanted) - run.timed_done)
    total = pace.lap_s("out")
    for kind in run.laps[run.resume_at : -1]:
        missing -= kind == "timed"
        if kind == "timed" and missing <= 0:
            return total if finish_started_lap else total + pace.lap_s("timed")
        total += pace.lap_s(kind)
    return total


def start_within(car: TeamCar, run: RunState, start: float) -> float:
    """The earliest start from ``start`` on at which the run fits into a window; unchanged without windows."""
    if not car.ahead:
        return start
    bound = bound_to(car.setup, run.run)
    spans = [span for index, span in sorted(car.ahead.items()) if bound is None or index == bound]
    spans = spans or [*car.ahead.values()]
    needed = needs_s(run, car.track.pace, car.setup.regulations.finish_started_lap)
    for begin, end in spans:
        put_off = car.put_off is not None and car.put_off[0] == run.run.run and begin < car.put_off[1]
        if max(start, begin) + needed + (HAPPENS_AGAIN_S if put_off else 0.0) < end:
            return max(start, begin)
    # It fits nowhere: it is called as early as ever, and the forecast says what that means.
    return max(start, spans[0][0])


def release_within(car: TeamCar, now: float, run: RunState, release: float) -> float:
    """The same for the run that is next, which, once put off to a later window, is not called forward for a trifle."""
    found = start_within(car, run, release)
    first = min((begin for begin, _ in car.ahead.values()), default=found)
    car.put_off = (run.run.run, found) if found > max(release, first) else None
    return found


def turned(car: TeamCar, clock: SessionClock, now: float) -> None:
    """Another window's turn has come: runs bound to an earlier one are over."""
    for run in car.progress.runs:
        bound = bound_to(car.setup, run.run)
        if bound is not None and bound < clock.window:
            give_up(car.progress, run, now, WINDOW_OVER)
    if not car.track.on_track:
        car.progress.choose(now)


def cut_by_flag(car: TeamCar, clock: SessionClock, run: RunState, now: float) -> None:
    """The car came in after a window's flag with its run cut: given up where the plan says so, or with its window."""
    if run.run.cut_by_flag == "give_up":
        give_up(car.progress, run, now, "cut by the flag, and given up as the plan says")
    elif bound_to(car.setup, run.run) == clock.window:
        give_up(car.progress, run, now, WINDOW_OVER)
    car.progress.choose(now)


def give_up(progress: PlanProgress, run: RunState, now: float, reason: str) -> None:
    """Take a run that is not on track out of the plan, with its reason; one that is over stays as it is."""
    if run.state not in ("planned", "next", "cut"):
        return
    run.move("choose", now)
    if not run.end_block(now):
        run.move("give_up" if run.leavings else "skip", now, reason)
    for item in run.items:
        item.signal("lap_over" if item.state == "called" else "fail", now, item.reason or reason)
    progress.revision += 1
