"""Runs that refer to each other: before, same_as, group."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from pitwall.checks.around import Around, meant, near_only
from pitwall.checks.codes import finding
from pitwall.errors import FilePath, Finding
from pitwall.model.plan import Plan, Run


def check_any_run(plan: Plan, around: Around) -> Iterator[Finding]:
    """A plan that has no run at all; one whose runs could not be read is told as that."""
    if not plan.runs and not around.unread_runs:
        yield finding("PW309", path=("runs",), found="a plan without a run", expected="at least one run",
                      suggestion="for example '- {run: baseline, want: must, laps: \"out, 3 timed, in\"}'")


def check_references(plan: Plan, around: Around) -> Iterator[Finding]:
    """Unknown runs, and runs that refer to themselves."""
    names = [run.run for run in plan.runs]
    for index, run in enumerate(plan.runs):
        pointers: list[tuple[FilePath, str]] = [
            (("runs", index, "before", number), name) for number, name in enumerate(run.before)
        ]
        if run.same_as is not None:
            pointers.append((("runs", index, "same_as"), run.same_as))
        for path, name in pointers:
            if name == run.run:
                yield finding("PW301", path=path, found=f"run {name!r} itself", expected="another run")
            elif name not in names and name not in around.unread_runs:
                # A run whose name could not be read has one here that stands in the file nowhere.
                written = around.unread_runs or names
                others = [other for other in names if other != run.run and other in written]
                yield finding("PW109", path=path, found=f"unknown run {name!r}", expected="a run of this plan",
                              suggestion=meant(name, others))


def check_circles(plan: Plan, around: Around) -> Iterator[Finding]:
    """Circles of ``before`` and of ``same_as``; each is named once, at its first run."""
    before = {run.run: run.before for run in plan.runs}
    same = {run.run: (run.same_as,) if run.same_as is not None else () for run in plan.runs}
    for key, links in (("before", before), ("same_as", same)):
        reported: set[str] = set()
        for index, run in enumerate(plan.runs):
            circle = _circle(run.run, links)
            if len(circle) > 1 and not reported & set(circle):
                reported |= set(circle)
                yield finding("PW302", path=("runs", index, key), expected="an order that can be kept",
                              found=f"a circle: {' -> '.join([*circle, circle[0]])}")


def _circle(start: str, links: Mapping[str, tuple[str, ...]]) -> list[str]:
    """The shortest way from ``start`` along the links back to it, or nothing."""
    ways: list[list[str]] = [[start]]
    seen: set[str] = set()
    for way in ways:
        for target in links.get(way[-1], ()):
            if target == start:
                return way
            if target not in seen:
                seen.add(target)
                ways.append([*way, target])
    return []


def check_sequence(plan: Plan, around: Around) -> Iterator[Finding]:
    """A plan runs in file order, so its own ``before`` must agree with it."""
    names = [run.run for run in plan.runs]
    for index, run in enumerate(plan.runs):
        for number, name in enumerate(run.before):
            if name in names[:index]:
                yield finding("PW303", path=("runs", index, "before", number),
                              found=f"{name!r}, which stands above {run.run!r} in this file",
                              expected="a run further down", suggestion=f"move {run.run!r} above {name!r}")


def check_groups(plan: Plan, around: Around) -> Iterator[Finding]:
    """A group needs a second run."""
    if around.unread_runs - {run.run for run in plan.runs}:
        return  # the missing partner may be the run that could not be read
    labels = [run.group for run in plan.runs if run.group is not None]
    for index, run in enumerate(plan.runs):
        if run.group is not None and labels.count(run.group) == 1:
            others = sorted({label for label in labels if label != run.group})
            yield finding("PW304", path=("runs", index, "group"), found=f"group {run.group!r} with one run",
                          expected="two or more", suggestion=near_only(run.group, others))


def check_other_cars(plan: Plan, around: Around) -> Iterator[Finding]:
    """Cars that could do a run as well: they must be there, and the run must hang on no other of this plan."""
    for index, run in enumerate(plan.runs):
        for number, name in enumerate(run.also_on):
            path: FilePath = ("runs", index, "also_on", number)
            if around.cars is not None and name not in around.cars:
                yield finding("PW106", path=path, found=f"unknown car {name!r}", expected="a car of the event file",
                              suggestion=meant(name, [car for car in around.cars if car != plan.car]))
            elif name == plan.car:
                yield finding("PW308", path=path, found=f"car {name} itself", expected="another car of the team")
        tied = run.before or run.same_as or run.group or any(
            run.run in (one.same_as, *one.before) for one in plan.runs if one is not run
        )
        if run.also_on and tied:
            yield finding("PW308", path=("runs", index, "also_on"), found=f"run {run.run!r}, tied to others here",
                          expected="a run without before, same_as and group")


def check_same_as(plan: Plan, around: Around) -> Iterator[Finding]:
    """A repeat that gives other fuel or switches itself."""
    for index, run in enumerate(plan.runs):
        model = plan.find(run.same_as) if run.same_as is not None else None
        if model is None or model is run:
            continue
        if run.fuel_kg is not None and model.fuel_kg is not None and run.fuel_kg != model.fuel_kg:
            yield finding("PW305", path=("runs", index, "fuel_kg"), found=f"{run.fuel_kg:g} kg",
                          expected=f"{model.fuel_kg:g} kg as in {model.run!r}, or no same_as")
        if run.switches and run.switches != model.switches:
            yield finding("PW305", path=("runs", index, "switches"), found="other switches",
                          expected=f"those of {model.run!r}, or no same_as")


def check_weather(plan: Plan, around: Around) -> Iterator[Finding]:
    """A run for the dry in a plan for the wet. It may dry up, so only what cannot do without is told."""
    for index, run in enumerate(plan.runs):
        if around.wet and run.dry_only and run.want == "must":
            yield finding("PW306", path=("runs", index, "dry_only"), expected="a must that can be done in the wet",
                          found=f"{run.run!r}, a must that is for the dry only")


def original(plan: Plan, run: Run) -> Run:
    """The run that ``same_as`` leads to in the end; the run itself when it repeats nothing (or a circle)."""
    seen = {run.run}
    while run.same_as is not None and run.same_as not in seen:
        seen.add(run.same_as)
        model = plan.find(run.same_as)
        if model is None:
            break
        run = model
    return run
