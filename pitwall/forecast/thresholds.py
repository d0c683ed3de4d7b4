"""The latest release of a run in each future, from its end backwards: lap by lap, when it must begin at the latest.

T[k] is the latest beginning of lap k with which the run still fits. The decisive lap must end by the end of the
session, or, where a lap begun in time may be finished, begin by it. Lap k must end by T[k + 1]:

* Nothing in the way: it begins before T[k + 1] less its duration. Under slow periods a lap's progress is session time
  less what is lost while slow, so it begins when as much progress is left until T[k + 1] as it takes.
* The last red flag, from s to e, that begins before T[k + 1]: a car that it catches on lap k owes the out-lap and lap k
  from e on (on its out-lap, or waiting in the garage: the out-lap alone). If that ends by T[k + 1], earlier flags do no
  more harm than this one, because an earlier beginning never means a later end (``walk``). If not, lap k must end by s,
  and the same is asked of the flag before.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pitwall.forecast.calendar import Calendar, Spans
from pitwall.forecast.chain import Chain
from pitwall.forecast.meeting import SLOW_PACE, stretched
from pitwall.forecast.pert import Floats

HAIR_S = 1e-3
"""So much before the moment from which on the run fits no more: what is told is rounded to the millisecond."""

Indices = NDArray[np.intp]


def has_formula(chain: Chain) -> bool:
    """Guard: out of the garage, perhaps not before some moment, then laps that wait for nothing."""
    first, *laps = chain.activities
    plain = first.kind == "out" and all(one.kind in ("timed", "cool") for one in laps)
    return plain and not chain.under_way and all(one.not_before_s is None for one in laps)


def known_releases(chain: Chain, by_start: bool, calendar: Calendar, upper: Floats) -> Floats:
    """The latest release in each future, shape (N,); minus infinity where it may not leave as early as it must.

    Args:
        chain: The run up to and with its decisive lap, for which ``has_formula`` holds.
        by_start: That lap must have begun, else ended, by the end of the session.
        calendar: The futures.
        upper: The latest release in each future if nothing interrupts the run, shape (N,).
    """
    ends = calendar.session_end + chain.durations[-1] if by_start else calendar.session_end
    touched = calendar.met(upper, ends)
    latest = upper.copy()
    if touched.size:
        latest[touched] = _Backwards(chain, calendar, touched).release(by_start)
    latest -= HAIR_S
    waits_until = chain.activities[0].not_before_s
    return latest if waits_until is None else np.where(latest < waits_until, -np.inf, latest)


class _Last:
    """The last interruption of each column that begins before a moment."""

    def __init__(self, spans: Spans, futures: Indices, calendar_end: Floats) -> None:
        # Counted from one, in a list with one before all others that was over before anything began.
        self.starts, self.ends = spans.after_none
        self.width, self.futures, self.all = calendar_end.size, futures, np.arange(futures.size)
        self.place = spans.before(calendar_end)[futures] * self.width + futures
        self.start, self.end = self.starts.take(self.place), self.ends.take(self.place)

    def _go(self, columns: Indices, by: int) -> None:
        self.place[columns] += by * self.width
        place = self.place[columns]
        self.start[columns], self.end[columns] = self.starts.take(place), self.ends.take(place)

    def forward(self, before: Floats) -> None:
        """Go on to the last one that begins before ``before``, shape (n,)."""
        columns = self.all
        while (columns := columns[self.starts.take(self.place[columns] + self.width) < before[columns]]).size:
            self._go(columns, 1)

    def back(self, columns: Indices, before: Floats) -> None:
        """In these columns, back to the last one that begins before ``before``, shape (n,)."""
        while (columns := columns[self.start[columns] >= before[columns]]).size:
            self._go(columns, -1)


class _Backwards:
    """The laps of a run in some futures, the last one first."""

    def __init__(self, chain: Chain, calendar: Calendar, futures: Indices) -> None:
        self.chain, self.futures, self.slows = chain, futures, calendar.slow
        self.end, self.all = calendar.session_end[futures], np.arange(futures.size)
        self.red = _Last(calendar.red, futures, calendar.session_end)
        self.slow = _Last(calendar.slow, futures, calendar.session_end)

    def release(self, by_start: bool) -> Floats:
        """When the run must leave at the latest, shape (n,)."""
        by = self.end
        if by_start:
            lap = self.chain.durations[-1][self.futures]
            by = by + lap
            self.slow.forward(by)
            met = (self.slow.end > self.end).nonzero()[0]
            by[met] = stretched(self.slows, self.futures[met], self.end[met], lap[met])
            self.slow.forward(by)
            self.red.forward(by)
        for index in range(len(self.chain.activities) - 1, -1, -1):
            by = self._begun(index, by)
        return by

    def _begun(self, index: int, by: Floats) -> Floats:
        """When the lap must begin at the latest to end by ``by``, which is lowered where a flag demands it."""
        duration = self.chain.durations[index][self.futures]
        out = self.chain.out_again[index][self.futures] if index else np.zeros(by.size)
        columns = self.all
        self.red.back(columns, by)
        while (columns := columns[self._too_late(columns, out, duration, by)]).size:
            by[columns] = self.red.start[columns]
            self.red.back(columns, by)
        self.slow.back(self.all, by)
        begins: Floats = by - duration
        met = (self.slow.end > begins).nonzero()[0]
        if met.size:
            begins[met] = stretched(self.slows, self.futures[met], by[met], -duration[met])
        return begins

    def _too_late(self, columns: Indices, out: Floats, duration: Floats, by: Floats) -> NDArray[np.bool_]:
        """Where the lap ends too late that is done after the flag, behind the out-lap that it then takes."""
        over, by = self.red.end[columns], by[columns]
        owed = (out + duration)[columns]
        late: NDArray[np.bool_] = over + owed > by
        # The slow periods that are passed over begin after ``by``.
        open_ = (~late & (self.slow.end[columns] > over) & (over + owed * (1.0 / SLOW_PACE) > by)).nonzero()[0]
        if open_.size:
            futures, at = self.futures[columns[open_]], columns[open_]
            leaves = stretched(self.slows, futures, over[open_], out[at])
            late[open_] = stretched(self.slows, futures, leaves, duration[at]) > by[open_]
        return late
