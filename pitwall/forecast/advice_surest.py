"""How sure all musts can be made at all: the plans of nothing but musts, as short as they still count.

Leaving a run out, or shortening it, never makes another run of its car later; so no plan is surer than one of these.
Where cars share a crew that is not quite so: a car that leaves a run out is ready sooner, and may keep the crew from
the other. There a search of all cars together says whether any plan is surer still.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product
from math import ceil

import numpy as np

from pitwall.forecast.advice_outcome import TeamPlan
from pitwall.forecast.advice_prefixes import SAME, Found, Prefixes
from pitwall.forecast.advice_rules import CarModel
from pitwall.forecast.advice_search import CarSearch
from pitwall.forecast.advice_team import TeamSearch
from pitwall.model.advice import EVEN_ODDS

MOST_KEPT = 200
"""So many prefixes of one length, and so many whole plans of one car, are kept."""

MOST_JUDGED = 12
"""So many plans are driven with shared crews."""


@dataclass(frozen=True)
class Surest:
    """The surest plan that was found (None: none at all), and the chance that no plan exceeds."""

    plan: TeamPlan | None
    most: float

    @property
    def chance(self) -> float:
        """How sure it is."""
        return self.plan.chance if self.plan is not None else 0.0

    @property
    def proven(self) -> bool:
        """No plan is surer."""
        return self.chance >= self.most - SAME


def surest(team: TeamSearch) -> Surest:
    """The plan with which all musts are done with the highest chance. Crews only ever delay a car: what the cars could
    do without waiting is the most."""
    found = [_plans(search) for search in team.searches]
    each = max(2, int(MOST_KEPT ** (2 / len(found))) // 2)
    ranked = []
    for combined in product(*[pool[:each] for pool, _ in found]):
        sequels = tuple(one.sequel for one in combined)
        if team.whole(sequels, 1.0):
            together = combined[0].sure
            for one in combined[1:]:
                together = together & one.sure
            ranked.append((-float(together.mean()), sequels))
    ranked.sort()
    if all(cut <= 0 and len(pool) <= each for pool, cut in found):
        most = -ranked[0][0] if ranked else 0.0
    else:
        most = min(max(cut, pool[0].chance if pool else 0.0) for pool, cut in found)
    plans = [team.judge(sequels) for _, sequels in ranked[:MOST_JUDGED]]
    return Surest(max(plans, key=lambda plan: (plan.chance, plan.net), default=None), most)


def surest_of_all(team: TeamSearch) -> Surest:
    """The same, for cars that share a crew after a search of all together."""
    best, futures = surest(team), team.begins[0].size
    while team.joins and not best.proven:
        # Half a future more, and no less than even: below that nobody asks how sure it is.
        more = max(EVEN_ODDS, best.chance + 0.5 / futures)
        found = team.joined(more, [], [np.inf] * len(team.searches))
        if found.best is None:
            fewer = (ceil(more * futures - 1e-6) - 1) / futures
            return Surest(best.plan, min(best.most, fewer)) if found.exact else best
        best = Surest(found.best, best.most)
    return best


def _plans(search: CarSearch) -> tuple[list[Found], float]:
    """Sequels of one car that do all the musts that only it can do, surest first; and how sure one that was cut could
    be."""
    numbers, found, cut = _shortest(search.model), [], 0.0
    level = search.root()
    while len(level.sequels):
        net = search.net(level)
        whole = [search.found(level, net, row) for row in range(len(net))
                 if int(level.masks[row]) & search.model.musts == search.model.musts]
        found += [one for one in whole if one.sequel or not search.model.first]
        level, lost = _surer(search, level)
        cut, level = max(cut, lost), search.next(level, numbers)
    found.sort(key=lambda one: (-one.chance, one.rank))
    cut = max([cut, *(one.chance for one in found[MOST_KEPT:])])
    return found[:MOST_KEPT], cut


def _surer(search: CarSearch, level: Prefixes) -> tuple[Prefixes, float]:
    chance, cut = search.chance(level), 0.0
    rows = np.flatnonzero(chance > 0)
    if len(rows) > MOST_KEPT:
        rows = rows[np.argsort(-chance[rows], kind="stable")]
        cut, rows = float(chance[rows[MOST_KEPT]]), np.sort(rows[:MOST_KEPT])
    return level.rows(rows), cut


def _shortest(model: CarModel) -> list[int]:
    """The pieces of nothing but musts, what they repeat, and what is under way, each as short as it may be."""
    wanted = {run for run, choice in zip(model.runs, model.choices, strict=True) if choice.want == "must"}
    plan = zip(model.runs[: model.own], model.choices, strict=False)
    own = {choice.run: (run, choice.same_as) for run, choice in plan}
    for run in sorted(wanted & {run for run, _ in own.values()}):
        original = model.choices[model.runs.index(run)].same_as
        while original is not None and original in own:
            place, original = own[original]
            wanted.add(place)
    wanted |= {run for number in model.first for run in model.pieces[number].runs[:1]}
    fewest: dict[int, int] = {}
    for piece in model.pieces:
        for part in piece.parts:
            fewest[part.run] = min(fewest.get(part.run, part.timed), part.timed)
    return [
        number for number, piece in enumerate(model.pieces)
        if set(piece.runs) <= wanted and all(part.timed == fewest[part.run] for part in piece.parts)
    ]

