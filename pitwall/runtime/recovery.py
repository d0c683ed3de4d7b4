"""After a restart: where session time stands, and for how long nobody was listening.

Session time ran on while the daemon was dead. Live, the last journaled event carries the time of day at which it was
taken, so session time now is its session second plus the wall time since, at the rate the feed last gave. A wall clock
that was set back meanwhile counts as no gap. In virtual time the driver's clock is the truth.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from pitwall.model.events import ClockReported, CommandGiven, Event, Stamped, StatusChanged

EARLIEST_T, LATEST_T = -86_400.0, 172_800.0
"""The first and the last session second that a fact may carry (model/events.py)."""


@dataclass(frozen=True, slots=True)
class ResumePoint:
    """Session time at a restart: ``t`` now, its ``rate``, and ``gap_s`` session seconds since the last stored event."""

    t: float
    rate: float
    gap_s: float


def shows_green(event: Event) -> bool:
    """True for a fact that says that the session is under way: a status other than waiting, or a running clock.

    The time of a fact says nothing: cars cross loops on the way to the grid, and a feed's own clock may be wrong by an
    hour. A clock that runs before zero counts down to the green light. A desk may say it as well.
    """
    if isinstance(event, CommandGiven):
        return event.command == "status" and event.status not in (None, "waiting") and not event.sectors
    if isinstance(event, StatusChanged):
        return event.status not in (None, "waiting")
    return isinstance(event, ClockReported) and event.running and event.t >= 0


def resume_point(
    events: Sequence[Stamped], wall_now: float | None, clock_now: Callable[[], float], clock_rate: float
) -> ResumePoint:
    """Work out where session time stands.

    Args:
        events: The journal, at least one event.
        wall_now: Unix seconds now, None in virtual time.
        clock_now: Reads the new clock, which nobody has anchored yet. Only called in virtual time: a live clock never
            goes back behind what it once said.
        clock_rate: The new clock's rate, used when the feed never gave one.
    """
    last = events[-1]
    rate = next((s.event.rate for s in reversed(events) if isinstance(s.event, ClockReported)), clock_rate)
    if wall_now is None or last.wall_s is None:
        t = max(last.received_t, clock_now())
    else:
        t = last.received_t + max(0.0, wall_now - last.wall_s) * rate
    return ResumePoint(t=t, rate=rate, gap_s=t - last.received_t)
