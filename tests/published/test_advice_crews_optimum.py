"""Plans of two and three cars that share crews and a pit box: CP-SAT (ortools) finds the same worth.

Everything is certain and in whole seconds. The solver has its own model: each car has places in a row, each holds one
run in one of its lengths; who comes in first is worked on first, of two at once the first car, and nobody waits for
anything else. A pit box that cars share is a crew like any other.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, field
from typing import Any

import pytest
from ortools.sat.python import cp_model

from pitwall.forecast.advice_desk import Desk
from pitwall.model.advice import CLASS_WEIGHT, AdviceQuestion
from tests.published.test_advice_optima import SCALE, _times, searched
from tests.unit.advice_plans import piece, random_question

CREWS = (("box",), ("floor", "box"), ("box",), ("floor",))
HORIZON_S = 40_000


def crewed(seed: int, cars: int) -> AdviceQuestion:
    """A small plan of several cars with long works that need the floor's crew, the pit box, or both."""
    asked, rng = random_question(seed, certain=True, cars=cars, bare=True), random.Random(seed)
    left = float(rng.choice((800, 900, 1000, 1100)))
    return asked.model_copy(update={
        "choices": tuple(one.model_copy(update={
            "crew": rng.choice(CREWS), "work": piece("garage", float(rng.choice((250, 350, 450)))),
            "not_before_s": None, "not_after_s": None, "ready_s": None,
            "group": None if rng.random() < 0.7 else one.group, "same_as": None if rng.random() < 0.5 else one.same_as,
        }) for one in asked.choices),
        "snapshot": asked.snapshot.model_copy(update={"remaining_s": left}),
    })


def worth(asked: AdviceQuestion) -> float:
    """The best plan's, proven."""
    outcome = searched(asked)
    assert outcome.exact
    assert outcome.best is not None
    return outcome.best.worth


@pytest.mark.parametrize(("cars", "first", "count"), [(2, 3000, 60), (3, 3100, 40)], ids=["two", "three"])
def test_equals_a_constraint_solver(cars: int, first: int, count: int) -> None:
    """The best worth is the solver's, with all musts where some plan does them all; and it is proven. In some it is
    less than it would be if every car had a crew of its own."""
    less = 0
    for seed in range(first, first + count):
        asked = crewed(seed, cars)
        doable = sorted(Desk.of(asked).standing.doable)
        if not doable:
            continue
        found = worth(asked)
        assert found == pytest.approx(solved(asked, doable), abs=1e-9), seed
        alone = tuple(one.model_copy(update={"crew": ()}) for one in asked.choices)
        less += found < worth(asked.model_copy(update={"choices": alone})) - 1e-9
    assert less >= 3


def solved(asked: AdviceQuestion, doable: list[int]) -> float:
    """The solver's best worth: with all musts when some plan does them all."""
    for all_musts in (True, False):
        found = _Team(asked, doable).worth(all_musts)
        if found is not None:
            return found
    raise AssertionError("doing nothing is always a plan")


@dataclass
class _Place:
    """One place in a car's row: what stands there, when it leaves, is due for work, and is ready again."""

    car: int
    holds: dict[tuple[int, int], Any]
    leaves: Any
    due: Any
    ready: Any
    worked: Any
    needs: dict[str, Any] = field(default_factory=dict)
    waits_for: list[Any] = field(default_factory=list)


