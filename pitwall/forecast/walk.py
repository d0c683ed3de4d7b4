"""Walking one car through many futures at once.

The model, stated so that it can be argued with:

* Activities follow one another. An activity with ``not_before_s`` waits for that moment.
* Work in the garage goes on whatever the flags say.
* A red flag stops all running. A car on track returns to the pits; when the red ends it leaves again at once, does its
  out-lap again and then the lap that was cut, whole. An in-lap under red is simply completed. Nobody leaves the
  garage under red, nor starts an item. (In the calendar a red ends when cars leave again, maybe later than green.)
* Where the chain knows how long the garage keeps a car that a red flag sent back (``stops``), it comes back slowly,
  leaves no sooner than that, and drives no cool-down lap that was cut: it would follow an out-lap.
* Where all laps that count were done before the lap that was cut (``ends_run``), the run is over: the car comes back
  slowly, the garage works on it once, and the next run follows. The laps that were left of the run are not driven.
* A slow period stretches every lap: while it lasts a car makes ``SLOW_PACE`` of its progress.

* In a session in windows a run leaves in the first window that it fits into. A lap that the flag of a window comes
  before is done after the break, behind another out-lap; the work in the garage goes on through the break.

Without such stops starting earlier never means ending later, in any future: a car caught on lap k owes an out-lap and
the laps from k on, one that had waited owes the out-lap and all of them. The latest release time leans on that, and is
reckoned without them.

Everything is a numpy operation over the futures. The chain is cut into *stretches*: a work, or what is driven between
two works. Where no interruption touches a stretch its times are plain sums; the other futures take the slower path.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from pitwall.forecast.calendar import Calendar, Slot
from pitwall.forecast.chain import ON_TRACK, WORKS, Chain, Indices, Path
from pitwall.forecast.meeting import SLOW_PACE, Cursor, stretched, wait_for_green
from pitwall.forecast.pert import Floats
from pitwall.model.outputs import Activity

RED_PACE = 0.5
"""Share of normal progress on the way back to the pits under a red flag (common practice, no source)."""

NO_SLOTS: Mapping[int, Slot] = MappingProxyType({})


class _Walker:
    def __init__(
        self, chain: Chain, calendar: Calendar, columns: Indices | None, slots: Mapping[int, Slot], started: bool
    ) -> None:
        self.chain, self.columns, self.calendar, self.slots, self.started = chain, columns, calendar, slots, started
        self.red, self.slow = Cursor(calendar.red, columns), Cursor(calendar.slow, columns)
        self.over: NDArray[np.bool_] | None = None  # where a red flag has ended the run that is walked

    def drawn(self, rows: Floats) -> Floats:
        """A row of durations, one value a column."""
        return rows if self.columns is None else rows[self.columns]

    def lap_end(self, t: Floats, duration: Floats, columns: Indices | None = None) -> Floats:
        """When laps begun at ``t`` end, slow periods included; for some columns only when they are given."""
        end: Floats = t + duration
        met = ((self.slow.start if columns is None else self.slow.start[columns]) < end).nonzero()[0]
        if met.size:
            end[met] = self._slowed(met if columns is None else columns[met], t[met], duration[met])
        return end

    def _slowed(self, columns: Indices, t: Floats, duration: Floats) -> Floats:
        """The same for laps that meet the next slow period: mostly it is the only one, and the sum is short."""
        slow, futures = self.slow, self.slow.futures(columns)
        over = slow.end[columns]
        begins = np.maximum(t, slow.start[columns])
        left, room = duration - (begins - t), (over - begins) * SLOW_PACE
        end: Floats = np.where(left <= room, begins + left / SLOW_PACE, over + left - room)
        more = ((slow.spans.starts[slow.row[columns] + 1, futures] < end) | (over <= t)).nonzero()[0]
        if more.size:
            end[more] = stretched(slow.spans, futures[more], t[more], duration[more])
        return end

    def on_track(self, index: int, t: Floats) -> tuple[Floats, Floats]:
        """Start and end of a lap, red flags included, shape (N,) each."""
        kind = self.chain.activities[index].kind
        self.slow.pass_over(t)
        end = self.lap_end(t, self.drawn(self.chain.durations[index]))
        start = np.full_like(t, -np.inf) if index == 0 and self.chain.under_way else t.copy()
        if kind == "in":
            return start, end
        if self.over is not None:
            end = np.where(self.over, -np.inf, end)  # it is back: no flag ahead of it cuts a lap
        if (way := self.chain.ends_run[index] if self.chain.ends_run else None) is not None:
            self._home(index, t, start, end, way)
            return start, end
        while (cut := (self.red.start < end).nonzero()[0]).size:
            futures = self.red.futures(cut)
            resume = self._out_again_from(index, cut, end[cut], futures)
            self.slow.pass_over_in(cut, resume)
            if kind != "out":
                resume = self.lap_end(resume, self.chain.out_again[index][futures], cut)
            if kind == "cool" and self.chain.stops:
                end[cut] = resume
                continue
            start[cut] = resume
            end[cut] = self.lap_end(resume, self.chain.again[index][futures], cut)
        return start, end

    def _home(self, index: int, t: Floats, start: Floats, end: Floats, way: float) -> None:
        """Where a red flag cuts this lap its run is over: the car comes back slowly, and the lap ends in the garage."""
        cut = (self.red.start < end).nonzero()[0]
        if not cut.size:
            return
        begins = np.maximum(self.red.start[cut], t[cut])
        left = np.minimum(end[cut] - begins, self.chain.again[index][self.red.futures(cut)])
        end[cut] = begins + left / RED_PACE + way
        if self.chain.activities[index].kind != "out":
            start[cut] = np.inf  # an out-lap was driven as far as it counts: the car has left
        self.over = np.zeros(t.size, dtype=np.bool_) if self.over is None else self.over
        self.over[cut] = True

    def _out_again_from(self, index: int, cut: Indices, end: Floats, futures: Indices) -> Floats:
        """When cars leave again that the red flag cut on a lap that was to end at ``end``, shape (n,)."""
        over: Floats = self.red.end[cut]
        begins = self.red.start[cut]
        self.red.forward(cut)
        if not self.chain.stops:
            return over
        # Cut once more, on its out-lap, it has no more of the lap to go than the whole.
        left = np.minimum(end - begins, self.chain.again[index][futures])
        ready: Floats = np.maximum(over, begins + left / RED_PACE + self.chain.stops[index][futures])
        while (held := (self.red.start[cut] <= ready).nonzero()[0]).size:
            ready[held] = np.maximum(ready[held], self.red.end[cut[held]])
            self.red.forward(cut[held])
        return ready

    def _in_its_window(self, index: int, t: Floats) -> Floats:
        if index in self.slots:
            return self.calendar.room(self.slots[index], t)
        if not self.calendar.windows or self.chain.activities[index].kind not in ("timed", "cool"):
            return t
        if index == 0 and self.chain.under_way:
            return t
        length = 0.0 if self.started else self.chain.durations[index]
        return self.calendar.carried_over(t, self.chain.out_again[index], length)

    def walk(self, begin: Floats) -> Path:
        """Every activity in its order, from ``begin``, shape (N,)."""
        starts = np.empty((len(self.chain.activities), begin.size))
        ends = np.empty_like(starts)
        t, out_there, run = begin, self.chain.under_way, None
        for index, activity in enumerate(self.chain.activities):
            if activity.run != run:
                run, self.over = activity.run, None
            over, back = self.over, t
            if activity.not_before_s is not None:
                t = np.maximum(t, activity.not_before_s)
            t = self._in_its_window(index, t)
            if over is not None:
                t = np.where(over, back, t)
            if activity.kind in ON_TRACK:
                if out_there and (activity.kind != "out" or index == 0):
                    self.red.pass_over(t)
                else:
                    t = wait_for_green(self.red, t)
                start, end = self.on_track(index, t)
                out_there = activity.kind != "in"
            else:
                if activity.kind == "item":
                    t = wait_for_green(self.red, t)
                else:
                    out_there = False
                start, end = t, work_end(activity, t, t, self.drawn(self.chain.durations[index]))
            if over is not None:
                start, end = np.where(over, np.inf, start), np.where(over, back, end)
            starts[index], ends[index] = start, end
            t = end
        return Path(starts, ends)


def work_end(activity: Activity, ready: Floats, start: Floats, duration: Floats) -> Floats:
    """When the car is let go after a work that was due at ``ready`` and begun at ``start``, shape (N,) each."""
    least = activity.not_under_s - activity.lasted_s
    end: Floats = start + duration
    return np.maximum(end, ready + least) if least > 0 else end


def walk(
    chain: Chain, begin: Floats, calendar: Calendar, columns: Indices | None = None,
    slots: Mapping[int, Slot] = NO_SLOTS, started: bool = True,
) -> Path:
    """Walk the chain through the futures.

    Args:
        chain: What is to be done, durations drawn for N futures.
        begin: Session second at which it begins: shape (N,), or one for each of ``columns``.
        calendar: Interruptions of the same N futures.
        columns: Which futures to walk, in which order, also repeatedly; all of them when not given.
        slots: By the first activity of a run: what it asks of a window. Only with windows, and without ``columns``.
        started: A lap begun before a flag may be finished.

    Returns:
        Starts and ends, shape (A, N) or (A, columns).
    """
    if columns is not None or calendar.windows:
        return _Walker(chain, calendar, columns, slots, started).walk(begin)
    path = Path(np.empty((len(chain.activities), begin.size)), np.empty((len(chain.activities), begin.size)))
    t = begin
    for first, last in chain.stretches:
        t = walk_stretch(chain, first, last, t, calendar, path)
    return path


def walk_stretch(chain: Chain, first: int, last: int, begin: Floats, calendar: Calendar, into: Path) -> Floats:
    """Walk one stretch of a chain through all futures; returns when it ends, shape (N,). For a session in one piece.

    Args:
        chain: The whole chain.
        first: Index of the stretch's first activity.
        last: Index behind its last.
        begin: When it begins, shape (N,).
        calendar: Interruptions of the same futures.
        into: Its times are written there.
    """
    activities, starts, ends = chain.activities[first:last], into.starts, into.ends
    if activities[0].kind in WORKS:
        starts[first] = _not_before(activities[0], begin)
        ends[first] = t = work_end(activities[0], starts[first], starts[first], chain.durations[first])
        return t
    waits = any(activity.not_before_s is not None for activity in activities[1:])
    t = begin = _not_before(activities[0], begin)
    for index in range(first, last):
        starts[index] = t
        np.add(t, chain.durations[index], out=ends[index])
        t = ends[index]
    if chain.under_way and first == 0:
        starts[0] = -np.inf
    met = np.arange(begin.size) if waits else calendar.met(begin, t)
    if met.size:
        path = _Walker(chain.part(first, last), calendar, met, NO_SLOTS, True).walk(begin[met])
        starts[first:last, met], ends[first:last, met] = path.starts, path.ends
    over: Floats = ends[last - 1]
    return over


def _not_before(activity: Activity, t: Floats) -> Floats:
    return t if activity.not_before_s is None else np.maximum(t, activity.not_before_s)
