"""How interruptions are met on the way through the futures: which one is next in each, and how long a lap takes then.

A slow period stretches every lap: while it lasts a car makes ``SLOW_PACE`` of its progress.
"""

from __future__ import annotations

import numpy as np

from pitwall.forecast.calendar import Spans
from pitwall.forecast.chain import Indices
from pitwall.forecast.pert import Floats

SLOW_PACE = 0.65
"""Share of normal progress under a full-course slow period: laps half as long again (common practice, no source)."""


class Cursor:
    """The next interruption of each column that is not over yet; only ever moves forward."""

    def __init__(self, spans: Spans, columns: Indices | None) -> None:
        self.spans, self.columns = spans, columns
        self.row = np.zeros(spans.starts.shape[1] if columns is None else columns.size, dtype=np.intp)
        self.start, self.end = self._take(0, slice(None) if columns is None else columns)

    def _take(self, row: int | Indices, futures: slice | Indices) -> tuple[Floats, Floats]:
        starts, ends = self.spans.starts[row, futures], self.spans.ends[row, futures]
        # A slice is a view on the calendar that all cars share; picked columns are a copy already.
        return (starts.copy(), ends.copy()) if isinstance(futures, slice) else (starts, ends)

    def futures(self, columns: Indices) -> Indices:
        """The future behind each of these columns."""
        return columns if self.columns is None else self.columns[columns]

    def forward(self, columns: Indices) -> None:
        """Go on to the next one in these columns."""
        self.row[columns] += 1
        self.start[columns], self.end[columns] = self._take(self.row[columns], self.futures(columns))

    def pass_over(self, t: Floats) -> None:
        """Leave behind whatever is over by ``t``, shape (N,)."""
        while (over := (self.end <= t).nonzero()[0]).size:
            self.forward(over)

    def pass_over_in(self, columns: Indices, t: Floats) -> None:
        """The same for some columns."""
        while (over := (self.end[columns] <= t).nonzero()[0]).size:
            self.forward(columns[over])


def wait_for_green(red: Cursor, t: Floats) -> Floats:
    """When somebody who is ready at ``t`` may leave: at once, or when the red flag that is out is over, shape (N,)."""
    red.pass_over(t)
    while (held := (red.start <= t).nonzero()[0]).size:
        t = t.copy()
        t[held] = red.end[held]
        red.pass_over(t)
    return t


def stretched(slow: Spans, futures: Indices, t: Floats, duration: Floats) -> Floats:
    """When laps begun at ``t`` end, slow periods included: one value for each of ``futures``.

    Progress is session time less the part lost while slow, a piecewise linear function of time; the lap ends where
    progress has grown by its duration. Both directions are sums over the slow periods.
    """
    starts, lengths = slow.starts[:, futures], slow.lengths[:, futures]
    lost_before = (lengths.cumsum(axis=0) - lengths) * (1.0 - SLOW_PACE)
    progress = t - (1.0 - SLOW_PACE) * np.minimum(np.maximum(t - starts, 0.0), lengths).sum(axis=0) + duration
    inside = np.minimum(np.maximum(progress - (starts - lost_before), 0.0), lengths * SLOW_PACE)
    end: Floats = progress + inside.sum(axis=0) * (1.0 / SLOW_PACE - 1.0)
    return end
