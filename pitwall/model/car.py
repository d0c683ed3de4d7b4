"""A car: the few figures that the lap physics needs, and the switches on its steering wheel."""

from __future__ import annotations

import math
from typing import Literal, Self

from pydantic import Field, ValidationInfo, model_validator

from pitwall.model.base import Frozen, Label, Name, Refused, is_stored
from pitwall.model.plan import LapKind
from pitwall.model.tyre import TyreLimit

Position = str | int | float | bool
"""A switch position as written; compare with :func:`same_position`, never with ``==``."""

SwitchKind = Literal["rotary", "bias", "toggle", "momentary", "preset", "paged", "stationary"]


def same_position(a: Position | None, b: Position | None) -> bool:
    """True when two positions mean the same: ``3`` equals ``"3"`` and ``3.0``; text is compared without case."""
    if a is b:
        return True
    if a is None or b is None:
        return False
    if type(a) is type(b) and a == b:
        return True
    if isinstance(a, bool) or isinstance(b, bool):
        return position_text(a) == position_text(b)
    try:
        return abs(float(a) - float(b)) < 1e-6
    except ValueError:
        return str(a).strip().lower() == str(b).strip().lower()


def position_text(position: Position) -> str:
    """A position as it is said: ``on``/``off`` for a truth value, no needless decimals."""
    if isinstance(position, bool):
        return "on" if position else "off"
    if isinstance(position, float):
        return f"{position:g}"
    return str(position)


class SwitchDefault(Frozen):
    """A position for certain laps, drivers or weather; the most particular entry that applies wins."""

    position: Position
    lap: LapKind | None = None
    driver: str | None = None
    wet: bool | None = None


class Switch(Frozen):
    """One driver-adjustable setting.

    ``bias`` has a range with a step, and a ``free_range`` that the driver may move in without asking. A ``preset``
    sets several others (``sets``). A ``paged`` setting lies behind a dial and returns to ``home``. A ``stationary``
    one may only be changed while the car stands.
    """

    switch: Name
    kind: SwitchKind
    word: str = Field(min_length=1, max_length=30, description="what the team calls it on the radio")
    positions: tuple[Position, ...] = ()
    low: float | None = None
    high: float | None = None
    step: float | None = Field(default=None, gt=0)
    free_range: float | None = Field(default=None, ge=0)
    home: Position | None = None
    sets: dict[str, Position] = Field(default_factory=dict)
    default: Position
    defaults: tuple[SwitchDefault, ...] = ()
    owner: str | None = None
    hand: Literal["left", "right", "either"] = "either"
    measured: bool = False
    lane: Position | None = Field(
        default=None, description="where it belongs in pit lane and garage, such as a limiter that is on: no check "
        "list asks for another position there")

    @model_validator(mode="after")
    def _kind_has_what_it_needs(self, info: ValidationInfo) -> Self:
        if self.kind == "bias":
            if self.low is None or self.high is None or self.step is None:
                raise ValueError(f"switch {self.switch!r} is a bias: it needs low, high and step")
            if self.low >= self.high:
                raise ValueError(f"switch {self.switch!r}: low must lie below high")
        elif not self.positions:
            raise ValueError(f"switch {self.switch!r} needs a list of positions")
        if self.kind == "preset" and not self.sets:
            raise ValueError(f"switch {self.switch!r} is a preset: say in 'sets' what it sets")
        if self.kind == "paged" and (self.home is None or not self.allows(self.home)):
            raise ValueError(f"switch {self.switch!r} is paged: give its 'home', one of {self.positions_text()}")
        given: list[tuple[tuple[str | int, ...], Position]] = [(("default",), self.default)]
        given += [(("defaults", at, "position"), item.position) for at, item in enumerate(self.defaults)]
        given += [] if self.lane is None else [(("lane",), self.lane)]
        for place, position in given:
            if not self.may_be_given(position, stored=is_stored(info)):
                needs = ("low", "high", "step") if self.kind == "bias" else ("positions",)
                raise Refused(f"{position_text(position)} for {self.word}",
                              f"one of its positions: {self.positions_text()}", at=place, needs=needs,
                              suggestion=self.nearest_steps(position))
        return self

    def allows(self, position: Position) -> bool:
        """True when the switch can be reported at this position; of a bias telemetry may show any between its ends."""
        if self.kind == "bias":
            try:
                value = float(position)
            except ValueError:
                return False
            if self.low is None or self.high is None:
                return False
            return self.low - 1e-9 <= value <= self.high + 1e-9
        return any(same_position(position, mine) for mine in self.positions)

    def in_steps(self, position: Position) -> bool:
        """True when a bias stands on one of its steps, counted from where it is lowest; of other switches always."""
        if self.kind != "bias" or self.low is None or self.step is None:
            return True
        steps = (float(position) - self.low) / self.step
        return abs(steps - round(steps)) < 1e-6

    def can_be_set(self, position: Position) -> bool:
        """True when a driver can put it there: a position that it has, of a bias one on its steps."""
        return self.allows(position) and self.in_steps(position)

    def may_be_given(self, position: Position, *, stored: bool) -> bool:
        """True when a file may name it; ``stored``: in a journal, that of a bias may lie between its steps, as it might
        in files of before 29 November 2026."""
        return self.allows(position) if stored else self.can_be_set(position)

    def nearest_steps(self, position: Position) -> str | None:
        """``55 or 55.5`` for a position between two steps of a bias; None for every other."""
        if self.low is None or self.step is None or not self.allows(position) or self.in_steps(position):
            return None
        below = self.low + math.floor((float(position) - self.low) / self.step) * self.step
        return " or ".join(f"{one:g}" for one in (below, below + self.step) if self.allows(one))

    def positions_text(self) -> str:
        """The positions for an error message: ``1, 2, 3`` or ``52 to 60 in steps of 0.5``."""
        if self.kind == "bias":
            return f"{self.low:g} to {self.high:g} in steps of {self.step:g}"
        return ", ".join(position_text(position) for position in self.positions)

    def wanted(self, lap: LapKind | None, driver: str, wet: bool) -> Position:
        """The default position for this kind of lap, driver and weather: the entry with most conditions met wins."""
        best, best_weight = self.default, -1
        for item in self.defaults:
            conditions = ((item.lap, lap), (item.driver, driver), (item.wet, wet))
            if all(asked is None or asked == real for asked, real in conditions):
                weight = sum(asked is not None for asked, _ in conditions)
                if weight > best_weight:
                    best, best_weight = item.position, weight
        return best


