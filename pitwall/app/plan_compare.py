"""What one plan file changes against another, in the words of the trade: the changes run by run, then what it comes to.

The sentences are those that the desk sees of a changed plan; beside them stand what no change at an event can touch
(car, session, how the car starts) and items that go from one run to another.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from pitwall.checks.figures import laps_on_fuel
from pitwall.checks.tyres import ages
from pitwall.engine.differences import differences, laps_words, matched_items
from pitwall.errors import FilePath, path_text
from pitwall.model.car import position_text
from pitwall.model.plan import Item, Plan, Scalar


def plan_differences(old: Plan, new: Plan) -> tuple[str, ...]:
    """What the new plan changes, a sentence each; nothing for equal plans, and something for all others."""
    if old == new:
        return ()
    moved, old_rest, new_rest = _without_moved(old, new)
    lines = [*_before_the_runs(old, new), *differences(old_rest, new_rest), *moved, *_other_order(old_rest, new_rest)]
    return (*(lines or _to_the_last_digit(old.model_dump(), new.model_dump())), *_in_all(old, new))


def _to_the_last_digit(old: Any, new: Any, path: FilePath = ()) -> list[str]:
    """What the sentences are too short for: ``runs[2].fuel_kg: 20.0000001 instead of 20.0``."""
    if isinstance(old, dict) and isinstance(new, dict):
        keys = dict.fromkeys((*old, *new))
        return [line for key in keys for line in _to_the_last_digit(old.get(key), new.get(key), (*path, key))]
    if isinstance(old, tuple) and isinstance(new, tuple) and len(old) == len(new):
        pairs = enumerate(zip(old, new, strict=True))
        return [line for index, pair in pairs for line in _to_the_last_digit(*pair, (*path, index))]
    return list(_instead(path_text(path), repr(new), repr(old))) if old != new else []


def _instead(subject: str, new: object, old: object) -> Iterator[str]:
    if old != new:
        nothing = "none given"
        yield f"{subject}: {nothing if new is None else new} instead of {nothing if old is None else old}"


def _before_the_runs(old: Plan, new: Plan) -> Iterator[str]:
    yield from _instead("car", new.car, old.car)
    yield from _instead("session", new.session, old.session)
    was, becomes = old.starts_with, new.starts_with
    yield from _instead("tyres at the start", becomes.tyres, was.tyres)
    yield from _instead("fuel at the start", _kg(becomes.fuel_kg), _kg(was.fuel_kg))
    yield from _instead("switches at the start", _switches(becomes.switches), _switches(was.switches))
    for kind in dict.fromkeys((*old.alternates, *new.alternates)):
        yield from _instead(f"alternate for {kind}", new.alternates.get(kind), old.alternates.get(kind))


def _kg(value: float | None) -> str | None:
    return None if value is None else f"{value!r} kg"


def _switches(given: str | Mapping[str, Scalar]) -> str:
    if isinstance(given, str):
        return "the defaults for wet or dry"
    return ", ".join(f"{name} {position_text(value)}" for name, value in given.items()) or "none given"


# -- items that go to another run --------------------------------------------------------------------------------------


@dataclass
class _Loose:
    """An item of a run that has no like in the same run of the other plan."""

    run: str
    item: Item

    @property
    def what(self) -> tuple[str, str]:
        return self.item.do, repr(sorted(self.item.arguments.items()))


def _without_moved(old: Plan, new: Plan) -> tuple[list[str], Plan, Plan]:
    """The moves of items between runs, and both plans without the items that move."""
    gone, come = _loose(old, new), _loose(new, old)
    lines = []
    taken: dict[int, set[int]] = {id(old): set(), id(new): set()}
    for one in gone:
        other = next((it for it in come if it.what == one.what and it.run != one.run), None)
        if other is None:
            continue
        come.remove(other)
        taken[id(old)].add(id(one.item))
        taken[id(new)].add(id(other.item))
        lines.append(f"{one.item.do} moves from {one.run} ({laps_words(one.item.on)}) to {other.run} "
                     f"({laps_words(other.item.on)})")
    return lines, _less(old, taken[id(old)]), _less(new, taken[id(new)])


def _loose(plan: Plan, other: Plan) -> list[_Loose]:
    found = []
    for run in plan.runs:
        like = other.find(run.run)
        matched = matched_items(like.items, run.items) if like is not None else [None] * len(run.items)
        found += [_Loose(run.run, item) for item, at in zip(run.items, matched, strict=True) if at is None]
    return found


def _less(plan: Plan, taken: set[int]) -> Plan:
    runs = [run.model_copy(update={"items": tuple(item for item in run.items if id(item) not in taken)})
            for run in plan.runs]
    return plan.model_copy(update={"runs": tuple(runs)})


def _other_order(old: Plan, new: Plan) -> Iterator[str]:
    for run in new.runs:
        was = old.find(run.run)
        if was is not None and was.items != run.items:
            places = [place for place in matched_items(was.items, run.items) if place is not None]
            if places != sorted(places):
                yield f"items of {run.run} in another order: {', '.join(item.do for item in run.items)}"


# -- what it comes to --------------------------------------------------------------------------------------------------


def _in_all(old: Plan, new: Plan) -> Iterator[str]:
    was, becomes = _sums(old), _sums(new)
    parts = [f"{becomes[what]} {what if becomes[what] != 1 else what[:-1]} instead of {was[what]}"
             for what in was if was[what] != becomes[what]]
    if parts:
        yield f"in all: {', '.join(parts)}"
    before, after = _laps_on_sets(old), _laps_on_sets(new)
    for label in dict.fromkeys((*before, *after)):
        yield from _instead(f"planned laps on {label}", after[label], before[label])


def _sums(plan: Plan) -> dict[str, int]:
    return {
        "runs": sum(bool(run.laps) for run in plan.runs),
        "musts": sum(run.want == "must" for run in plan.runs),
        "timed laps": sum(run.timed_laps for run in plan.runs),
    }


def _laps_on_sets(plan: Plan) -> Counter[str]:
    """Planned laps on each set; a run that names none goes on with the one before."""
    found: Counter[str] = Counter()
    for run, (label, _) in zip(plan.runs, ages(plan), strict=True):
        if run.laps and label is not None:
            found[label] += laps_on_fuel(run)
    return found
