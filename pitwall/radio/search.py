"""The best order of the calls on one channel: an exact search on whole ticks.

The problem is the one-machine problem with release times, deadlines and weights of the scheduling books, with windows
instead of one deadline and with several ways to do each job, one of which is to leave it. No cost falls when a call is
begun later, so only the order and the ways are searched: each call begins as early as it may. A *state* is the set of
calls that may still be made and the tick from which the channel is free. Best first (A*), with

- a bound: each remaining call costs at least what it costs when it has the channel to itself from now on;
- dominance: of two states with the same calls left, one that is free no earlier and no cheaper is left out;
- filling: a call that fits at its least cost before another one begins is never put behind it.

The first finished state that is taken from the queue is the optimum. After ``most_nodes`` states the search stops, the
best plan found by going straight ahead from the most promising states, or by insertion, is returned, and the least
bound in the queue with it. Nodes are counted, never time, so equal input gives equal plans everywhere.
"""

from __future__ import annotations

import heapq
import itertools
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any, NamedTuple

from pitwall.radio.insertion import by_insertion, least_in_the_room
from pitwall.radio.pending import Cost, How

Ticks = tuple[tuple[int, int], ...]
NEVER = 1 << 62
DIVES = 8  # so many states are followed straight to an end when the search is broken off


def earliest(starts: Ticks, tick: int) -> int | None:
    """The first admissible start at or after a tick; None when there is none."""
    at = bisect_left(starts, (tick,))
    if at and starts[at - 1][1] >= tick:
        return tick
    return starts[at][0] if at < len(starts) else None


class JobWay(NamedTuple):
    """One way of a job: for each part its length and its starts, in ticks, and what it costs.

    ``late_per_tick`` counts from ``best`` on, by the start of the last part less what is spoken before it, so that a
    way in one part counts from its start.
    """

    how: How
    lengths: tuple[int, ...]
    starts: tuple[Ticks, ...]
    best: int
    loss: int
    late_per_tick: int
    most_pause: int

    def earliest_chain(self, tick: int) -> tuple[int, ...] | None:
        """The earliest starts of all parts from a tick on, none more than the longest pause after the one before.

        The earliest start of each part is earliest for all of them together: raising one only ever raises the others.
        """
        if len(self.lengths) == 1:
            begun = earliest(self.starts[0], tick)
            return None if begun is None else (begun,)
        least = [tick] * len(self.lengths)
        while True:
            begun_at: list[int] = []
            for part, starts in enumerate(self.starts):
                ready = begun_at[-1] + self.lengths[part - 1] if part else tick
                begun = earliest(starts, max(least[part], ready))
                if begun is None:
                    return None
                if part and begun - ready > self.most_pause:
                    least[part - 1] = begun - self.most_pause - self.lengths[part - 1]
                    break
                begun_at.append(begun)
            else:
                return tuple(begun_at)

    def cost(self, starts: Sequence[int]) -> int:
        """What it costs begun so."""
        begun = starts[0] if len(starts) == 1 else starts[-1] - sum(self.lengths[:-1])
        return self.loss + self.late_per_tick * max(0, begun - self.best)


class Job(NamedTuple):
    """One call for the search; ``after`` and ``needs`` are sets of jobs as bits; ``opens`` and ``closes`` are its first
    start and its last.

    ``hit`` is that part of the gap by which it may be begun later than planned.
    """

    ways: tuple[JobWay, ...]
    gap: int
    drop: int
    after: int
    needs: int
    hit: int
    opens: int
    closes: int


Option = tuple[int, int, int, int]
"""One call made next: what that costs, from when the channel is free again, in which way, and when it begins. In this
order the cheapest is the first."""

_Next = tuple[tuple[Option, ...], int, int]
"""How one call may be made from some tick on: its options, cheapest first; when it begins first in any way; and what
it costs at least, left or made."""

_Row = list[_Next | None]
"""That of every call at one tick; None where it was not asked yet."""

_State = tuple[int, int, int, int, int, int, Any, tuple[int, int] | None, _Row]
"""A heap entry: least cost of the whole, calls left, number, cost so far, when the channel is free, the set of calls
left, the state before, the call made since then, and what is known of the calls left at that tick. Compared up to the
number, which no two share. (Plain tuples: most of the time of a search goes into making them.)"""


@dataclass(frozen=True, slots=True)
class Answer:
    """Order and ways of what is said; ``bound`` is a cost that no plan falls below."""

    order: tuple[tuple[int, int], ...]
    cost: int
    bound: int
    nodes: int


