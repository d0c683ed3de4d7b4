"""The passages of short stretches in a recording, as sightings: where a car was between loops, when the feed said so.

A stretch has a number within its sector and no place; where it ends is found as places of loops are, over the quick
laps of the recording: the median of the share of the lap time. The last stretch of a sector ends at a loop, whose
crossing says the same with the exact time, so it is left out. A passage is known by the moment of its message alone,
which is late by what the message took: a twentieth of a second as a rule, a second or two at times.
"""

from __future__ import annotations

import itertools
from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Sequence
from statistics import median

from pitwall.feeds.circuit_from_recording import quick_laps
from pitwall.feeds.recording import Passage, Recording
from pitwall.model.events import CarSighted

FEWEST = 3
"""A place is the median of so many quick laps at least."""
Stretch = tuple[int, int]
"""Sector, and number within it."""


def stretch_ends(recording: Recording, passages: Sequence[Passage]) -> dict[Stretch, float]:
    """Where stretches end, as shares of the time of a quick lap: those within a sector, rising along the lap.

    Args:
        recording: whose laps.
        passages: of that recording.
    """
    times: dict[str, list[tuple[float, Stretch]]] = defaultdict(list)
    for one in passages:
        times[one.car].append((one.said_t, (one.sector, one.segment)))
    for of_car in times.values():
        of_car.sort()
    shares: dict[Stretch, list[float]] = defaultdict(list)
    for lap in quick_laps(recording):
        if lap.start is None or lap.time is None:
            continue
        mine = times[lap.car]
        begin, end = ((lap.start + after, (0, 0)) for after in (0.0, lap.time))
        for t, stretch in mine[bisect_right(mine, begin) : bisect_left(mine, end)]:
            shares[stretch].append((t - lap.start) / lap.time)
    last = {sector: max(number for one, number in shares if one == sector) for sector, _ in shares}
    inner = {stretch: median(found) for stretch, found in sorted(shares.items())
             if len(found) >= FEWEST and stretch[1] < last[stretch[0]]}  # fmt: skip
    highest = itertools.accumulate(inner.values(), max, initial=0.0)
    return {stretch: share for (stretch, share), before in zip(inner.items(), highest, strict=False)
            if before < share < 1.0}  # fmt: skip


def sightings(recording: Recording) -> list[tuple[float, CarSighted]]:
    """The passages on track with the second at which each is said, in the order of their file; none without them.

    Raises:
        FileProblem: when a line of the file cannot be read.
    """
    passages = [one for one in recording.passages() if not one.in_pit_lane]
    ends = stretch_ends(recording, passages)
    found = []
    for one in passages:
        share = ends.get((one.sector, one.segment))
        if share is not None:
            stamp = round((one.said_t + recording.meta.start_t_s) * 1000)
            fact_id = f"sight-{one.car}-{one.sector}-{one.segment}-{stamp}"
            found.append((one.said_t, CarSighted(id=fact_id, t=one.said_t, car=one.car, share=round(share, 4))))
    return found
