"""Shared crews while plans of several cars are put together: who is served when, future by future, many plans at once.

Works that have a shared crew are served as they come due, and of two at once the first car's. Works without a crew in
common never wait for each other, so only works of one crew have to be served in order. Where a work turns out to be due
before one of its crew that was served already, the future is no longer ``fair``: from there on nobody waits in it.

Is a car then never sooner in truth than it is said to be? A work that comes in between delays others; and a car is only
sooner for it when the work that it waited for is itself delayed so far that it comes later. That takes three works
behind the one that came in between: one that is delayed, the next of the same car, and the one that waited for that. So
with two cars it never happens, and with more it can only where two works were served already that are due later than
one to come (:meth:`Crews.unsettled`). There nothing is known, and everything is thought possible.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from pitwall.forecast.pert import Floats

Flags = NDArray[np.bool_]


@dataclass
class Crews:
    """The crews of B beginnings in N futures.

    Attributes:
        free: Shape (B, L, N): when each is free.
        due: Shape (B, L, N): when its last work was due.
        whose: Shape (B, L, N): of which car that was.
        last: Shape (B, 2, N): when the last work of any was due, and the last but one.
        fair: Shape (B, N): all works so far were served in order.
        broken: Shape (B, N): two works were served before one that was due earlier than both.
    """

    free: Floats
    due: Floats
    whose: NDArray[np.int8]
    last: Floats
    fair: Flags
    broken: Flags

    @classmethod
    def idle(cls, labels: int, futures: int) -> Crews:
        """Nobody was at work yet; one beginning."""
        never = np.full((1, labels, futures), -np.inf)
        nothing = np.zeros((1, futures), dtype=np.bool_)
        return cls(never, never.copy(), np.zeros((1, labels, futures), dtype=np.int8),
                   np.full((1, 2, futures), -np.inf), ~nothing, nothing)

    def rows(self, rows: NDArray[np.intp]) -> Crews:
        """Some of them; a copy."""
        return Crews(*(getattr(self, one.name)[rows] for one in fields(self)))

    @staticmethod
    def joined(many: Sequence[Crews]) -> Crews:
        """All of them, one behind the other."""
        return Crews(*(np.concatenate([getattr(one, name.name) for one in many]) for name in fields(Crews)))

    def start(self, car: int, at: Floats, needs: Flags) -> Floats:
        """When a work of this car that is due at ``at`` (B, N) begins, if no other comes before it.

        Args:
            car: Whose it is.
            at: When it is due.
            needs: Shape (B, L): who does it.
        """
        late = self._before_others(car, at, needs)
        begins = at.copy()
        for place in range(needs.shape[1]):
            waits = self.fair & ~late & needs[:, place, None]
            begins = np.where(waits, np.maximum(begins, self.free[:, place]), begins)
        return begins

    def serve(self, car: int, at: Floats, work: Floats, needs: Flags, where: Flags) -> Floats:
        """Do this work in those futures ``where`` (B, N) it is its turn; returns when it is done."""
        late = self._before_others(car, at, needs) & where
        self.fair = self.fair & ~late
        done = self.start(car, at, needs) + work
        for place in range(needs.shape[1]):
            mine = where & needs[:, place, None]
            self.free[:, place] = np.where(mine & self.fair, done, self.free[:, place])
            self.due[:, place] = np.where(mine, at, self.due[:, place])
            self.whose[:, place][mine] = car
        worked = where & np.asarray(needs.any(axis=1))[:, None]
        self.broken = self.broken | (worked & (self.last[:, 1] >= at))
        newest, before = self.last[:, 0], self.last[:, 1]
        second = np.maximum(np.minimum(newest, at), before)
        self.last[:, 1] = np.where(worked, second, before)
        self.last[:, 0] = np.where(worked, np.maximum(newest, at), newest)
        return done

    def _before_others(self, car: int, at: Floats, needs: Flags) -> Flags:
        """A work of its crew that was served already is due later than this one."""
        late = np.zeros(at.shape, dtype=np.bool_)
        for place in range(needs.shape[1]):
            due, whose = self.due[:, place], self.whose[:, place]
            late |= needs[:, place, None] & ((due > at) | ((due == at) & (whose > car)))
        return late

    def unsettled(self, next_due: Floats) -> Flags:
        """Where a work to come, none sooner than ``next_due`` (B, N), might make somebody sooner than was reckoned."""
        return self.broken | (self.last[:, 1] >= next_due)