class Car(Frozen):
    """The car file. SI units; the aerodynamic figures are area times coefficient (m^2)."""

    car: Literal[1]
    name: str
    mass_kg: float = Field(gt=100, le=5000, description="without fuel, with driver")
    power_w: float = Field(gt=0, le=2e6)
    drag_area_m2: float = Field(ge=0, le=5)
    downforce_area_m2: float = Field(ge=0, le=15)
    grip: float = Field(gt=0.1, le=4, description="tyre friction coefficient, both directions")
    brake_mps2: float = Field(gt=1, le=80, description="most deceleration the brakes give")
    traction_mps2: float = Field(gt=0.5, le=40, description="most acceleration at low speed")
    top_speed_mps: float = Field(default=100, gt=10, le=150)
    gears: dict[int, float] = Field(default_factory=dict, description="top speed of each gear, m/s")
    fuel_per_lap_kg: float = Field(gt=0, le=20)
    fuel_reserve_kg: float = Field(default=2.0, ge=0)
    fuel_s_per_kg: float = Field(default=0.03, ge=0, le=0.2)
    switches: tuple[Switch, ...] = ()
    forbidden_on_timed: tuple[Label, ...] = Field(
        default=(), description="switches that must be at the run's position when a timed lap starts; empty: all"
    )
    tyre_limits: tuple[TyreLimit, ...] = Field(
        default=(), description="temperatures and pressures that raise an alert; none: no alert"
    )

    @model_validator(mode="after")
    def _switch_names_once(self, info: ValidationInfo) -> Self:
        names = [switch.switch for switch in self.switches]
        twice = sorted({name for name in names if names.count(name) > 1})
        if twice:
            raise ValueError(f"switch named twice: {', '.join(twice)}")
        known = {switch.switch: switch for switch in self.switches}
        for switch in self.switches:
            for target, position in switch.sets.items():
                if target == switch.switch:
                    raise ValueError(f"preset {target!r} sets itself: name the others that it sets")
                if target not in known or not known[target].may_be_given(position, stored=is_stored(info)):
                    raise ValueError(f"preset {switch.switch!r} sets {target!r} to {position!r}: "
                                     "no such switch or position")
        strange = [name for name in self.forbidden_on_timed if name not in known]
        if strange:
            raise ValueError(f"forbidden_on_timed names unknown switches: {', '.join(strange)} "
                             f"(known: {', '.join(known)})")
        return self

    @model_validator(mode="after")
    def _gears_rise(self) -> Self:
        speeds = [self.gears[gear] for gear in sorted(self.gears)]
        if any(speed <= 0 for speed in speeds) or speeds != sorted(set(speeds)):
            raise ValueError("gears: each gear's top speed must be positive and above that of the gear below")
        return self

    def most_fuel_kg(self, session_s: float, lap_s: float) -> float:
        """More than a run in this session is meant to have, kg: what laps of ``lap_s`` without a stop burn in twice the
        session, with the reserve. A load as for a race is carried in practice, and is less (common practice, no
        source)."""
        return 2.0 * session_s / lap_s * self.fuel_per_lap_kg + self.fuel_reserve_kg

    def switch(self, name: str) -> Switch | None:
        """The switch of that name, or None."""
        return next((switch for switch in self.switches if switch.switch == name), None)
