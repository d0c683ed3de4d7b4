"""Which clock reports to believe: a report can be late on its way, hardly ever early.

A report that says ``t`` arrives when our clock says ``now``. Its error ``t - now`` is (how far we are behind) minus
(how long it travelled). So, as in a minimum-delay filter (the idea behind RFC 5905's clock filter: the sample with the
least delay is the best one):

* error > 0: we are behind; no delay explains that. Follow at once.
* error <= 0: it was late on its way, or we run ahead. Only when a whole window of reports agrees do we step
  back, and then by the least of their errors, since that one travelled the shortest time.
* a great leap forward must be said twice: one bad report must not carry the session minutes ahead.
* the first report, and a change of rate, are followed at once.
"""

from __future__ import annotations

from collections import deque

from pitwall.model.events import CommandGiven

WINDOW = 8
LEAP_S = 5.0
DEAD_BAND_S = 0.05
JOINED_S = 1.0


def begun_by_hand(command: CommandGiven, now: float, duration_s: float) -> float | None:
    """Session time as a desk begins it, while the clock waits for the green light; None when it says nothing of that.

    A status counts zero from the moment at which it was given. A clock that shows less than the whole session was read
    off by somebody who joins in the middle: session time is what has been spent of it, as if the clock never stood.

    Args:
        command: any command of the desk.
        now: session second, zero or before.
        duration_s: scheduled length of the session.
    """
    ago = max(0.0, now - command.t)
    if command.command == "status" and command.status not in (None, "waiting") and not command.sectors:
        return ago
    spent = duration_s - command.remaining_s if command.remaining_s is not None else 0.0
    return spent if command.command == "clock" and spent >= JOINED_S else None


class ClockFollower:
    """Decides for each report where to anchor the clock, if at all. Holds the recent errors."""

    def __init__(self) -> None:
        self._rate: float | None = None
        self._behind: deque[float] = deque(maxlen=WINDOW)
        self._leap: float | None = None

    def judge(self, t: float, rate: float, now: float) -> float | None:
        """Where to anchor on a report of ``t`` at ``rate`` that arrives at ``now``.

        Returns:
            The session second to anchor at, or None to leave the clock alone.
        """
        if rate != self._rate:
            self._rate = rate
            self._forget()
            return t
        error = t - now
        # At N times life the same delay on the wire is N times as long in session seconds.
        scale = max(1.0, rate)
        if error > LEAP_S * scale:
            agreed = self._leap is not None and abs(error - self._leap) <= LEAP_S * scale
            self._leap = error
            if not agreed:
                return None
        if error > 0:
            self._forget()
            return t
        self._leap = None
        self._behind.append(error)
        if len(self._behind) == WINDOW and max(self._behind) < -DEAD_BAND_S * scale:
            back = max(self._behind)
            self._forget()
            return now + back
        return None

    def _forget(self) -> None:
        self._behind.clear()
        self._leap = None
