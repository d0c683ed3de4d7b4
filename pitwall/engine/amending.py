"""Changes from the desk on a plan: each makes a new plan, or says in words why it cannot be. All of a list, or none.

The plan here is the plan in use, as it stands; nothing of the running session is touched before the whole list is found
good. What a running run has driven, and whatever is on the car, cannot be changed any more.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from pydantic import TypeAdapter, ValidationError

from pitwall.engine.answers import Refusal
from pitwall.engine.plan_guards import meant, promises_broken, run_faults, value_faults
from pitwall.engine.refit import is_ahead, laps_fault
from pitwall.engine.run_state import RunState, legs_of
from pitwall.model import changes as ch
from pitwall.model.plan import Item, LapChoice, Plan, Run
from pitwall.model.setup import SessionSetup

_ITEM: TypeAdapter[Item] = TypeAdapter(Item)


@dataclass(frozen=True)
class Desk:
    """What a change is made on: the plan so far, and how its runs stand."""

    plan: Plan
    states: dict[str, RunState]
    setup: SessionSetup

    def run(self, name: str) -> Run:
        """The run of that name, still in the plan.

        Raises:
            Refusal: when there is none, naming the nearest.
        """
        found = self.plan.find(name)
        if found is not None:
            return found
        if name in self.states:
            raise Refusal(f"run {name} is {self.states[name].state}")
        raise Refusal(f"no run {name!r} in the plan of car {self.plan.car}"
                      f"{meant(name, [run.run for run in self.plan.runs])}")

    def open(self, name: str) -> Run:
        """The run, still to be done or going on.

        Raises:
            Refusal: when it is over.
        """
        run, state = self.run(name), self.states.get(name)
        if state is not None and state.state in ("done", "skipped"):
            raise Refusal(f"run {name} is {state.state} already")
        return run

    def in_garage(self, name: str, what: str) -> Run:
        """The run, not on track now: what is set in the garage can still be set.

        Raises:
            Refusal: when it is over, or the car is on it.
        """
        run, state = self.open(name), self.states.get(name)
        if state is not None and state.state == "running":
            raise Refusal(f"run {name} is on track: {what} is set in the garage")
        return run

    def unbegun(self, name: str) -> Run:
        """The run, not begun.

        Raises:
            Refusal: when it is over or has begun.
        """
        run, state = self.open(name), self.states.get(name)
        if state is not None and (state.state == "running" or state.start_t is not None):
            raise Refusal(f"run {name} has begun: it keeps its place")
        return run

    def put(self, run: Run) -> Plan:
        """The plan with this run in the place of the one of its name."""
        return self.with_runs([run if one.run == run.run else one for one in self.plan.runs])

    def with_runs(self, runs: Sequence[Run]) -> Plan:
        """The plan with these runs."""
        return self.plan.model_copy(update={"runs": tuple(runs)})


def amended(plan: Plan, states: dict[str, RunState], setup: SessionSetup, changes: Sequence[ch.PlanChange]) -> Plan:
    """The plan after all of these changes, one after the other.

    Raises:
        Refusal: naming every change that cannot be made, and why.
    """
    before, refused, doubtful = plan, list[str](), list[tuple[str, str]]()
    known = _faults(plan, setup)
    for number, change in enumerate(changes, start=1):
        name = f"{change.do} (change {number}): " if len(changes) > 1 else ""
        try:
            plan = _CHANGES[change.do](Desk(plan, states, setup), change)
        except Refusal as refusal:
            refused.append(f"{name}{refusal}")
            refused += [f"{name}{fault}" for fault in value_faults(plan, change, setup) if fault not in known]
        faults = _faults(plan, setup)
        doubtful += [(name, fault) for fault in faults if fault not in known]
        known = {**known, **faults}
    # What one change leaves amiss another of the list may have put right.
    left = _faults(plan, setup)
    refused += [f"{name}{fault}" for name, fault in doubtful if fault in left]
    refused += sorted(promises_broken(plan, states) - promises_broken(before, states))
    if refused:
        none = "; nothing was changed" if len(changes) > 1 else ""
        raise Refusal(f"{'; '.join(refused)}{none}")
    return plan


def _faults(plan: Plan, setup: SessionSetup) -> dict[str, None]:
    """Everything that its runs name and that is not there, in order."""
    return dict.fromkeys(fault for run in plan.runs for fault in run_faults(plan, run, setup))


def remade(run: Run, **values: Any) -> Run:
    """The run with other values, checked as when it is read.

    Raises:
        Refusal: when the model does not take it.
    """
    try:
        return Run.model_validate({name: getattr(run, name) for name in Run.model_fields} | values)
    except ValidationError as error:
        raise Refusal("; ".join(str(one["msg"]).removeprefix("Value error, ") for one in error.errors())) from None


# -- runs --------------------------------------------------------------------------------------------------------------


def _insert_run(desk: Desk, change: ch.InsertRun) -> Plan:
    run, known = change.run, desk.plan.find(change.run.run)
    if known == run:
        return desk.plan
    state = desk.states.get(run.run)
    if known is not None or (state is not None and state.start_t is not None):
        raise Refusal(f"there is a run {run.run} already: give the new one another name")
    return desk.with_runs(_placed(desk, list(desk.plan.runs), run, change.after))


def _placed(desk: Desk, others: list[Run], run: Run, after: str | None) -> list[Run]:
    """These runs with ``run`` behind another one, or without one as the next to be done."""
    if after is None:
        at = next((index for index, one in enumerate(others) if not _is_past(desk, one)), len(others))
    else:
        if after == run.run:
            raise Refusal(f"run {after} cannot come after itself")
        at = others.index(desk.run(after)) + 1
    return [*others[:at], run, *others[at:]]


def _is_past(desk: Desk, run: Run) -> bool:
    state = desk.states.get(run.run)
    return state is not None and state.state in ("done", "skipped", "running")


def _move_run(desk: Desk, change: ch.MoveRun) -> Plan:
    run = desk.unbegun(change.run)
    return desk.with_runs(_placed(desk, [one for one in desk.plan.runs if one is not run], run, change.after))


def _swap_runs(desk: Desk, change: ch.SwapRuns) -> Plan:
    one, other = desk.unbegun(change.run), desk.unbegun(change.other)
    places = {one.run: other, other.run: one}
    return desk.with_runs([places.get(run.run, run) for run in desk.plan.runs])


def _set_laps(desk: Desk, change: ch.SetLaps) -> Plan:
    run = desk.open(change.run)
    fault = laps_fault(desk.states.get(run.run), change.laps)
    if fault is not None:
        raise Refusal(fault)
    fewest = min(run.shorten_to, change.laps.count("timed")) if run.shorten_to is not None else None
    return desk.put(remade(run, laps=change.laps, shorten_to=fewest or None))


def _set_tyres(desk: Desk, change: ch.SetRunTyres) -> Plan:
    return desk.put(remade(desk.in_garage(change.run, "the tyre set"), tyres=change.tyres))


def _set_fuel(desk: Desk, change: ch.SetRunFuel) -> Plan:
    return desk.put(remade(desk.in_garage(change.run, "its fuel"), fuel_kg=change.fuel_kg))


def _set_switch(desk: Desk, change: ch.SetRunSwitch) -> Plan:
    run = desk.in_garage(change.run, "a switch for the whole run")
    return desk.put(remade(run, switches=run.switches | {change.switch: change.position}))


def _set_driver(desk: Desk, change: ch.SetRunDriver) -> Plan:
    run = desk.in_garage(change.run, "the driver")
    return desk.put(remade(run, driver=change.driver))


def _drop_run(desk: Desk, change: ch.DropRun) -> Plan:
    state = desk.states.get(change.run)
    if state is not None and state.state == "dropped" and desk.plan.find(change.run) is None:
        return desk.plan
    run = desk.open(change.run)
    if state is not None and state.state == "running":
        raise Refusal(f"run {run.run} is on track: box the car, or shorten the run")
    return desk.with_runs([one for one in desk.plan.runs if one is not run])


# -- items -------------------------------------------------------------------------------------------------------------


def _insert_item(desk: Desk, change: ch.InsertItem) -> Plan:
    run = desk.open(change.run)
    if change.item in run.items:
        return desk.plan
    _demand_ahead(desk, run, change.item)
    return desk.put(remade(run, items=(*run.items, change.item)))


def _demand_ahead(desk: Desk, run: Run, item: Item) -> None:
    """A run that has begun takes items on the laps still ahead only."""
    state, legs = desk.states.get(run.run), legs_of(item, run.laps)
    if state is not None and run.laps and legs and not any(is_ahead(state, leg) for leg in legs):
        raise Refusal(f"run {run.run} is past that lap: {item.do} can only be put on laps still ahead")


def _meant_item(desk: Desk, run: Run, name: str) -> tuple[int, int | None]:
    """``(index of the item, lap)`` for an item by its key, or by its procedure's name (lap None: all its laps)."""
    state = desk.states.get(run.run)
    for one in state.items if state is not None else ():
        if one.key == name and one.item in run.items:
            return run.items.index(one.item), one.leg
    named = [index for index, item in enumerate(run.items) if item.do == name]
    if len(named) > 1:
        keys = ", ".join(one.key for one in state.items if one.item.do == name) if state is not None else ""
        raise Refusal(f"run {run.run} has {name} {len(named)} times: name one by its key ({keys})")
    if not named:
        keys_known = [one.key for one in state.items] if state is not None else []
        known = meant(name, [*(item.do for item in run.items), *keys_known])
        raise Refusal(f"no item {name!r} on run {run.run}{known}")
    return named[0], None


