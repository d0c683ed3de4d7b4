"""How sure all musts can be made at all: the plans of nothing but musts, as short as they still count.

Leaving a run out, or shortening it, never makes another run of its car later; so no plan is surer than one of these.
Where cars share a crew that is not quite so: a car that leaves a run out is ready sooner, and may keep the crew from
the other. There a search of both cars together says whether any plan is surer still.
"""

from __future__ import annotations

from itertools import product

import numpy as np

from pitwall.forecast.advice_rules import CarModel
from pitwall.forecast.advice_search import CarSearch, Found, Prefixes
from pitwall.forecast.advice_team import TeamPlan, TeamSearch
from pitwall.model.advice import EVEN_ODDS

MOST_KEPT = 200
"""So many prefixes of one length, and so many whole plans of one car, are kept."""

MOST_JUDGED = 12
"""So many plans are driven with shared crews."""


def surest(team: TeamSearch) -> TeamPlan | None:
    """The plan with which all musts are done with the highest chance; None when there is none at all."""
    pools = [_plans(search) for search in team.searches]
    ranked = []
    for combined in product(*[pool[: max(2, int(MOST_KEPT ** (2 / len(pools))) // 2)] for pool in pools]):
        together = combined[0].sure
        for found in combined[1:]:
            together = together & found.sure
        ranked.append((-float(together.mean()), tuple(found.sequel for found in combined)))
    plans = []
    for _, sequels in sorted(ranked)[:MOST_JUDGED]:
        plans.append(team.judge(sequels))
    return max(plans, key=lambda plan: (plan.chance, plan.net), default=None)


def surest_of_all(team: TeamSearch) -> tuple[TeamPlan | None, bool]:
    """The same, and whether that is proven where cars share a crew."""
    best, exact = surest(team), True
    while team.joins and exact:
        # Half a future more, and no less than even: below that nobody asks how sure it is.
        more = max(EVEN_ODDS, (best.chance if best is not None else 0.0) + 0.5 / team.begins[0].size)
        found = team.joined(more, [], [np.inf, np.inf])
        if found.best is None:
            return best, found.exact
        best = found.best
    return best, exact


def _plans(search: CarSearch) -> list[Found]:
    """Sequels of one car that do all the musts that only it can do, surest first."""
    numbers, found = _shortest(search.model), []
    level = search.root()
    while len(level.sequels):
        net = search.net(level)
        whole = [search.found(level, net, row) for row in range(len(net))
                 if int(level.masks[row]) & search.model.musts == search.model.musts]
        found += [one for one in whole if one.sequel or not search.model.first]
        level = search.next(_surer(search, level), numbers)
    found.sort(key=lambda one: (-one.chance, one.rank))
    return found[:MOST_KEPT]


def _surer(search: CarSearch, level: Prefixes) -> Prefixes:
    chance = search.chance(level)
    rows = np.flatnonzero(chance > 0)
    if len(rows) > MOST_KEPT:
        rows = np.sort(rows[np.argsort(-chance[rows], kind="stable")][:MOST_KEPT])
    return level.rows(rows)


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

