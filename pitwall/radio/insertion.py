"""A good order of the calls when there are too many to search through: one after the other into its best place.

The dearest call to lose is put in first, each next one wherever and in whichever way the whole costs least; then each
is taken out once more and put back, as long as that helps. Nothing proves the order best; ``least_in_the_room`` and the
bound of the search say how far from the best it can be.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pitwall.radio.search import Job

Order = tuple[tuple[int, int], ...]
"""Calls and their ways in the order in which they are said."""

MOST_ROUNDS = 3


def by_insertion(jobs: Sequence[Job], now: int) -> tuple[Order, int]:
    """An order and what it costs, the channel being free from ``now`` on."""
    order: Order = ()
    cost = _cost(jobs, order, now)
    assert cost is not None  # saying nothing is always possible
    # What others need has to be there before them, whatever it is worth itself.
    worth = [job.drop + sum(other.drop for other in jobs if other.needs >> number & 1)
             for number, job in enumerate(jobs)]
    dearest = sorted(range(len(jobs)), key=lambda number: (-worth[number], number))
    for _ in range(MOST_ROUNDS):
        before = cost
        for number in dearest:
            for candidate in _with(jobs, order, number):
                found = _cost(jobs, candidate, now)
                if found is not None and found < cost:
                    order, cost = candidate, found
        if cost == before:
            break
    return order, cost


def _with(jobs: Sequence[Job], order: Order, number: int) -> Iterator[Order]:
    """The order with this call at each place in each way, and without it."""
    rest = tuple(one for one in order if one[0] != number)
    for way in range(len(jobs[number].ways)):
        for place in range(len(rest) + 1):
            yield (*rest[:place], (number, way), *rest[place:])


def _cost(jobs: Sequence[Job], order: Order, now: int) -> int | None:
    """What an order costs; None where it breaks a rule or some call comes too late."""
    said, free, cost = 0, now, 0
    for number, index in order:
        job, way = jobs[number], jobs[number].ways[index]
        if job.needs & ~said or any(jobs[other].after >> number & 1 for other in range(len(jobs)) if said >> other & 1):
            return None
        starts = way.earliest_chain(free)
        if starts is None:
            return None
        cost += way.cost(starts)
        free = starts[-1] + way.lengths[-1] + job.gap
        said |= 1 << number
    return cost + sum(job.drop for number, job in enumerate(jobs) if not said >> number & 1)


def least_in_the_room(jobs: Sequence[Job], now: int) -> int:
    """A cost that no plan falls below: what is said until some moment fits into the time until then.

    A tick of that time may have any price: each call then takes its cheapest way, its length paid for, and the time
    there is, is paid back. The best price of each moment is among those at which some call changes its way.
    """
    found = 0
    for until in sorted({_over(job, index) for job in jobs for index in range(len(job.ways))}):
        inside, elsewhere = [], 0
        for job in jobs:
            counted = [index for index in range(len(job.ways)) if _over(job, index) <= until]
            costs = [job.ways[index].cost(starts) if (starts := job.ways[index].earliest_chain(now)) else job.drop
                     for index in range(len(job.ways))]
            spared = min([job.drop, *(cost for index, cost in enumerate(costs) if index not in counted)])
            inside.append((spared, [(sum(job.ways[index].lengths) + job.gap, costs[index]) for index in counted]))
        prices = sorted({max(0, (spared - cost) // length) for spared, ways in inside for length, cost in ways} | {0})
        for price in prices:
            paid = sum(min([spared, *(cost + price * length for length, cost in ways)]) for spared, ways in inside)
            elsewhere = max(elsewhere, paid - price * max(0, until - now))
        found = max(found, elsewhere)
    return found


def _over(job: Job, index: int) -> int:
    """The tick at which the channel is free again at the very latest after this way."""
    return job.ways[index].starts[-1][-1][1] + job.ways[index].lengths[-1] + job.gap
