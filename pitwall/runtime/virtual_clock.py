"""Time that stands still until its driver moves it: the clock of instant rehearsals and of tests."""

from __future__ import annotations

from collections.abc import Awaitable, Callable

from pitwall.runtime.clock import check_anchor
from pitwall.runtime.wakeups import Armed, WakeupHeap


class VirtualClock:
    """Time that stands still until its driver moves it to the next wake-up. The heap is all there is.

    The driver is its only owner: ``anchor`` notes the rate and, unless ``follows`` is set, leaves time alone, since the
    source of the clock reports usually reads this very clock.
    """

    def __init__(self, start: float = 0.0, *, rate: float = 1.0, follows: bool = False) -> None:
        check_anchor(start, rate)
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
        check_anchor(t, rate)
        self._rate = rate
        if self._follows:
            self._now = max(self._now, t)

    def call_at(self, t: float, action: Callable[[], None]) -> Armed:
        """Arm ``action``. A time that has passed comes up at the next ``advance``; time never moves back for it."""
        return self._heap.arm(t, action)

    def next_t(self) -> float | None:
        """Session second of the next wake-up, None when nothing is armed."""
        return self._heap.next_t()

    def advance(self) -> bool:
        """Go to the next wake-up and call it. Returns False when nothing is armed."""
        due = self._heap.pop_first()
        if due is None:
            return False
        t, action = due
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
