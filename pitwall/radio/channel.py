"""The channel plan: which of the pending calls of one driver are said when, in which way, and which are not.

First no must-say call is lost, then pre-empting calls are said at once, then as little as possible is given up, then
everything is said as near to its best moment as it may be (``pending.Cost``). ``plan_channel`` is exact for up to
``EXACT_UP_TO`` calls; beyond that it may stop after ``most_nodes`` states and then says how far from the best it may
be.

The function keeps nothing. The engine calls it again whenever a call, a window or a busy stretch changes; equal input
gives an equal plan, in whatever order the calls are given.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import NamedTuple

from pitwall.model.record import altered
from pitwall.radio.pending import (
    LOSS_TENTHS,
    MOST_PAUSE_S,
    Busy,
    ChannelPlan,
    Cost,
    PendingCall,
    Way,
    check_together,
    earlier_tick,
    later_tick,
    merged,
    seconds_of,
    without,
)
from pitwall.radio.reasons import Circumstances, Dropped, Placed
from pitwall.radio.search import Answer, Job, JobWay, Search, Ticks, units, unpack

EXACT_UP_TO = 12
MOST_NODES = 400  # beyond EXACT_UP_TO calls; a fraction of a second
PART_PAUSE_S = 0.5  # between two parts the engineer at least breathes (common practice, no source)
PART_PAUSE, MOST_PAUSE = later_tick(PART_PAUSE_S), later_tick(MOST_PAUSE_S)


@dataclass(slots=True)
class InTicks:
    """What was worked out at one moment, for several plans with the same ``busy`` and ``now_s``.

    ``ways``: of a way, by its id, length and starts of each part, and the best moment, in ticks. ``jobs``: of a call
    that hangs on no other, by its id and by how costs are packed. ``waiting``: what a call costs at most by waiting, by
    its id. What an id is of is held as well, so that it stays its own.
    """

    ways: dict[int, tuple[Way, tuple[int, ...], tuple[Ticks, ...], int]] = field(default_factory=dict)
    jobs: dict[tuple[int, Cost], tuple[PendingCall, Job]] = field(default_factory=dict)
    waiting: dict[int, tuple[PendingCall, int]] = field(default_factory=dict)


def plan_channel(
    calls: Iterable[PendingCall], busy: Iterable[Busy] = (), *, now_s: float, most_nodes: int = MOST_NODES,
    known: InTicks | None = None,
) -> ChannelPlan:
    """Find the best plan: ``sought`` has the arguments, and what is raised."""
    return sought(calls, busy, now_s=now_s, most_nodes=most_nodes, known=known).plan()


def sought(
    calls: Iterable[PendingCall], busy: Iterable[Busy] = (), *, now_s: float, most_nodes: int = MOST_NODES,
    known: InTicks | None = None,
) -> Sought:
    """Find which calls are made in the best plan; it is told in full once it is asked for.

    Args:
        calls: everything that waits for this driver's channel.
        busy: when the channel is taken: the driver's talking, as far as known or expected, and the engineer's own.
        now_s: nothing begins before.
        most_nodes: where the search may stop with more than ``EXACT_UP_TO`` calls.
        known: what was worked out at this very moment, for several plans with the same ``busy`` and ``now_s``.

    Raises:
        ValueError: two calls of one key, or calls that wait for one another in a circle.
    """
    ordered = tuple(sorted(calls, key=lambda call: call.key))
    check_together(ordered)
    taken = tuple(sorted(busy, key=lambda one: (one.from_s, one.to_s, one.who)))
    if not any(call.ways for call in ordered):
        return Sought(ordered, taken, now_s, None)
    known = InTicks() if known is None else known
    bases = _bases(ordered, known)
    problem = _Problem(ordered, later_tick(now_s), units(bases), known)
    jobs = tuple([problem.job(call, taken) for call in ordered])
    answer = _answer(jobs, 1 << 62 if len(jobs) <= EXACT_UP_TO else most_nodes, _asked_from(jobs, problem.now))
    return Sought(ordered, taken, now_s, _Solved(problem, bases, jobs, answer))


class Sought(NamedTuple):
    """The calls in order of their keys, what the channel is taken for, now, and what the search found of them; None
    where there is no way to make any of them.

    Most plans only show which calls must be content with less: then nobody asks for times and reasons.
    """

    calls: tuple[PendingCall, ...]
    taken: tuple[Busy, ...]
    now_s: float
    solved: _Solved | None

    @property
    def left(self) -> list[str]:
        """The keys of the calls that are not made."""
        made = set() if self.solved is None else {number for number, _ in self.solved.answer.order}
        return [call.key for number, call in enumerate(self.calls) if number not in made]

    def plan(self) -> ChannelPlan:
        """The plan with its times and reasons."""
        if self.solved is None:
            return _nothing(self.calls, Circumstances(self.calls, self.taken, self.now_s, ()))
        problem, bases, jobs, answer = self.solved
        said = _timed(jobs, answer.order, problem.now)
        placed = [problem.placed(one, jobs) for one in said]
        kept = {one.key for one in placed}
        about = Circumstances(self.calls, self.taken, self.now_s, tuple(placed))
        return ChannelPlan(
            placed=tuple([one if one.how == "full" else altered(one, about=about) for one in placed]),
            dropped=tuple([Dropped(call, about) for call in self.calls if call.key not in kept]),
            cost=unpack(answer.cost, bases),
            bound=unpack(answer.bound, bases),
            proven=answer.cost == answer.bound,
            nodes=answer.nodes,
        )


def _asked_from(jobs: Sequence[Job], now: int) -> int:
    """The tick from which the search begins: until the first call may begin nothing hangs on the moment."""
    return max(now, min([job.opens for job in jobs if job.ways], default=now))


@lru_cache(maxsize=64)
def _answer(jobs: tuple[Job, ...], most_nodes: int, now: int) -> Answer:
    """What the search finds. Kept: in a third of the cases nothing has changed that counts in whole ticks."""
    return Search(jobs, most_nodes).run(now)


def _nothing(calls: Sequence[PendingCall], about: Circumstances) -> ChannelPlan:
    """The plan where there is no way to make any of the calls."""
    left = tuple([Dropped(call, about) for call in calls])
    cost = Cost(sum(call.weight * call.stake for call in calls if call.must), 0,
                sum(call.weight * LOSS_TENTHS["dropped"] for call in calls), 0)
    return ChannelPlan((), left, cost, cost, proven=True, nodes=0)


# -- into ticks ----------------------------------------------------------------------------------------------------


def _length(seconds: float) -> int:
    return max(1, later_tick(seconds))


def _in_ticks(
    way: Way, pre_empts: bool, busy: tuple[Busy, ...], now: int
) -> tuple[tuple[int, ...], tuple[Ticks, ...], int]:
    """Length and starts of each part, and the best moment."""
    best = earlier_tick(way.best_s)
    if len(way.parts) == 1:
        return (_length(way.parts[0].spoken_s),), (free_starts(pre_empts, way, 0, busy, now),), best
    last = len(way.parts) - 1
    # The breath between two parts belongs to the first of them.
    lengths = tuple([_length(part.spoken_s) + (PART_PAUSE if number < last else 0)
                     for number, part in enumerate(way.parts)])
    return lengths, tuple([free_starts(pre_empts, way, part, busy, now) for part in range(last + 1)]), best


def free_starts(pre_empts: bool, way: Way, part: int, busy: Sequence[Busy], now: int) -> Ticks:
    """When a part may be begun in ticks: its own windows, from now on, less what the channel is taken for."""
    own = merged([(max(now, later_tick(begin)), earlier_tick(end)) for begin, end in way.parts[part].starts])
    if not busy or not own:
        return own
    length, least = _length(way.parts[part].spoken_s), later_tick(way.least_s)
    cut = [(earlier_tick(one.from_s) - length + 1, later_tick(one.to_s) - 1)
           for one in busy if one.to_s > one.from_s and not (pre_empts and one.who == "engineer")]
    left = without(own, cut)
    return own if left == own else tuple([span for span in left if span[1] - span[0] >= least or span in own])


def _bases(calls: Sequence[PendingCall], known: InTicks) -> tuple[int, int, int, int]:
    """For each figure of a cost a number above any sum of it: a power of sixteen, so that a window more or less
    commonly changes none."""
    lost = sum(call.weight * call.stake for call in calls if call.must)
    given_up = sum(call.weight * LOSS_TENTHS["dropped"] for call in calls)
    waiting = [0, 0]
    for call in calls:
        found = known.waiting.get(id(call))
        if found is None:
            found = known.waiting[id(call)] = call, call.weight * _most_late(call)
        waiting[call.pre_empts] += found[1]
    return _above(lost), _above(waiting[1]), _above(given_up), _above(waiting[0])


def _most_late(call: PendingCall) -> int:
    """By how many ticks it is begun after its best moment at the most."""
    return max([0, *[later_tick(max([end for _, end in way.parts[-1].starts])) - earlier_tick(way.best_s)
                     for way in call.ways if way.parts[-1].starts]])


def _above(figure: int) -> int:
    return 1 << 4 * (figure.bit_length() // 4 + 1)


class _Problem(NamedTuple):
    """The calls in order of their keys, now, and how costs are packed into one number: what one of each figure is."""

    calls: tuple[PendingCall, ...]
    now: int
    unit: Cost
    known: InTicks

    def job(self, call: PendingCall, busy: tuple[Busy, ...]) -> Job:
        if call.after or call.needs:
            return self._made(call, busy)
        found = self.known.jobs.get((id(call), self.unit))
        if found is None:
            found = self.known.jobs[id(call), self.unit] = call, self._made(call, busy)
        return found[1]

    def _made(self, call: PendingCall, busy: tuple[Busy, ...]) -> Job:
        ways = tuple([made for way in call.ways if all((made := self._way(call, way, busy)).starts)])
        hit = later_tick(call.hit_s)
        return Job(
            ways=ways,
            gap=later_tick(call.gap_s) + hit,
            hit=hit,
            drop=call.weight * (call.must * call.stake * self.unit.lost + LOSS_TENTHS["dropped"] * self.unit.given_up),
            after=self._bits_of(call.after) if call.after else 0,
            needs=self._bits_of(call.needs) if call.needs else 0,
            opens=min([way.starts[0][0][0] for way in ways], default=0),
            closes=max([way.starts[0][-1][1] for way in ways], default=-1),
        )

    def _bits_of(self, keys: tuple[str, ...]) -> int:
        return sum([1 << number for number, other in enumerate(self.calls) if other.key in keys])

    def _way(self, call: PendingCall, way: Way, busy: tuple[Busy, ...]) -> JobWay:
        found = self.known.ways.get(id(way))
        if found is None:
            found = self.known.ways[id(way)] = way, *_in_ticks(way, call.pre_empts, busy, self.now)
        _, lengths, starts, best = found
        return JobWay(
            how=way.how,
            lengths=lengths,
            starts=starts,
            best=best,
            loss=call.weight * LOSS_TENTHS[way.how] * self.unit.given_up,
            late_per_tick=call.weight * (self.unit.delayed if call.pre_empts else self.unit.late),
            most_pause=MOST_PAUSE,
        )

    def placed(self, one: _Timed, jobs: Sequence[Job]) -> Placed:
        call = self.calls[one.job]
        job_way = jobs[one.job].ways[one.way]
        way = next(way for way in call.ways if way.how == job_way.how)
        window = next(end for begin, end in job_way.starts[0] if begin <= one.starts[0] <= end)
        return Placed(
            key=call.key,
            how=way.how,
            texts=tuple(part.text for part in way.parts),
            starts_s=tuple(map(seconds_of, one.starts)),
            window_to_s=seconds_of(min(window, one.last)),
            last_s=seconds_of(one.last),
            end_s=seconds_of(one.starts[-1] + job_way.lengths[-1]),
        )


class _Solved(NamedTuple):
    """A problem, how its costs are packed, and the search's answer."""

    problem: _Problem
    bases: tuple[int, int, int, int]
    jobs: tuple[Job, ...]
    answer: Answer


