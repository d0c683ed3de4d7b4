"""The plan as the proof sees it: for each lap of each run, where switches are wanted, with each choice of items left
out.

This follows what the daemon wants on a lap: the default for lap kind, driver and weather; over it the run's own
positions (and those of the run it repeats); over that what the items on the lap ask for, and what earlier items of the
run leave where it is on purpose (``put_back: false``).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from pitwall.checks.items import Placed, filled
from pitwall.model.car import Car, Position, Switch, position_text
from pitwall.model.plan import LapKind, Medium, Plan, Run, lent
from pitwall.model.procedure import Procedure
from pitwall.track.likely import lap_indices

Spot = float | str
"""A position made comparable: ``3``, ``3.0`` and ``"3"`` are one number, text is without case."""

ItemId = int
"""One item on one lap: its number among those of its run."""


def spot(position: Position) -> Spot:
    """The comparable form of a position as written."""
    if isinstance(position, bool):
        return position_text(position)
    try:
        return round(float(position), 6)
    except ValueError:
        return str(position).strip().lower()


@dataclass(frozen=True, slots=True)
class Part:
    """One switch of the part of the wheel that is looked at, in comparable positions.

    Attributes:
        free: how far the driver may move it unasked; 0 for all but a bias.
        low, high: range of a bias.
        home: where a paged setting returns to by itself.
        sets: what a preset sets, by index into the same wheel.
        resets: where each of these goes if the preset's release puts it at its default.
    """

    name: str
    kind: str
    measured: bool
    default: Spot
    free: float = 0.0
    low: float = 0.0
    high: float = 0.0
    home: Spot | None = None
    sets: tuple[tuple[int, Spot], ...] = ()
    resets: tuple[tuple[int, Spot], ...] = ()

    def near(self, stands: Spot, wanted: Spot) -> bool:
        """Does it count as in place, the driver's free range included?"""
        if stands == wanted:
            return True
        if self.free and isinstance(stands, float) and isinstance(wanted, float):
            return abs(stands - wanted) <= self.free + 1e-9
        return False


@dataclass(frozen=True, slots=True)
class Asked:
    """An item on a lap: what it wants of the wheel, by index; a step counts from where the run has the switch."""

    item: ItemId
    do: str
    to: tuple[tuple[int, Spot], ...]
    by: tuple[tuple[int, float], ...]
    stays: bool


@dataclass(frozen=True)
class Stint:
    """One run of the plan. ``base[lap]`` and ``asked[lap]`` follow ``laps``; ``silent`` where no switch call is made
    for a lap that is not timed."""

    run: Run
    laps: tuple[LapKind, ...]
    base: tuple[tuple[Spot, ...], ...]
    asked: tuple[tuple[Asked, ...], ...]
    silent: tuple[bool, ...]
    busy: tuple[int, ...]
    medium: Medium = "two_way"

    @property
    def last(self) -> int:
        """Index of the in-lap."""
        return len(self.laps) - 1

    def wanted(self, lap: int, alive: Sequence[ItemId], stays: Sequence[ItemId]) -> tuple[Spot, ...]:
        """Where the wheel is wanted on a lap.

        Args:
            lap: index into ``laps``.
            alive: items of this lap that are done.
            stays: items of earlier laps whose positions are left on purpose.
        """
        if lent(self.medium, self.laps, lap):
            lap, alive = lap + 1, tuple(asked.item for asked in self.asked[lap + 1])
        base = self.base[lap]
        if not alive and not stays:
            return base
        found = list(base)
        left = [asked for earlier in self.busy if earlier < lap for asked in self.asked[earlier] if asked.item in stays]
        for asked in (*left, *(one for one in self.asked[lap] if one.item in alive)):
            for index, target in asked.to:
                found[index] = target
            for index, step in asked.by:
                stands = base[index]
                if isinstance(stands, float):
                    found[index] = round(stands + step, 6)
        return tuple(found)

    def counts(self, timed_done: int, by_flag: bool) -> bool:
        """Is what was done enough to count as this run? A flag spares no lap that ``shorten_to`` does not."""
        wanted = self.laps.count("timed")
        fewest = self.run.shorten_to
        if fewest is None:
            fewest = wanted if by_flag else (wanted + 1) // 2
        return timed_done >= min(fewest, wanted)


