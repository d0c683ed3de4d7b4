"""What every search for one question starts from: what may be done, drawn once, and the plan as it stands."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from pitwall.forecast.advice_outcome import FULL, Effort
from pitwall.forecast.advice_pieces import Drawn, weight
from pitwall.forecast.advice_problems import Standing, standing
from pitwall.forecast.advice_rules import CarModel, Sequel, as_it_stands
from pitwall.forecast.advice_search import CarSearch
from pitwall.forecast.advice_team import TeamSearch
from pitwall.forecast.calendar import Calendar
from pitwall.forecast.draws import stream
from pitwall.forecast.futures import CALENDAR_STREAM, begins_at
from pitwall.forecast.interruptions import draw_calendar
from pitwall.model.advice import PER_CHANGE, AdviceQuestion, CarPlan, RunDone

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
