"""What each car can still be worth if it never waits for a crew: every beginning that matters, and the best behind it.

A crew only ever delays a car. So a plan of all cars is worth no more than their parts of it are alone, and it can win
only if each part is worth more alone than the best plan known leaves to it: that less what the others can have at most.
There are a few hundred such beginnings of one car, where there are many thousands of pairs. Each is driven once; what
stands behind it is then known exactly, where the bounds (``advice_bounds``) only guess.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from pitwall.forecast.advice_prefixes import SAME, Prefixes
from pitwall.forecast.advice_rules import Sequel
from pitwall.forecast.advice_search import CarSearch
from pitwall.forecast.pert import Floats


@dataclass
class Alone:
    """One car's beginnings.

    Attributes:
        most: By beginning, the most that a plan beginning so is worth, its changes counted.
        further: The same of plans that go on behind it.
        whole: Every beginning that can be worth enough is among them; else others are not ruled out.
        spent: Pieces driven for it.
    """

    most: dict[Sequel, float] = field(default_factory=dict)
    further: dict[Sequel, float] = field(default_factory=dict)
    whole: bool = True
    spent: int = 0

    @classmethod
    def of(cls, search: CarSearch, floor: float, above: float, budget: int) -> Alone:
        """Drive them, a level of equally many pieces at a time.

        Args:
            search: The car's.
            floor: Its musts must be done with this chance at least.
            above: Only plans worth more than this matter.
            budget: So many pieces may be driven; when it takes more, nothing is known.
        """
        found, levels, level = cls(), list[tuple[list[Sequel], Floats]](), search.root()
        while len(level.sequels):
            level = level.rows(_promising(search, level, floor, above))
            levels.append((level.sequels, _as_plans(search, level, floor)))
            fan = len(search.model.pieces) - (len(level.sequels[0]) if level.sequels else 0)
            if found.spent + len(level.sequels) * fan > 2 * budget:
                return cls(whole=False, spent=found.spent)
            level = search.next(level, range(len(search.model.pieces)))
            found.spent += len(level.sequels)
            if found.spent > budget:
                return cls(whole=False, spent=found.spent)
        for sequels, nets in reversed(levels):
            for sequel, net in zip(sequels, nets.tolist(), strict=True):
                behind = found.further.setdefault(sequel, -np.inf)
                found.most[sequel] = most = max(net, behind)
                if sequel:
                    found.further[sequel[:-1]] = max(found.further.get(sequel[:-1], -np.inf), most)
        return found

    def bound(self, sequel: Sequel, *, goes_on: bool) -> float:
        """The most that a plan of this car beginning so is worth, as far as it is known."""
        if not self.whole:
            return np.inf
        return (self.further if goes_on else self.most).get(sequel, -np.inf)


def _promising(search: CarSearch, level: Prefixes, floor: float, above: float) -> NDArray[np.intp]:
    if not level.sequels[0]:
        return np.zeros(1, dtype=np.intp)
    rows: NDArray[np.intp] = np.flatnonzero((search.bound(level) > above) & (search.chance(level) >= floor - SAME))
    return rows


def _as_plans(search: CarSearch, level: Prefixes, floor: float) -> Floats:
    """What each is worth if nothing follows; nothing at all where the musts are not done often enough."""
    if not level.sequels:
        return np.zeros(0)
    net, musts = search.net(level), search.model.musts
    if floor > 0:
        done = (level.masks & musts) == musts
        net = np.where(done & (level.sure.mean(axis=1) >= floor - SAME), net, -np.inf)
    if search.model.first and not level.sequels[0]:
        net = np.full(1, -np.inf)
    return net
