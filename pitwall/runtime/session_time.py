"""What sets the host's clock: the feed's reports, the first green light, and a desk that begins without a feed."""

from __future__ import annotations

from pitwall.model.events import ClockReported, CommandGiven, Event, SessionPrepared
from pitwall.runtime.following import ClockFollower, begun_by_hand
from pitwall.runtime.ports import Clock
from pitwall.runtime.recovery import shows_green


class SessionTime:
    """Session time follows the feed's clock; before it has spoken, it runs from the preparation up to zero.

    Zero is the green light, and a session may begin late or its feed an hour after the daemon. Time that ran on by
    itself would then have to hold still for as long; so it waits at zero until a status or a running clock says
    that the session runs.
    """

    def __init__(self, clock: Clock, follower: ClockFollower | None) -> None:
        """Set ``clock``; without a follower it is left alone, for the source of the reports reads this very clock."""
        self._clock, self._follower = clock, follower
        self._waiting = False
        self.duration_s = 0.0

    def heard(self, event: Event, *, first: bool) -> None:
        """A fact came in; ``first``: nothing was stored before it."""
        if self._follower is None:
            return
        clock = self._clock
        if isinstance(event, SessionPrepared) and first:
            clock.anchor(event.t, clock.rate)
            self.duration_s = event.setup.duration_s
            self.wait_for_green(True)
            return
        if self._waiting and isinstance(event, CommandGiven):
            begun = begun_by_hand(event, clock.now(), self.duration_s)
            if begun is not None:
                self.wait_for_green(False)
                clock.anchor(max(begun, clock.now()), clock.rate)
        elif self._waiting and shows_green(event):
            self.wait_for_green(False)
            clock.anchor(max(event.t, clock.now()), clock.rate)
        if isinstance(event, ClockReported):
            anchor = self._follower.judge(event.t, event.rate, clock.now())
            if anchor is not None:
                clock.anchor(anchor, event.rate)

    def wait_for_green(self, waiting: bool) -> None:
        """Let time stand at zero until somebody has seen the green light, or run on."""
        self._waiting = waiting and self._follower is not None
        self._clock.wait_at(0.0 if self._waiting else None)
