"""The one file that reads a real clock, and the live clock behind ``ports.Clock``, at any rate.

Its twin, which reads none, is in ``virtual_clock``.

Three readings, and what each is for:

* ``elapsed_seconds`` is never set and goes on while the machine sleeps. Session time runs on it, so that it is right
  after a resume.
* ``awake_seconds`` is never set and stands still while the machine sleeps where the system can do that (Linux, macOS;
  on Windows it goes on). Timers of the event loop run on it, and so does a rehearsal, which sleeps with its machine.
* ``wall_seconds`` is the time of day. It may be set at any moment. Records carry it, and the timetable of the day is
  made of it; no call is.

``runtime/steps.py`` compares the three. Session time is a straight line over a clock that is never set::

    raw(m) = base_t + (m - base_m) * rate        now = the greatest value handed out so far, or raw, whichever is later

An anchor moves the line. When it moves back, ``now`` holds still until the line has caught up: what was stamped
stays stamped, nothing is taken twice, and no wake-up that has happened is armed again. So that this never costs a
session that begins late, time can be told to wait (``wait_at``) until somebody has seen the green light. The wall clock
decides nothing here; it may step or be set without any call moving.

Every clock has its own heap of wake-ups (``wakeups``); the live one keeps exactly one timer in the event loop, set to
the earliest.
"""

from __future__ import annotations

import asyncio
import math
import sys
import time
from collections.abc import Callable
from datetime import UTC, datetime
from functools import partial
from typing import Any, Protocol, cast

import structlog

from pitwall.runtime.wakeups import Armed, WakeupHeap

log = structlog.get_logger(__name__)


class TimerHandle(Protocol):
    """A timer of the event loop."""

    def cancel(self) -> None:
        """Forget it."""


class TimerLoop(Protocol):
    """The one thing the live clock needs from an event loop."""

    def call_later(self, delay: float, callback: Callable[[], None]) -> TimerHandle:
        """Call back after ``delay`` real seconds."""


def wall_seconds() -> float:
    """Unix seconds. For records only; nothing is timed by it."""
    return time.time()


def awake_seconds() -> float:
    """Seconds on the clock that timers run on: never set; Linux and macOS stop it while the machine sleeps."""
    return time.monotonic()


def chosen_elapsed(system: str, readings: Any = time) -> Callable[[], float]:
    """The reading that is never set and goes on while the machine sleeps, as far as the system has one.

    * Linux: CLOCK_BOOTTIME (its CLOCK_MONOTONIC stands still in a suspend: clock_gettime(2)).
    * macOS: CLOCK_MONOTONIC, which goes on there, while Python's ``monotonic`` stands still (clock_gettime(3)).
    * Windows: ``monotonic``, which counts the time asleep.
    * elsewhere ``monotonic``, which may stand still: then a sleep cannot be told from a clock that was set forward, and
      session time is left alone until the feed's clock speaks.

    Args:
        system: ``sys.platform``.
        readings: the module ``time``, or what stands in for it.
    """
    name = {"linux": "CLOCK_BOOTTIME", "darwin": "CLOCK_MONOTONIC"}.get(system)
    number = getattr(readings, name, None) if name is not None else None
    if number is None or not hasattr(readings, "clock_gettime"):
        return cast(Callable[[], float], readings.monotonic)
    try:
        readings.clock_gettime(number)
    except OSError:  # a kernel or a sandbox without it
        return cast(Callable[[], float], readings.monotonic)
    return partial(readings.clock_gettime, number)


elapsed_seconds: Callable[[], float] = chosen_elapsed(sys.platform)
"""Seconds that go on while the machine sleeps; never set."""


def wall_text(unix_s: float | None = None) -> str:
    """RFC 3339 text with offset, in UTC to the millisecond; of now when no Unix time is given."""
    moment = datetime.fromtimestamp(wall_seconds() if unix_s is None else unix_s, UTC)
    return moment.isoformat(timespec="milliseconds").replace("+00:00", "Z")


