"""What a changed file asks for, put on the plan in use: what was changed at the desk stays, unless the file changes it.

Three plans meet: the *base*, as the file stood when it was last taken over; the *file* as it is now; and the plan *in
use*, which is the base with everything that the desk changed since. Whatever the file left as it was stays as it is in
use, field by field; whatever it changed is as in the file.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, TypeVar

from pitwall.model.plan import Item, Plan, Run

BY_KEY = ("switches",)
V = TypeVar("V")


def merged(base: Plan, file: Plan, in_use: Plan) -> Plan:
    """The plan in use with the changes that the file makes to its base."""
    runs: dict[str, Run] = {}
    for run in file.runs:
        before, used = base.find(run.run), in_use.find(run.run)
        if before is None or used is None:
            if before is None or before != run:
                runs[run.run] = run  # new in the file, or changed there since the desk dropped it
        else:
            runs[run.run] = _merged_run(before, run, used)
    for run in in_use.runs:
        if base.find(run.run) is None and file.find(run.run) is None:
            runs[run.run] = run  # put in at the desk
    heads = {name: _chosen(base, file, in_use, name) for name in Plan.model_fields if name != "runs"}
    return in_use.model_copy(update={**heads, "runs": tuple(runs[name] for name in _order(base, file, in_use, runs))})


def _chosen(base: Any, file: Any, used: Any, name: str) -> Any:
    before, now = getattr(base, name), getattr(file, name)
    return getattr(used, name) if before == now else now


def _merged_run(base: Run, file: Run, used: Run) -> Run:
    values = {name: _chosen(base, file, used, name) for name in Run.model_fields if name not in ("items", *BY_KEY)}
    values["items"] = _merged_items(base.items, file.items, used.items)
    for name in BY_KEY:
        values[name] = _merged_values(getattr(base, name), getattr(file, name), getattr(used, name))
    timed = values["laps"].count("timed")
    if values["shorten_to"] is not None:
        values["shorten_to"] = min(values["shorten_to"], timed) or None
    return used.model_copy(update=values)


def _merged_values(base: Mapping[str, V], file: Mapping[str, V], used: Mapping[str, V]) -> dict[str, V]:
    found: dict[str, V] = {}
    for key in dict.fromkeys((*file, *used)):
        source = used if base.get(key) == file.get(key) else file
        if key in source:
            found[key] = source[key]
    return found


def _merged_items(base: tuple[Item, ...], file: tuple[Item, ...], used: tuple[Item, ...]) -> tuple[Item, ...]:
    """Items have no names: one that is equal is the same one."""
    if base == file:
        return used
    dropped, added = _less(base, used), _less(used, base)
    return (*_less(file, dropped), *_less(added, file))


def _less(items: Iterable[Item], others: Iterable[Item]) -> list[Item]:
    """These items without the others, each taken away once."""
    rest = list(items)
    for one in others:
        if one in rest:
            rest.remove(one)
    return rest


def _order(base: Plan, file: Plan, in_use: Plan, runs: Mapping[str, Run]) -> list[str]:
    """The order in use, unless the file has changed its own; runs that the other side does not know follow theirs."""
    common = [run.run for run in base.runs if file.find(run.run) is not None]
    moved = common != [run.run for run in file.runs if base.find(run.run) is not None]
    first, second = (file, in_use) if moved else (in_use, file)
    order = [run.run for run in first.runs if run.run in runs]
    names = [run.run for run in second.runs]
    for at, name in enumerate(names):
        if name in runs and name not in order:
            behind = next((one for one in reversed(names[:at]) if one in order), None)
            order.insert(order.index(behind) + 1 if behind is not None else 0, name)
    return order
