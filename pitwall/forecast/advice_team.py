"""The best plan of the whole team: the cars' own searches, put together under what they have in common.

What cars have in common: all their musts are to be done together with the wanted confidence, a run that may be done by
either is done by one, and crews are shared. Without that the best of each car would do, so their sum is a bound. When
the best pair found lies below it, each car is searched once more for every sequel that could still make a better one;
cars that share a crew are searched together (``advice_joint``).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from pitwall.forecast.advice_joint import JointSearch
from pitwall.forecast.advice_outcome import Effort, Joined, Outcome, TeamPlan
from pitwall.forecast.advice_pairs import by_sum, crossed, merged
from pitwall.forecast.advice_pieces import Drawn, weight
from pitwall.forecast.advice_prefixes import SAME, Found
from pitwall.forecast.advice_rules import Sequel
from pitwall.forecast.advice_search import CarSearch
from pitwall.forecast.advice_together import done_together
from pitwall.forecast.pert import Floats
from pitwall.model.advice import RunChoice

MOST_CROSSED = 2500
"""Of two cars with at most so many plans each, all pairs are looked at as one table."""

ROOM_LEFT = (0.5, 0.25)
"""Of two cars each may miss half of what both may miss, or one of them more and the other less."""

MOST_COMPARED = 12
"""So many plans that do other runs are kept for comparison."""


EACH = 2 / 3
"""So much of what is left of that one search may take: there may be others for the same question."""


class TeamSearch:
    """All cars on one calendar of futures."""

    def __init__(
        self, choices: Sequence[RunChoice], searches: Sequence[CarSearch], drawn: Sequence[Drawn],
        begins: Sequence[Floats], started: bool, effort: Effort,
    ) -> None:
        self.choices, self.searches, self.drawn, self.begins = choices, searches, drawn, begins
        self._calendar, self._per_change = searches[0].calendar, searches[0].per_change
        self._started, self._effort = started, effort
        self._together = effort.together
        self.labels = _in_common(searches, drawn)
        self.shared = bool(self.labels)
        self._visits = any(len(search.model.runs) > search.model.own for search in searches)
        self._judged: dict[tuple[Sequel, ...], TeamPlan] = {}
        self.musts = tuple(i for search in searches for i in search.model.runs[: search.model.own]
                           if choices[i].want == "must")

    def ready(self, number: int) -> float:
        """When that car will probably be ready for its first run (the median)."""
        return float(np.median(self.drawn[number].ready(self.begins[number])))

    def judge(self, sequels: tuple[Sequel, ...], spared: Sequence[int] = ()) -> TeamPlan:
        """What this plan would bring, crews shared; ``spared`` as for :func:`done_together`."""
        if not spared and sequels in self._judged:
            return self._judged[sequels]
        pieces = [[s.model.pieces[n] for n in sequel] for s, sequel in zip(self.searches, sequels, strict=True)]
        walked = done_together(pieces, self.drawn, self.begins, self._calendar, self._started, spared)
        shares = [
            (part.run, part.shares[counts]) for car, outcomes in zip(pieces, walked, strict=True)
            for piece, outcome in zip(car, outcomes, strict=True)
            for part, counts in zip(piece.parts, outcome, strict=True)
        ]
        plan = self.summed(sequels, shares)
        if not spared:
            self._judged[sequels] = plan
        return plan

    def _own_share(self, run: int, share: Floats, so_far: dict[int, Floats]) -> Floats:
        choice = self.choices[run]
        if choice.same_as is None:
            return share
        for other, known in so_far.items():
            if (self.choices[other].car, self.choices[other].run) == (choice.car, choice.same_as):
                return np.where(known > 0, share, 0.0)
        return share

    def summed(self, sequels: tuple[Sequel, ...], shares_done: Sequence[tuple[int, Floats]]) -> TeamPlan:
        """What comes of a plan of which these shares are done: by run, in order, shape (N,) each."""
        share: dict[int, Floats] = {}
        for run, found in shares_done:
            share[run] = self._own_share(run, found, share)
        done = {run: float((found > 0).mean()) for run, found in share.items()}
        sure = np.ones(self.begins[0].size, dtype=np.bool_)
        for run in self.musts:
            sure &= share[run] > 0 if run in share else False
        shares = {run: float((found * self._group_done(run, share)).mean()) for run, found in share.items()}
        worth = sum(weight(self.choices[run]) * mean for run, mean in sorted(shares.items()))
        net = worth - self._per_change * self.edits(sequels)
        return TeamPlan(sequels, worth, net, float(sure.mean()), done, shares)

    def _group_done(self, run: int, share: dict[int, Floats]) -> NDArray[np.bool_]:
        whole = np.ones(self.begins[0].size, dtype=np.bool_)
        choice = self.choices[run]
        if choice.group is None:
            return whole
        for other in (i for search in self.searches for i in search.model.runs[: search.model.own]):
            if (self.choices[other].car, self.choices[other].group) == (choice.car, choice.group):
                whole &= share[other] > 0 if other in share else False
        return whole

    def edits(self, sequels: tuple[Sequel, ...]) -> int:
        """How many changes it makes to the plan as it stands."""
        done = {run for s, q in zip(self.searches, sequels, strict=True) for n in q for run in s.model.pieces[n].runs}
        kept = sum(s.model.edits(q) for s, q in zip(self.searches, sequels, strict=True))
        moved = sum(
            run in s.model.runs[s.model.own :]
            for s, q in zip(self.searches, sequels, strict=True) for n in q for run in s.model.pieces[n].runs
        )
        left_out = sum(run not in done for s in self.searches for run in s.model.runs[: s.model.own])
        return kept + moved + left_out

    def best(
        self, floor: float, known: Sequence[tuple[Sequel, ...]] = (), reachable: Callable[[], float] | None = None
    ) -> Outcome:
        """The plan of highest net worth with which all musts are done with chance ``floor``.

        Args:
            floor: That chance.
            known: Plans to compare with from the start.
            reachable: How sure the musts can be made at all; asked when no plan has been found that is sure enough.
        """
        own = max(self._effort.pieces // len(self.searches), 1)
        seeds = [[search.judged(plan[number]) for plan in known] for number, search in enumerate(self.searches)]
        harvests = [search.search(floor, own, seed) for search, seed in zip(self.searches, seeds, strict=True)]
        pools = [harvest.plans for harvest in harvests]
        bound, exact = sum(harvest.bound for harvest in harvests), all(harvest.exact for harvest in harvests)
        if not all(pools):
            return Outcome(None, exact, bound)
        best, complete = self._paired(pools, floor, [self.judge(plan) for plan in known])
        if self.joins and (best is None or best.net < bound - SAME):
            start = [self.judge(plan) for plan in known] + ([best] if best is not None else [])
            return self._joined_outcome(self.joined(floor, start, [one.bound for one in harvests]), pools, floor, bound)
        if best is None and complete:
            if reachable is not None and reachable() < floor - SAME:
                return Outcome(None, False, bound)
            pools = self._surer(pools, floor, own, seeds)
            best, complete = self._paired(pools, floor, [])
        if best is not None and best.net >= bound - SAME:
            return Outcome(best, exact, best.net if exact else bound, self._substances(pools, floor))
        if not complete:
            return Outcome(best, False, bound, self._substances(pools, floor))
        low = best.net if best is not None else -np.inf
        spare = [low - (bound - harvest.bound) for harvest in harvests]
        again = [search.search(floor, own, seed, above=above - SAME)
                 for search, seed, above in zip(self.searches, seeds, spare, strict=True)]
        pools = [merged(pool, more.plans) for pool, more in zip(pools, again, strict=True)]
        best, complete = self._paired(pools, floor, [best] if best is not None else [])
        exact = complete and all(harvest.exact for harvest in again)
        exact = exact or (best is not None and best.net >= bound - SAME)
        return Outcome(best, exact, best.net if exact and best is not None else bound, self._substances(pools, floor))

    @property
    def joins(self) -> bool:
        """Cars that share a crew are searched together."""
        return self.shared and len(self.searches) > 1

    def joined(self, floor: float, known: Sequence[TeamPlan], alone: Sequence[float]) -> Joined:
        """The search of all cars together; see ``JointSearch``."""
        found = JointSearch(self, floor, int(self._together * EACH), alone).search(known)
        self._together -= found.spent
        return found

    def _joined_outcome(
        self, joined: Joined, pools: Sequence[Sequence[Found]], floor: float, bound: float
    ) -> Outcome:
        met = sorted(joined.met, key=lambda plan: (-round(plan.net, 9), plan.sequels))
        others = dict.fromkeys((*(plan.sequels for plan in met[:MOST_COMPARED]), *self._substances(pools, floor)))
        return Outcome(joined.best, joined.exact, min(joined.bound, bound), tuple(others))

    def _surer(
        self, pools: Sequence[list[Found]], floor: float, pieces: int, seeds: Sequence[Sequence[Found]]
    ) -> list[list[Found]]:
        """Plans that are just sure enough for each car are not so for all: add those that leave others room."""
        found = list(pools)
        for part in ROOM_LEFT:
            more = [search.search(floor**part, pieces, seed) for search, seed in zip(self.searches, seeds, strict=True)]
            found = [merged(pool, harvest.plans) for pool, harvest in zip(found, more, strict=True)]
        return found

    def _paired(
        self, pools: Sequence[Sequence[Found]], floor: float, known: Sequence[TeamPlan]
    ) -> tuple[TeamPlan | None, bool]:
        """The best plan put together from these, and whether every one that could be better was looked at."""
        good = [plan for plan in known if plan.chance >= floor - SAME]
        best = max(good, key=lambda plan: plan.net, default=None)
        driven = looked_at = 0
        most_driven = self._effort.whole if self.shared else self._effort.paired
        low = best.net if best is not None else -np.inf
        if len(pools) == 2 and max(len(pool) for pool in pools) <= MOST_CROSSED:
            candidates = crossed(pools, floor, low + SAME, self._effort.paired + 1)
        else:
            candidates = by_sum(pools)
        for net, combined in candidates:
            if net <= low + SAME:
                break
            looked_at += 1
            if looked_at > self._effort.paired or driven >= most_driven:
                return best, False
            if not self._agree(combined, floor):
                continue
            plan = self.judge(tuple(found.sequel for found in combined))
            driven += 1 if self.shared else 0
            if plan.chance >= floor - SAME and plan.net > low + SAME:
                best, low = plan, plan.net
        return best, True

    def _agree(self, combined: Sequence[Found], floor: float) -> bool:
        """No run is done twice, no must is left out when musts count, and they are done together often enough."""
        if not self.whole(tuple(found.sequel for found in combined), floor):
            return False
        if floor <= 0:
            return True
        together = combined[0].sure
        for found in combined[1:]:
            together = together & found.sure
        return float(together.mean()) >= floor - SAME

    def whole(self, sequels: tuple[Sequel, ...], floor: float) -> bool:
        """No run is done twice, and no must is left out when musts count."""
        if not self._visits:
            return True
        runs = [run for s, sequel in zip(self.searches, sequels, strict=True)
                for n in sequel for run in s.model.pieces[n].runs]
        return len(runs) == len(set(runs)) and (floor <= 0 or set(self.musts) <= set(runs))

    def _substances(self, pools: Sequence[Sequence[Found]], floor: float) -> tuple[tuple[Sequel, ...], ...]:
        """The best of each set of runs, put together: those of highest worth, for comparison."""
        firsts = []
        for pool in pools:
            of_mask: dict[int, Found] = {}
            for found in pool:
                of_mask.setdefault(found.mask, found)
            firsts.append(list(of_mask.values()))
        kept: list[tuple[Sequel, ...]] = []
        for looked_at, (_, combined) in enumerate(by_sum(firsts)):
            if len(kept) >= MOST_COMPARED or looked_at >= MOST_COMPARED**2:
                break
            if self._agree(combined, floor):
                kept.append(tuple(found.sequel for found in combined))
        return tuple(kept)


def _in_common(searches: Sequence[CarSearch], drawn: Sequence[Drawn]) -> tuple[str, ...]:
    """Crews that may have work on more than one car, whoever does a run that several may do."""
    cars = Counter(
        label for search, own in zip(searches, drawn, strict=True) for label in
        {name for piece in search.model.pieces for name in piece.crew}
        | {name for one in own.chain.activities[: own.lead] for name in one.crew}
    )
    return tuple(sorted(label for label, count in cars.items() if count > 1))
