"""Tyre sets over a plan: how old each is when a run begins, against its limit and against the run that it is compared
with, and whether a comparison across compounds can tell what it is to tell."""

from __future__ import annotations

from collections.abc import Iterator

from pitwall.checks.around import Around
from pitwall.checks.codes import finding
from pitwall.checks.comparisons import compared_with
from pitwall.checks.figures import laps_on_fuel
from pitwall.checks.order import original
from pitwall.errors import FilePath, Finding
from pitwall.model.plan import Plan, Run
from pitwall.track.likely import lap_indices


def ages(plan: Plan) -> list[tuple[str | None, int]]:
    """For each run: the set it is on (the one before's, where it names none) and the laps on that set as it begins."""
    driven = {label: tyres.laps for label, tyres in plan.tyre_sets.items()}
    found: list[tuple[str | None, int]] = []
    label = plan.starts_with.tyres
    for run in plan.runs:
        label = run.tyres if run.tyres is not None else label
        found.append((label, driven.get(label, 0) if label is not None else 0))
        if label is not None and run.laps:
            driven[label] = driven.get(label, 0) + laps_on_fuel(run)
    return found


def check_tyre_limits(plan: Plan, around: Around) -> Iterator[Finding]:
    """Laps on a set, its own before the session included, against the limit that the plan gives it."""
    told: set[str] = set()
    for index, (run, (label, age)) in enumerate(zip(plan.runs, ages(plan), strict=True)):
        tyres = plan.tyre_sets.get(label) if label is not None else None
        if label is None or tyres is None or tyres.most_laps is None or label in told or not run.laps:
            continue
        after = age + laps_on_fuel(run)
        if after > tyres.most_laps:
            told.add(label)
            path: FilePath = ("runs", index, "tyres") if run.tyres is not None else ("runs", index)
            yield finding("PW513", path=path, found=f"{after} laps on {label} at the end of {run.run!r}",
                          expected=f"{tyres.most_laps} laps or fewer",
                          suggestion=f"{max(0, tyres.most_laps - age)} laps of it are left as the run begins")


def check_equal_age(plan: Plan, around: Around) -> Iterator[Finding]:
    """A run that repeats another wants tyres of the same age."""
    aged = dict(zip((run.run for run in plan.runs), ages(plan), strict=True))
    for index, run in enumerate(plan.runs):
        model = original(plan, run)
        if model is run or model.run not in aged:
            continue
        (mine, age), (theirs, model_age) = aged[run.run], aged[model.run]
        if mine is not None and theirs is not None and age != model_age:
            path: FilePath = ("runs", index, "tyres") if run.tyres is not None else ("runs", index, "same_as")
            yield finding("PW307", path=path, found=f"{mine} with {age} laps on it as {run.run!r} begins",
                          expected=f"{model_age} laps, as {theirs} has when {model.run!r} begins")


def check_compounds(plan: Plan, around: Around) -> Iterator[Finding]:
    """Two runs that are compared on two compounds, and differ in something else as well.

    On two compounds and else alike, the compounds are compared: nothing is wrong with that. What is tried on some of a
    run's timed laps only is compared with the others of the same run, on the same set.
    """
    on = dict(zip((run.run for run in plan.runs), (label for label, _ in ages(plan)), strict=True))
    for index, run in enumerate(plan.runs):
        other = compared_with(plan, run)
        if other is None or other.run not in on:
            continue
        mine, theirs = (plan.tyre_sets.get(str(on[one.run])) for one in (run, other))
        if mine is None or theirs is None or mine.compound == theirs.compound:
            continue
        besides = _besides(run, other)
        if besides is not None:
            path: FilePath = ("runs", index, "tyres") if run.tyres is not None else ("runs", index)
            yield finding("PW310", path=path, found=f"{mine.compound} against {theirs.compound}, and {besides}",
                          expected=f"{theirs.compound} as in {other.run!r}, or nothing else that differs")


def _besides(run: Run, other: Run) -> str | None:
    """What differs all through the two runs besides the tyres, in a few words; None for nothing."""
    own = run.switches if run.switches or run.same_as is None else other.switches
    differing = sorted(name for name in {*own, *other.switches} if own.get(name) != other.switches.get(name))
    if differing:
        return f"another position of {', '.join(differing)}"
    done = [name for name, _ in sorted(_throughout(run) ^ _throughout(other))]
    return f"{', '.join(dict.fromkeys(done))} on all timed laps of one of them" if done else None


def _throughout(run: Run) -> set[tuple[str, str]]:
    """What is done on each timed lap of a run: procedures with their arguments."""
    timed = {index for index, kind in enumerate(run.laps) if kind == "timed"}
    return {(item.do, str(sorted(item.arguments.items()))) for item in run.items
            if timed <= {*lap_indices(run, item.on)}}
