"""The best sequels of one car: branch and bound over prefixes, a level of equally many pieces at a time.

A prefix is what the car does first, with the moment in each future at which it is ready for more. Prefixes of a level
are driven on together, piece by piece; those whose bound does not reach the best plan known fall away. When more stand
than the budget allows, those with the highest bounds go on and the best of the bounds that were cut is kept: the answer
is then no longer proven, and says how far off it can be. Nothing depends on wall time, nor on the order of a set.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

from pitwall.forecast.advice_bounds import Bounds
from pitwall.forecast.advice_driving import drive
from pitwall.forecast.advice_pieces import weight
from pitwall.forecast.advice_prefixes import SAME, Found, Harvest, Prefixes
from pitwall.forecast.advice_rules import CarModel, Sequel
from pitwall.forecast.calendar import Calendar
from pitwall.forecast.pert import Floats

TINY = 1e-12

MOST_RIVALS = 4
"""So many prefixes with the same runs at most are compared with each other one."""

BEAM = 6
"""So many prefixes of a level make the first, quick pass, which finds a good plan to compare with."""


class CarSearch:
    """Branch and bound over the sequels of one car."""

    def __init__(self, model: CarModel, calendar: Calendar, begin: Floats, per_change: float) -> None:
        self.model, self.calendar, self._begin, self.per_change = model, calendar, begin, per_change
        self._bounds = Bounds(model, calendar)
        self._weights = [weight(choice) for choice in model.choices]
        self._group = [next((g for g, bits in enumerate(model.groups) if bits >> place & 1), -1)
                       for place in range(len(model.runs))]
        named = {choice.same_as for choice in model.choices[: model.own] if choice.same_as is not None}
        self._originals = [place for place in range(model.own) if model.choices[place].run in named]
        self._own_bits = (1 << model.own) - 1
        self._every = (1 << len(model.runs)) - 1
        self._has_tyre_rules = model.has_tyre_rules

    def root(self) -> Prefixes:
        """Nothing done yet."""
        futures = self._begin.size
        return Prefixes(
            [()], np.zeros(1, dtype=np.int64), self._begin[None, :].copy(), np.ones((1, futures), dtype=np.bool_),
            np.zeros(1), np.zeros((1, len(self.model.groups), futures)),
            np.zeros((1, len(self._originals), futures), dtype=np.bool_), np.zeros(1),
        )

    def follow(self, sequel: Iterable[int]) -> Prefixes:
        """This one sequel, whether the rules allow it or not."""
        prefix = self.root()
        for number in sequel:
            prefix = self.add(prefix, number)
        return prefix

    def add(self, prefixes: Prefixes, number: int) -> Prefixes:
        """Each of these prefixes with one more piece."""
        piece, model = self.model.pieces[number], self.model
        driven = drive(piece, prefixes.ready, self.calendar)
        sure, pending = prefixes.sure, prefixes.pending.copy()
        counted, worth, masks = prefixes.counted.copy(), prefixes.worth.copy(), prefixes.masks
        for part, counts in zip(piece.parts, driven.counts, strict=True):
            place = model.runs.index(part.run)
            shares = part.shares[counts]
            choice = model.choices[place]
            if choice.same_as is not None and (original := self._original(choice.same_as)) is not None:
                shares = np.where(counted[:, original], shares, 0.0)
            done = shares > 0
            if place in self._originals:
                counted[:, self._originals.index(place)] = done
            if choice.want == "must":
                sure = sure & done
            masks = masks | (1 << place)
            group = self._group[place]
            if group < 0:
                worth += shares.mean(axis=1) * self._weights[place]
            else:
                pending[:, group] = np.where(done, pending[:, group] + shares * self._weights[place], -np.inf)
                whole = (masks & model.groups[group]) == model.groups[group]
                worth += np.where(whole, np.maximum(pending[:, group], 0.0).mean(axis=1), 0.0)
        sequels = [(*sequel, number) for sequel in prefixes.sequels]
        edits = np.array([float(model.edits(sequel)) for sequel in sequels])
        return Prefixes(sequels, masks, driven.parked + piece.work, sure, worth, pending, counted, edits)

    def _original(self, name: str) -> int | None:
        return next((i for i, place in enumerate(self._originals) if self.model.choices[place].run == name), None)

    def net(self, prefixes: Prefixes) -> Floats:
        """Worth of each as a whole plan, its changes counted, shape (B,)."""
        left_out = np.array([float((self._own_bits & ~int(mask)).bit_count()) for mask in prefixes.masks])
        worth: Floats = prefixes.worth - self.per_change * (prefixes.edits + left_out)
        return worth

    def bound(self, prefixes: Prefixes) -> Floats:
        """The most that any plan beginning so can be worth, its changes counted, shape (B,)."""
        rest = self._every & ~prefixes.masks
        most = prefixes.worth + self._bounds.worth(rest, prefixes.ready) - self.per_change * prefixes.edits
        for group, bits in enumerate(self.model.groups):
            open_ = (prefixes.masks & bits) != bits
            most += np.where(open_, np.maximum(prefixes.pending[:, group], 0.0).mean(axis=1), 0.0)
        return most

    def chance(self, prefixes: Prefixes) -> Floats:
        """The highest chance with which all musts of the car can be done by a plan beginning so, shape (B,)."""
        return self._bounds.chance(self.model.musts & ~prefixes.masks, prefixes.ready, prefixes.sure)

    def possible(self, prefixes: Prefixes) -> NDArray[np.bool_]:
        """Where all musts of the car can still be done by a plan beginning so, shape (B, N)."""
        return self._bounds.possible(self.model.musts & ~prefixes.masks, prefixes.ready, prefixes.sure)

    def found(self, prefixes: Prefixes, net: Floats, row: int) -> Found:
        """One prefix as a whole plan."""
        mask = int(prefixes.masks[row])
        sure = prefixes.sure[row].copy() if mask & self.model.musts == self.model.musts else np.zeros_like(
            prefixes.sure[row])
        return Found(prefixes.sequels[row], mask, float(net[row]), float(prefixes.worth[row]), sure, float(sure.mean()))

    def judged(self, sequel: Sequel) -> Found:
        """This sequel as a whole plan."""
        prefixes = self.follow(sequel)
        return self.found(prefixes, self.net(prefixes), 0)

    def search(self, floor: float, budget: int, known: Sequence[Found] = (), above: float | None = None) -> Harvest:
        """Find the best plan of this car alone.

        Args:
            floor: Its musts must be done with this chance at least.
            budget: So many pieces may be driven.
            known: Plans to compare with from the start; with several of them no quick pass is needed.
            above: Keep every plan worth more than this, instead of the best alone.

        Returns:
            The plans, and a bound on what any plan of this car can be worth.
        """
        harvest = Harvest()
        for found in known:
            self._keep(harvest, found, floor, above)
        if above is None and len(known) < 2:
            self._pass(harvest, floor, BEAM, budget, None)
        harvest.exact, harvest.bound = True, -np.inf
        self._pass(harvest, floor, None, budget, above)
        harvest.bound = max([harvest.bound, *(one.net for one in harvest.best.values())])
        return harvest

    def _keep(self, harvest: Harvest, found: Found, floor: float, above: float | None) -> None:
        if found.chance < floor - SAME:
            return
        if above is not None and found.net > above:
            harvest.above[found.sequel] = found
        if found.mask not in harvest.best or found.rank < harvest.best[found.mask].rank:
            harvest.best[found.mask] = found

    def _pass(self, harvest: Harvest, floor: float, width: int | None, budget: int, above: float | None) -> None:
        level, depth = self.root(), 0
        best = max((one.net for one in harvest.best.values()), default=-np.inf)
        best = self._take(harvest, level, floor, above, best)
        while len(level.sequels):
            to_beat = above if above is not None else best + SAME
            level = self._promising(harvest, level, floor, to_beat, width, budget)
            level = self.next(level, range(len(self.model.pieces)))
            harvest.nodes += len(level.sequels)
            if len(level.sequels):
                best = self._take(harvest, level, floor, above, best)
            depth += 1

    def _promising(
        self, harvest: Harvest, level: Prefixes, floor: float, to_beat: float, width: int | None, budget: int
    ) -> Prefixes:
        """Those of a level that may still lead to something better, as many as the budget allows."""
        level = level.rows(self._undominated(level))
        bound = self.bound(level) if level.sequels[0] else np.full(1, np.inf)
        chance = self.chance(level)
        rows = np.flatnonzero((bound > to_beat) & (chance >= floor - SAME))
        fan = max(len(self.model.pieces) - len(level.sequels[0]), 1)
        allowed = width if width is not None else max((budget - harvest.nodes) // fan, BEAM)
        if len(rows) > allowed:
            rows = rows[np.argsort(-bound[rows], kind="stable")]
            harvest.bound = max(harvest.bound, float(bound[rows[allowed]]))
            harvest.exact = False
            rows = np.sort(rows[:allowed])
        return level.rows(rows)

    def _undominated(self, level: Prefixes) -> NDArray[np.intp]:
        """Rows that no other row makes needless: one that did the same runs, is ready as soon in every future, and is
        worth as much with changes no harder to come by later. Only a few of each set are compared with."""
        kept: dict[tuple[int, object], list[int]] = {}
        for row in np.argsort(level.edits, kind="stable").tolist():
            worn = self.model.worn(level.sequels[row]) if self._has_tyre_rules else None
            rivals = kept.setdefault((int(level.masks[row]), worn), [])
            if not any(self._dominates(level, rival, row) for rival in rivals[:MOST_RIVALS]):
                rivals.append(row)
        return np.array(sorted(row for rows in kept.values() for row in rows), dtype=np.intp)

    def _dominates(self, level: Prefixes, one: int, other: int) -> bool:
        if level.worth[one] - self.per_change * level.edits[one] < (
            level.worth[other] - self.per_change * level.edits[other] - TINY
        ):
            return False
        if (level.ready[one] > level.ready[other] + SAME).any():
            return False
        return (
            (self.per_change == 0 or self._as_free_to_go_on(level.sequels[one], level.sequels[other]))
            and bool((level.sure[one] >= level.sure[other]).all())
            and bool((level.pending[one] >= level.pending[other]).all())
            and bool((level.counted[one] >= level.counted[other]).all())
        )

    def _as_free_to_go_on(self, one: Sequel, other: Sequel) -> bool:
        """Whatever follows, the one needs no more moves of runs for it than the other."""
        mine, theirs = self.model.tops(one), self.model.tops(other)
        return len(mine) >= len(theirs) and all(a <= b for a, b in zip(mine, theirs, strict=False))

    def next(self, level: Prefixes, numbers: Iterable[int]) -> Prefixes:
        """All that these prefixes become with one more of these pieces, as the rules allow."""
        children = []
        for number in numbers:
            rows = self.may_follow(level, number)
            if len(rows):
                children.append(self.add(level.rows(rows), number))
        return Prefixes.joined(children) if children else level.rows(np.array([], dtype=np.intp))

    def may_follow(self, prefixes: Prefixes, number: int) -> NDArray[np.intp]:
        """Which of these prefixes this piece may follow, by the rules."""
        taken = prefixes.masks & (self.model.masks[number] | self.model.forbids[number])
        may = (taken == 0) & ((prefixes.masks & self.model.needs[number]) == self.model.needs[number])
        if self.model.first and number not in self.model.first:
            may &= np.array([bool(sequel) for sequel in prefixes.sequels], dtype=np.bool_)
        rows: NDArray[np.intp] = np.flatnonzero(may)
        if self._has_tyre_rules and len(rows):
            keep = [row for row in rows if self.model.within_tyres((*prefixes.sequels[row], number))]
            rows = np.array(keep, dtype=np.intp)
        return rows

    def _take(self, harvest: Harvest, level: Prefixes, floor: float, above: float | None, best: float) -> float:
        """Each of a level as a whole plan: keep the best of each set of runs, and what is above."""
        net = self.net(level)
        whole = (level.masks & self.model.musts) == self.model.musts
        first = set(self.model.first)
        for row in np.lexsort((np.arange(len(net)), -net)):
            mask = int(level.masks[row])
            known = harvest.best.get(mask)
            wanted = above is not None and net[row] > above
            if not wanted and known is not None and net[row] <= known.net + SAME:
                continue
            if (floor > 0 and not whole[row]) or (first and not level.sequels[row]):
                continue
            found = self.found(level, net, int(row))
            self._keep(harvest, found, floor, above)
            if found.chance >= floor - SAME:
                best = max(best, found.net)
        return best
