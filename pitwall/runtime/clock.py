"""The one file that reads a real clock. Two clocks behind ``ports.Clock``: live (at any rate) and virtual.

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

Every clock has its own heap of wake-ups, ordered by time and then by arming order; the live one keeps exactly one timer
in the event loop, set to the earliest.
"""

from __future__ import annotations

import asyncio
import heapq
import math
import sys
import time
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import partial
from typing import Any, Protocol, cast

import structlog

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


@dataclass(order=True, slots=True)
class _Armed:
    """One wake-up on the heap."""

    t: float
    order: int
    action: Callable[[], None] | None = field(compare=False)
    heap: WakeupHeap = field(compare=False, repr=False)

    def cancel(self) -> None:
        """Forget it; harmless when it has already happened."""
        if self.action is not None:
            self.action = None
            self.heap.forget_one()


class WakeupHeap:
    """Wake-ups by time, then by arming order. Cancelled ones are skipped, and swept once they are the majority."""

    def __init__(self) -> None:
        self._heap: list[_Armed] = []
        self._armed = 0
        self._cancelled = 0

    def __len__(self) -> int:
        return len(self._heap) - self._cancelled

    def arm(self, t: float, action: Callable[[], None]) -> _Armed:
        """Add a wake-up.

        Raises:
            ValueError: when ``t`` is not a finite number.
        """
        if not math.isfinite(t):
            raise ValueError(f"a wake-up needs a finite session second, not {t!r}")
        armed = _Armed(t, self._armed, action, self)
        self._armed += 1
        heapq.heappush(self._heap, armed)
        return armed

    def next_t(self) -> float | None:
        """Session second of the earliest wake-up, None when there is none."""
        while self._heap and self._heap[0].action is None:
            heapq.heappop(self._heap)
            self._cancelled -= 1
        return self._heap[0].t if self._heap else None

    def pop(self) -> tuple[float, Callable[[], None]]:
        """Take the earliest wake-up off the heap; ask ``next_t`` first.

        Raises:
            IndexError: when there is none.
        """
        if self.next_t() is None:
            raise IndexError("no wake-up is armed")
        armed = heapq.heappop(self._heap)
        action, armed.action = armed.action, None
        assert action is not None
        return armed.t, action

    def armed_so_far(self) -> int:
        """A mark: wake-ups armed from here on have this order or a later one."""
        return self._armed

    def pop_due(self, now: float, mark: int) -> tuple[float, Callable[[], None]] | None:
        """Take the earliest wake-up off the heap when it is due and was armed before ``mark``; None otherwise."""
        first = self.next_t()
        if first is None or first > now or self._heap[0].order >= mark:
            return None
        return self.pop()

    def forget_one(self) -> None:
        """A wake-up on the heap was cancelled."""
        self._cancelled += 1
        if self._cancelled > 64 and self._cancelled * 2 > len(self._heap):
            self._heap = [armed for armed in self._heap if armed.action is not None]
            heapq.heapify(self._heap)
            self._cancelled = 0


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
        _check_anchor(start, rate)
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
        _check_anchor(t, rate)
        self._base_t, self._rate, self._base_m = t, rate, self._monotonic()
        self._set_timer(moved=True)

    def call_at(self, t: float, action: Callable[[], None]) -> _Armed:
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


class VirtualClock:
    """Time that stands still until its driver moves it to the next wake-up. The heap is all there is.

    The driver is its only owner: ``anchor`` notes the rate and, unless ``follows`` is set, leaves time alone, since the
    source of the clock reports usually reads this very clock.
    """

    def __init__(self, start: float = 0.0, *, rate: float = 1.0, follows: bool = False) -> None:
        _check_anchor(start, rate)
        self._now, self._rate, self._follows = start, rate, follows
        self._heap = WakeupHeap()

    @property
    def rate(self) -> float:
        """The rate of the last anchor; virtual time itself runs as fast as the machine."""
        return self._rate

    def now(self) -> float:
        """Session seconds."""
        return self._now

    def wait_at(self, t: float | None) -> None:
        """Nothing: the driver alone moves time, and it sees the green light when it gets there."""

    def wall_s(self) -> float | None:
        """None: a virtual session has no time of day, so its journal is the same on every machine."""
        return None

    def anchor(self, t: float, rate: float = 1.0) -> None:
        """Note the rate; with ``follows``, also jump forward to ``t``. A step back is ignored: nothing would pass.

        Raises:
            ValueError: when ``t`` is not finite or ``rate`` not positive.
        """
        _check_anchor(t, rate)
        self._rate = rate
        if self._follows:
            self._now = max(self._now, t)

    def call_at(self, t: float, action: Callable[[], None]) -> _Armed:
        """Arm ``action``. A time that has passed comes up at the next ``advance``; time never moves back for it."""
        return self._heap.arm(t, action)

    def next_t(self) -> float | None:
        """Session second of the next wake-up, None when nothing is armed."""
        return self._heap.next_t()

    def advance(self) -> bool:
        """Go to the next wake-up and call it. Returns False when nothing is armed."""
        if self._heap.next_t() is None:
            return False
        t, action = self._heap.pop()
        self._now = max(self._now, t)
        action()
        return True

    def run_until(self, t: float, after_each: Callable[[], None] | None = None) -> None:
        """Make every wake-up up to and including ``t`` happen, then stand at ``t``."""
        while (first := self._heap.next_t()) is not None and first <= t:
            self.advance()
            if after_each is not None:
                after_each()
        self._now = max(self._now, t)

    async def run(self, settle: Callable[[], Awaitable[None]], until: Callable[[], bool]) -> None:
        """Drive: settle, then wake-up by wake-up with a ``settle`` after each, until ``until()`` or nothing is armed.

        ``settle`` is usually ``host.drain``: it takes everything that the wake-up caused before time moves on.
        """
        await settle()
        while not until() and self.advance():
            await settle()

    async def run_to(self, t: float, settle: Callable[[], Awaitable[None]]) -> None:
        """Drive up to and including ``t``, then stand at ``t``."""
        await settle()
        while (first := self._heap.next_t()) is not None and first <= t:
            self.advance()
            await settle()
        self._now = max(self._now, t)


def _check_anchor(t: float, rate: float) -> None:
    if not math.isfinite(t):
        raise ValueError(f"session time must be a finite number, not {t!r}")
    if not (math.isfinite(rate) and rate > 0):
        raise ValueError(f"the rate of time must be positive, not {rate!r}")
