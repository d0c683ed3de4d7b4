"""An advised plan as a proposal: what it would change for every car, what it costs, and whether that still holds."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from pitwall.engine.advising_plans import advised_plans, given_away, joins_of, what_it_costs
from pitwall.engine.differences import differences
from pitwall.engine.proposals import would_change
from pitwall.engine.replan import in_use, takes
from pitwall.engine.team import TeamCar
from pitwall.model.advice import Advice, AdviceAnswer, CarPlan
from pitwall.model.outputs import Proposal
from pitwall.model.plan import Plan, Run
from pitwall.model.setup import SessionSetup

SOURCE = "forecast"
WORTH_SHOWN = 0.01
"""A plan is shown when it is worth so much more than the plan as it stands, as a share of that."""
CHANCE_SHOWN = 0.02
"""Or when it makes the musts so much surer."""
FALLS_OUT = " falls out, and it is a must"
OF_BOTH = ("value", "want", "shorten_to", "after_garage_s", "crew", "purpose", "before")
"""What a run takes over from one that is joined to it: told by the joining."""


@dataclass(frozen=True)
class AdviceOffer:
    """A proposal of the forecast, and what of each car's plan it leaves.

    ``brief``: car and change, of runs only: what falls away with a run or its laps is not told apart.
    """

    shown: Proposal
    parts: tuple[CarPlan, ...]
    brief: tuple[tuple[str, str], ...] = ()

    @property
    def mark(self) -> tuple[str, ...]:
        """What tells it apart from others: what it would change."""
        return self.shown.lines

    def named(self, name: str) -> AdviceOffer:
        """The same under that name."""
        return replace(self, shown=self.shown.model_copy(update={"id": name}))


@dataclass(frozen=True)
class _Change:
    """What an advised plan would do to the team's plans now."""

    plans: dict[str, Plan]
    lines: tuple[str, ...]
    warnings: tuple[str, ...]
    brief: tuple[tuple[str, str], ...]


def _change(team: Mapping[str, TeamCar], parts: Sequence[CarPlan]) -> _Change:
    """Only cars for which anything changes are named; with several of them each line says whose it is."""
    plans: dict[str, Plan] = {}
    told: list[tuple[str, tuple[str, ...], tuple[str, ...]]] = []
    brief: list[tuple[str, str]] = []
    for name, plan in advised_plans(team, parts).items():
        found = would_change(team[name], plan, ())
        if found is not None:
            plans[name] = plan
            joins = joins_of(parts, name)
            elsewhere = given_away(parts, name) | joins
            lines = _lines(team[name], plan, joins) or found[0]
            told.append((name, lines, _less_alarmed(found[1], elsewhere)))
            brief += [(name, line) for line in _lines(team[name], plan, joins, _of_runs) or lines]
    many = len(told) > 1
    return _Change(
        plans,
        tuple(f"car {car}: {line}" if many else line for car, lines, _ in told for line in lines),
        tuple(f"car {car}: {line}" if many else line for car, _, warnings in told for line in warnings),
        tuple(brief),
    )


def _as_it_is(plan: Plan) -> Plan:
    return plan


def _of_runs(plan: Plan) -> Plan:
    """Without what goes with the number of timed laps: items, and the cool-down laps between them."""
    runs = [run.model_copy(update={"items": (), "laps": tuple(kind for kind in run.laps if kind != "cool")})
            for run in plan.runs]
    return plan.model_copy(update={"runs": tuple(runs)})


def _lines(
    car: TeamCar, plan: Plan, joins: Mapping[str, str], of: Callable[[Plan], Plan] = _as_it_is
) -> tuple[str, ...]:
    """What changes, a sentence each, of what of the plans is looked at. A run that is joined to another does not fall
    out: that it follows is told."""
    used, becomes = of(in_use(car)), of(takes(car, plan))
    before: list[Run] = []
    for run in used.runs:
        host = becomes.find(run.run)
        if host is None and run.run in joins:
            continue
        shared = host is not None and run.run in joins.values()
        before.append(run.model_copy(update={name: getattr(host, name) for name in OF_BOTH}) if shared else run)
    words = [f"{name} follows {host} without a stop" for name, host in joins.items()]
    return (*words, *differences(used.model_copy(update={"runs": tuple(before)}), becomes))


