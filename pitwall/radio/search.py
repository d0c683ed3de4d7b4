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
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from operator import itemgetter
from typing import NamedTuple

from pitwall.radio.insertion import by_insertion, least_in_the_room
from pitwall.radio.pending import Cost, How

Ticks = tuple[tuple[int, int], ...]
DIVES = 8  # so many states are followed straight to an end when the search is broken off


def earliest(starts: Ticks, tick: int) -> int | None:
    """The first admissible start at or after a tick; None when there is none."""
    at = bisect_left(starts, (tick,))
    if at and starts[at - 1][1] >= tick:
        return tick
    return starts[at][0] if at < len(starts) else None


@dataclass(frozen=True, slots=True)
class JobWay:
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


@dataclass(frozen=True, slots=True)
class Job:
    """One call for the search; ``after`` and ``needs`` are sets of jobs as bits; ``opens`` and ``closes`` are its first
    start and its last.

    ``hit`` is that part of the gap by which it may be begun later than planned.
    """

    ways: tuple[JobWay, ...]
    gap: int
    drop: int
    after: int = 0
    needs: int = 0
    hit: int = 0
    opens: int = field(init=False)
    closes: int = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "opens", min((way.starts[0][0][0] for way in self.ways), default=0))
        object.__setattr__(self, "closes", max((way.starts[0][-1][1] for way in self.ways), default=-1))


class Option(NamedTuple):
    """One call made next: what that costs, from when the channel is free again, when it begins, and in which way."""

    cost: int
    ready: int
    start: int
    way: int


_CHEAPEST = itemgetter(0, 1, 3)
"""Options in order: by cost, then by when the channel is free again, then by the way."""


class _Next(NamedTuple):
    """How one call may be made from some tick on: its options, cheapest first; when it begins first in any way; and
    what it costs at least, left or made."""

    options: tuple[Option, ...]
    first: int
    least: int


@dataclass(slots=True)
class Answer:
    """Order and ways of what is said; ``bound`` is a cost that no plan falls below."""

    order: tuple[tuple[int, int], ...]
    cost: int
    bound: int
    nodes: int


class _State(NamedTuple):
    """A heap entry: compared up to the number, which no two share."""

    least: int
    left: int
    number: int
    cost: int
    free: int
    alive: int
    before: _State | None
    made: tuple[int, int] | None
    finished: bool


