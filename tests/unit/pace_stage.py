"""A stage for the pace model in tests: cars on a circuit of round numbers (100 s, loops at 30 and 70 s), followed as
the engine follows them, with laps of whatever shape a test wants.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence

from pitwall.engine.car import CarTrack
from pitwall.model.plan import LapKind
from pitwall.model.setup import CallTiming
from pitwall.pace.field_pace import FieldPace
from pitwall.pace.laptimes import CarPace
from pitwall.track.lapmap import lap_map
from tests.unit.engine_stage import CIRCUIT, LAP_S

LOOPS = (("1", 0.3), ("2", 0.7), ("line", 1.0))
LEFT = 10.0


class Cars:
    """Cars that share one field."""

    def __init__(self, *names: str) -> None:
        self.map = lap_map(CIRCUIT, None, CallTiming())
        self.field = FieldPace(LAP_S)
        self.tracks = {name: self._track(name) for name in names}
        self.now = dict.fromkeys(names, LEFT)
        for track in self.tracks.values():
            track.leave(LEFT)

    def _track(self, name: str) -> CarTrack:
        return CarTrack(name, self.map, CarPace(dict(self.map.loops), self.field, car=name), False)

    def lap(self, name: str, *parts: float, without: Iterable[str] = (), slow: bool = False) -> float:
        """Drive a lap with these seconds from place to place (two: what follows is not driven); returns the time."""
        track = self.tracks[name]
        for (loop, _), seconds in zip(LOOPS, parts, strict=False):
            self.now[name] += seconds
            if loop not in without:
                track.cross(loop, self.now[name], slow)
                self.judge(name)
        return self.now[name]

    def judge(self, name: str, expected: LapKind = "timed") -> None:
        """Ask for the belief, as the engine does after each fact."""
        self.tracks[name].judge(expected)
        self.tracks[name].outlook()

    def laps(self, name: str, *ratios: float) -> float:
        """Drive whole laps at these multiples of 100 s, out-lap first if the car has just left."""
        for ratio in ratios:
            self.lap(name, 30.0 * ratio, 40.0 * ratio, 30.0 * ratio)
        return self.now[name]

    def in_lap(self, name: str, ratio: float = 1.2, stop_s: float = 300.0) -> float:
        """Come in, stand, leave again; returns when it left."""
        self.lap(name, 30.0 * ratio, 40.0 * ratio)
        self.now[name] += 25.0 * ratio
        self.tracks[name].come_in(self.now[name])
        self.now[name] += stop_s
        self.tracks[name].leave(self.now[name])
        return self.now[name]


def driven_field(cars: int = 4, runs: int = 3) -> Cars:
    """A field that drove runs of out, timed, cool-down, timed and in; each car a little different."""
    cars_made = Cars(*(f"car-{number}" for number in range(cars)))
    for run in range(runs):
        for at, name in enumerate(cars_made.tracks):
            own = 1.0 + 0.003 * at + 0.001 * run
            cars_made.laps(name, 1.25 * own, own, 1.45 + 0.02 * at, own * 0.998)
            cars_made.in_lap(name)
    return cars_made


def rising(values: Sequence[float]) -> bool:
    """True when no value is less than the one before."""
    return all(later >= earlier - 1e-9 for earlier, later in itertools.pairwise(values))
