"""When the retained states go out: the clock once a second, desk states as they change but not in floods.

In a long break the clock stands and nobody moves: then both go out less often.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from pitwall.engine import publish, windows
from pitwall.engine.car import CarTrack
from pitwall.engine.session_clock import SessionClock
from pitwall.engine.team import TeamCar
from pitwall.model.outputs import Output

TICK_S = 1.0
FIELD_S = 5.0
DESK_S = 0.5


class Notices:
    """What is due for publication. ``plan`` and ``desk`` hold the cars whose state changed since it was last sent.

    ``shown`` is False where nobody looks, in a replay for a debrief or an instant rehearsal: desk, field and clock,
    which decide nothing, are then not drawn up at all. They are a fifth of what the engine costs.
    """

    def __init__(self) -> None:
        self.shown = True
        self.tick_t, self.tick_s = float("-inf"), TICK_S
        self._field_t = float("-inf")
        self._desk_t: dict[str, float] = {}
        self.plan: set[str] = set()
        self.desk: set[str] = set()

    def due(
        self, clock: SessionClock, team: dict[str, TeamCar], tracks: Iterable[CarTrack], now: float, over: bool
    ) -> list[Output]:
        """Everything that should be sent at ``now``, in a fixed order."""
        found: list[Output] = []
        rests = windows.resting(clock, now)
        self.tick_s = windows.REST_TICK_S if rests else TICK_S
        if now >= self.tick_t + self.tick_s:
            self.tick_t = float(math.floor(now))
            found += [publish.clock_state(clock, now)] if self.shown else []
        if now >= self._field_t + (windows.REST_LOOK_S if rests else FIELD_S) and not over:
            self._field_t = now
            found += [publish.field_state(tracks, now)] if self.shown else []
            self.desk.update(name for name, car in team.items() if not windows.can_wait(car, clock, now))
        for name, car in team.items():
            if name in self.plan:
                self.plan.discard(name)
                self.desk.add(name)
                found.append(publish.plan_state(car, now))
            if name in self.desk and now >= self._desk_t.get(name, float("-inf")) + DESK_S:
                self._desk_t[name] = now
                self.desk.discard(name)
                found += [publish.desk_state(car, clock, now)] if self.shown else []
        return found
