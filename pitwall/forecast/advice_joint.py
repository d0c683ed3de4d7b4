"""The best plan of two cars that share a crew: branch and bound over pairs of beginnings, one for each car.

Theory. A pair of beginnings is driven as the whole plan would be: who is ready first is worked on first, and the other
car waits. Adding a run, and the work before it, at the end of one car's beginning never lets either car be sooner than
without it: the work keeps the crew, and only works that come due later wait for it. So what a pair has done, and when
each car is ready for more, bounds every plan that begins like it; what can still be had from there is bounded car by
car (``advice_bounds``). That holds for two cars; with three the one that waits may let the third go first.

Runs are added to the car that is ready first, on average. Where in some future the other car's last work came due
later than the one to be added, the order of the works is not known there any more. From there on nobody waits in that
future (it is not ``fair``), which only makes the bound higher; a whole plan is driven once more in the right order.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pitwall.forecast.advice_search import SAME, CarSearch, Prefixes
from pitwall.forecast.advice_team import TeamPlan, TeamSearch
from pitwall.forecast.pert import Floats
from pitwall.forecast.sharing import shared_labels, walk_together

CHUNK = 48
"""So many pairs are driven on at once: more would be too much memory and no quicker."""

JUDGED_AS = 12
"""Driving a whole plan in the right order takes as long as driving so many pairs on."""

Flags = NDArray[np.bool_]


@dataclass
class Pairs:
    """B pairs of beginnings.

    Attributes:
        cars: Per car its beginning; ``ready`` supposes that nobody waits for the work after its last piece.
        closed: Shape (B, 2): nothing follows for that car.
        free: Shape (B, L, N): when each shared crew is free.
        due: Shape (B, 2, N): when the last work of each car that needed one was due.
        fair: Shape (B, N): the works so far were in the order in which they came due.
        most: Shape (B,): no plan that begins so can be worth more.
    """

    cars: tuple[Prefixes, Prefixes]
    closed: Flags
    free: Floats
    due: Floats
    fair: Flags
    most: Floats

    def rows(self, rows: NDArray[np.intp]) -> Pairs:
        """Some of them."""
        return Pairs(
            (self.cars[0].rows(rows), self.cars[1].rows(rows)), self.closed[rows], self.free[rows], self.due[rows],
            self.fair[rows], self.most[rows],
        )

    @staticmethod
    def joined(many: Sequence[Pairs]) -> Pairs:
        """All of them, one behind the other."""
        return Pairs(
            (Prefixes.joined([one.cars[0] for one in many]), Prefixes.joined([one.cars[1] for one in many])),
            *(np.concatenate([getattr(one, name) for one in many])
              for name in ("closed", "free", "due", "fair", "most")),
        )

    def __len__(self) -> int:
        return len(self.most)


@dataclass(frozen=True)
class Joined:
    """What the search found: the best plan, whether every other was ruled out, and else what one can be worth."""

    best: TeamPlan | None
    exact: bool
    bound: float
    met: tuple[TeamPlan, ...]
    spent: int


class JointSearch:
    """Branch and bound for the two cars of one team search."""

    def __init__(self, team: TeamSearch, floor: float, budget: int, alone: Sequence[float]) -> None:
        """``alone``: what each car can be worth at most if it never waits."""
        self._team, self._floor, self._alone = team, floor, alone
        self._budget = self._left = budget
        self._labels = sorted(shared_labels([own.chain for own in team.drawn]))
        self._best: TeamPlan | None = None
        self._low = -np.inf
        self._met: list[TeamPlan] = []
        self._cut = -np.inf

    def search(self, known: Sequence[TeamPlan]) -> Joined:
        """Find the best plan; ``known`` are plans to beat."""
        for plan in known:
            self._take(plan)
        open_ = [self._bounded(self.root())]
        while open_ and self._left > 0:
            batch = open_.pop()
            batch = batch.rows(np.flatnonzero(batch.most > self._low + SAME))
            if not len(batch):
                continue
            self._judge_whole(batch)
            batch = batch.rows(np.flatnonzero(~batch.closed.all(axis=1) & (batch.most > self._low + SAME)))
            if len(batch):
                open_ += self._chunks(list(self._driven_on(batch)))
        left = max((float(batch.most.max()) for batch in open_ if len(batch)), default=-np.inf)
        bound = max(left, self._cut, self._low)
        return Joined(self._best, bound <= self._low + SAME, bound, tuple(self._met), self._budget - self._left)

    def root(self) -> Pairs:
        """Nothing done yet, but what the crews are at."""
        team, futures = self._team, self._team.begins[0].size
        free, due = np.full((1, len(self._labels), futures), -np.inf), np.full((1, 2, futures), -np.inf)
        leads = [own.chain.part(0, own.lead) for own in team.drawn]
        roots = []
        paths = walk_together(leads, team.begins, team.searches[0].calendar)
        for number, (search, lead, path) in enumerate(zip(team.searches, leads, paths, strict=True)):
            for row, activity in enumerate(lead.activities):
                for place in (self._labels.index(name) for name in activity.crew if name in self._labels):
                    free[0, place] = np.maximum(free[0, place], path.starts[row] + lead.durations[row])
                    if activity.lasted_s <= 0:
                        due[0, number] = np.maximum(due[0, number], path.starts[row])
            root = search.root()
            roots.append(replace(root, ready=path.ends[-1][None, :].copy()) if len(lead.activities) else root)
        return Pairs((roots[0], roots[1]), np.zeros((1, 2), dtype=np.bool_), free, due,
                     np.ones((1, futures), dtype=np.bool_), np.full(1, np.inf))

    # -- one step -----------------------------------------------------------------------------------------------------

    def _driven_on(self, pairs: Pairs) -> Iterator[Pairs]:
        """All that these become with one more piece of the car whose turn it is, or with none."""
        turns = self._turns(pairs)
        for number in (0, 1):
            mine = pairs.rows(np.flatnonzero(turns == number))
            if not len(mine):
                continue
            search, own = self._team.searches[number], mine.cars[number]
            closing = [row for row, sequel in enumerate(own.sequels) if sequel or not search.model.first]
            if closing:
                ended = mine.rows(np.array(closing, dtype=np.intp))
                ended.closed[:, number] = True
                yield self._bounded(ended)
            served = self._served(mine, number)
            for piece in range(len(search.model.pieces)):
                rows = self._may_follow(search, served, number, piece)
                if len(rows):
                    child = served.rows(rows)
                    driven = search.add(child.cars[number], piece)
                    cars = (driven, child.cars[1]) if number == 0 else (child.cars[0], driven)
                    self._left -= len(rows)
                    yield self._bounded(replace(child, cars=cars))

    def _turns(self, pairs: Pairs) -> NDArray[np.intp]:
        """Which car is driven on in each pair: the one that comes in first."""
        comes_in = np.stack([own.ready.mean(axis=1) for own in pairs.cars])
        for number, own in enumerate(pairs.cars):
            for last, rows in self._by_last(own):
                comes_in[number, rows] -= self._work(number, last)[0].mean()
        turns: NDArray[np.intp] = np.where(pairs.closed.T, np.inf, comes_in).argmin(axis=0)
        return turns

    def _may_follow(self, search: CarSearch, pairs: Pairs, number: int, piece: int) -> NDArray[np.intp]:
        rows = search.may_follow(pairs.cars[number], piece)
        runs = set(search.model.pieces[piece].runs)
        other = self._team.searches[1 - number].model
        if not runs & set(other.runs):
            return rows
        theirs = pairs.cars[1 - number].sequels
        return np.array([row for row in rows.tolist()
                         if not any(runs & set(other.pieces[n].runs) for n in theirs[row])], dtype=np.intp)

    def _served(self, pairs: Pairs, number: int) -> Pairs:
        """These pairs with the work after the car's last piece done, in the order in which works come due."""
        own = pairs.cars[number]
        ready, free, due, fair = own.ready.copy(), pairs.free.copy(), pairs.due.copy(), pairs.fair.copy()
        for last, rows in self._by_last(own):
            work, labels = self._work(number, last)
            if not labels:
                continue
            at = own.ready[rows] - work
            fair[rows] &= self._in_order(at, pairs.due[rows, 1 - number], number)
            holds = fair[rows]
            start = np.where(holds, np.maximum(at, pairs.free[rows][:, labels].max(axis=1)), at)
            ready[rows] = start + work
            for place in labels:
                free[rows, place] = np.where(holds, start + work, free[rows, place])
            due[rows, number] = at
        served = replace(own, ready=ready)
        cars = (served, pairs.cars[1]) if number == 0 else (pairs.cars[0], served)
        return replace(pairs, cars=cars, free=free, due=due, fair=fair)

    @staticmethod
    def _in_order(at: Floats, others: Floats, number: int) -> Flags:
        """The work is not due before the other car's last one; of two at once the first car's is done first."""
        return at > others if number == 0 else at >= others

    def _by_last(self, own: Prefixes) -> Iterator[tuple[int, NDArray[np.intp]]]:
        lasts = np.array([sequel[-1] if sequel else -1 for sequel in own.sequels])
        for last in np.unique(lasts).tolist():
            if last >= 0:
                yield last, np.flatnonzero(lasts == last)

    def _work(self, number: int, last: int) -> tuple[Floats, list[int]]:
        """The work after a piece, and the places of the shared crews that do it."""
        piece = self._team.searches[number].model.pieces[last]
        return piece.work, [self._labels.index(name) for name in piece.crew if name in self._labels]

    # -- bounds -------------------------------------------------------------------------------------------------------

    def _bounded(self, pairs: Pairs) -> Pairs:
        """Those of them that may still lead to something better, with the most that they can be worth."""
        most, can = np.zeros(len(pairs)), np.ones(pairs.fair.shape, dtype=np.bool_)
        for number, search in enumerate(self._team.searches):
            own, closed = pairs.cars[number], pairs.closed[:, number]
            open_, ended = np.flatnonzero(~closed), np.flatnonzero(closed)
            if len(ended):
                whole = own.rows(ended)
                most[ended] += search.net(whole)
                must = (whole.masks & search.model.musts) == search.model.musts
                can[ended] &= whole.sure & must[:, None]
            if len(open_):
                going = self._served(pairs.rows(open_), number).cars[number]
                # Of a run that is under way a lap counts already: the bound from the root on does not know it.
                begun = np.array([bool(sequel) for sequel in going.sequels])
                alone = self._alone[number]
                most[open_] += np.where(begun, np.minimum(search.bound(going), alone), alone)
                can[open_] &= search.possible(going)
        good = most > self._low + SAME
        if self._floor > 0:
            good &= can.mean(axis=1) >= self._floor - SAME
        rows = np.flatnonzero(good)
        return replace(pairs, most=np.minimum(pairs.most, most)).rows(rows)

    def _chunks(self, children: list[Pairs]) -> list[Pairs]:
        """All children, the best last, as many at a time as are driven together."""
        children = [one for one in children if len(one)]
        if not children:
            return []
        every = Pairs.joined(children)
        order = np.argsort(every.most, kind="stable")
        return [every.rows(order[max(at - CHUNK, 0) : at]) for at in range(len(order) % CHUNK or CHUNK,
                                                                            len(order) + 1, CHUNK)]

    # -- whole plans --------------------------------------------------------------------------------------------------

    def _judge_whole(self, pairs: Pairs) -> None:
        """Drive those to which nothing is added any more, best first."""
        whole = np.flatnonzero(pairs.closed.all(axis=1))
        for row in whole[np.argsort(-pairs.most[whole], kind="stable")].tolist():
            if pairs.most[row] <= self._low + SAME:
                return
            if self._left <= 0:
                self._cut = max(self._cut, float(pairs.most[row]))
                return
            self._left -= JUDGED_AS
            self._take(self._team.judge((pairs.cars[0].sequels[row], pairs.cars[1].sequels[row])))

    def _take(self, plan: TeamPlan) -> None:
        if plan.chance < self._floor - SAME or not self._team.whole(plan.sequels, self._floor):
            return
        self._met.append(plan)
        if plan.net > self._low + SAME:
            self._best, self._low = plan, plan.net