# -- from the order to times -----------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Timed:
    job: int
    way: int
    starts: tuple[int, ...]
    last: int


def _timed(jobs: Sequence[Job], order: Sequence[tuple[int, int]], now: int) -> list[_Timed]:
    """Starts for an order: as early as may be, then as near to the best moment as costs nothing; and last starts."""
    free, early = now, []
    for number, index in order:
        way = jobs[number].ways[index]
        starts = way.earliest_chain(free)
        assert starts is not None  # the search began it so
        early.append(starts)
        free = starts[-1] + way.lengths[-1] + jobs[number].gap
    found: list[_Timed] = []
    until: int | None = None
    latest: int | None = None
    for (number, index), starts in zip(reversed(order), reversed(early), strict=True):
        way, gap = jobs[number].ways[index], jobs[number].gap - jobs[number].hit
        starts = _nearer_to_best(way, starts, None if until is None else until - gap)
        last = _last_start(way, starts, None if latest is None else latest - gap)
        found.append(_Timed(number, index, starts, last))
        until, latest = starts[0], last
    return found[::-1]


def _nearer_to_best(way: JobWay, starts: tuple[int, ...], end_by: int | None) -> tuple[int, ...]:
    """One part that begins before its best moment waits for it, as long as nobody else has to."""
    if len(starts) > 1 or starts[0] >= way.best:
        return starts
    limit = way.best if end_by is None else min(way.best, end_by - way.lengths[0])
    return (max(starts[0], _latest(way.starts[0], limit)),)


def _last_start(way: JobWay, starts: tuple[int, ...], end_by: int | None) -> int:
    """The last start of the first part; the other parts keep their places."""
    if len(starts) > 1:
        limit = starts[1] - way.lengths[0]
    else:
        limit = way.starts[0][-1][1] if end_by is None else end_by - way.lengths[0]
    return max(starts[0], _latest(way.starts[0], limit))


def _latest(starts: Ticks, tick: int) -> int:
    """The last admissible start at or before a tick; a tick before all of them when there is none."""
    return max((min(end, tick) for begin, end in starts if begin <= tick), default=starts[0][0] - 1)
