"""What a change of the plan may not ask of the driver: a switch where it cannot stand, two holds on one stretch.

A plan file is checked for both before it comes here (``checks/switches.py``, ``checks/overlap.py``); a change from the
desk is not.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import combinations

from pitwall.engine.item_arguments import item_switches
from pitwall.engine.run_state import ItemState, legs_of
from pitwall.model.car import Car, Position, position_text
from pitwall.model.plan import Item, LapKind, Plan, Run
from pitwall.model.procedure import Procedure
from pitwall.track.places import plain


def position_faults(plan: Plan, run: Run, item: Item, procedure: Procedure, car: Car, wet: bool) -> Iterator[str]:
    """Positions that the item asks for and that a switch cannot have, or not while the car drives."""
    told: dict[str, None] = {}
    for leg in legs_of(item, run.laps):
        base = _base(plan, run, run.laps[leg] if run.laps else None, car, wet)
        for name, wanted in item_switches(procedure, ItemState("", item, leg), base).items():
            switch = car.switch(name)
            if switch is None:
                continue
            if not switch.can_be_set(wanted):
                told[f"{name} cannot stand at {position_text(wanted)} for {item.do}, only at "
                     f"{switch.positions_text()}"] = None
            elif switch.kind == "stationary" and run.laps and not procedure.stationary:
                told[f"{name} moves only while the car stands, and {item.do} is done on a lap of {run.run}"] = None
    yield from told


def _base(plan: Plan, run: Run, kind: LapKind | None, car: Car, wet: bool) -> dict[str, Position]:
    """Where the switches are on such a lap without the item."""
    found = {switch.switch: switch.wanted(kind, plan.driver_of(run), wet) for switch in car.switches}
    return found | dict(plan.original(run).switches) | dict(run.switches)


def hold_faults(run: Run, procedures: Mapping[str, Procedure]) -> Iterator[str]:
    """Two items of the run on one stretch of one lap; one that waits may find another lap."""
    there = [(item, plain(item.after or item.at or ""), set(legs_of(item, run.laps))) for item in run.items
             if run.laps and item.when is None and (item.after or item.at)]
    for (first, place, laps), (second, other, others) in combinations(there, 2):
        known = [procedures.get(item.do) for item in (first, second)]
        alike = first.do == second.do or (all(map(_holds, known)) and len({*map(_offset_s, known)}) == 1)
        if place != other or not alike or not (laps & others or run.out_in):
            continue
        lap = "installation" if run.out_in else run.laps[min(laps & others)]
        yield f"{second.do} cannot be done where {first.do} is: both from {place} on one {lap} lap of {run.run}"


def _holds(procedure: Procedure | None) -> bool:
    """Guard: it takes data over a stretch, so nothing else can be done there meanwhile."""
    return procedure is not None and (procedure.hold is not None or procedure.data_window == "hold")


def _offset_s(procedure: Procedure | None) -> float:
    """How long after its place the driver acts, seconds."""
    steps = procedure.steps if procedure is not None else ()
    return next((step.offset_s for step in steps if step.where == "place"), 0.0)
