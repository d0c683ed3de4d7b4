"""A car of a script: driven around the lap step by step, it sends what a timing feed would."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from pitwall.track.lapmap import LapMap
from tests.acceptance.script_patterns import Told, crossing, pit

LANE_LINE_S = 9.0  # from the pit entry to the line beside the lane
AGAIN_S = 2.0


@dataclass
class Car:
    """Each step schedules its messages and moves the car's own time on. ``starts``: when each lap began."""

    schedule: Callable[[float, Told], None]
    car: str
    map: LapMap
    t: float = 0.0
    phase: float = 0.0
    starts: list[float] = field(default_factory=list)

    def leaves(self, t: float) -> Car:
        """Past the pit exit at ``t``."""
        self.schedule(t, pit("exit", self.car))
        self.t, self.phase = t, self.map.pit_exit
        self.starts.append(t)
        return self

    def lap(
        self,
        seconds: float,
        *,
        missing: tuple[str, ...] = (),
        late: dict[str, float] | None = None,
        doubled: tuple[str, ...] = (),
    ) -> Car:
        """On to the line, which the car passes ``seconds`` after this lap began.

        Args:
            seconds: from the pit exit or the line to the line.
            missing: loops whose message is lost.
            late: loop to the delay of its message, seconds.
            doubled: loops whose message comes twice, under another id.
        """
        for loop in self.map.loop_order:
            phase = 1.0 if loop == "line" else self.map.loops[loop]
            if phase > self.phase and loop not in missing:
                self._pass(loop, self.when(phase, seconds), (late or {}).get(loop, 0.0), loop in doubled)
        self.t, self.phase = self.starts[-1] + seconds, 0.0
        self.starts.append(self.t)
        return self

    def comes_in(self, seconds: float, *, line_in_lane: bool = True) -> Car:
        """On to the pit entry, at the pace of a lap of ``seconds``; the line beside the lane sees it as well."""
        for loop in self.map.loop_order[:-1]:
            if self.map.loops[loop] > self.phase:
                self._pass(loop, self.when(self.map.loops[loop], seconds), 0.0, False)
        self.t, self.phase = self.when(self.map.pit_entry, seconds), self.map.pit_entry
        self.schedule(self.t, pit("entry", self.car))
        if line_in_lane:
            self._pass("line", self.t + LANE_LINE_S, 0.0, False)
        return self

    def to(self, loop: str, seconds: float) -> Car:
        """On to a loop within the lap, at the pace of a lap of ``seconds``."""
        for passed in self.map.loop_order[: self.map.loop_order.index(loop) + 1]:
            if self.map.loops[passed] > self.phase:
                self._pass(passed, self.when(self.map.loops[passed], seconds), 0.0, False)
        self.t, self.phase = self.when(self.map.loops[loop], seconds), self.map.loops[loop]
        return self

    def when(self, phase: float, seconds: float) -> float:
        """Session second at which the car reaches ``phase`` if the lap that it is on takes ``seconds`` to the line."""
        rest = self.starts[-1] + seconds - self.t
        return self.t + rest * (phase - self.phase) / (1.0 - self.phase)

    def at(self, place: str, seconds: float) -> float:
        """The same for the end of a named place, or the last place from which the pit entry can be taken."""
        return self.when(self.map.last_chance if place == "last chance" else self.map.phase_of(place), seconds)

    def _pass(self, loop: str, t: float, delay_s: float, again: bool) -> None:
        told = crossing(loop, self.car, happened=t)
        self.schedule(t + delay_s, told)
        if again:
            self.schedule(t + delay_s + AGAIN_S, told)
