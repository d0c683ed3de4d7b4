"""The line that changes a plan back to what it was before an ``amend`` or an ``adopt``, ready to be given.

An undo takes no changed plan back: the car may have left meanwhile, and the garage would find its work undone without
a word. But whoever pressed the wrong key has no time to write changes, so they are written here, and tried on
the plan as it stands: only what makes the plan as it was is told.
"""

from __future__ import annotations

import json
import shlex
from collections.abc import Iterator

from pitwall.engine.amending import amended
from pitwall.engine.answers import Refusal
from pitwall.engine.differences import differences, matched_items, moved_runs
from pitwall.engine.replan import in_use, setup_now, states_of
from pitwall.engine.team import TeamCar
from pitwall.model import changes as ch
from pitwall.model.changes import PlanChange, changes_from_wire
from pitwall.model.plan import Plan, Run

WHY = "changed back"


def line_back(car: TeamCar, before: Plan, by: str) -> str | None:
    """The command that makes this car's plan again what it was, as it is typed.

    Args:
        car: whose plan it is; nothing is touched.
        before: the plan in use before it was changed.
        by: whose hand.

    Returns:
        None where no list of changes does it: what was driven meanwhile, or cannot be put in small changes.
    """
    told = [one.model_dump(mode="json", exclude_unset=True) for one in _found(car, before)]
    try:
        back = changes_from_wire(json.loads(json.dumps(told)))
        assert isinstance(back, tuple)
        becomes = amended(in_use(car), states_of(car), setup_now(car), back)
    except (Refusal, ValueError):
        return None
    if differences(becomes, before):
        return None
    words = [f"text={WHY}", f"changes={json.dumps(told)}"]
    return f"pitwall command {car.car} amend {' '.join(map(shlex.quote, words))} --by {shlex.quote(by)}"


def _found(car: TeamCar, before: Plan) -> Iterator[PlanChange]:
    now = in_use(car)
    wanted, there = {run.run: run for run in before.runs}, {run.run: run for run in now.runs}
    yield from (ch.DropRun(do="drop_run", run=name) for name in there if name not in wanted)
    order = [name for name in there if name in wanted]
    previous: str | None = None
    for name, run in wanted.items():
        if name not in there:
            yield ch.InsertRun.model_validate({"do": "insert_run", "run": _written(run)} | _behind(previous))
            order.insert(order.index(previous) + 1 if previous is not None else 0, name)
        previous = name
    yield from _moves(order, list(wanted))
    for name, run in wanted.items():
        if name in there:
            yield from _of_run(there[name], run)


def _written(run: Run) -> dict[str, object]:
    return run.model_dump(mode="json", exclude_defaults=True)


def _behind(name: str | None) -> dict[str, str]:
    return {} if name is None else {"after": name}


def _moves(order: list[str], wanted: list[str]) -> Iterator[PlanChange]:
    """As few moves as make the one order of the other, each behind a run that stands in its place already."""
    moved = moved_runs(order, wanted)
    for place, name in enumerate(wanted):
        if name in moved:
            behind = _behind(wanted[place - 1] if place else None)
            yield ch.MoveRun.model_validate({"do": "move_run", "run": name} | behind)


def _of_run(now: Run, was: Run) -> Iterator[PlanChange]:
    name = now.run
    if now.laps != was.laps:
        yield ch.SetLaps(do="set_laps", run=name, laps=was.laps)
    if now.tyres != was.tyres and was.tyres is not None:
        yield ch.SetRunTyres(do="set_run_tyres", run=name, tyres=was.tyres)
    if now.fuel_kg != was.fuel_kg and was.fuel_kg is not None:
        yield ch.SetRunFuel(do="set_run_fuel", run=name, fuel_kg=was.fuel_kg)
    if now.driver != was.driver and was.driver is not None:
        yield ch.SetRunDriver(do="set_run_driver", run=name, driver=was.driver)
    for switch, position in was.switches.items():
        if now.switches.get(switch) != position:
            yield ch.SetRunSwitch(do="set_run_switch", run=name, switch=switch, position=position)
    matched = matched_items(was.items, now.items)
    for item, at in zip(now.items, matched, strict=True):
        if at is None:
            yield ch.DropItem(do="drop_item", run=name, item=item.do)
        elif was.items[at] != item:
            yield ch.SwapItem(do="swap_item", run=name, item=item.do, new=was.items[at])
    for index, item in enumerate(was.items):
        if index not in matched:
            yield ch.InsertItem(do="insert_item", run=name, item=item)
