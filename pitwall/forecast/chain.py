"""What is left for one car, with its durations drawn: the chain that is walked through the futures, and its times."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from pitwall.forecast.pert import Floats
from pitwall.model.outputs import Activity

Indices = NDArray[np.intp]

ON_TRACK = frozenset({"out", "timed", "cool", "in"})
WORKS = frozenset({"wait", "garage"})


@dataclass(frozen=True)
class Chain:
    """What is left for one car, or one run of it, with its durations drawn.

    Attributes:
        activities: In order, A of them.
        durations: Shape (A, N), seconds.
        again: Shape (A, N), seconds: how long the activity takes when it has to be done again from its beginning
            (differs from ``durations`` for a lap that is already under way).
        out_again: Per activity, the out-lap that a red flag makes necessary, shape (N,) each.
        under_way: The first activity has already begun on track.
        stops: Per activity, how long the garage keeps the car at least that a red flag sends back on it, shape (N,)
            each; none: no longer than the red flag lasts.
        ends_run: Per activity, None where a lap that a red flag cuts is driven again; else its run is over, for all
            laps that count are done before it, and this is the way from the line in the lane to the garage, seconds.
    """

    activities: tuple[Activity, ...]
    durations: Floats
    again: Floats
    out_again: tuple[Floats, ...]
    under_way: bool
    stops: tuple[Floats, ...] = ()
    ends_run: tuple[float | None, ...] = ()

    @cached_property
    def stretches(self) -> tuple[tuple[int, int], ...]:
        """First and last-but-one index of each stretch: a single work, or what is driven between two works."""
        found: list[tuple[int, int]] = []
        for index, activity in enumerate(self.activities):
            driven = activity.kind in ON_TRACK or activity.kind == "item"
            if driven and found and self.activities[index - 1].kind not in WORKS:
                found[-1] = (found[-1][0], index + 1)
            else:
                found.append((index, index + 1))
        return tuple(found)

    def part(self, first: int, last: int) -> Chain:
        """Activities ``first`` up to and without ``last``; not under way unless it begins the whole."""
        return Chain(
            self.activities[first:last], self.durations[first:last], self.again[first:last],
            self.out_again[first:last], self.under_way and first == 0, self.stops[first:last],
            self.ends_run[first:last],
        )

    def only(self, futures: Indices) -> Chain:
        """The same in some of the futures."""
        out_again = tuple(lap[futures] for lap in self.out_again)
        stops = tuple(stop[futures] for stop in self.stops)
        return Chain(self.activities, self.durations[:, futures], self.again[:, futures], out_again, self.under_way,
                     stops, self.ends_run)


@dataclass(frozen=True)
class Path:
    """When each activity began and ended, shape (A, N) each; a lap under way from the start began at minus infinity.

    A lap that is not driven to its end, because a red flag ended its run, begins never (at infinity), and ends when the
    car is back.
    """

    starts: Floats
    ends: Floats
