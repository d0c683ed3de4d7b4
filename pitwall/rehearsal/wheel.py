"""The steering wheel of one team car as it really stands, and the telemetry that reports it."""

from __future__ import annotations

from pitwall.model.car import Car, Position, Switch, same_position
from pitwall.model.events import SwitchReported
from pitwall.model.plan import Plan
from pitwall.rehearsal.draws import Rng
from pitwall.rehearsal.feed import Feed
from pitwall.rehearsal.truth import SwitchMoved


class Wheel:
    """Positions of every switch. Changing one writes it down and reports it where it is measured."""

    def __init__(self, number: str, car: Car, plan: Plan, wet: bool, feed: Feed, reports: str, prefix: str) -> None:
        self._number, self.car, self._feed, self._prefix = number, car, feed, prefix
        self._reports = reports
        self._count = 0
        self.moved: list[SwitchMoved] = []
        self.positions: dict[str, Position] = {}
        given = plan.starts_with.switches
        for switch in car.switches:
            position = switch.wanted(None, plan.driver, wet)
            if isinstance(given, dict) and switch.switch in given:
                position = given[switch.switch]
            self.positions[switch.switch] = position

    def report_all(self, t: float) -> None:
        """Telemetry comes alive: every measured switch is sent once."""
        for switch in self.car.switches:
            self.moved.append(SwitchMoved(car=self._number, t=t, switch=switch.switch,
                                          position=self.positions[switch.switch], why="start"))
            self._send(t, switch)

    def put(self, t: float, name: str, position: Position, why: str, *, moving: bool) -> bool:
        """Set a switch; False when there is no such switch or position, or it may only be moved standing still."""
        switch = self.car.switch(name)
        if switch is None or not switch.allows(position):
            return False
        if switch.kind == "stationary" and moving:
            self._note(t, name, self.positions[name], "moving")
            return False
        if same_position(self.positions[name], position):
            return True
        self.positions[name] = position
        self._note(t, name, position, why)
        self._send(t, switch)
        if switch.kind == "preset":
            self._preset(t, switch, position)
        if switch.kind == "momentary":
            self.positions[name] = switch.default
            self._note(t, name, switch.default, "springs_back")
            self._send(t, switch)
        return True

    def refuse(self, t: float, name: str) -> None:
        """The driver left it where it was although asked."""
        if name in self.positions:
            self._note(t, name, self.positions[name], "left_wrong")

    def neighbour(self, name: str, rng: Rng) -> Position | None:
        """Another position of this switch, one click away; None when it has no other. Always takes one draw."""
        up = float(rng.random()) < 0.5
        switch = self.car.switch(name)
        if switch is None:
            return None
        if switch.kind == "bias":
            return self._click(switch, up)
        others = [position for position in switch.positions if not same_position(position, self.positions[name])]
        return others[0 if up else -1] if others else None

    def _click(self, switch: Switch, up: bool) -> Position | None:
        assert switch.step is not None
        here = float(self.positions[switch.switch])
        for step in ((switch.step, -switch.step) if up else (-switch.step, switch.step)):
            if switch.allows(here + step):
                return round(here + step, 6)
        return None

    def _preset(self, t: float, preset: Switch, position: Position) -> None:
        home = same_position(position, preset.default)
        for name, target in sorted(preset.sets.items()):
            known = self.car.switch(name)
            if known is not None:
                self.put(t, name, known.default if home else target, "preset", moving=False)

    def _note(self, t: float, name: str, position: Position, why: str) -> None:
        self.moved.append(SwitchMoved(car=self._number, t=round(t, 3), switch=name, position=position, why=why))

    def _send(self, t: float, switch: Switch) -> None:
        if self._reports == "all" or (self._reports == "measured" and switch.measured):
            self._count += 1
            self._feed.message(
                SwitchReported(id=f"{self._prefix}-{self._number}-sw-{self._count}", t=round(t, 3), car=self._number,
                               switch=switch.switch, position=self.positions[switch.switch]),
                f"{self._number}-switch",
            )


