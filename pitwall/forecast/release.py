"""The latest moment at which a run may leave the garage and still be done with the wanted confidence.

In one future the answer is a single moment: the run fits if it leaves by then and not after, because leaving earlier
never means ending later (``walk``). Where no interruption lies in the way that moment is the session's end less the
laps up to the decisive one; an out-lap and laps that wait for nothing are reckoned backwards (``thresholds``). A run
with items, or with laps that wait, is searched: a grid of release times is walked at once, the bracket shrinks to one
step of it, and the futures whose verdict is the same at both its ends drop out of the search.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from pitwall.forecast.calendar import Calendar
from pitwall.forecast.chain import Chain
from pitwall.forecast.pert import Floats
from pitwall.forecast.thresholds import has_formula, known_releases
from pitwall.forecast.walk import walk

TOLERANCE_S = 2.0
"""The search stops here, on the early side: the official clock itself is known to a second or two."""

HAIR_S = 1e-6
"""Keeps rounding from finding the same interruption in the way for ever."""

GRID, FINEST, WALKED = 4, 64, 5000
"""Release times walked at once, as many as make about ``WALKED`` ways: a walk costs as much for some hundreds of them
as for a few (measured with simulations/bench_forecast.py)."""


@dataclass(frozen=True)
class Decisive:
    """The activity that decides whether a run fits: by its start (a lap begun in time may be finished) or its end."""

    index: int
    by: Literal["start", "end"]

    def moment(self, starts: Floats, ends: Floats) -> Floats:
        """The deciding moment in each future, shape (N,)."""
        row: Floats = (starts if self.by == "start" else ends)[self.index]
        return row

    def before(self, moment: Floats, session_end: Floats) -> NDArray[np.bool_]:
        """Whether that moment is in time, shape (N,)."""
        found: NDArray[np.bool_] = moment < session_end if self.by == "start" else moment <= session_end
        return found


@dataclass(frozen=True)
class _Question:
    """The run, and what is known of its latest release without walking: fits up to ``lower``, not beyond ``upper``."""

    chain: Chain
    decisive: Decisive
    calendar: Calendar
    lower: Floats
    upper: Floats

    def fits_at(self, times: Floats, futures: NDArray[np.intp]) -> NDArray[np.bool_]:
        """Does the run fit when it leaves at each of G times, in each of n futures: shape (G, n)."""
        begin = times[:, None]
        fits: NDArray[np.bool_] = begin <= self.lower[futures]
        open_ = ~fits & (begin <= self.upper[futures])
        row, column = open_.nonzero()
        columns = futures[column]
        path = walk(self.chain, times[row], self.calendar, columns)
        moment = self.decisive.moment(path.starts, path.ends)
        fits[row, column] = self.decisive.before(moment, self.calendar.session_end[columns])
        return fits


def latest_release(chain: Chain, decisive: Decisive, calendar: Calendar, confidence: float, now: float) -> float | None:
    """The latest release time for the wanted confidence.

    Args:
        chain: The run's own activities, not under way.
        decisive: Which of them decides; its index counts within ``chain``.
        calendar: The futures.
        confidence: Share of the futures in which the run must fit.
        now: Nothing earlier than this helps.

    Returns:
        Session seconds, or None when not even leaving now is good enough.
    """
    chain = chain.part(0, decisive.index + 1)
    upper = _latest_undisturbed(chain, decisive, calendar)
    needed = math.ceil(confidence * upper.size - 1e-9)
    if has_formula(chain):
        latest = _th_largest(known_releases(chain, decisive.by == "start", calendar, upper), needed)
        return latest if latest >= now else None
    return _searched(chain, decisive, calendar, upper, needed, now)


def _searched(
    chain: Chain, decisive: Decisive, calendar: Calendar, upper: Floats, needed: int, now: float
) -> float | None:
    """The latest release, to within ``TOLERANCE_S``, with which the run fits in so many futures as are needed."""
    lower = _latest_before_trouble(chain, calendar, upper)
    low, high = _th_largest(lower, needed), _th_largest(upper, needed)
    question = _Question(chain, decisive, calendar, lower, upper)
    if low < now:
        if high < now or question.fits_at(np.array([now]), np.arange(upper.size)).sum() < needed:
            return None
        low = now
    sure = int((lower >= high).sum())  # fit however late within the bracket
    todo = ((lower < high) & (upper >= low)).nonzero()[0]
    while high - low > TOLERANCE_S:
        steps = min(max(WALKED // max(todo.size, 1), GRID), FINEST, math.ceil((high - low) / TOLERANCE_S) + 1)
        times = np.linspace(low, high, steps, endpoint=False)[1:]
        ok = question.fits_at(times, todo)
        enough = np.flatnonzero(sure + ok.sum(axis=1) >= needed)
        best = int(enough[-1]) if enough.size else -1
        later = ok[best + 1] if best + 1 < times.size else np.zeros(todo.size, dtype=np.bool_)
        keep = ~later if best < 0 else ok[best] & ~later
        sure += int(later.sum())
        high = float(times[best + 1]) if best + 1 < times.size else high
        low = float(times[best]) if best >= 0 else low
        todo = todo[keep]
    return low


def _th_largest(values: Floats, rank: int) -> float:
    """The ``rank``-th largest of the values, counted from one."""
    return float(np.partition(values, values.size - rank)[values.size - rank])


def _latest_undisturbed(chain: Chain, decisive: Decisive, calendar: Calendar) -> Floats:
    """Latest release in each future if nothing interrupts the run, shape (N,): no release after it can do."""
    upto = decisive.index if decisive.by == "start" else decisive.index + 1
    bound: Floats = calendar.session_end - chain.durations[:upto].sum(axis=0)
    return bound


def _latest_before_trouble(chain: Chain, calendar: Calendar, upper: Floats) -> Floats:
    """Latest release in each future with which the run is through without meeting an interruption, shape (N,).

    A release at that time or before will do; one between it and ``upper`` may do too (the run may be taken up again
    after the interruption, or the lap be finished in time under a slow period).
    """
    if any(activity.not_before_s is not None for activity in chain.activities):
        return np.full(upper.size, -np.inf)
    whole = chain.durations.sum(axis=0)
    latest = upper.copy()
    future, begins, ends = calendar.listed
    while True:
        at = latest[future]
        in_the_way = ((begins < at + whole[future]) & (ends > at)).nonzero()[0]
        if not in_the_way.size:
            return latest
        hit = future[in_the_way]
        first = np.full(upper.size, np.inf)
        np.minimum.at(first, hit, begins[in_the_way])
        latest[hit] = first[hit] - whole[hit] - HAIR_S
        # Only these futures have moved: the others are settled.
        moved = np.zeros(upper.size, dtype=np.bool_)
        moved[hit] = True
        again = moved[future]
        future, begins, ends = future[again], begins[again], ends[again]
