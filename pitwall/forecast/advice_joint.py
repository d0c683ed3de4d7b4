"""The best plan of cars that share crews: branch and bound over their beginnings together, one for each car.

Theory. Beginnings are driven as the whole plan would be: who is ready first is worked on first, and the others wait
(``advice_crews``). Adding a run, and the work before it, at the end of one car's beginning never lets a car be sooner
than without it: the work keeps the crew, and only works that come due later wait for it. So what has been done, and
when each car is ready for more, bounds every plan that begins like it. What can still be had from there is bounded car
by car: as if nobody waited any more (``advice_bounds``), and by what the car can have from such a beginning if it never
waits at all, which is known exactly (``advice_alone``).

A car whose piece has been driven first says whether it goes on: only then is there a work behind that piece. When all
cars have said so, the one that comes in first, on average, is driven on. Before it, in every future, those are served
whose works are due sooner there. So an order of the works is only ever wrong where one car does a whole run while
another waits. A plan that is right in every future is worth just what its bound says; others are driven once more.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from pitwall.forecast.advice_alone import Alone
from pitwall.forecast.advice_beginnings import ENDS, GOES_ON, OPEN, Beginnings, Works
from pitwall.forecast.advice_crews import Crews
from pitwall.forecast.advice_outcome import Joined, TeamPlan
from pitwall.forecast.advice_pieces import weight
from pitwall.forecast.advice_prefixes import SAME, Prefixes
from pitwall.forecast.pert import Floats
from pitwall.forecast.sharing import walk_together

if TYPE_CHECKING:
    from pitwall.forecast.advice_team import TeamSearch

CHUNK = 48
"""So many beginnings are driven on at once: more would be too much memory and no quicker."""

JUDGED_AS = 12
"""Driving a whole plan in the right order takes as long as driving so many beginnings on."""

ALONE_SHARE = 0.5
"""So much of the effort may go into what the cars can do alone."""

MAY_BE_SOONER = 0.01
"""A car says first whether it goes on where its work may come due before that of the car whose turn it is, so often."""


class JointSearch:
    """Branch and bound for the cars of one team search."""

    def __init__(self, team: TeamSearch, floor: float, budget: int, alone: Sequence[float]) -> None:
        """``alone``: what each car can be worth at most if it never waits."""
        self._team, self._floor, self._alone = team, floor, alone
        self._budget = self._left = budget
        self._works = [Works(search, team.labels) for search in team.searches]
        self._all = sum(weight(choice) for choice in team.choices)
        self._known = [Alone(whole=False) for _ in team.searches]
        # Each car more takes as long again, and so do windows, where a run is driven row by row.
        self._dear = len(team.searches) * (2 if team.searches[0].calendar.windows else 1)
        self._best: TeamPlan | None = None
        self._low = -np.inf
        self._met: list[TeamPlan] = []
        self._cut = -np.inf

    def search(self, known: Sequence[TeamPlan]) -> Joined:
        """Find the best plan; ``known`` are plans to beat."""
        for plan in known:
            self._take(plan)
        self._look_at_each_alone()
        open_ = [self._bounded(self.root())]
        while open_ and self._left > 0:
            batch = open_.pop()
            batch = batch.rows(np.flatnonzero(batch.most > self._low + SAME))
            if not len(batch):
                continue
            self._judge_whole(batch)
            batch = batch.rows(np.flatnonzero(~batch.whole & (batch.most > self._low + SAME)))
            if len(batch):
                open_ += self._chunks(list(self._driven_on(batch)))
        left = max((float(batch.most.max()) for batch in open_ if len(batch)), default=-np.inf)
        bound = max(left, self._cut, self._low)
        return Joined(self._best, bound <= self._low + SAME, bound, tuple(self._met), self._budget - self._left)

    def _look_at_each_alone(self) -> None:
        if not np.isfinite(self._low) or not np.isfinite(self._alone).all():
            return
        each = int(ALONE_SHARE * self._left / len(self._works))
        for number, search in enumerate(self._team.searches):
            others = sum(most for other, most in enumerate(self._alone) if other != number)
            self._known[number] = Alone.of(search, self._floor, self._low - others, each)
            self._left -= self._known[number].spent // 2

    def root(self) -> Beginnings:
        """Nothing done yet, but what the crews are at."""
        team, futures = self._team, self._team.begins[0].size
        crews, roots = Crews.idle(len(team.labels), futures), []
        leads = [own.chain.part(0, own.lead) for own in team.drawn]
        paths = walk_together(leads, team.begins, team.searches[0].calendar)
        for number, (search, lead, path) in enumerate(zip(team.searches, leads, paths, strict=True)):
            for row, activity in enumerate(lead.activities):
                for place in (team.labels.index(name) for name in activity.crew if name in team.labels):
                    crews.free[0, place] = np.maximum(crews.free[0, place], path.starts[row] + lead.durations[row])
                    if activity.lasted_s <= 0:
                        crews.due[0, place] = np.maximum(crews.due[0, place], path.starts[row])
                        crews.whose[0, place] = number
                        crews.last[0] = np.maximum(crews.last[0], path.starts[row])
            root = search.root()
            roots.append(replace(root, ready=path.ends[-1][None, :].copy()) if len(lead.activities) else root)
        cars = len(roots)
        return Beginnings(tuple(roots), np.full((1, cars), OPEN, dtype=np.int8),
                          np.ones((1, cars, futures), dtype=np.bool_), crews, np.full(1, np.inf))

    # -- one step -----------------------------------------------------------------------------------------------------

    def _driven_on(self, all_: Beginnings) -> Iterator[Beginnings]:
        """All that these become: a car says whether it goes on, or is driven on."""
        dues = np.where((all_.says == ENDS)[:, :, None], np.inf, self._dues(all_))
        turns = dues.mean(axis=2).argmin(axis=1)
        ahead = (dues < np.take_along_axis(dues, turns[:, None, None], axis=1)).mean(axis=2) > MAY_BE_SOONER
        ahead[np.arange(len(turns)), turns] = True
        asked = ahead & (all_.says == OPEN)
        who = np.where(asked.any(axis=1), asked.argmax(axis=1), -1)
        for number in range(len(self._team.searches)):
            if len(mine := np.flatnonzero(who == number)):
                yield from self._says(all_, number, mine)
            if len(mine := np.flatnonzero((who < 0) & (turns == number))):
                yield from self._next_pieces(all_.rows(mine), number)

    def _says(self, many: Beginnings, number: int, rows: NDArray[np.intp]) -> Iterator[Beginnings]:
        """This car ends there, or goes on."""
        going = many.rows(rows)
        going.says[:, number] = GOES_ON
        yield self._bounded(going)
        if self._team.searches[number].model.first:  # what is under way is not left out
            rows = np.array([row for row in rows.tolist() if many.cars[number].sequels[row]], dtype=np.intp)
        if len(rows):
            ended = many.rows(rows)
            ended.says[:, number] = ENDS
            yield self._bounded(ended)

    def _next_pieces(self, decided: Beginnings, number: int) -> Iterator[Beginnings]:
        """This car with one more piece, each that may follow."""
        search, served = self._team.searches[number], self._served(decided, number)
        for piece in range(len(search.model.pieces)):
            rows = self._may_follow(served, number, piece)
            if len(rows):
                child = served.rows(rows)
                cars = list(child.cars)
                cars[number] = search.add(cars[number], piece)
                child.says[:, number] = OPEN
                child.served[:, number] = not self._works[number].needs[piece].any()
                self._left -= max(len(rows) * self._dear // 2, 1)
                yield self._bounded(replace(child, cars=tuple(cars)))

    def _may_follow(self, many: Beginnings, number: int, piece: int) -> NDArray[np.intp]:
        search = self._team.searches[number]
        rows = search.may_follow(many.cars[number], piece)
        runs = set(search.model.pieces[piece].runs)
        for other, theirs in enumerate(self._team.searches):
            if other != number and runs & set(theirs.model.runs):
                sequels = many.cars[other].sequels
                rows = np.array([row for row in rows.tolist() if not any(
                    runs & set(theirs.model.pieces[n].runs) for n in sequels[row])], dtype=np.intp)
        return rows

    def _dues(self, many: Beginnings) -> Floats:
        """When each car's next work is due, shape (B, K, N); of those served already, when they are ready."""
        return np.stack([
            np.where(many.served[:, number], own.ready, own.ready - self._works[number].lasts(own))
            for number, own in enumerate(many.cars)
        ], axis=1)

    def _served(self, many: Beginnings, number: int) -> Beginnings:
        """The works of all that go on, up to this car's, done in the order in which they come due."""
        cars, served, crews = list(many.cars), many.served, many.crews
        waits = (many.says == GOES_ON)[:, :, None] & ~served
        dues = np.where(waits, self._dues(many), np.inf)
        limit = dues[:, number]
        for other in range(len(cars)):
            sooner = dues[:, other] <= limit if other <= number else dues[:, other] < limit
            dues[:, other] = np.where(sooner, dues[:, other], np.inf)
        while True:
            who, finite = dues.argmin(axis=1), np.isfinite(dues).any(axis=1)
            if not finite.any():
                return replace(many, cars=tuple(cars))
            for other in range(len(cars)):
                where = finite & (who == other)
                if where.any():
                    own, works = cars[other], self._works[other]
                    done = crews.serve(other, dues[:, other], works.lasts(own), works.of(own), where)
                    cars[other] = replace(own, ready=np.where(where, done, own.ready))
                    served[:, other] |= where
                    dues[:, other][where] = np.inf

    # -- bounds -------------------------------------------------------------------------------------------------------

    def _bounded(self, many: Beginnings) -> Beginnings:
        """Those of them that may still lead to something better, with the most that they can be worth."""
        most, can = np.zeros(len(many)), np.ones(many.served.shape[::2], dtype=np.bool_)
        to_come = np.full(can.shape, np.inf)
        for number, search in enumerate(self._team.searches):
            own, ends = many.cars[number], many.says[:, number] == ENDS
            if len(ended := np.flatnonzero(ends)):
                whole = own.rows(ended)
                most[ended] += search.net(whole)
                can[ended] &= whole.sure & ((whole.masks & search.model.musts) == search.model.musts)[:, None]
            if len(going := np.flatnonzero(~ends)):
                some, due = self._ready_at_best(many, number, going)
                most[going] += self._most_of(number, some, many.says[going, number])
                can[going] &= search.possible(some)
                to_come[going] = np.minimum(to_come[going], due)
        if len(many.cars) > 2:
            unsettled = many.crews.unsettled(to_come)
            most, can = most + self._all * unsettled.mean(axis=1), can | unsettled
        good = most > self._low + SAME
        if self._floor > 0:
            good &= can.mean(axis=1) >= self._floor - SAME
        return replace(many, most=np.minimum(many.most, most)).rows(np.flatnonzero(good))

    def _ready_at_best(self, many: Beginnings, number: int, rows: NDArray[np.intp]) -> tuple[Prefixes, Floats]:
        """These beginnings when the work waits only for what is served already, and when that work is due."""
        own, works, served = many.cars[number].rows(rows), self._works[number], many.served[rows, number]
        lasts = works.lasts(own)
        due = np.where(served, own.ready, own.ready - lasts)
        start = many.crews.rows(rows).start(number, due, works.of(own))
        return replace(own, ready=np.where(served, own.ready, start + lasts)), due

    def _most_of(self, number: int, own: Prefixes, says: NDArray[np.int8]) -> Floats:
        """What the car can have from these beginnings: if nobody waits any more, and if it never waited."""
        search, known, alone = self._team.searches[number], self._known[number], self._alone[number]
        ever = np.array([
            min(alone, known.bound(sequel, goes_on=goes_on)) for sequel, goes_on in
            zip(own.sequels, (says == GOES_ON).tolist(), strict=True)
        ])
        # Of a run that is under way a lap counts already: the bound from the root on does not know it.
        begun = np.array([bool(sequel) for sequel in own.sequels])
        most: Floats = np.where(begun, np.minimum(search.bound(own), ever), ever)
        return most

    def _chunks(self, children: list[Beginnings]) -> list[Beginnings]:
        """All children, the best last, as many at a time as are driven together."""
        children = [one for one in children if len(one)]
        if not children:
            return []
        every = Beginnings.joined(children)
        order = np.argsort(every.most, kind="stable")
        return [every.rows(order[max(at - CHUNK, 0) : at]) for at in range(len(order) % CHUNK or CHUNK,
                                                                            len(order) + 1, CHUNK)]

    # -- whole plans --------------------------------------------------------------------------------------------------

    def _judge_whole(self, many: Beginnings) -> None:
        """Drive those to which nothing is added any more, best first."""
        whole = np.flatnonzero(many.whole)
        for row in whole[np.argsort(-many.most[whole], kind="stable")].tolist():
            if many.most[row] <= self._low + SAME:
                return
            if self._left <= 0:
                self._cut = max(self._cut, float(many.most[row]))
                return
            self._left -= JUDGED_AS
            self._take(self._team.judge(tuple(own.sequels[row] for own in many.cars)))

    def _take(self, plan: TeamPlan) -> None:
        if plan.chance < self._floor - SAME or not self._team.whole(plan.sequels, self._floor):
            return
        self._met.append(plan)
        if plan.net > self._low + SAME:
            self._best, self._low = plan, plan.net
