"""What positions show of a car that passes the place of a hold: did it go at one speed for a while, or at none?

A hold that lasted shows itself (``engine/holds.py``). Here is asked for less: any stretch at about one speed, long or
short, near the speed that was asked for or not so near. Where positions with speeds came all the way, and show none,
nothing was held, whoever says so; what was held too short or at another speed is left to the debrief. Session and
debrief ask the same, so neither contradicts what the other takes for held.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field

LEAST_S, EVEN_MPS = 1.2, 2.0
"""So long within so much is one speed, seen by a receiver that is off by a tenth of it: speeding up, or braking, a car
changes by more (common practice, no source)."""
AROUND_MPS = 12.0
"""A hold may be so far off its speed; further off it is another stretch."""
BEFORE_M, GAP_S, FAR_SHARE = 60.0, 0.6, 0.9
"""Seen so shortly before the place at the latest, with no longer gap, and over so much of the way on."""
REACH_S = 6.0
"""To settle on the speed, the hold may begin so long after its place."""


@dataclass
class Passing:
    """Mutable: one passing of one place. Distances are metres beyond it, negative before."""

    wanted_mps: float
    reach_m: float
    from_m: float = float("inf")
    to_m: float = float("-inf")
    gap_s: float = 0.0
    even: bool = False
    _last: deque[tuple[float, float]] = field(default_factory=deque)

    @classmethod
    def of(cls, wanted_mps: float, length_s: float) -> Passing:
        """Of a place behind which so fast a hold with its settling lasts so long."""
        return cls(wanted_mps, wanted_mps * (length_s + REACH_S))

    def see(self, t: float, beyond_m: float, speed_mps: float) -> None:
        """A position with its speed."""
        if self._last:
            self.gap_s = max(self.gap_s, t - self._last[-1][0])
        self.from_m, self.to_m = min(self.from_m, beyond_m), max(self.to_m, beyond_m)
        self._last.append((t, speed_mps))
        while len(self._last) > 1 and t - self._last[1][0] >= LEAST_S:
            self._last.popleft()
        speeds = [speed for _, speed in self._last]
        long = t - self._last[0][0] >= LEAST_S
        near = abs(sum(speeds) / len(speeds) - self.wanted_mps) <= AROUND_MPS
        self.even |= long and near and max(speeds) - min(speeds) <= EVEN_MPS

    @property
    def none_held(self) -> bool:
        """Guard: it was seen all the way, and went at no one speed."""
        seen = self.from_m <= 0.0 and self.to_m >= FAR_SHARE * self.reach_m and self.gap_s <= GAP_S
        return seen and not self.even
