"""From what is advised to whole plans: runs shortened, joined, moved, taken over from another car, or left out.

An advised plan names what is left; what is over stays where it stands. The plan made here goes the same way as any
other changed plan (``replan.py``), so nothing that was driven can change.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from pitwall.engine.replan import in_use, states_of
from pitwall.engine.run_state import legs_of
from pitwall.engine.team import TeamCar
from pitwall.model.advice import CarPlan
from pitwall.model.plan import Item, LapChoice, LapKind, Plan, Run, Want

ORDER: tuple[Want, ...] = ("must", "should", "could")
OVER = ("done", "skipped")


def advised_plans(team: Mapping[str, TeamCar], parts: Sequence[CarPlan]) -> dict[str, Plan]:
    """The whole plan of each car that is named, as it would be; nothing is touched."""
    return {part.car: _plan(team, team[part.car], part) for part in parts if part.car in team}


def _plan(team: Mapping[str, TeamCar], car: TeamCar, part: CarPlan) -> Plan:
    used, states = in_use(car), states_of(car)
    made: list[Run] = []
    places: dict[str, int] = {}
    for done in part.runs:
        source = team.get(done.from_car or car.car, car)
        run = in_use(source).find(done.run)
        if run is None:
            continue
        if source is not car:
            run = run.model_copy(update={"driver": None, "also_on": ()})
        run = shortened(run, done.timed)
        behind = places.get(done.with_run or "")
        if behind is not None:
            made[behind] = joined(made[behind], run)
            places[done.run] = behind
        else:
            places[done.run] = len(made)
            made.append(run)
    ahead, runs = iter(made), list[Run]()
    for run in used.runs:
        runs += [run] if states[run.run].state in OVER else [one for one in (next(ahead, None),) if one is not None]
    return used.model_copy(update={"runs": (*runs, *ahead)})


def shortened(run: Run, timed: int) -> Run:
    """The run with so many timed laps: the last ones fall away, cool-down laps that then lead to none, and what was to
    be done on them."""
    if timed >= run.timed_laps or not run.laps:
        return run
    body = list(run.laps[:-1])
    for _ in range(run.timed_laps - timed):
        del body[max(index for index, kind in enumerate(body) if kind == "timed")]
    while body[-1] == "cool":
        body.pop()
    laps: tuple[LapKind, ...] = (*body, "in")
    items = tuple(item for one in run.items if (item := _still_on(one, laps)) is not None)
    fewest = min(run.shorten_to, timed) or None if run.shorten_to is not None else None
    return run.model_copy(update={"laps": laps, "items": items, "shorten_to": fewest})


def _still_on(item: Item, laps: tuple[LapKind, ...]) -> Item | None:
    """The item on those of its laps that the run still has; None when none is left."""
    if not item.on:
        return item
    kept: list[LapChoice] = []
    for choice in item.on:
        there = laps.count(choice.kind)
        numbers = tuple(number for number in choice.numbers if number <= there)
        if choice.numbers and numbers:
            kept.append(choice if numbers == choice.numbers else choice.model_copy(update={"numbers": numbers}))
        elif not choice.numbers and legs_of(item.model_copy(update={"on": (choice,)}), laps):
            kept.append(choice)
    if not kept:
        return None
    return item if len(kept) == len(item.on) and tuple(kept) == item.on else item.model_copy(update={"on": tuple(kept)})


def joined(first: Run, second: Run) -> Run:
    """Both as one run: the second follows without a stop. It keeps the first one's name, tyres, fuel and switches."""
    laps = (*first.laps[:-1], *second.laps[1:])
    items = [_numbered(item, first.laps, {}) for item in first.items]
    before = {kind: first.laps.count(kind) for kind in ("timed", "cool")}
    for item in second.items:
        moved = _numbered(item, second.laps, before)
        if moved not in items:
            items.append(moved)
    fewest = first.timed_laps + (second.shorten_to if second.shorten_to is not None else second.timed_laps)
    return first.model_copy(update={
        "laps": laps, "items": tuple(items), "value": first.value + second.value,
        "want": min(first.want, second.want, key=ORDER.index), "shorten_to": fewest or None,
        "after_garage_s": second.after_garage_s, "crew": second.crew,
        "purpose": "; ".join(dict.fromkeys(one for one in (first.purpose, second.purpose) if one)),
        "before": tuple(dict.fromkeys((*first.before, *second.before))),
    })  # fmt: skip


def _numbered(item: Item, laps: tuple[LapKind, ...], before: Mapping[str, int]) -> Item:
    """The item on the same laps of a longer run: timed and cool-down laps by their numbers, counted on."""
    on: list[LapChoice] = []
    for choice in item.on:
        if choice.kind in ("timed", "cool"):
            numbers = choice.numbers or tuple(range(1, laps.count(choice.kind) + 1))
            shift = before.get(choice.kind, 0)
            on.append(LapChoice(kind=choice.kind, numbers=tuple(number + shift for number in numbers)))
        else:
            on.append(choice)
    return item if tuple(on) == item.on else item.model_copy(update={"on": tuple(on)})


def what_it_costs(used: Plan, after: Plan, names: Mapping[str, str]) -> tuple[str, ...]:
    """What would not be done, or only in part, a few words each.

    Args:
        used: the plan in use.
        after: as it would be.
        names: runs that are done all the same: with another run, or by another car.
    """
    found: list[str] = []
    for run in used.runs:
        other = after.find(run.run)
        if other is None and run.run not in names:
            found.append(f"{run.run} ({run.want}) is not done")
        elif other is not None and other.timed_laps < run.timed_laps:
            found.append(f"{run.run} ({run.want}): {other.timed_laps} of {run.timed_laps} timed laps")
    return tuple(found)


def joins_of(parts: Sequence[CarPlan], car: str) -> dict[str, str]:
    """Runs of this car that follow another without a stop, with that run."""
    return {done.run: done.with_run for part in parts for done in part.runs
            if part.car == car and done.with_run is not None}  # fmt: skip


def given_away(parts: Sequence[CarPlan], car: str) -> dict[str, str]:
    """Runs of this car that another one does, with that car."""
    return {done.run: part.car for part in parts for done in part.runs if done.from_car == car and part.car != car}
