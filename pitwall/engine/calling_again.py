"""A car that stands in the garage is called again: the pit exit opened anew, it may go again, or it did not leave.

A car that did not leave was late already, and nothing presses: its prompts come with their lead. After a reopening
every second counts, and the engine is fired up at once. One that was fired up just now is not told to fire up once
more.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from pitwall.engine.session_clock import RUNNING, SessionClock

if TYPE_CHECKING:
    from pitwall.engine.team import TeamCar

REOPEN_LEAD_S = 30.0  # after a reopening the next leaving is at least this far ahead, and a fire-up where it is to be
STILL_HERE_S = 20.0


def hold_release(car: TeamCar, now: float, lead_s: float = 0.0) -> None:
    """The pit exit opened again, or the car may go again: count the release back from a fair moment.

    Args:
        car: it stands in the garage.
        now: session second.
        lead_s: so long before its moment the first prompt is to stand there; 0 where time presses.
    """
    car.recalled = False
    fire_up_s = car.setup.calls.fire_up_s
    ahead = REOPEN_LEAD_S if warm(car, now) else max(REOPEN_LEAD_S, fire_up_s + lead_s)
    car.release_floor, car.since_s = now + ahead, now


def warm(car: TeamCar, now: float) -> bool:
    """Guard: somebody said a little while ago that the engine is to be fired up."""
    since = now - car.setup.calls.fire_up_s - REOPEN_LEAD_S
    return any(call.said_t is not None and since < call.said_t <= now for call in car.book.asking("fire_up"))


def look(car: TeamCar, clock: SessionClock, now: float) -> None:
    """A car that may go, was called and did not leave is called again."""
    leaving = car.book.asking("leave")
    leave = leaving[-1] if leaving else None
    may_go = clock.status in RUNNING and clock.pit_exit == "open" and not car.kept_in
    stands = car.progress.next is not None and not car.track.on_track and may_go
    if leave is None or leave.open or not stands:
        return
    run = car.progress.next
    # Not for a run that was left for before, and is to be resumed: its first leaving is long done.
    ours = run is not None and leave.spec.key.startswith(f"{run.run.run}-{run.leavings + 1}-leave")
    # After a reopening a fresh call is on its way: wait for that one.
    if ours and now >= max(leave.spec.say_by_s, car.release_floor) + STILL_HERE_S:
        car.recalls += 1
        if not warm(car, now):
            car.fire_ups = car.recalls
        recall(car, now)


def recall(car: TeamCar, now: float) -> None:
    """The car did not leave: its release is counted anew, and it is as late as before."""
    hold_release(car, now, car.setup.calls.lead_s)
    car.recalled = True
