"""Optima from outside, reproduced as plans whose durations are certain: knapsacks, late jobs, and a solver's answers.

A run of nothing but an item takes what it takes and counts when it has ended by the flag: with values for worths that
is a knapsack. A last moment for leaving makes it a job with a due date.
"""

from __future__ import annotations

from itertools import combinations
from typing import Any

import pytest
from ortools.sat.python import cp_model

from pitwall.forecast.advice_desk import Desk
from pitwall.forecast.advice_look import look
from pitwall.forecast.advice_outcome import Effort, Outcome
from pitwall.model.advice import CLASS_WEIGHT, AdviceQuestion, RunChoice
from pitwall.model.outlook import Activity
from tests.unit.advice_plans import question, random_question

SCALE = 12
"""Shares of up to four timed laps are whole numbers of twelfths."""
ENOUGH = Effort(400_000, 50_000, 200_000, 40)


def searched(asked: AdviceQuestion) -> Outcome:
    """The best plan, changes being free."""
    desk = Desk.of(asked)
    team = desk.team(desk.calendar(), per_change=0.0, effort=ENOUGH)
    return look(desk, team, team.judge(desk.as_it_stands)).outcome


def job(name: int, lasts_s: float, worth: float, **rest: Any) -> RunChoice:
    """An item, and nothing to be done after it."""
    item = Activity(run=f"j{name}", kind="item", low_s=lasts_s, likely_s=lasts_s, high_s=lasts_s)
    return RunChoice(run=f"j{name}", car="41", want="could", value=worth, activities=(item,), timed=0, fewest=0, **rest)


def best_worth(jobs: list[RunChoice], left_s: float) -> float:
    """Worth of the best choice, proven."""
    outcome = searched(question(jobs, left_s, t=0.0))
    assert outcome.exact
    assert outcome.best is not None
    return outcome.best.worth


def test_knapsack_p01() -> None:
    """Ten items, capacity 165: 309. (J. Burkardt, data set KNAPSACK_01, problem P01.)"""
    weights = (23, 31, 29, 44, 53, 38, 63, 85, 89, 82)
    values = (92, 57, 49, 68, 60, 43, 67, 84, 87, 72)
    jobs = [job(i, w, v) for i, (w, v) in enumerate(zip(weights, values, strict=True))]
    assert best_worth(jobs, 165.0) == pytest.approx(309)


def test_knapsack_p07() -> None:
    """Fifteen items whose values nearly follow their weights, capacity 750: 1458. (Burkardt, KNAPSACK_01, P07.)"""
    weights = (70, 73, 77, 80, 82, 87, 90, 94, 98, 106, 110, 113, 115, 118, 120)
    values = (135, 139, 149, 150, 156, 163, 173, 184, 192, 201, 210, 214, 221, 229, 240)
    jobs = [job(i, w, v) for i, (w, v) in enumerate(zip(weights, values, strict=True))]
    assert best_worth(jobs, 750.0) == pytest.approx(1458)


def test_weighted_late_jobs() -> None:
    """Three jobs all due at 100: the least weight that is late is 12. (Pinedo, Scheduling, 1 || sum w U.)"""
    lasts, weights = (11, 9, 90), (12, 9, 89)
    jobs = [job(i, p, w) for i, (p, w) in enumerate(zip(lasts, weights, strict=True))]
    assert sum(weights) - best_worth(jobs, 100.0) == pytest.approx(12)


def test_late_jobs() -> None:
    """Five jobs with due dates of their own: two are late at least. (Pinedo, Scheduling, 1 || sum U, Moore's rule.)"""
    lasts, due = (7, 8, 4, 6, 6), (9, 17, 18, 19, 21)
    jobs = [job(i, p, 1.0, not_after_s=float(d - p)) for i, (p, d) in enumerate(zip(lasts, due, strict=True))]
    assert 5 - best_worth(jobs, 1000.0) == pytest.approx(2)


@pytest.mark.parametrize("batch", range(10))
def test_equals_a_constraint_solver(batch: int) -> None:
    """On random small plans in which everything is certain CP-SAT (ortools) finds the same worth: optional intervals
    that do not overlap, and the plan's constraints as its own model has them."""
    for seed in range(1000 + 30 * batch, 1030 + 30 * batch):
        asked = random_question(seed, certain=True, bare=True)
        desk = Desk.of(asked)
        if not desk.standing.doable:
            continue
        outcome = searched(asked)
        assert outcome.best is not None
        assert outcome.exact
        assert outcome.best.worth == pytest.approx(solved(asked, sorted(desk.standing.doable)), abs=1e-9), seed


def solved(asked: AdviceQuestion, doable: list[int]) -> float:
    """The solver's best worth: with all musts when some plan does them all."""
    for all_musts in (True, False):
        found = _Model(asked, doable, all_musts).worth()
        if found is not None:
            return found
    raise AssertionError("doing nothing is always a plan")


