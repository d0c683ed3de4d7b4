"""What the items of a plan do to the switches: where each would leave a switch, and who still wants it elsewhere."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from pitwall.checks.around import Around
from pitwall.checks.codes import finding
from pitwall.checks.items import Placed, filled, placed_items
from pitwall.checks.order import original
from pitwall.errors import Finding
from pitwall.model.car import Car, Switch, position_text, same_position
from pitwall.model.plan import LapKind, Plan, Run, Scalar
from pitwall.track.likely import lap_indices


@dataclass(frozen=True)
class Change:
    """An item's change of one switch: to a position, or by a step from where the run has it."""

    placed: Placed
    switch: Switch
    position: Scalar | None
    by: float | None = None


def changes(placed: Placed, car: Car) -> Iterator[Change]:
    """The switch changes of an item; names and positions that are unknown are other checks' business."""
    procedure = placed.procedure
    if procedure is None:
        return
    for name, position in procedure.switches.items():
        switch, value = car.switch(str(filled(placed, name))), filled(placed, position)
        if switch is not None and value is not None and switch.can_be_set(value):
            yield Change(placed, switch, value)
    if procedure.by is not None:
        switch, step = car.switch(str(placed.argument("switch"))), placed.figure(procedure.by)
        if switch is not None and step is not None:
            yield Change(placed, switch, None, step)


def wanted(plan: Plan, run: Run, switch: Switch, wet: bool, lap: LapKind | None = "timed") -> Scalar:
    """Where the run has a switch on a lap of this kind."""
    for holder in (run, original(plan, run)):
        if switch.switch in holder.switches:
            return holder.switches[switch.switch]
    return switch.wanted(lap, plan.driver_of(run), wet)


def check_moving(plan: Plan, around: Around) -> Iterator[Finding]:
    """A switch that only moves while the car stands, changed by an item that does not stop."""
    for change in _all(plan, around):
        procedure = change.placed.procedure
        if change.switch.kind == "stationary" and procedure is not None and not procedure.stationary:
            yield finding("PW402", path=change.placed.path, found=f"{change.switch.switch!r} changed on a lap",
                          expected="a procedure with 'stationary: true', or 'switches' of the run")


def check_steps(plan: Plan, around: Around) -> Iterator[Finding]:
    """A step to where the switch cannot stand, whatever its kind, or one that the driver may take unasked."""
    for change in _all(plan, around):
        if change.by is None or change.placed.procedure is None:
            continue
        for base in _bases(plan, change, around):
            found = _step(change, change.by, base)
            if found is not None:
                yield found
                break


def check_against_itself(plan: Plan, around: Around) -> Iterator[Finding]:
    """A comparison by position in which every switch stands there on those laps anyhow."""
    found: dict[tuple[str | int, ...], list[tuple[Change, bool]]] = {}
    every = list(_all(plan, around))
    for change in every:
        procedure = change.placed.procedure
        if procedure is not None and procedure.needs_lap == "reference" and change.position is not None:
            bases = _bases(plan, change, around)
            stands = bool(bases) and all(_is_at(change.switch, base, change.position) for base in bases)
            stands = stands and not any(_leaves_elsewhere(other, change) for other in every)
            found.setdefault(tuple(change.placed.path), []).append((change, stands))
    for path, made in found.items():
        if all(stands for _, stands in made):
            weather = "in the wet" if around.wet else "in the dry"
            where = " and ".join(_where_it_is(one, _bases(plan, one, around), weather) for one, _ in made)
            yield finding("PW410", path=path, found=where, expected="another position than that")


def _where_it_is(change: Change, bases: list[Scalar], weather: str) -> str:
    """Where the item has the switch, and that the run has it there too, or so near that the driver may move it there
    unasked."""
    wanted, switch = change.position, change.switch
    assert wanted is not None
    at = f"{switch.switch} at {position_text(wanted)}"
    base = next((base for base in bases if not same_position(base, wanted)), None)
    if base is None:
        return f"{at}, where this run has it {weather} without the item"
    free = f"within the free range ({switch.free_range or 0.0:g}) of {position_text(base)}"
    return f"{at}, {free}, where this run has it {weather} without the item"


def _leaves_elsewhere(other: Change, change: Change) -> bool:
    """Guard: this change is not put back, and may be made before the lap of the other one."""
    placed, later = other.placed, change.placed
    stays = not placed.item.put_back or (placed.procedure is not None and not placed.procedure.put_back)
    if not stays or placed.index != later.index or other.switch.switch != change.switch.switch:
        return False
    first, last = (lap_indices(one.run, one.item.on) for one in (placed, later))
    return min(first, default=0) < max(last, default=0)