@dataclass(frozen=True)
class Course:
    """A plan for one part of the wheel: its runs with laps, and where the wheel stands when the session opens."""

    parts: tuple[Part, ...]
    stints: tuple[Stint, ...]
    start: tuple[Spot, ...]

    def guarded(self, car: Car, index: int) -> bool:
        """Must this switch be in place when a timed lap starts? A stationary one only where the car file names it."""
        part = self.parts[index]
        if part.kind == "momentary":
            return False
        return part.name in car.forbidden_on_timed if car.forbidden_on_timed else part.kind != "stationary"


def wheel_parts(car: Car, names: Sequence[str]) -> tuple[Part, ...]:
    """The switches of that name, in that order."""
    where = {name: index for index, name in enumerate(names)}
    found = []
    for name in names:
        switch = car.switch(name)
        assert switch is not None
        sets = [(where[other], other, target) for other, target in sorted(switch.sets.items()) if other in where]
        bias = switch.kind == "bias"
        found.append(Part(
            name, switch.kind, switch.measured, spot(switch.default),
            free=(switch.free_range or 0.0) if bias else 0.0,
            low=(switch.low or 0.0) if bias else 0.0, high=(switch.high or 0.0) if bias else 0.0,
            home=spot(switch.home) if switch.kind == "paged" and switch.home is not None else None,
            sets=tuple((index, spot(target)) for index, _, target in sets) if switch.kind == "preset" else (),
            resets=tuple((index, spot(_known(car, other).default)) for index, other, _ in sets)
            if switch.kind == "preset" else (),
        ))
    return tuple(found)


def _known(car: Car, name: str) -> Switch:
    switch = car.switch(name)
    assert switch is not None
    return switch


def movers_of(car: Car, name: str) -> tuple[str, ...]:
    """The switch itself and every preset that moves it, directly or through another preset, by name."""
    found = {name}
    while True:
        more = {one.switch for one in car.switches if one.kind == "preset" and found & set(one.sets)} - found
        if not more:
            return tuple(sorted(found))
        found |= more


def lay_out(
    plan: Plan, car: Car, procedures: Mapping[str, Procedure], wet: bool, names: Sequence[str]
) -> Course:
    """The course of a plan for these switches. Items whose procedure is unknown are left out."""
    parts = wheel_parts(car, names)
    given = plan.starts_with.switches
    start = []
    for name in names:
        position = _known(car, name).wanted(None, plan.driver, wet)
        if isinstance(given, dict) and name in given:
            position = given[name]
        start.append(spot(position))
    stints = tuple(_stint(plan, index, run, car, procedures, wet, names)
                   for index, run in enumerate(plan.runs) if run.laps)
    return Course(parts, stints, tuple(start))


def _stint(
    plan: Plan, index: int, run: Run, car: Car, procedures: Mapping[str, Procedure], wet: bool, names: Sequence[str]
) -> Stint:
    driver, held = plan.driver_of(run), {**plan.original(run).switches, **run.switches}
    base = tuple(
        tuple(spot(held[name] if name in held else _known(car, name).wanted(kind, driver, wet)) for name in names)
        for kind in run.laps
    )
    asked: list[list[Asked]] = [[] for _ in run.laps]
    number = 0
    for position, item in enumerate(run.items):
        placed = Placed(index, run, item, procedures.get(item.do), ("runs", index, "items", position))
        for lap in lap_indices(run, item.on):
            found = _asked(placed, number, names)
            number += 1
            if found is not None:
                asked[lap].append(found)
    silent = tuple(plan.changes_wait(kind) for kind in run.laps)
    busy = tuple(lap for lap, one in enumerate(asked) if one)
    return Stint(run, run.laps, base, tuple(tuple(one) for one in asked), silent, busy, plan.medium)


def _asked(placed: Placed, number: ItemId, names: Sequence[str]) -> Asked | None:
    procedure = placed.procedure
    if procedure is None:
        return None
    where = {name: index for index, name in enumerate(names)}
    to: dict[int, Spot] = {}
    for name, position in sorted(procedure.switches.items()):
        switch, wanted = filled(placed, name), filled(placed, position)
        if isinstance(switch, str) and switch in where and wanted is not None:
            to[where[switch]] = spot(wanted)
    by: list[tuple[int, float]] = []
    if procedure.by is not None:
        switch, step = placed.argument("switch"), placed.figure(procedure.by)
        if isinstance(switch, str) and switch in where and step is not None:
            by.append((where[switch], step))
    if not to and not by:
        return None
    stays = not (placed.item.put_back and procedure.put_back)
    return Asked(number, placed.item.do, tuple(to.items()), tuple(by), stays)