class _Model:
    """One car's runs as optional intervals. Everything is certain and in whole seconds."""

    def __init__(self, asked: AdviceQuestion, doable: list[int], all_musts: bool) -> None:
        self.model, self.asked = cp_model.CpModel(), asked
        self.start_s, self.end_s = round(asked.snapshot.t), round(asked.snapshot.t + asked.snapshot.remaining_s)
        self.runs = {i: asked.choices[i] for i in doable}
        horizon = self.end_s + 20_000
        self.start = {i: self.model.new_int_var(self.start_s, horizon, f"s{i}") for i in doable}
        self.present: dict[int, Any] = {}
        self.counts: dict[int, Any] = {}
        self.leaves: dict[int, list[tuple[Any, int]]] = {}
        self.paid: dict[int, list[Any]] = {}
        self.terms: list[Any] = []
        intervals = [one for i in doable for one in self._run(i)]
        self.model.add_no_overlap(intervals)
        self._relations()
        if all_musts:
            for i, one in self.runs.items():
                if one.want == "must":
                    self.model.add(self.counts[i] == 1)

    def worth(self) -> float | None:
        """The optimum, None when there is no plan."""
        self.model.maximize(sum(self.terms))
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        status = solver.solve(self.model)
        assert status in (cp_model.OPTIMAL, cp_model.INFEASIBLE)
        return solver.objective_value / SCALE if status == cp_model.OPTIMAL else None

    def _run(self, i: int) -> list[Any]:
        one, model = self.runs[i], self.model
        lengths = range(max(one.fewest, 1), one.timed + 1) if one.timed else range(1)
        chosen = {n: model.new_bool_var(f"x{i}-{n}") for n in lengths}
        self.present[i] = model.new_bool_var(f"p{i}")
        model.add(sum(chosen.values()) == self.present[i])
        done: dict[int, Any] = {}
        intervals = []
        work = round(one.work.likely_s) if one.work is not None else 0
        for n, literal in chosen.items():
            marks, whole = _times(one, n, self.asked.snapshot.finish_started_lap)
            end = model.new_int_var(self.start_s, self.end_s + 40_000, f"e{i}-{n}")
            intervals.append(model.new_optional_interval_var(self.start[i], whole + work, end, literal, f"i{i}-{n}"))
            self.leaves.setdefault(i, []).append((literal, whole + work))
            for laps in range(max(one.fewest, 1), n + 1) if one.timed else range(1):
                claim = model.new_bool_var(f"c{i}-{n}-{laps}")
                model.add_implication(claim, literal)
                at, strictly = marks[laps - 1] if one.timed else marks[-1]
                model.add(self.start[i] + at + strictly <= self.end_s).only_enforce_if(claim)
                if one.not_after_s is not None:
                    model.add(self.start[i] <= round(one.not_after_s)).only_enforce_if(claim)
                done[len(done)] = (claim, SCALE * laps // one.timed if one.timed else SCALE)
        self.counts[i] = model.new_bool_var(f"counts{i}")
        model.add(sum(claim for claim, _ in done.values()) == self.counts[i])
        weight = round(CLASS_WEIGHT[one.want] * one.value)
        for number, (claim, share) in done.items():
            paid = model.new_bool_var(f"paid{i}-{number}")
            model.add_implication(paid, claim)
            self.paid.setdefault(i, []).append(paid)
            self.terms.append(paid * share * weight)
        for moment in (one.not_before_s, one.ready_s):
            if moment is not None:
                model.add(self.start[i] >= round(moment))
        return intervals

    def _relations(self) -> None:
        by_name = {one.run: i for i, one in self.runs.items()}
        for i, one in self.runs.items():
            for later in one.before:
                if later in by_name:
                    self._before(i, by_name[later])
            if one.same_as in by_name:
                original = by_name[str(one.same_as)]
                self._before(original, i)
                self.model.add_implication(self.present[i], self.present[original])
                self.model.add_implication(self.counts[i], self.counts[original])
        for i, j in combinations(self.runs, 2):
            if self.runs[i].group is not None and self.runs[i].group == self.runs[j].group:
                self._together(i, j)

    def _together(self, i: int, j: int) -> None:
        """A run of a group is worth nothing unless the others count; a must of it may be done without them."""
        for one, other in ((i, j), (j, i)):
            for paid in self.paid[one]:
                self.model.add_implication(paid, self.counts[other])

    def _before(self, i: int, j: int) -> None:
        for literal, whole in self.leaves[i]:
            self.model.add(self.start[i] + whole <= self.start[j]).only_enforce_if(literal, self.present[j])


def _times(one: RunChoice, timed: int, started: bool) -> tuple[list[tuple[int, int]], int]:
    """Seconds from leaving to each mark (and 1 where it must come before the flag, not at it), and to the end."""
    at, left, marks, waiting = 0, timed, [], 0
    outs, items = [], []
    for activity in one.activities:
        lasts = round(activity.likely_s)
        if activity.kind == "cool":
            waiting += lasts
            continue
        if activity.kind == "timed":
            if left == 0:
                continue
            at, waiting, left = at + waiting, 0, left - 1
            marks.append((at, 1) if started else (at + lasts, 0))
        elif activity.kind == "out":
            outs.append((at, 1))
        elif activity.kind == "item":
            items.append((at + lasts, 0))
        at += lasts
    return marks or items or outs, at
