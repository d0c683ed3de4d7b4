"""Answers for advice, made up by a test, and a stage on which they are given."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from pitwall.model.advice import Advice, AdviceAnswer, AdviceQuestion, CarPlan, LadderStep, RunDone
from pitwall.model.events import AdviceReady, ForecastReady
from pitwall.model.outputs import (
    AdviceState,
    AdviceWanted,
    CarOutlook,
    ForecastAnswer,
    ForecastWanted,
    Output,
    RunOutlook,
)
from tests.unit.engine_stage import CAR, CHECKS, MAIN, SPARE, Stage, plan, setup

LONG = SPARE | {"run": "long", "laps": "out, 6 timed, in", "shorten_to": 3, "want": "should"}

Done = str | tuple[str, int] | RunDone
Left = Mapping[str, Sequence[Done] | Sequence[RunDone]]


def as_asked(question: AdviceQuestion, left: Left | None = None) -> tuple[CarPlan, ...]:
    """Plans of all cars asked about: as they stand, or with what is left of some cars in their place.

    A run is given by its name, with its timed laps where they change, or as it is in an answer.
    """
    timed = {(one.car, one.run): one.timed for one in question.choices}
    names: dict[str, list[str]] = {}
    for one in question.choices:
        names.setdefault(one.car, []).append(one.run)
    return tuple(
        CarPlan(car=car, runs=tuple(_done(one, car, timed) for one in (left or {}).get(car, runs)))
        for car, runs in names.items()
    )


def _done(one: Done, car: str, timed: Mapping[tuple[str, str], int]) -> RunDone:
    if isinstance(one, RunDone):
        return one
    name, laps = (one, timed[car, one]) if isinstance(one, str) else one
    return RunDone(run=name, timed=laps)


def advice(cars: tuple[CarPlan, ...], chance: float = 0.92, worth: float = 60.0, **more: str) -> Advice:
    """One plan."""
    words = {"sentence": "dropping the second hold brings it to 92%.", **more}
    return Advice(cars=cars, musts_chance=chance, worth=worth, sentence=words["sentence"], flips=words.get("flips"))


def answer_of(question: AdviceQuestion, *lefts: Left, chance: float = 0.92, planned: float = 0.34) -> AdviceAnswer:
    """An answer with these plans, best first; under red the best one is on every step of the ladder."""
    best = tuple(
        advice(as_asked(question, left), chance - 0.01 * place, 60.0 - place) for place, left in enumerate(lefts)
    )
    steps = tuple(
        LadderStep(restart_s=restart, best=best[0], pull_forward="the floor work fits into the wait")
        for restart in (question.restart_s if best else ())
    )
    return AdviceAnswer(
        as_planned=advice(as_asked(question), planned, 40.0, sentence="the plan as it stands"), best=best, ladder=steps,
        exact=True, bound=70.0,
    )  # fmt: skip


class AdviceStage(Stage):
    """A stage on which the adviser answers what the test says."""

    def asked(self) -> list[AdviceWanted]:
        """Every question for advice so far."""
        return self.made(AdviceWanted)

    def advised(self, *lefts: Left, chance: float = 0.92, revision: int | None = None,
                planned: float = 0.34) -> tuple[Output, ...]:
        """The adviser answers the last question (or an older one) with these plans."""
        wanted = next(one for one in reversed(self.asked()) if revision in (None, one.revision))
        made = answer_of(wanted.question, *lefts, chance=chance, planned=planned)
        return self.handle(
            AdviceReady(id=f"advice-{self._seq}", t=self.now, revision=wanted.revision, answer=made)
        )

    def state(self) -> AdviceState | None:
        """The advice as it stands."""
        return next((one for one in self.session.standing() if isinstance(one, AdviceState)), None)

    def foreseen(self, chance: float, *cars: str, run: str = "main") -> tuple[Output, ...]:
        """The forecaster answers its last question: this must of these cars (car 41) fits with that chance."""
        wanted = self.made(ForecastWanted)[-1]
        one = RunOutlook(run=run, want="must", chance=chance, end_q10_s=1, end_q50_s=2, end_q90_s=3)
        outlooks = tuple(CarOutlook(car=car, musts_chance=chance, runs=(one,), spare_q50_s=0) for car in cars or (CAR,))
        found = ForecastAnswer(cars=outlooks, futures=100, seed=1)
        return self.handle(
            ForecastReady(id=f"foreseen-{self._seq}", t=self.now, revision=wanted.revision, answer=found)
        )


def stage(*more: dict[str, object]) -> AdviceStage:
    """Car 41 with checks, a must of two timed laps, a should of six and a could of one; the session is green."""
    made = AdviceStage(setup(plan(CHECKS, MAIN, LONG, SPARE, *more)))
    made.green()
    return made