class _Team:
    def __init__(self, asked: AdviceQuestion, doable: list[int]) -> None:
        self.model, self.asked, self.runs = cp_model.CpModel(), asked, {i: asked.choices[i] for i in doable}
        self.begin_s, self.end_s = round(asked.snapshot.t), round(asked.snapshot.t + asked.snapshot.remaining_s)
        self.counts: dict[int, Any] = {}
        self.paid: dict[int, list[tuple[Any, int]]] = {i: [] for i in doable}
        self.rows = [self._row(number, [i for i, one in self.runs.items() if one.car == car.car])
                     for number, car in enumerate(asked.snapshot.cars)]
        places = [place for row in self.rows for place in row]
        for number, one in enumerate(places):
            for other in places[number + 1 :]:
                if one.car != other.car:
                    self._share(one, other)
        for place in places:
            start = self._moment("start")
            self.model.add_max_equality(start, [place.due, *place.waits_for])
            work = sum(x * round(self.runs[i].work.likely_s) for (i, _), x in place.holds.items() if self.runs[i].work)
            self.model.add(place.ready == start + work)
        for i in self.runs:
            self._claims(i)
        self._relations()

    def worth(self, all_musts: bool) -> float | None:
        """The optimum, None when there is no plan."""
        if all_musts:
            for i, one in self.runs.items():
                if one.want == "must":
                    self.model.add(self.counts[i] == 1)
        self.model.maximize(sum(
            paid * share * round(CLASS_WEIGHT[self.runs[i].want] * self.runs[i].value)
            for i, some in self.paid.items() for paid, share in some))
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        status = solver.solve(self.model)
        assert status in (cp_model.OPTIMAL, cp_model.INFEASIBLE)
        return solver.objective_value / SCALE if status == cp_model.OPTIMAL else None

    def _moment(self, name: str) -> Any:
        return self.model.new_int_var(0, HORIZON_S, name)

    def _both(self, one: Any, other: Any) -> Any:
        both = self.model.new_bool_var("both")
        self.model.add_min_equality(both, [one, other])
        return both

    def _row(self, car: int, runs: list[int]) -> list[_Place]:
        """The places of one car, filled from the first on; after the last run there is no work."""
        row: list[_Place] = []
        for _ in runs:
            holds = {(i, n): self.model.new_bool_var(f"x{i}-{n}") for i in runs for n in self._lengths(i)}
            used = self.model.new_bool_var("used")
            self.model.add(sum(holds.values()) == used)
            place = _Place(car, holds, self._moment("leaves"), self._moment("due"), self._moment("ready"),
                           self.model.new_bool_var("worked"))
            opens = [self.begin_s, sum(x * self._earliest(i) for (i, _), x in holds.items())]
            if row:
                self.model.add(row[-1].worked == used)
                opens.append(row[-1].ready)
            self.model.add_max_equality(place.leaves, opens)
            self.model.add(place.due == place.leaves + sum(x * self._length(i, n) for (i, n), x in holds.items()))
            row.append(place)
        if row:
            self.model.add(row[-1].worked == 0)
        for i in runs:
            self.model.add_at_most_one(x for place in row for (j, _), x in place.holds.items() if j == i)
        for place in row:
            for label in ("floor", "box"):
                wanted = self.model.new_bool_var(label)
                self.model.add(wanted == sum(
                    x for (i, _), x in place.holds.items() if label in self.runs[i].crew))
                place.needs[label] = self._both(wanted, place.worked)
        return row

    def _share(self, one: _Place, other: _Place) -> None:
        """Works of two cars with a crew in common: who is due first goes first, and the other waits for its end."""
        common, first = self.model.new_bool_var("common"), self.model.new_bool_var("first")
        self.model.add_max_equality(common, [self._both(one.needs[label], other.needs[label]) for label in one.needs])
        self.model.add(one.due <= other.due).only_enforce_if(first)
        self.model.add(one.due > other.due).only_enforce_if(~first)
        for goes, waits, sooner in ((one, other, first), (other, one, ~first)):
            held, until = self._both(common, sooner), self._moment("until")
            self.model.add(until == goes.ready).only_enforce_if(held)
            self.model.add(until == 0).only_enforce_if(~held)
            waits.waits_for.append(until)

    def _lengths(self, i: int) -> range:
        one = self.runs[i]
        return range(max(one.fewest, 1), one.timed + 1) if one.timed else range(1)

    def _length(self, i: int, timed: int) -> int:
        return _times(self.runs[i], timed, self.asked.snapshot.finish_started_lap)[1]

    def _earliest(self, i: int) -> int:
        waits = (self.runs[i].not_before_s, self.runs[i].ready_s)
        return max([self.begin_s, *(round(at) for at in waits if at is not None)])

    def _held(self, i: int) -> list[tuple[_Place, int, Any]]:
        return [(place, n, x) for row in self.rows for place in row for (j, n), x in place.holds.items() if j == i]

    def _claims(self, i: int) -> None:
        """How much of a run is done in time, and paid for."""
        one, claims = self.runs[i], []
        for place, n, x in self._held(i):
            marks, _ = _times(one, n, self.asked.snapshot.finish_started_lap)
            for laps in range(max(one.fewest, 1), n + 1) if one.timed else (0,):
                claim, paid = self.model.new_bool_var("claim"), self.model.new_bool_var("paid")
                at, strictly = marks[laps - 1] if one.timed else marks[-1]
                self.model.add_implication(claim, x)
                self.model.add_implication(paid, claim)
                self.model.add(place.leaves + at + strictly <= self.end_s).only_enforce_if(claim)
                if one.not_after_s is not None:
                    self.model.add(place.leaves <= round(one.not_after_s)).only_enforce_if(claim)
                claims.append(claim)
                self.paid[i].append((paid, SCALE * laps // one.timed if one.timed else SCALE))
        self.counts[i] = self.model.new_bool_var(f"counts{i}")
        self.model.add(sum(claims) == self.counts[i])

    def _relations(self) -> None:
        """Orders, repeats and groups, each within its car."""
        present = {i: sum(x for _, _, x in self._held(i)) for i in self.runs}
        stands = {i: sum(row.index(place) * x for row in self.rows for place in row
                         for (j, _), x in place.holds.items() if j == i) for i in self.runs}
        for i, one in self.runs.items():
            for j, other in self.runs.items():
                if i == j or other.car != one.car:
                    continue
                if other.run in one.before or other.same_as == one.run:  # i comes before j, where both are done
                    self.model.add(stands[i] + 1 <= stands[j] + 10 * (2 - present[i] - present[j]))
                if other.same_as == one.run:
                    self.model.add(present[j] <= present[i])
                    self.model.add_implication(self.counts[j], self.counts[i])
                if one.group is not None and one.group == other.group:
                    for paid, _ in self.paid[i]:
                        self.model.add_implication(paid, self.counts[j])