def _is_at(switch: Switch, stands: Scalar, wanted: Scalar) -> bool:
    if same_position(stands, wanted):
        return True
    free = switch.free_range if switch.kind == "bias" else None
    return free is not None and abs(float(stands) - float(wanted)) <= free + 1e-9


def _bases(plan: Plan, change: Change, around: Around) -> list[Scalar]:
    """Where the switch stands on the laps of the item; one that the car refuses is another check's business."""
    run = change.placed.run
    kinds: list[LapKind | None] = list(
        dict.fromkeys(run.laps[lap] for lap in lap_indices(run, change.placed.item.on))) or [None]
    bases = (wanted(plan, run, change.switch, around.wet, kind) for kind in kinds)
    return [base for base in bases if change.switch.can_be_set(base)]


def _step(change: Change, by: float, base: Scalar) -> Finding | None:
    assert change.placed.procedure is not None
    switch, path = change.switch, (*change.placed.path, "with", str(change.placed.procedure.by))
    if isinstance(base, str | bool):
        return finding("PW404", path=path, found=f"{by:+g} from {base!r}, which is no number",
                       expected="a switch that stands at a number",
                       suggestion=f"{switch.switch!r} has {switch.positions_text()}: name the position instead")
    target = base + by
    if not switch.allows(target):
        return finding("PW404", path=path, found=f"{by:+g} from {position_text(base)}, which is {target:g}",
                       expected=switch.positions_text(), suggestion=_steps_left(switch, base))
    if not switch.in_steps(target) and switch.in_steps(base):
        return finding("PW404", path=path, found=f"{by:+g} from {position_text(base)}, which is {target:g}",
                       expected=switch.positions_text(), suggestion=f"a multiple of {switch.step or 0.0:g}")
    if abs(by) <= (switch.free_range or 0.0) + 1e-9:
        free = f"{switch.free_range or 0.0:g}, the free range of {switch.switch!r}"
        return finding("PW405", path=path, found=f"a step of {by:+g}", expected=f"more than {free}")
    return None


def _steps_left(switch: Switch, base: float) -> str:
    """The steps that the switch has from where it stands, as a remedy."""
    if switch.low is not None and switch.high is not None:
        return f"from {base:g} a step may be {switch.low - base:+g} to {switch.high - base:+g}"
    others = [one - base for one in switch.positions
              if isinstance(one, int | float) and not isinstance(one, bool) and not same_position(one, base)]
    return f"from {base:g} the steps are {', '.join(f'{step:+g}' for step in sorted(others))}"


def check_conflicts(plan: Plan, around: Around) -> Iterator[Finding]:
    """Two items that want one switch in two positions on one lap."""
    taken: dict[tuple[int, int, str], Change] = {}
    for change in _all(plan, around):
        for lap in lap_indices(change.placed.run, change.placed.item.on):
            key = (change.placed.index, lap, change.switch.switch)
            first = taken.setdefault(key, change)
            if first is change or _agree(first, change):
                continue
            yield finding("PW403", path=change.placed.path,
                          found=f"{change.switch.switch!r} for {change.placed.item.do!r} on a lap on which "
                                f"{first.placed.item.do!r} has it elsewhere",
                          expected="one position on one lap")
            break


def _agree(first: Change, second: Change) -> bool:
    return first.by == second.by and same_position(first.position, second.position)


def check_put_back(plan: Plan, around: Around) -> Iterator[Finding]:
    """``put_back: false`` with a timed lap still to come that must not have the new position."""
    for change in _all(plan, around):
        placed, car = change.placed, around.car
        assert car is not None
        guarded = not car.forbidden_on_timed or change.switch.switch in car.forbidden_on_timed
        laps = lap_indices(placed.run, placed.item.on)
        if placed.item.put_back or not guarded or not laps or "timed" not in placed.run.laps[laps[-1] + 1 :]:
            continue
        if _agree(change, Change(placed, change.switch, wanted(plan, placed.run, change.switch, around.wet))):
            continue
        yield finding("PW401", path=(*placed.path, "put_back"), found=f"{change.switch.switch!r} left changed",
                      expected="put back before the next timed lap of the run")


def _all(plan: Plan, around: Around) -> Iterator[Change]:
    if around.car is None:
        return
    for placed in placed_items(plan, around):
        yield from changes(placed, around.car)