def _without(run: Run, index: int, leg: int | None) -> tuple[tuple[Item, ...], Item]:
    """The items without one (or without one lap of it), and what was taken out."""
    item = run.items[index]
    legs = legs_of(item, run.laps)
    rest: tuple[Item, ...] = ()
    taken = item
    if leg is not None and leg in legs and len(legs) > 1:
        rest = (_on(item, run, [one for one in legs if one != leg]),)
        taken = _on(item, run, [leg])
    return (*run.items[:index], *rest, *run.items[index + 1 :]), taken


def _on(item: Item, run: Run, legs: Sequence[int]) -> Item:
    choices = tuple(LapChoice(kind=run.laps[leg], numbers=(run.laps[: leg + 1].count(run.laps[leg]),)) for leg in legs)
    return item.model_copy(update={"on": choices})


def _demand_open_item(desk: Desk, run: Run, index: int, leg: int | None) -> None:
    state = desk.states.get(run.run)
    if state is None or state.start_t is None:
        return
    ours = [one for one in state.items if one.item == run.items[index] and leg in (None, one.leg)]
    if ours and not any(one.state in ("planned", "called") for one in ours):
        raise Refusal(f"{state.item_words(ours[-1])} is {ours[-1].state.replace('_', ' ')} already")


def _drop_item(desk: Desk, change: ch.DropItem) -> Plan:
    run, state = desk.open(change.run), desk.states.get(change.run)
    gone = [one for one in state.items if change.item in (one.key, one.item.do)] if state is not None else []
    if gone and all(one.state == "dropped" for one in gone):
        return desk.plan
    index, leg = _meant_item(desk, run, change.item)
    _demand_open_item(desk, run, index, leg)
    items, _ = _without(run, index, leg)
    return desk.put(remade(run, items=items))