@dataclass(slots=True)
class Search:
    """One search; make one for each set of jobs. Jobs are in an order that does not depend on how they were given."""

    jobs: tuple[Job, ...]
    most_nodes: int
    nodes: int = 0
    _known: dict[int, _Row] = field(default_factory=dict)
    _seen: dict[int, list[tuple[int, int]]] = field(default_factory=dict)
    _needed: int = 0
    _count: int = 0
    _closes: list[int] = field(default_factory=list)
    _closed: list[int] = field(default_factory=list)

    def run(self, now: int) -> Answer:
        """The best plan for a channel that is free from ``now`` on."""
        if len(self.jobs) == 1:
            return self._alone(now)
        for job in self.jobs:
            self._needed |= job.needs
        root = self._settled(None, None, 0, now, (1 << len(self.jobs)) - 1)
        queue = [root]
        while queue:
            state = heapq.heappop(queue)
            cost, free, alive = state[3:6]
            if not alive:
                return Answer(_order(state), cost, cost, self.nodes)
            if self.nodes >= self.most_nodes:
                heapq.heappush(queue, state)
                return self._broken_off(queue, now)
            if self._beaten(alive, free, cost, strictly=True):
                continue
            self.nodes += 1
            for child in self._children(state):
                if not child[5]:
                    heapq.heappush(queue, child)
                elif not self._beaten(child[5], child[4], child[3]):
                    self._note(child)
                    heapq.heappush(queue, child)
        raise AssertionError("a state always has a way to finish")  # leaving every call is one

    def _alone(self, now: int) -> Answer:
        """The same answer for one call that has the channel to itself: most plans are that."""
        options = self._work_out(0, now)[0]
        if not options:
            return Answer((), self.jobs[0].drop, self.jobs[0].drop, self.nodes)
        self.nodes += 1
        cost, _, way, _ = options[0]
        return Answer(((0, way),), cost, cost, self.nodes)

    # -- one step --------------------------------------------------------------------------------------------------

    def _next(self, job: int, tick: int) -> _Next:
        """Ways to make a call from a tick on that are worth it."""
        opens = self.jobs[job].opens
        if tick >= opens:
            return self._work_out(job, tick)
        row = self._row(opens)  # before its first start every tick is the same to it
        found = row[job]
        if found is None:
            found = row[job] = self._work_out(job, opens)
        return found

    def _row(self, tick: int) -> _Row:
        row = self._known.get(tick)
        if row is None:
            row = self._known[tick] = [None] * len(self.jobs)
        return row

    def _work_out(self, number: int, tick: int) -> _Next:
        ways, gap, drop, _, _, _, _, closes = self.jobs[number]
        if tick > closes:
            return (), tick, drop
        found: list[Option] = []
        for index, (_, lengths, starts, best, loss, late_per_tick, _) in enumerate(ways):
            if len(lengths) == 1:
                for begin, end in starts[0]:
                    if end >= tick:
                        start = begin if begin > tick else tick
                        cost = loss + late_per_tick * (start - best) if start > best else loss
                        found.append((cost, start + lengths[0] + gap, index, start))
                        break
            elif (chain := ways[index].earliest_chain(tick)) is not None:
                found.append((ways[index].cost(chain), chain[-1] + lengths[-1] + gap, index, chain[0]))
        needed = self._needed >> number & 1
        if len(found) == 1:
            cost, _, _, first = found[0]
            return (tuple(found), first, cost if cost < drop else drop) if cost <= drop or needed else ((), first, drop)
        if not found:
            return (), tick, drop
        first = min([option[3] for option in found])
        found.sort()
        kept: list[Option] = []
        for option in found:
            if (option[0] <= drop or needed) and (not kept or option[1] < kept[-1][1]):
                kept.append(option)
        return tuple(kept), first, min(kept[0][0], drop) if kept else drop

    def _settled(
        self, before: _State | None, made: tuple[int, int] | None, cost: int, free: int, alive: int
    ) -> _State:
        """The state after a call: what can no longer be made is dropped, idle time is passed over, the rest bounded."""
        known = self._known.get(free)
        if known is None:
            known = self._known[free] = [None] * len(self.jobs)
        while True:
            # Most of what is lost is lost because its last start is over, and that is known without asking it.
            lost = self._too_late(free) & alive
            least, first = 0, NEVER
            for job in _bits(alive ^ lost):
                found = known[job]
                if found is None:
                    found = known[job] = self._next(job, free)
                options, begins, cheapest = found
                if not options:
                    lost |= 1 << job
                    continue
                least += cheapest
                if begins < first:
                    first = begins
            if not lost:
                break
            cost, alive = self._lose(cost, alive, lost)
            if not self._needed & lost:
                break  # nothing else went with it, so the bound counts those that are left, and them alone
        self._count = number = self._count + 1
        if alive and first > free:
            free = first  # nothing of the calls left begins before, so what is known of them holds then too
        return cost + least, alive.bit_count(), number, cost, free, alive, before, made, known

    def _too_late(self, tick: int) -> int:
        """The jobs whose last start is before a tick."""
        if not self._closes:
            ends = sorted([(job.closes, number) for number, job in enumerate(self.jobs)])
            self._closes = [closes for closes, _ in ends]
            self._closed = [0, *itertools.accumulate([1 << number for _, number in ends])]
        return self._closed[bisect_left(self._closes, tick)]

    def _lose(self, cost: int, alive: int, lost: int) -> tuple[int, int]:
        """Drop calls, and with them the ones that make no sense without them."""
        while lost:
            for job in _bits(lost):
                cost += self.jobs[job].drop
            alive &= ~lost
            if not self._needed & lost:
                break
            lost = sum(1 << job for job in _bits(alive) if self.jobs[job].needs & lost)
        return cost, alive

    def _children(self, state: _State) -> list[_State]:
        """What may come next, and the end in which nothing more is said."""
        _, _, _, so_far, free, alive, _, _, known = state
        soonest, its, second = self._fitting(alive, known)
        found = []
        for number in _bits(alive):
            job, row = self.jobs[number], known[number]
            if row is None or job.needs & alive:
                continue
            over, left, lost = second if number == its else soonest, alive & ~(1 << number), job.after & alive
            for cost, ready, way, start in row[0]:
                if over > start:
                    spent, still = self._lose(so_far + cost, left, lost) if lost else (so_far + cost, left)
                    found.append(self._settled(state, (number, way), spent, ready, still))
        if its < 0:
            end = so_far + sum([self.jobs[job].drop for job in _bits(alive)])
            self._count += 1
            found.append((end, 0, self._count, end, free, 0, state, None, known))
        return found

    def _fitting(self, alive: int, known: _Row) -> tuple[int, int, int]:
        """Of the calls whose turn it may be and that are worth making: when the first of them is over at least cost,
        which that is (-1: there is none), and when the first of the others is."""
        soonest = second = NEVER
        its = -1
        for number in _bits(alive):
            row = known[number]
            if row is None:
                continue
            job = self.jobs[number]
            if (job.needs | job.after) & alive:
                continue
            cost, ready, _, _ = row[0][0]
            if cost <= job.drop:
                if ready < soonest:
                    soonest, its, second = ready, number, soonest
                elif ready < second:
                    second = ready
        return soonest, its, second

    # -- what was seen ---------------------------------------------------------------------------------------------

    def _beaten(self, alive: int, free: int, cost: int, strictly: bool = False) -> bool:
        """A state with the same calls left is free as early and as cheap. ``strictly``: and not this one itself."""
        for other_free, other_cost in self._seen.get(alive, ()):
            if other_free <= free and other_cost <= cost and (
                not strictly or other_free != free or other_cost != cost
            ):
                return True
        return False

    def _note(self, state: _State) -> None:
        _, _, _, cost, free, alive, _, _, _ = state
        front = self._seen.get(alive)
        if front is None:
            self._seen[alive] = [(free, cost)]
        else:
            front[:] = [one for one in front if not (free <= one[0] and cost <= one[1])]
            front.append((free, cost))

    def _broken_off(self, queue: list[_State], now: int) -> Answer:
        """The best of a few straight ways on and of insertion, and the bound of what was not looked at."""
        bound = max(queue[0][0], least_in_the_room(self.jobs, now))
        heads = heapq.nsmallest(DIVES, queue) + heapq.nsmallest(DIVES, queue, key=lambda one: (one[1], one[:3]))
        ends = [self._straight_on(state) for state in heads]
        best = min(ends, key=lambda one: (one[3], one[2]))
        order, cost = by_insertion(self.jobs, now)
        if cost < best[3]:
            return Answer(order, cost, min(bound, cost), self.nodes)
        return Answer(_order(best), best[3], min(bound, best[3]), self.nodes)

    def _straight_on(self, state: _State) -> _State:
        while state[5]:
            state = min(self._children(state))
        return state


@lru_cache(maxsize=4096)
def _bits(jobs: int) -> tuple[int, ...]:
    """The jobs of a set, lowest first; kept, as every state of every search asks for the same few sets."""
    return tuple(job for job in range(jobs.bit_length()) if jobs >> job & 1)


def _order(state: _State) -> tuple[tuple[int, int], ...]:
    made: list[tuple[int, int]] = []
    at: _State | None = state
    while at is not None:
        if at[7] is not None:
            made.append(at[7])
        at = at[6]
    return tuple(reversed(made))


def units(bases: Sequence[int]) -> Cost:
    """How much one of each figure is in a packed cost: one whole number for figures that are compared one after the
    other; ``bases[i]`` is above any sum of figure i."""
    _, delayed, given_up, late = bases
    return Cost(delayed * given_up * late, given_up * late, late, 1)


def unpack(packed: int, bases: Sequence[int]) -> Cost:
    """The figures of a packed cost."""
    figures = []
    for base in reversed(bases):
        packed, figure = divmod(packed, base)
        figures.append(figure)
    return Cost(*reversed(figures))