@dataclass(slots=True)
class Search:
    """One search; make one for each set of jobs. Jobs are in an order that does not depend on how they were given."""

    jobs: tuple[Job, ...]
    most_nodes: int
    nodes: int = 0
    _known: dict[int, list[_Next | None]] = field(default_factory=dict)
    """For each tick and each call. (One list for a tick: a state asks for all of its calls at one tick.)"""
    _seen: dict[int, list[tuple[int, int]]] = field(default_factory=dict)
    _needed: int = 0
    _count: int = 0

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
            if state.finished:
                return Answer(_order(state), state.cost, state.cost, self.nodes)
            if self.nodes >= self.most_nodes:
                heapq.heappush(queue, state)
                return self._broken_off(queue, now)
            if self._beaten(state.alive, state.free, state.cost, strictly=True):
                continue
            self.nodes += 1
            for child in self._children(state):
                if child.finished or not self._beaten(child.alive, child.free, child.cost):
                    if not child.finished:
                        self._note(child)
                    heapq.heappush(queue, child)
        raise AssertionError("a state always has a way to finish")  # leaving every call is one

    def _alone(self, now: int) -> Answer:
        """The same answer for one call that has the channel to itself: most plans are that."""
        options = self._next(0, now).options
        if not options:
            return Answer((), self.jobs[0].drop, self.jobs[0].drop, self.nodes)
        self.nodes += 1
        return Answer(((0, options[0].way),), options[0].cost, options[0].cost, self.nodes)

    # -- one step --------------------------------------------------------------------------------------------------

    def _at(self, tick: int) -> list[_Next | None]:
        """What is known of each call from a tick on; None where it was not asked yet."""
        known = self._known.get(tick)
        if known is None:
            known = self._known[tick] = [None] * len(self.jobs)
        return known

    def _next(self, job: int, tick: int) -> _Next:
        """Ways to make a call from a tick on that are worth it."""
        known = self._at(tick)
        found = known[job]
        if found is None:
            opens = self.jobs[job].opens  # before its first start every tick is the same to it
            found = known[job] = self._next(job, opens) if tick < opens else self._work_out(job, tick)
        return found

    def _work_out(self, number: int, tick: int) -> _Next:
        job = self.jobs[number]
        if tick > job.closes:
            return _Next((), tick, job.drop)
        found: list[Option] = []
        for index, way in enumerate(job.ways):
            starts = way.earliest_chain(tick)
            if starts is not None:
                ready = starts[-1] + way.lengths[-1] + job.gap
                found.append(Option(way.cost(starts), ready, starts[0], index))
        if not found:
            return _Next((), tick, job.drop)
        first = min([option.start for option in found])
        found.sort(key=_CHEAPEST)
        kept: list[Option] = []
        for option in found:
            worth_it = option.cost <= job.drop or self._needed >> number & 1
            if worth_it and (not kept or option.ready < kept[-1].ready):
                kept.append(option)
        return _Next(tuple(kept), first, min(kept[0].cost, job.drop) if kept else job.drop)

    def _settled(
        self, before: _State | None, made: tuple[int, int] | None, cost: int, free: int, alive: int
    ) -> _State:
        """The state after a call: what can no longer be made is dropped, idle time is passed over, the rest bounded."""
        known = self._at(free)
        while True:
            lost, least, first = 0, 0, 1 << 62
            for job in _bits(alive):
                found = known[job] or self._next(job, free)
                if not found.options:
                    lost |= 1 << job
                    continue
                least += found.least
                if found.first < first:
                    first = found.first
            if not lost:
                break
            cost, alive = self._lose(cost, alive, lost)
        self._count += 1
        free = max(free, first) if alive else free
        return _State(cost + least, alive.bit_count(), self._count, cost, free, alive, before, made, not alive)

    def _lose(self, cost: int, alive: int, lost: int) -> tuple[int, int]:
        """Drop calls, and with them the ones that make no sense without them."""
        while lost:
            for job in _bits(lost):
                cost += self.jobs[job].drop
            alive &= ~lost
            lost = sum(1 << job for job in _bits(alive) if self.jobs[job].needs & lost)
        return cost, alive

    def _children(self, state: _State) -> list[_State]:
        """What may come next, and the end in which nothing more is said."""
        alive, known = state.alive, self._at(state.free)
        fits = sorted(self._fitting(alive, state.free))
        found = []
        for number in _bits(alive):
            job = self.jobs[number]
            if job.needs & alive:
                continue
            over = next((ready for ready, other in fits if other != number), None)
            for option in (known[number] or self._next(number, state.free)).options:
                if over is not None and over <= option.start:
                    continue
                cost, left = self._lose(state.cost + option.cost, alive & ~(1 << number), job.after & alive)
                found.append(self._settled(state, (number, option.way), cost, option.ready, left))
        if not fits:
            cost = state.cost + sum(self.jobs[job].drop for job in _bits(alive))
            self._count += 1
            found.append(_State(cost, 0, self._count, cost, state.free, 0, state, None, True))
        return found

    def _fitting(self, alive: int, free: int) -> list[tuple[int, int]]:
        """Calls whose turn it may be and that are worth making, with the tick at which each is over at least cost."""
        found, known = [], self._at(free)
        for number in _bits(alive):
            job = self.jobs[number]
            if not (job.needs | job.after) & alive:
                option = (known[number] or self._next(number, free)).options[0]
                if option.cost <= job.drop:
                    found.append((option.ready, number))
        return found

    # -- what was seen ---------------------------------------------------------------------------------------------

    def _beaten(self, alive: int, free: int, cost: int, strictly: bool = False) -> bool:
        """A state with the same calls left is free as early and as cheap. ``strictly``: and not this one itself."""
        return any(
            other_free <= free and other_cost <= cost and not (strictly and (other_free, other_cost) == (free, cost))
            for other_free, other_cost in self._seen.get(alive, ())
        )

    def _note(self, state: _State) -> None:
        front = self._seen.setdefault(state.alive, [])
        front[:] = [one for one in front if not (state.free <= one[0] and state.cost <= one[1])]
        front.append((state.free, state.cost))

    def _broken_off(self, queue: list[_State], now: int) -> Answer:
        """The best of a few straight ways on and of insertion, and the bound of what was not looked at."""
        bound = max(queue[0].least, least_in_the_room(self.jobs, now))
        heads = heapq.nsmallest(DIVES, queue) + heapq.nsmallest(DIVES, queue, key=lambda one: (one.left, one[:3]))
        ends = [self._straight_on(state) for state in heads]
        best = min(ends, key=lambda one: (one.cost, one.number))
        order, cost = by_insertion(self.jobs, now)
        if cost < best.cost:
            return Answer(order, cost, min(bound, cost), self.nodes)
        return Answer(_order(best), best.cost, min(bound, best.cost), self.nodes)

    def _straight_on(self, state: _State) -> _State:
        while not state.finished:
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
        if at.made is not None:
            made.append(at.made)
        at = at.before
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
