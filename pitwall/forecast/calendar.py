"""The calendar that all cars of the team share in each future: red flags, slow periods, windows, and the flag.

What stops one car stops all.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from pitwall.forecast.pert import Floats


@dataclass(frozen=True)
class Spans:
    """Interruptions of one kind, in order.

    ``starts`` and ``ends`` have shape (K + 1, N) for N futures: row k holds the k-th interruption of each future in
    session seconds, infinity where there is none; the last row is all infinity, so a pointer never runs off the end.
    """

    starts: Floats
    ends: Floats

    @cached_property
    def lengths(self) -> Floats:
        """Seconds each lasts, shape (K + 1, N); 0 where there is none."""
        there = np.isfinite(self.starts)
        return np.where(there, self.ends, 0.0) - np.where(there, self.starts, 0.0)

    @cached_property
    def after_none(self) -> tuple[Floats, Floats]:
        """Starts and ends row after row, shape ((K + 2) N,), behind a row of minus infinity that stands for none."""
        none = np.full((1, self.starts.shape[1]), -np.inf)
        return np.concatenate([none, self.starts]).ravel(), np.concatenate([none, self.ends]).ravel()

    def before(self, moment: Floats) -> NDArray[np.intp]:
        """How many begin before this moment, shape (N,)."""
        count: NDArray[np.intp] = (self.starts < moment).sum(axis=0)
        return count


@dataclass(frozen=True)
class Slot:
    """What a run asks of a window as it leaves: seconds to its decisive moment, shape (N,), and in which it may be."""

    needed: Floats
    allowed: tuple[int, ...]

    def only(self, futures: NDArray[np.intp]) -> Slot:
        """The same in some of the futures."""
        return Slot(self.needed[futures], self.allowed)


@dataclass(frozen=True)
class Calendar:
    """The common part of the futures: red flags, slow periods, and when the time runs out (shape (N,)).

    ``windows`` holds green and flag (shape (N,)) of each window still to be driven in; none for a session in one piece.
    """

    red: Spans
    slow: Spans
    session_end: Floats
    windows: tuple[tuple[float, Floats], ...] = ()

    def only(self, allowed: tuple[int, ...]) -> Calendar:
        """The same as if time ran without a break to the flag of the last of these windows."""
        return Calendar(self.red, self.slow, self.windows[allowed[-1]][1]) if self.windows else self

    def in_futures(self, futures: NDArray[np.intp]) -> Calendar:
        """The same in some of the futures."""
        red, slow = (Spans(spans.starts[:, futures], spans.ends[:, futures]) for spans in (self.red, self.slow))
        windows = tuple((green, flag[futures]) for green, flag in self.windows)
        return Calendar(red, slow, self.session_end[futures], windows)

    def room(self, slot: Slot, t: Floats) -> Floats:
        """When a run that is ready at ``t`` leaves: in the first window that it fits into; nowhere: once it may."""
        begins = np.maximum(t, self.windows[slot.allowed[0]][0])
        for index in reversed(slot.allowed):
            begin, end = self.windows[index]
            start = np.maximum(t, begin)
            begins = np.where(start + slot.needed < end, start, begins)
        return begins

    def carried_over(self, t: Floats, out_again: Floats, duration: Floats | float) -> Floats:
        """When a lap that is due at ``t`` begins: where the flag came before it, after the break and another out-lap.

        ``duration`` is what the lap must still have before the flag: nothing where a started lap may be finished.
        """
        for (begin, end), (following, _) in pairwise(self.windows):
            cut = (t >= begin) & (t + duration >= end) & (t < following)
            if cut.any():
                t = np.where(cut, following + out_again, t)
        return t

    def flag_after(self, moment: Floats, allowed: tuple[int, ...]) -> Floats:
        """The flag that decides about this moment: that of the window it lies in or after, among those allowed."""
        found = self.windows[allowed[0]][1]
        for index in allowed[1:]:
            begin, end = self.windows[index]
            found = np.where(moment >= begin, end, found)
        return found

    @cached_property
    def listed(self) -> tuple[NDArray[np.intp], Floats, Floats]:
        """Every interruption of every future in one list: the future's number, start, end."""
        found = []
        for spans in (self.red, self.slow):
            row, future = np.isfinite(spans.starts).nonzero()
            found.append((future, spans.starts[row, future], spans.ends[row, future]))
        futures, starts, ends = zip(*found, strict=True)
        return np.concatenate(futures), np.concatenate(starts), np.concatenate(ends)

    @cached_property
    def reds(self) -> int:
        """How many of those in the list are red flags: they come first."""
        return int(np.isfinite(self.red.starts).sum())

    def met(self, begin: Floats, end: Floats) -> NDArray[np.intp]:
        """The futures in which an interruption touches the time from ``begin`` to ``end``, shape (N,) each; in order.

        A future in which ``begin`` is infinite meets none.
        """
        future, starts, ends = self.listed
        touched = np.zeros(begin.size, dtype=np.bool_)
        touched[future[(starts < end[future]) & (ends > begin[future])]] = True
        found: NDArray[np.intp] = touched.nonzero()[0]
        return found