def _less_alarmed(warnings: Iterable[str], elsewhere: Mapping[str, str]) -> tuple[str, ...]:
    """Without the word that a must falls out, where it is done with another run or by another car."""
    return tuple(one for one in warnings if not (one.endswith(FALLS_OUT) and one.removesuffix(FALLS_OUT) in elsewhere))


def plans_of(team: Mapping[str, TeamCar], offer: AdviceOffer) -> dict[str, Plan]:
    """The plans that adopting it would make now, by car."""
    return _change(team, offer.parts).plans


def brief_of(team: Mapping[str, TeamCar], parts: Sequence[CarPlan]) -> tuple[str, ...]:
    """What these plans would change of runs now, a sentence each, with whose run it is where there are several cars."""
    many = len(team) > 1
    return tuple(f"car {car}: {line}" if many else line for car, line in _change(team, parts).brief)


def holds_still(team: Mapping[str, TeamCar], offer: AdviceOffer) -> bool:
    """True while adopting it would do exactly what was shown of it."""
    now = _change(team, offer.parts)
    return (now.lines, now.warnings) == (offer.shown.lines, offer.shown.warnings)


def offers_of(
    answer: AdviceAnswer, team: Mapping[str, TeamCar], number: int, setup: SessionSetup, everything: bool, now: float
) -> list[AdviceOffer]:
    """The proposals that an answer makes, best first, each once.

    Args:
        answer: of the adviser.
        team: our cars.
        number: of the question; part of the proposals' names.
        setup: the session's.
        everything: also those that hardly better the plan as it stands: somebody asked.
        now: session second.
    """
    found: list[AdviceOffer] = []
    marks: set[tuple[str, ...]] = set()
    for place, advice in enumerate(answer.best, start=1):
        if not everything and not _worth_showing(advice, answer.as_planned):
            continue
        change = _change(team, advice.cars)
        if change.plans and change.lines not in marks:
            marks.add(change.lines)
            name = f"advice-{number}-{place}"
            found.append(AdviceOffer(_proposal(name, advice, change, team, now), advice.cars, change.brief))
    return found


def _worth_showing(advice: Advice, as_planned: Advice) -> bool:
    surer = advice.musts_chance - as_planned.musts_chance
    if surer >= CHANCE_SHOWN:
        return True
    return surer > -CHANCE_SHOWN and advice.worth > as_planned.worth * (1.0 + WORTH_SHOWN)


def _proposal(name: str, advice: Advice, change: _Change, team: Mapping[str, TeamCar], now: float) -> Proposal:
    cars = tuple(sorted(change.plans))
    costs: list[str] = []
    for car in cars:
        after, used = takes(team[car], change.plans[car]), in_use(team[car])
        words = what_it_costs(used, after, given_away(advice.cars, car) | joins_of(advice.cars, car))
        costs += [f"car {car}: {one}" if len(cars) > 1 else one for one in words]
    return Proposal(
        id=name, t=now, car=cars[0], active=True, source=SOURCE, lines=change.lines, warnings=change.warnings,
        plan_revision=team[cars[0]].progress.revision, cars=cars, sentence=advice.sentence, costs=tuple(costs),
        musts_chance=advice.musts_chance, flips=advice.flips,
    )  # fmt: skip


def why_nothing(answer: AdviceAnswer) -> str:
    """Why there is no proposal, in a sentence."""
    return answer.problem or "no change does better than the plan as it stands"


def situation(team: Mapping[str, TeamCar]) -> tuple[object, ...]:
    """What is left of every car's plan, and which run it is on: as long as it is the same, an answer holds."""
    return tuple(
        (name, tuple((state.run.run, state.state == "running", state.laps) for state in car.progress.rest()))
        for name, car in team.items()
    )
