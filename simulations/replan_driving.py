"""One car through its session, event by event; a pilot says which run comes next and what the next lap is.

The same for every way of deciding (``replan_world.py`` has the rules). What happens is told to the pilot as it happens:
it never learns of anything to come, unless it looks into the fate itself.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, Protocol

from pitwall.model.plan import LapKind
from simulations.replan_world import EXIT_S, RED_PACE, Fate

What = Literal["exit", "line", "entry", "lane_line"]


@dataclass(frozen=True)
class Choice:
    """A run to leave for, no sooner than ``not_before_s``."""

    run: str
    not_before_s: float = float("-inf")


class Pilot(Protocol):
    """Decides for one car."""

    def leaves_for(self, t: float) -> Choice | None:
        """The car could leave now: for which run? None: for none any more."""

    def next_lap(self, t: float) -> tuple[str, LapKind]:
        """The car begins a lap that is no out-lap: of which run, and which kind."""

    def out_in(self, run: str) -> bool:
        """Whether this run comes straight in again."""

    def told(self, what: What, t: float, lap_s: float | None) -> None:
        """The car was seen there."""


@dataclass
class Done:
    """What came of one run: timed laps that count, when it first left, whether it left before the end."""

    timed: int = 0
    left_s: float | None = None


class CarDay:
    """One car. ``next_t`` is when its next event comes; ``step`` lets it happen."""

    def __init__(self, fate: Fate, car: str, pilot: Pilot, t: float = 0.0, behind: str | None = None) -> None:
        """At ``t`` the car came in from the run ``behind``, or stands in its garage as the session opens."""
        self._fate, self.car, self._pilot = fate, car, pilot
        self.done: dict[str, Done] = {}
        self.behind, self.parked_s, self.cut = behind, t, False
        self.where: Literal["garage", "track", "lane", "over"] = "garage"
        self.next_t = t if behind is None else t + fate.work_s(car, behind)
        self._numbers: dict[tuple[str, str], int] = {}
        self._run, self._kind, self._begun_s, self._line_s = "", "out", 0.0, 0.0
        self._ends: What = "line"
        self._left_s: float | None = None

    @property
    def over(self) -> bool:
        """Nothing will happen any more."""
        return self.where == "over"

    def step(self) -> None:
        """The next event."""
        t = self.next_t
        if self.where == "garage":
            self._try_to_leave(t)
        elif self.where == "lane":
            self._pilot.told("lane_line", t, t - self._line_s)
            self.where, self.next_t = "garage", self._ready(self.behind or "")
        elif self._ends == "entry":
            self._park(t)
        else:
            self._cross(t)

    # -- the garage --------------------------------------------------------------------------------

    def _ready(self, run: str) -> float:
        """When the car may leave for this run: at once for a run that red cut, else when the work is done."""
        if self.behind is None or (self.cut and run == self.behind):
            return max(self.parked_s + self._fate.lane_s(self.car), self._line_s)
        return self.parked_s + self._fate.work_s(self.car, self.behind)

    def _try_to_leave(self, t: float) -> None:
        if t >= self._fate.end_s:
            self.where = "over"
            return
        choice = self._pilot.leaves_for(t)
        if choice is None:
            self.where = "over"
            return
        wanted = max(self._ready(choice.run), choice.not_before_s)
        red = self._fate.red_within(wanted, wanted + 1e-6)
        wanted = red[1] if red is not None else wanted
        if wanted > t:
            # Looked at again meanwhile: the plan may change.
            self.next_t = min(wanted, t + 10.0)
            return
        self._leave(choice.run, t)

    def _leave(self, run: str, t: float) -> None:
        at = t + EXIT_S
        self._left_s = at if at < self._fate.end_s else None
        self._run, self.cut = run, False
        self.where = "track"
        self.next_t, self._ends = at, "exit"

    # -- laps --------------------------------------------------------------------------------------

    def _cross(self, t: float) -> None:
        if self._ends == "exit":
            self._pilot.told("exit", t, None)
            self._begin(t, self._run, "out")
            return
        if self._kind != "timed" or self._fate.is_timed(self.car, t - self._begun_s):
            self.done[self._run].timed += self._kind == "timed" and self._in_time(t)
            self._count()
        self._pilot.told("line", t, t - self._line_s)
        self._line_s = t
        run, kind = self._pilot.next_lap(t)
        self._begin(t, run, "in" if t >= self._fate.end_s else kind)

    def _in_time(self, t: float) -> bool:
        started = self._fate.setup.regulations.finish_started_lap
        return self._begun_s < self._fate.end_s if started else t <= self._fate.end_s

    def _count(self) -> None:
        key = (self._run, self._kind)
        self._numbers[key] = self._numbers.get(key, 0) + 1

    def _begin(self, t: float, run: str, kind: LapKind) -> None:
        """A lap begins; where a red flag falls into it, it ends in the lane."""
        fate = self._fate
        self._run, self._kind, self._begun_s = run, kind, t
        done = self.done.setdefault(run, Done())
        if done.left_s is None:
            done.left_s = self._left_s
        if kind == "out":
            self._line_s = t
        number = self._numbers.get((run, kind), 0)
        end = fate.lap_end(t, fate.lap_s(self.car, run, kind, number))
        comes_in = kind == "in" or (kind == "out" and self._pilot.out_in(run))
        red = fate.red_within(t, end)
        if red is not None:
            from_s = max(t, red[0])
            end = from_s + (end - from_s) * RED_PACE
        self.cut = red is not None and not comes_in
        self.where = "track"
        if comes_in or red is not None:
            earliest = max(t, red[0]) if red is not None else t
            self._ends, self.next_t = "entry", max(end - fate.lane_s(self.car), earliest + 1.0)
        else:
            self._ends, self.next_t = "line", end

    def _park(self, t: float) -> None:
        if not self.cut:
            self._count()
        self.behind, self.parked_s = self._run, t
        self._pilot.told("entry", t, None)
        self.where, self.next_t = "lane", t + self._fate.lane_s(self.car)