def _swap_item(desk: Desk, change: ch.SwapItem) -> Plan:
    run = desk.open(change.run)
    if change.new in run.items and change.new.do != change.item and not any(one.do == change.item for one in run.items):
        return desk.plan
    index, leg = _meant_item(desk, run, change.item)
    _demand_open_item(desk, run, index, leg)
    _demand_ahead(desk, run, change.new)
    items, _ = _without(run, index, leg)
    return desk.put(remade(run, items=(*items, change.new)))


def _move_item(desk: Desk, change: ch.MoveItem) -> Plan:
    source = desk.open(change.run)
    target = desk.open(change.to) if change.to is not None else source
    if change.on is None and target is source:
        raise Refusal("say where the item goes: 'to' another run, or 'on' other laps")
    index, leg = _meant_item(desk, source, change.item)
    _demand_open_item(desk, source, index, leg)
    items, taken = _without(source, index, leg)
    moved = taken if change.on is None else _with_laps(taken, change.on)
    if target is source:
        if moved == taken:
            return desk.plan
        _demand_ahead(desk, source, moved)
        return desk.put(remade(source, items=(*items[:index], moved, *items[index:])))
    _demand_ahead(desk, target, moved)
    return Desk(desk.put(remade(source, items=items)), desk.states, desk.setup).put(
        remade(target, items=(*target.items, moved))
    )


def _with_laps(item: Item, on: Any) -> Item:
    try:
        return _ITEM.validate_python(item.model_dump(by_alias=True) | {"on": on})
    except ValidationError as error:
        raise Refusal("; ".join(str(one["msg"]).removeprefix("Value error, ") for one in error.errors())) from None


_CHANGES: dict[str, Callable[[Desk, Any], Plan]] = {
    "insert_run": _insert_run,
    "move_run": _move_run,
    "swap_runs": _swap_runs,
    "insert_item": _insert_item,
    "move_item": _move_item,
    "swap_item": _swap_item,
    "set_laps": _set_laps,
    "set_run_tyres": _set_tyres,
    "set_run_fuel": _set_fuel,
    "set_run_switch": _set_switch,
    "set_run_driver": _set_driver,
    "drop_run": _drop_run,
    "drop_item": _drop_item,
}
