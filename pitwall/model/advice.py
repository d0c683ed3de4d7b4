"""What is asked when a plan no longer fits, and what is advised: changed plans, best first.

The question holds the forecaster's snapshot and, per car, the runs that are still to be done with what may be changed
of them. The answer names whole plans (what is left of them), never single edits: nobody has to guess how two edits mix.

Worth. A run is worth its value times the weight of its class; of a run with timed laps, the share of its timed laps
that are done counts, from the fewest that still count on; less is worth nothing. All runs of a group are worth nothing
unless each of them counts. A run that leaves after its ``not_after_s`` takes its time and is worth nothing. Of two
plans the one of more worth is better, each change counting against it with ``PER_CHANGE``: nobody moves a run for
nothing.

Classes come first: as long as some plan does every must with the wanted confidence, a plan that does not is no
candidate. When none does, those come first that are surest to; when even the surest is less likely than not to do them
all, worth alone decides: the musts that can be done count there with their weight. A plan that is not quite as sure as
written may still come first, where it is as sure for those who look again: who leave out, when the time comes, what is
optional and would take a must's time (``pitwall/forecast/advice_recourse.py``). Its sentence says so.

Changes. A run may be dropped, shortened (its last timed laps fall away, and cool laps that then lead to none), moved,
follow another without a stop (the other's in-lap and the work after it, and its own out-lap, fall away), and be done by
another car. Runs that are tied by ``before``, ``same_as`` or ``equal_age_with`` are done by their own car.
"""

from __future__ import annotations

from pydantic import Field

from pitwall.model.base import Frozen, Label, Slug
from pitwall.model.outlook import Activity, ForecastSnapshot
from pitwall.model.plan import Want

CLASS_WEIGHT: dict[Want, float] = {"must": 25.0, "should": 5.0, "could": 1.0}
"""How classes weigh against each other in the expected worth (a choice of ours: order, not money)."""

PER_CHANGE = 0.02
"""What a run dropped, shortened, moved, merged or swapped counts against a plan: a fiftieth of a could (our choice)."""

EVEN_ODDS = 0.5
"""Below this chance of all musts, worth alone decides (a choice of ours)."""


class RunChoice(Frozen):
    """One run still to be done, and what may be changed of it. Times in session seconds, durations in seconds."""

    run: Slug
    car: Slug
    want: Want
    value: float = Field(ge=0, description="orders runs within their class")
    activities: tuple[Activity, ...] = Field(description="its laps and items as planned, without the work around them")
    work: Activity | None = Field(default=None, description="garage work after it, before whatever run follows")
    crew: tuple[Label, ...] = Field(default=(), description="who does that work; shared with the other cars")
    timed: int = Field(ge=0, description="timed laps as planned, those done already included")
    done: int = Field(default=0, ge=0, description="timed laps done already")
    fewest: int = Field(ge=0, description="fewest timed laps with which it counts; as many as `timed`: never shortened")
    under_way: bool = Field(default=False, description="left already: comes first, is never dropped or moved")
    before: tuple[Slug, ...] = Field(default=(), description="runs that must come after it when they are done")
    same_as: Slug | None = Field(default=None, description="the run it repeats: comes after it, worth nothing without")
    group: Label | None = Field(default=None, description="all or nothing with the others of this label")
    tyres: Label | None = None
    equal_age_with: Slug | None = Field(default=None, description="tyres must be as old as those of that run: no swap")
    tyre_laps_left: int | None = Field(default=None, ge=0, description="laps its set may still do")
    not_before_s: float | None = None
    not_after_s: float | None = None
    ready_s: float | None = Field(default=None, description="the crew cannot have the car ready for it any sooner")
    after_flag: bool = Field(default=False, description="may be done after the flag too: always fits")
    merges_with: tuple[Slug, ...] = Field(default=(), description="runs it may follow without a stop in between")
    also_on: tuple[Slug, ...] = Field(default=(), description="other cars that could do it")
    possible: bool = Field(default=True, description="False: cannot be done now at all (dry only and it is wet)")


class AdviceQuestion(Frozen):
    """Self-contained: the answer depends on nothing else."""

    snapshot: ForecastSnapshot
    choices: tuple[RunChoice, ...] = Field(description="in the order of the plans, car by car")
    confidence: float = Field(gt=0, lt=1, description="chance with which all musts shall fit")
    futures: int = Field(default=500, ge=50, le=5000)
    seed: int
    restart_s: tuple[float, ...] = Field(
        default=(), description="under a red flag: one ladder step for a restart so many seconds from now, each"
    )


class RunDone(Frozen):
    """One run of an advised plan."""

    run: Slug
    timed: int = Field(ge=0, description="timed laps in all")
    with_run: Slug | None = Field(default=None, description="follows that run without a stop")
    from_car: Slug | None = Field(default=None, description="the car whose plan it stands in, when another one does it")


class CarPlan(Frozen):
    """What is left for one car, in order; runs of the question that are not named are dropped."""

    car: Slug
    runs: tuple[RunDone, ...]


class Advice(Frozen):
    """One changed plan, with what it costs and buys."""

    cars: tuple[CarPlan, ...]
    musts_chance: float = Field(ge=0, le=1, description="all musts of all cars fit")
    worth: float = Field(description="expected worth")
    sentence: str = Field(description="what it changes, costs and buys, in one sentence")
    flips: str | None = Field(
        default=None, description="of the first: which value, changed by 20 per cent, would put another before it"
    )


class LadderStep(Frozen):
    """Under a red flag: the best plan if the session goes on so many seconds from now."""

    restart_s: float
    best: Advice
    pull_forward: str | None = Field(
        default=None, description="a sentence: garage work of a later stop that is worth doing while the car stands"
    )


class AdviceAnswer(Frozen):
    """What was found."""

    as_planned: Advice = Field(description="the plan as it stands, on the same futures")
    best: tuple[Advice, ...] = Field(description="up to three, best first; the plan as it stands may be among them")
    ladder: tuple[LadderStep, ...] = ()
    exact: bool = Field(description="False: the search ended at its node limit; the best found so far")
    bound: float = Field(description="no plan as sure of its musts can be worth more, its changes counted")
    reachable: float = Field(default=1.0, ge=0, le=1, description="the highest chance of all musts that was found")
    problem: str | None = Field(default=None, description="what cannot be advised on or done any more")
