"""When the retained states go out: the clock once a second, desk states as they change but not in floods.

In a long break the clock stands and nobody moves: then both go out less often.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from functools import partial

from pitwall.engine import publish, windows
from pitwall.engine.car import CarTrack
from pitwall.engine.drawing import drawn
from pitwall.engine.session_clock import SessionClock
from pitwall.engine.team import TeamCar
from pitwall.model.outputs import Output, Refused

TICK_S = 1.0
FIELD_S = 5.0
DESK_S = 0.5


class Notices:
    """What is due for publication. ``plan`` and ``desk`` hold the cars whose state changed since it was last sent.

    ``shown`` is False where nobody looks, in a replay for a debrief or an instant rehearsal: desk, field and clock,
    which decide nothing, are then not drawn up at all. They are a fifth of what the engine costs. One that cannot be
    drawn up is refused, once until it can be again, and keeps nothing else back.
    """

    def __init__(self) -> None:
        self.shown = True
        self.tick_t, self.tick_s = float("-inf"), TICK_S
        self._field_t = float("-inf")
        self._desk_t: dict[str, float] = {}
        self.plan: set[str] = set()
        self.desk: set[str] = set()
        self._failed: set[tuple[str, str | None]] = set()

    def due(
        self, clock: SessionClock, team: dict[str, TeamCar], tracks: Iterable[CarTrack], now: float, over: bool
    ) -> list[Output]:
        """Everything that should be sent at ``now``, in a fixed order."""
        found: list[Output] = []
        rests = windows.resting(clock, now)
        self.tick_s = windows.REST_TICK_S if rests else TICK_S
        if now >= self.tick_t + self.tick_s:
            self.tick_t = float(math.floor(now))
            found += self._state("clock", None, now, lambda: publish.clock_state(clock, now))
        if now >= self._field_t + (windows.REST_LOOK_S if rests else FIELD_S) and not over:
            self._field_t = now
            found += self._state("field", None, now, lambda: publish.field_state(tracks, now))
            self.desk.update(name for name, car in team.items() if not windows.can_wait(car, clock, now))
        for name, car in team.items():
            if name in self.plan:
                self.plan.discard(name)
                self.desk.add(name)
                found += self._state("plan state", name, now, partial(publish.plan_state, car, now), always=True)
            if name in self.desk and now >= self._desk_t.get(name, float("-inf")) + DESK_S:
                self._desk_t[name] = now
                self.desk.discard(name)
                found += self._state("desk state", name, now, partial(publish.desk_state, car, clock, now))
        return found

    def _state(
        self, what: str, car: str | None, now: float, draw: Callable[[], Output], always: bool = False
    ) -> list[Output]:
        """The state, where somebody looks; ``always``: others than screens take it, too."""
        if not (self.shown or always):
            return []
        made, key = drawn(what, car, now, draw), (what, car)
        told = key in self._failed
        (self._failed.add if isinstance(made, Refused) else self._failed.discard)(key)
        return [] if told and isinstance(made, Refused) else [made]
