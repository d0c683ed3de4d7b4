"""The search that a question needs: as sure as was wanted, else as sure as can be; bolder for those who look again."""

from __future__ import annotations

from dataclasses import dataclass, replace

from pitwall.forecast.advice_desk import Desk, Plan
from pitwall.forecast.advice_outcome import Outcome, TeamPlan
from pitwall.forecast.advice_prefixes import SAME
from pitwall.forecast.advice_recourse import looked_at_again
from pitwall.forecast.advice_surest import Surest, surest, surest_of_all
from pitwall.forecast.advice_team import TeamSearch
from pitwall.model.advice import EVEN_ODDS

LEEWAY = 0.2
"""As written a plan may be so much less sure than is wanted, if leaving out what is optional makes up for it."""

KEPT = 0.03
"""The plan as it stands is left alone while it is no more than so much less sure: twice the error of 500 futures."""

LOOKS = 2
"""Where the surest plan is not proven, the best may be surer: then that is demanded, and it is searched once more."""


@dataclass(frozen=True)
class Search:
    """One search that has ended: what was demanded, and what was found."""

    team: TeamSearch
    base: TeamPlan
    floor: float
    reachable: float
    outcome: Outcome
    again: float | None = None
    """How sure the best is for those who look again, where only that makes it sure enough."""
    proven: bool = True
    """No plan does all musts with a higher chance than ``reachable``, if that is less than was wanted."""
    settled: bool = True
    """The floor is the right one: no plan reaches a higher one that would have been demanded."""


def look(desk: Desk, team: TeamSearch, base: TeamPlan, known: tuple[Plan, ...] = ()) -> Search:
    """Search with the wanted confidence; when no plan has it, as sure as can be; when that is less than even, by worth
    alone."""
    wanted = desk.question.confidence if team.musts else 0.0
    known = known if desk.broken else (base.sequels, *known)
    found: list[Surest] = []

    def reachable() -> float:
        found.append(surest(team))
        return found[0].chance

    outcome = team.best(wanted, known, reachable)
    if outcome.best is not None:
        return Search(team, base, wanted, outcome.best.chance, outcome)
    sure = found[0] if found else surest_of_all(team)
    for _ in range(LOOKS):
        best = team.best(demanded(sure, wanted), known if sure.plan is None else (sure.plan.sequels, *known))
        if best.best is None or best.best.chance <= sure.chance + SAME:
            break
        sure = replace(sure, plan=best.best)
        if sure.chance < EVEN_ODDS:
            break
    proven = sure.proven or sure.chance >= wanted - SAME
    settled = proven or sure.most < EVEN_ODDS
    best = replace(best, exact=best.exact and settled)
    return Search(team, base, demanded(sure, wanted), min(sure.chance, wanted), best, proven=proven, settled=settled)


def demanded(sure: Surest, wanted: float) -> float:
    """How sure a plan must be at least when none is known that is as sure as was wanted."""
    return min(sure.chance, wanted) if sure.chance >= EVEN_ODDS else 0.0


def bolder(desk: Desk, search: Search) -> Search:
    """A plan that is sure enough only for those who look again (``advice_recourse``), where it is worth more to them.

    The plan as it stands need not be quite so sure: else it would be changed and changed back for a few futures more.
    """
    team, best, confidence = search.team, search.outcome.best, desk.question.confidence
    if best is None or search.floor <= LEEWAY or desk.question.snapshot.windows:
        return search
    known = (best.sequels,) if desk.broken else (search.base.sequels, best.sequels)
    wider = team.best(search.floor - LEEWAY, known)
    met = dict.fromkeys((*known, *((wider.best.sequels,) if wider.best is not None else ()), *wider.others))
    judged = [team.judge(sequels) for sequels in met]
    seen = [looked_at_again(team, plan, confidence) for plan in judged if plan.chance >= search.floor - LEEWAY]
    safe = [
        plan for plan in seen if plan.sequels == best.sequels
        or plan.chance >= search.floor - (KEPT if plan.sequels == search.base.sequels else 0.0) - SAME
    ]
    first = max(safe, key=lambda plan: (round(plan.net, 9), plan.sequels == best.sequels), default=best)
    if first.sequels == best.sequels:
        return search
    found = team.judge(first.sequels)
    exact = search.settled and wider.exact and wider.best is not None and wider.best.sequels == found.sequels
    outcome = Outcome(found, exact, max(wider.bound, found.net), tuple(plan.sequels for plan in safe))
    floor = min(team.judge(plan.sequels).chance for plan in safe)
    return replace(search, floor=floor, outcome=outcome, again=first.chance)
