"""Which changed plan keeps most: the answer to an ``AdviceQuestion``.

All plans are driven through the same futures. ``advice_pieces`` says what a car may do, ``advice_rules`` in which
order, ``advice_driving`` what comes of it, ``advice_search`` finds the best of one car, ``advice_team`` of all, and
this file chooses what to tell: the best plan, and the best of those that do other runs and beat the plan as it stands.

Whether a proposal flips is asked of the plans of other runs that the search met, not of all there are: with each run's
value changed by a fifth, up and down, does one of them come first?
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from pitwall.forecast.advice_pieces import Drawn, weight
from pitwall.forecast.advice_problems import Standing, standing
from pitwall.forecast.advice_rules import CarModel, Sequel, as_it_stands
from pitwall.forecast.advice_search import SAME, CarSearch
from pitwall.forecast.advice_surest import Surest, surest, surest_of_all
from pitwall.forecast.advice_team import FULL, Effort, Outcome, TeamPlan, TeamSearch
from pitwall.forecast.advice_words import Wording, join, percent
from pitwall.forecast.draws import stream
from pitwall.forecast.futures import CALENDAR_STREAM, begins_at
from pitwall.forecast.interruptions import Calendar, draw_calendar
from pitwall.model.advice import EVEN_ODDS, PER_CHANGE, Advice, AdviceAnswer, AdviceQuestion, CarPlan, RunDone

BESIDE_LADDER = Effort(3000, 10_000, 1200, 20)
"""For the plan of the moment when a ladder is to follow: all of it has to stand some seconds after the red flag."""

PROPOSALS = 3
FLIP = 0.2
SURER = 0.02
"""A proposal that drops more than a better one must be so much surer to be worth telling."""

LEEWAY = 0.2
"""As written a plan may be so much less sure than is wanted, if leaving out what is optional makes up for it."""
KEPT = 0.03
"""The plan as it stands is left alone while it is no more than so much less sure: twice the error of 500 futures."""

LOOKS = 2
"""Where the surest plan is not proven, the best may be surer: then that is demanded, and it is searched once more."""

COUNTS = 0.05
"""A run less likely than this is left out in all but name."""

Plan = tuple[Sequel, ...]


@dataclass(frozen=True)
class Desk:
    """What every search of one question starts from: what may be done, drawn once."""

    question: AdviceQuestion
    standing: Standing
    models: tuple[CarModel, ...]
    drawn: tuple[Drawn, ...]

    @classmethod
    def of(cls, question: AdviceQuestion) -> Desk:
        """Draw the durations and lay out what may be done."""
        looked = standing(question)
        cars = question.snapshot.cars
        drawn = {car.car: Drawn.of(question, car) for car in cars}
        known = frozenset(i for i in looked.doable if question.choices[i].car in drawn)
        models = tuple(CarModel.of(question, car, drawn, known) for car in cars)
        return cls(question, looked, models, tuple(drawn.values()))

    def calendar(self) -> Calendar:
        """The futures' interruptions and flags."""
        snapshot = self.question.snapshot.model_copy(update={"futures": self.question.futures})
        return draw_calendar(stream(self.question.seed, CALENDAR_STREAM), snapshot)

    def team(self, calendar: Calendar, per_change: float = PER_CHANGE, effort: Effort = FULL) -> TeamSearch:
        """The search on these futures."""
        snapshot, futures = self.question.snapshot, self.question.futures
        begins = [np.full(futures, begins_at(car, snapshot)) for car in snapshot.cars]
        searches = [
            CarSearch(model, calendar, own.ready(begin), per_change)
            for model, own, begin in zip(self.models, self.drawn, begins, strict=True)
        ]
        return TeamSearch(
            self.question.choices, searches, self.drawn, begins, snapshot.finish_started_lap, effort
        )

    @property
    def as_it_stands(self) -> Plan:
        """The plan as it stands, without what cannot be done any more."""
        return tuple(as_it_stands(model) for model in self.models)

    @property
    def broken(self) -> str | None:
        """What to say when the plan as it stands breaks its own rules: then it is no candidate."""
        for model in self.models:
            if not model.allows(as_it_stands(model)):
                return f"The plan of car {model.car} as it stands does not keep its order, or its tyres do not last."
        return None

    def car_plans(self, plan: Plan) -> tuple[CarPlan, ...]:
        """The plan for the answer; runs for after the flag stand at its end."""
        choices = self.question.choices
        found = []
        for model, sequel in zip(self.models, plan, strict=True):
            runs = list(self._runs(model, sequel))
            runs += [RunDone(run=choices[i].run, timed=choices[i].timed) for i in sorted(self.standing.after_flag)
                     if choices[i].car == model.car]
            found.append(CarPlan(car=model.car, runs=tuple(runs)))
        return tuple(found)

    def _runs(self, model: CarModel, sequel: Sequel) -> Iterator[RunDone]:
        choices = self.question.choices
        for piece in (model.pieces[number] for number in sequel):
            before = None
            for part in piece.parts:
                choice = choices[part.run]
                yield RunDone(run=choice.run, timed=part.timed, with_run=before,
                              from_car=choice.car if choice.car != model.car else None)
                before = choice.run

    @property
    def after_flag_worth(self) -> float:
        """What runs for after the flag are worth, in every plan."""
        if self.question.snapshot.status == "closed":
            return 0.0
        return sum(weight(self.question.choices[i]) for i in sorted(self.standing.after_flag))


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


def advise(question: AdviceQuestion) -> AdviceAnswer:
    """Find what to change. Pure: the same question gives the same answer, in any process.

    Args:
        question: What is left, and what may be changed of it.

    Returns:
        The plan as it stands and up to three proposals, best first. ``problem`` says what cannot be done; there are no
        proposals when nothing can. No input that the model admits raises.
    """
    from pitwall.forecast.advice_ladder import ladder  # built on this file

    if not question.snapshot.cars:
        nothing = Advice(cars=(), musts_chance=1.0, worth=0.0, sentence="There is no car to plan for.")
        return AdviceAnswer(as_planned=nothing, best=(), exact=True, bound=0.0, problem=standing(question).sentence)
    desk = Desk.of(question)
    team = desk.team(desk.calendar(), effort=BESIDE_LADDER if question.restart_s else FULL)
    base = team.judge(desk.as_it_stands)
    wording = Wording(desk.models)
    if desk.standing.fatal is not None:
        text = f"The plan as it stands: all musts fit in {percent(base.chance)} of futures."
        return AdviceAnswer(as_planned=told(desk, base, text), best=(), exact=True, bound=base.net,
                            problem=desk.standing.sentence, reachable=base.chance)
    search = bolder(desk, look(desk, team, base))
    problem = " ".join(one for one in (desk.standing.sentence, desk.broken) if one) or None
    unreached = unreached_of(question, search)
    best = proposals(desk, search, wording, unreached)
    return AdviceAnswer(
        as_planned=told(desk, base, wording.as_planned(base)),
        best=best,
        ladder=ladder(desk, search, wording),
        exact=search.outcome.exact,
        bound=round(search.outcome.bound + desk.after_flag_worth, 6),
        reachable=search.reachable,
        problem=problem,
    )


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
    from pitwall.forecast.advice_recourse import looked_at_again  # built on the search

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
