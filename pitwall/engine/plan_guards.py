"""What a change may not do to a plan, in words: the small set of checks that the engine needs for itself.

A plan file is checked whole, with lines, before it comes here. A change from the desk is not: it must not name what
does not exist, put an item on a lap that it may not be done on, or break what runs promise each other. Only what a
change breaks anew is held against it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from difflib import get_close_matches

from pitwall.engine.item_guards import hold_faults, position_faults
from pitwall.engine.run_state import RunState, legs_of
from pitwall.model.car import Car, position_text, same_position
from pitwall.model.changes import (
    InsertItem,
    InsertRun,
    PlanChange,
    SetRunDriver,
    SetRunSwitch,
    SetRunTyres,
    SwapItem,
)
from pitwall.model.plan import Item, Plan, Run, Scalar, write_laps
from pitwall.model.procedure import Argument, Procedure
from pitwall.model.setup import SessionSetup
from pitwall.track.places import plain


def meant(word: str, known: Iterable[str]) -> str:
    """``: did you mean 'x'?`` for the nearest known name, else what there is; empty when there is nothing."""
    names = list(dict.fromkeys(known))
    near = get_close_matches(word, names, n=1, cutoff=0.6)
    if near:
        return f": did you mean {near[0]!r}?"
    return f" (there are: {', '.join(names)})" if names else ""


def run_faults(plan: Plan, run: Run, setup: SessionSetup) -> Iterator[str]:
    """What one run names that is not there, and items that cannot be done as they stand."""
    car = setup.cars[plan.car]
    if run.tyres is not None and plan.tyre_sets and run.tyres not in plan.tyre_sets:
        yield f"unknown tyre set {run.tyres!r}{meant(run.tyres, plan.tyre_sets)}"
    if run.driver is not None and setup.drivers and run.driver not in setup.drivers:
        yield f"unknown driver {run.driver!r}{meant(run.driver, setup.drivers)}"
    session = setup.regulations.window(setup.session)
    if run.window is not None and session is not None and session.find(run.window) is None:
        yield f"unknown window {run.window!r}{meant(run.window, [one.window for one in session.windows])}"
    for name, position in run.switches.items():
        yield from _switch_faults(car, name, position)
    for item in run.items:
        procedure = setup.procedures.get(item.do)
        faults = list(item_faults(run, item, procedure, setup, car))
        yield from faults
        if procedure is not None and not faults:
            yield from position_faults(plan, run, item, procedure, car, setup.wet)
    yield from hold_faults(run, setup.procedures)


def value_faults(plan: Plan, change: PlanChange, setup: SessionSetup) -> Iterator[str]:
    """What a change names that is not there, whatever else keeps it from being made."""
    match change:
        case InsertRun():
            yield from run_faults(plan, change.run, setup)
        case InsertItem(item=item) | SwapItem(new=item):
            if item.do not in setup.procedures:
                yield f"unknown procedure {item.do!r}{meant(item.do, setup.procedures)}"
        case SetRunTyres() | SetRunSwitch() | SetRunDriver():
            named = {"tyres": getattr(change, "tyres", None), "driver": getattr(change, "driver", None)}
            if isinstance(change, SetRunSwitch):
                named["switches"] = {change.switch: change.position}
            alone = {"run": change.run, "want": "must", "laps": ("out", "in")}
            yield from run_faults(plan, Run.model_validate(alone | named), setup)
        case _:
            return


def _switch_faults(car: Car, name: str, position: Scalar) -> Iterator[str]:
    switch = car.switch(name)
    if switch is None:
        yield f"unknown switch {name!r}{meant(name, [one.switch for one in car.switches])}"
    elif not switch.can_be_set(position):
        yield f"{name} cannot stand at {position!r}, only at {switch.positions_text()}"
    elif switch.kind == "momentary" and not same_position(position, switch.default):
        yield f"{name} springs back to {position_text(switch.default)}: a run cannot have it at {position!r}"


def item_faults(
    run: Run, item: Item, procedure: Procedure | None, setup: SessionSetup, car: Car
) -> Iterator[str]:
    """Why an item cannot be done on its laps of this run, or with its arguments."""
    if procedure is None:
        yield f"unknown procedure {item.do!r}{meant(item.do, setup.procedures)}"
        return
    yield from _lap_faults(run, item, procedure)
    place = item.after or item.at
    if procedure.place == "needed" and place is None:
        yield f"{item.do} needs a place: 'after' or 'at'"
    if place is not None and procedure.place == "none":
        yield f"{item.do} has no use for a place"
    if place is not None and run.laps:
        known = setup.circuit.place_names()
        if plain(place) not in {plain(one) for one in known}:
            yield f"unknown place {place!r}{meant(place, known)}"
    for name, argument in procedure.arguments.items():
        if name in item.arguments:
            yield from _argument_faults(item, name, argument, car)
        elif argument.default is None:
            yield f"{item.do} needs its argument {name!r}"
    for name in item.arguments:
        if name not in procedure.arguments:
            yield f"{item.do} has no argument {name!r}{meant(name, procedure.arguments)}"


def _lap_faults(run: Run, item: Item, procedure: Procedure) -> Iterator[str]:
    if not run.laps:
        if item.on:
            yield f"run {run.run} has no laps, and {item.do} names some"
        return
    for choice in item.on:
        of_kind = run.laps.count(choice.kind)
        if choice.kind == "installation" and run.out_in:
            of_kind = 1
        over = [number for number in choice.numbers if number > of_kind]
        if not of_kind or over:
            lap = f"{choice.kind} lap {over[0]}" if over else f"{choice.kind} lap"
            yield f"run {run.run} has no {lap} for {item.do}: its laps are {write_laps(run.laps)}"
    for leg in legs_of(item, run.laps):
        kind = run.laps[leg]
        if procedure.laps and kind not in procedure.laps and not (run.out_in and "installation" in procedure.laps):
            yield f"{item.do} may not be done on the {kind} lap of {run.run}, only on: {', '.join(procedure.laps)}"
            return


def _argument_faults(item: Item, name: str, argument: Argument, car: Car) -> Iterator[str]:
    value = item.arguments[name]
    if argument.one_of and not any(same_position(value, one) for one in argument.one_of):
        yield f"{name} of {item.do} is one of {', '.join(map(str, argument.one_of))}, not {value!r}"
    elif argument.type in ("number", "whole"):
        if not isinstance(value, int | float) or isinstance(value, bool):
            yield f"{name} of {item.do} is a number, not {value!r}"
        elif (argument.low is not None and value < argument.low) or (
            argument.high is not None and value > argument.high
        ):
            yield f"{name} of {item.do} lies between {argument.low} and {argument.high}, not at {value:g}"
    elif argument.type == "switch" and car.switch(str(value)) is None:
        yield f"unknown switch {value!r}{meant(str(value), [one.switch for one in car.switches])}"


# -- what runs promise each other --------------------------------------------------------------------------------------


def promises_broken(plan: Plan, states: dict[str, RunState]) -> set[str]:
    """``before``, ``same_as`` and ``group`` that this plan does not keep, one sentence each.

    Args:
        plan: the plan as it would be.
        states: how each run stands by name; a run that has none is new.
    """
    return {*_order(plan, states), *_repeats(plan, states), *_groups(plan, states)}


def _untouched(name: str, states: dict[str, RunState]) -> bool:
    state = states.get(name)
    return state is None or (state.start_t is None and state.state in ("planned", "next", "dropped"))


def _order(plan: Plan, states: dict[str, RunState]) -> Iterator[str]:
    names = [run.run for run in plan.runs]
    for index, run in enumerate(plan.runs):
        for other in run.before:
            if other in names[:index] and _untouched(run.run, states):
                yield f"{run.run} must come before {other} (before)"
            elif other not in names and other not in states:
                yield f"{run.run} is to come before {other!r}, which is no run of the plan"


def _repeats(plan: Plan, states: dict[str, RunState]) -> Iterator[str]:
    for run in plan.runs:
        if run.same_as is None or not _untouched(run.run, states):
            continue
        model = plan.find(run.same_as)
        if model is None and (run.same_as not in states or states[run.same_as].start_t is None):
            yield f"{run.run} repeats {run.same_as} (same_as), which would be gone"
        elif model is not None and _unlike(run, model):
            yield f"{run.run} repeats {model.run} (same_as): the same fuel and switches"


def _unlike(run: Run, model: Run) -> bool:
    fuel = run.fuel_kg is not None and model.fuel_kg is not None and run.fuel_kg != model.fuel_kg
    return fuel or bool(run.switches and run.switches != model.switches)


def _groups(plan: Plan, states: dict[str, RunState]) -> Iterator[str]:
    """A group is all or nothing: none of it may go while another member is still to come."""
    names = {run.run for run in plan.runs}
    gone: dict[str, list[str]] = {}
    for name, state in states.items():
        if state.run.group is not None and name not in names and _untouched(name, states):
            gone.setdefault(state.run.group, []).append(name)
    for run in plan.runs:
        if run.group in gone and _untouched(run.run, states):
            yield (f"{', '.join(gone[run.group])} belongs to group {run.group} with {run.run}: "
                   "all of it or nothing, drop them together")