class LiveClock:
    """Session time on a clock that is never set: ``rate`` 1 beside a real session, N in one N times as fast."""

    def __init__(
        self,
        start: float = 0.0,
        rate: float = 1.0,
        *,
        monotonic: Callable[[], float] = elapsed_seconds,
        wall: Callable[[], float] = wall_seconds,
        loop: TimerLoop | None = None,
    ) -> None:
        check_anchor(start, rate)
        self._monotonic, self._wall, self._loop = monotonic, wall, loop
        self._base_t, self._rate, self._base_m = start, rate, monotonic()
        self._given, self._ceiling = -math.inf, math.inf
        self._heap = WakeupHeap()
        self._timer: TimerHandle | None = None
        self._timer_t: float | None = None

    @property
    def rate(self) -> float:
        """Session seconds that pass in one real second."""
        return self._rate

    @property
    def held_s(self) -> float:
        """How many session seconds ``now`` still holds still after an anchor that stepped back; 0.0 when it runs."""
        return max(0.0, self._given - self._raw())

    def now(self) -> float:
        """Session seconds; never less than what was handed out before."""
        self._given = max(self._given, self._raw())
        return self._given

    def wait_at(self, t: float | None) -> None:
        """Let time stand at ``t`` once it gets there; with None it runs on from where it stands."""
        if t is None and self._ceiling < math.inf:
            stands = self._raw()
            self._ceiling = math.inf
            self.anchor(stands, self._rate)
        elif t is not None:
            self._ceiling = t
            self._set_timer(moved=True)

    def wall_s(self) -> float | None:
        """Unix seconds, for the journal."""
        return self._wall()

    def anchor(self, t: float, rate: float = 1.0) -> None:
        """Move the line: it is session second ``t`` now, and time runs at ``rate``.

        A step back is legal: ``now`` holds still until the line has caught up (nothing was handed out yet: it simply
        starts there).

        Raises:
            ValueError: when ``t`` is not finite or ``rate`` not positive.
        """
        check_anchor(t, rate)
        self._base_t, self._rate, self._base_m = t, rate, self._monotonic()
        self._set_timer(moved=True)

    def call_at(self, t: float, action: Callable[[], None]) -> Armed:
        """Call ``action`` from the event loop once ``now() >= t``; needs a running loop unless one was given."""
        armed = self._heap.arm(t, action)
        self._set_timer()
        return armed

    def retime(self) -> None:
        """Set the timer anew: the event loop's own clock stood still in a suspend, so it would ring too late."""
        self._set_timer(moved=True)

    def _raw(self) -> float:
        return min(self._base_t + (self._monotonic() - self._base_m) * self._rate, self._ceiling)

    def _set_timer(self, *, moved: bool = False) -> None:
        first = self._heap.next_t()
        if self._timer is not None:
            if first == self._timer_t and not moved:
                return
            self._timer.cancel()
            self._timer = None
        if first is None or self._given < first > self._ceiling:
            return
        if self._loop is None:
            self._loop = asyncio.get_running_loop()
        # Measured from the line, not from ``now``: while now holds still the line still has to reach ``first``,
        # except for what is already due.
        delay = 0.0 if first <= self._given else max(0.0, (first - self._raw()) / self._rate)
        self._timer_t, self._timer = first, self._loop.call_later(delay, self._fire)

    def _fire(self) -> None:
        # Some loops wake a little early, so the deadline is checked again here; what is not due is armed anew.
        # Only what was armed before this round runs in it: an action that arms "now" again must not starve the loop.
        self._timer = None
        now, mark = self.now(), self._heap.armed_so_far()
        while (due := self._heap.pop_due(now, mark)) is not None:
            t, action = due
            try:
                action()
            except Exception:
                # One broken action must not take the later ones with it.
                log.exception("wake-up failed", at_s=t)
        self._set_timer()


def check_anchor(t: float, rate: float) -> None:
    """Refuse a line of time that no clock can run on.

    Raises:
        ValueError: when ``t`` is not finite or ``rate`` not positive.
    """
    if not math.isfinite(t):
        raise ValueError(f"session time must be a finite number, not {t!r}")
    if not (math.isfinite(rate) and rate > 0):
        raise ValueError(f"the rate of time must be positive, not {rate!r}")
