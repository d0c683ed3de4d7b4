"""What is told of a search: the best plan, the best of those that do other runs, what none reaches, and what flips it.

Whether a proposal flips is asked of the plans of other runs that the search met, not of all there are: with each run's
value changed by a fifth, up and down, does one of them come first?
"""

from __future__ import annotations

from pitwall.forecast.advice_desk import Desk
from pitwall.forecast.advice_look import Search
from pitwall.forecast.advice_outcome import TeamPlan
from pitwall.forecast.advice_pieces import weight
from pitwall.forecast.advice_prefixes import SAME
from pitwall.forecast.advice_words import Wording, join, percent
from pitwall.model.advice import Advice, AdviceQuestion

PROPOSALS = 3

FLIP = 0.2

SURER = 0.02
"""A proposal that drops more than a better one must be so much surer to be worth telling."""

COUNTS = 0.05
"""A run less likely than this is left out in all but name."""


def unreached_of(question: AdviceQuestion, search: Search) -> str | None:
    """What to say when no plan does all musts with the wanted confidence, or this one only for those who look again."""
    if search.again is not None and search.outcome.best is not None and search.outcome.best.chance < search.again:
        return f"with {percent(search.again)}, if what is optional is left out in time"
    if not search.team.musts or search.reachable >= question.confidence - SAME:
        return None
    wanted = percent(question.confidence)
    most = percent(search.reachable)
    most = most if most != wanted else f"just under {wanted}"
    if search.proven:
        return f"no plan does all musts with {wanted}, at most with {most}" if search.reachable > 0 else (
            "no plan does all musts")
    if search.reachable <= 0:
        return "no plan was found that does all musts"
    return f"no plan was found that does all musts with {wanted}, the surest found does them with {most}"


def told(desk: Desk, plan: TeamPlan, sentence: str, flips: str | None = None) -> Advice:
    """This plan as advice."""
    return Advice(
        cars=desk.car_plans(plan.sequels), musts_chance=plan.chance,
        worth=round(plan.worth + desk.after_flag_worth, 6), sentence=sentence, flips=flips,
    )


def proposals(desk: Desk, search: Search, wording: Wording, unreached: str | None) -> tuple[Advice, ...]:
    """Up to three that differ in which runs they do, best first."""
    best = search.outcome.best
    if best is None:
        return ()
    others = [search.team.judge(plan) for plan in search.outcome.others]
    others = [plan for plan in others if plan.chance >= search.floor - SAME and plan.sequels != best.sequels]
    chosen, flips = [best], flips_of(search, best, others, wording)
    base_may = search.base.chance >= search.floor - SAME and desk.broken is None
    for plan in sorted(others, key=lambda one: (-round(one.net, 9), one.sequels)):
        if len(chosen) == PROPOSALS or (base_may and plan.net <= search.base.net + SAME):
            break
        if all(_differs(plan, better) for better in chosen):
            chosen.append(plan)
    return tuple(
        told(desk, plan, wording.sentence(plan, search.base, unreached, search.outcome.exact if plan is best else None),
             flips if plan is best else None)
        for plan in chosen
    )


def counting(plan: TeamPlan) -> frozenset[int]:
    """The runs that this plan may well do: what stands at its end without a chance does not count."""
    return frozenset(run for run, chance in plan.done.items() if chance >= COUNTS)


def _differs(plan: TeamPlan, better: TeamPlan) -> bool:
    """Does it do other runs, and not just fewer without being surer for it?"""
    runs, theirs = counting(plan), counting(better)
    return not runs <= theirs or (runs != theirs and plan.chance >= better.chance + SURER)


def flips_of(search: Search, best: TeamPlan, others: list[TeamPlan], wording: Wording) -> str | None:
    """The first single value whose change by a fifth puts another of these plans first."""
    choices = search.team.choices
    rivals = [plan for plan in (*others, search.base) if plan.chance >= search.floor - SAME
              and counting(plan) != counting(best)]
    flips = []
    for run in sorted({run for plan in (best, *rivals) for run in plan.shares}):
        for change in (-FLIP, FLIP):
            step = change * weight(choices[run])
            for rival in rivals:
                ahead = rival.net + step * rival.shares.get(run, 0.0) - best.net - step * best.shares.get(run, 0.0)
                if ahead > SAME:
                    flips.append((-ahead, run, change, rival.sequels))
    if not flips:
        return None
    _, run, change, sequels = min(flips)
    instead = wording.changes(sequels)
    rather = join(instead) if instead else "leave the plan as it is"
    return f"were {wording.name(run)} worth {FLIP * 100:.0f} % {'more' if change > 0 else 'less'}, rather {rather}"
