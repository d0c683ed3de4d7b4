"""The cars' own plans put together, one of each car, in falling order of their summed net worth.

Without anything in common the first of them is the best plan of the team; with it, the first that agrees.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from heapq import heappop, heappush

import numpy as np

from pitwall.forecast.advice_prefixes import SAME, Found


def by_sum(pools: Sequence[Sequence[Found]]) -> Iterator[tuple[float, tuple[Found, ...]]]:
    """One of each pool (each best first), in falling order of their summed net worth."""
    def entry(at: tuple[int, ...]) -> tuple[float, tuple[int, ...]]:
        return -sum(pool[place].net for pool, place in zip(pools, at, strict=True)), at

    start = (0,) * len(pools)
    waiting, seen = [entry(start)], {start}
    while waiting:
        net, at = heappop(waiting)
        yield -net, tuple(pool[place] for pool, place in zip(pools, at, strict=True))
        for number, pool in enumerate(pools):
            following = (*at[:number], at[number] + 1, *at[number + 1 :])
            if following[number] < len(pool) and following not in seen:
                seen.add(following)
                heappush(waiting, entry(following))


def crossed(
    pools: Sequence[Sequence[Found]], floor: float, above: float, most: int
) -> Iterator[tuple[float, tuple[Found, ...]]]:
    """The same for two pools, only pairs worth more than ``above`` with which all musts are done with chance ``floor``:
    all of them at once, and the ``most`` best of them in falling order."""
    one, other = pools
    sums = np.add.outer(np.array([found.net for found in one]), np.array([found.net for found in other]))
    good = sums > above
    if floor > 0:
        ours, theirs = (np.array([found.sure for found in pool], dtype=np.float32) for pool in pools)
        good &= ours @ theirs.T >= (floor - SAME) * ours.shape[1]
    places = np.flatnonzero(good)
    if places.size > most:
        places = np.sort(places[np.argpartition(-sums.flat[places], most)[:most]])
    for place in places[np.argsort(-sums.flat[places], kind="stable")].tolist():
        row, column = divmod(place, len(other))
        yield float(sums[row, column]), (one[row], other[column])


def merged(first: Sequence[Found], second: Sequence[Found]) -> list[Found]:
    """All plans of both, each once, best first."""
    every = {found.sequel: found for found in (*first, *second)}
    return sorted(every.values(), key=lambda found: found.rank)
