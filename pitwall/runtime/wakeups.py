"""The heap of wake-ups that each clock has: by time, then by arming order."""

from __future__ import annotations

import heapq
import math
from collections.abc import Callable
from dataclasses import dataclass, field


@dataclass(eq=False, slots=True)
class Armed:
    """One wake-up on the heap."""

    t: float
    order: int
    action: Callable[[], None] | None
    heap: WakeupHeap = field(repr=False)

    def cancel(self) -> None:
        """Forget it; harmless when it has already happened."""
        if self.action is not None:
            self.action = None
            self.heap.forget_one()


class WakeupHeap:
    """Wake-ups by time, then by arming order. Cancelled ones are skipped, and swept once they are the majority."""

    def __init__(self) -> None:
        self._heap: list[tuple[float, int, Armed]] = []  # plain tuples: no two have both figures in common
        self._armed = 0
        self._cancelled = 0

    def __len__(self) -> int:
        return len(self._heap) - self._cancelled

    def arm(self, t: float, action: Callable[[], None]) -> Armed:
        """Add a wake-up.

        Raises:
            ValueError: when ``t`` is not a finite number.
        """
        if not math.isfinite(t):
            raise ValueError(f"a wake-up needs a finite session second, not {t!r}")
        armed = Armed(t, self._armed, action, self)
        self._armed += 1
        heapq.heappush(self._heap, (t, armed.order, armed))
        return armed

    def next_t(self) -> float | None:
        """Session second of the earliest wake-up, None when there is none."""
        while self._heap and self._heap[0][2].action is None:
            heapq.heappop(self._heap)
            self._cancelled -= 1
        return self._heap[0][0] if self._heap else None

    def pop(self) -> tuple[float, Callable[[], None]]:
        """Take the earliest wake-up off the heap; ask ``next_t`` first.

        Raises:
            IndexError: when there is none.
        """
        found = self.pop_first()
        if found is None:
            raise IndexError("no wake-up is armed")
        return found

    def pop_first(self) -> tuple[float, Callable[[], None]] | None:
        """Take the earliest wake-up off the heap; None when there is none."""
        if self.next_t() is None:
            return None
        _, _, armed = heapq.heappop(self._heap)
        action, armed.action = armed.action, None
        assert action is not None
        return armed.t, action

    def armed_so_far(self) -> int:
        """A mark: wake-ups armed from here on have this order or a later one."""
        return self._armed

    def pop_due(self, now: float, mark: int) -> tuple[float, Callable[[], None]] | None:
        """Take the earliest wake-up off the heap when it is due and was armed before ``mark``; None otherwise."""
        first = self.next_t()
        if first is None or first > now or self._heap[0][1] >= mark:
            return None
        return self.pop()

    def forget_one(self) -> None:
        """A wake-up on the heap was cancelled."""
        self._cancelled += 1
        if self._cancelled > 64 and self._cancelled * 2 > len(self._heap):
            self._heap = [one for one in self._heap if one[2].action is not None]
            heapq.heapify(self._heap)
            self._cancelled = 0
