"""The product at work in such a session: the real engine is told what happens, and what it advises is done.

**Real.** ``Session`` of the engine with the session's own setup, fed with the facts of a timing feed; its snapshots, its
forecasts, its moments of asking for advice, its questions, ``advise``, its proposals, and ``adopt`` of the desk. The
plan that is driven is the one that the engine then follows: which run is next, how many laps it has.

**The world's.** When things happen (``replan_world.py``). An engineer adopts the first proposal ``ADOPTS_S`` after it
stands; nobody shortens, drops or adds anything else. Engine time goes on in steps of ``TICK_S``, and nothing is said on
the radio: the driver knows the plan.
"""

from __future__ import annotations

import heapq
import itertools
from collections.abc import Callable
from dataclasses import dataclass, field

from pitwall.engine.session import Session
from pitwall.forecast.futures import forecast
from pitwall.model import events as ev
from pitwall.model import outputs as out
from pitwall.model.plan import LapKind
from pitwall.model.setup import SessionSetup
from simulations.replan_driving import CarDay, Choice, Done, What
from simulations.replan_world import Fate

TICK_S = 10.0
CLOCK_S = 60.0
FORECAST_S, ADVICE_S, ADOPTS_S = 0.5, 2.0, 8.0
BEFORE_S = 60.0


class Wall:
    """The engine and its desk. ``moments`` are what it waits for, by session second."""

    def __init__(self, setup: SessionSetup, advise: Callable[[object], object] | None) -> None:
        self.session, self._advise, self.now = Session(), advise, -BEFORE_S
        self._seq, self._order = itertools.count(), itertools.count()
        self._waiting: list[tuple[float, int, Callable[[float], None]]] = []
        self.asked = self.adopted = 0
        self.tell(-BEFORE_S, ev.SessionPrepared(id="prepared", t=-BEFORE_S, setup=setup))

    @property
    def next_t(self) -> float:
        """When something that it waits for comes; infinity when nothing does."""
        return self._waiting[0][0] if self._waiting else float("inf")

    def at(self, t: float, action: Callable[[float], None]) -> None:
        """Do that then."""
        heapq.heappush(self._waiting, (t, next(self._order), action))

    def step(self) -> None:
        """What comes next."""
        t, _, action = heapq.heappop(self._waiting)
        action(t)

    def tell(self, t: float, fact: ev.Event) -> None:
        """A fact reaches the engine; what it asks for is put on the list of what comes."""
        self.now = max(self.now, t)
        for output in self.session.handle(ev.Stamped(seq=next(self._seq), received_t=self.now, event=fact)):
            if isinstance(output, out.ForecastWanted):
                self._forecast(output)

    def _forecast(self, wanted: out.ForecastWanted) -> None:
        answer = forecast(wanted)
        self.at(self.now + FORECAST_S, lambda t: self.tell(
            t, ev.ForecastReady(id=f"forecast-{wanted.revision}", t=t, revision=wanted.revision, answer=answer)))


@dataclass
class Obedient:
    """The pilot of one car who does what the engine's plan says."""

    wall: Wall
    car: str
    merged: dict[str, tuple[tuple[str, int], ...]] = field(default_factory=dict)
    _facts: int = 0

    def leaves_for(self, t: float) -> Choice | None:
        """The run that the engine has as the next one, when its crew is ready for it."""
        car = self.wall.session.team[self.car]
        state = car.progress.next
        if state is None:
            return None
        return Choice(state.run.run, max(state.run.release.not_before or float("-inf"), car.crew_floor))

    def out_in(self, run: str) -> bool:
        """As the engine's plan has it."""
        state = self.wall.session.team[self.car].progress.current
        return state is not None and state.out_in

    def next_lap(self, t: float) -> tuple[str, LapKind]:
        """What the engine expects of the lap that begins."""
        state = self.wall.session.team[self.car].progress.current
        if state is None:
            return "", "in"
        kind = state.expected_kind
        return state.run.run, kind if kind in ("timed", "cool", "in") else "in"

    def told(self, what: What, t: float, lap_s: float | None) -> None:
        """Timing saw it."""
        self._facts += 1
        name = f"{self.car}-{self._facts}-{what}"
        if what in ("exit", "entry"):
            where: ev.Literal["exit", "entry"] = "exit" if what == "exit" else "entry"
            self.wall.tell(t, ev.CarPitted(id=name, t=t, car=self.car, where=where))
        else:
            self.wall.tell(t, ev.CarCrossed(id=name, t=t, car=self.car, loop="line", lap_time_s=lap_s))


def followed(fate: Fate, advise: Callable[[object], object] | None) -> tuple[dict[str, dict[str, Done]], Wall]:
    """The session with the product on the wall; what was done by car and run."""
    wall = Wall(fate.setup, advise)
    days = {car: CarDay(fate, car, Obedient(wall, car)) for car in sorted(fate.setup.plans)}
    _arm(wall, fate)
    while True:
        day = min((day for day in days.values() if not day.over), key=lambda one: one.next_t, default=None)
        if day is None:
            return {car: one.done for car, one in days.items()}, wall
        if wall.next_t <= day.next_t:
            wall.step()
        else:
            day.step()


def _arm(wall: Wall, fate: Fate) -> None:
    """Flags, clock and the passing of time."""
    end = fate.end_s
    _status(wall, -BEFORE_S, "waiting", "closed")
    wall.tell(-BEFORE_S, ev.ClockReported(id="clock-0", t=-BEFORE_S, remaining_s=fate.setup.duration_s, running=False))
    wall.at(0.0, lambda t: _status(wall, t, "green", "open"))
    for kind, spans in (("red", fate.reds), ("slow", fate.slows)):
        for start, stop in spans:
            if start < end:
                shut: ev.PitExit = "closed" if kind == "red" else "open"
                wall.at(start, lambda t, kind=kind, shut=shut: _status(wall, t, kind, shut))
            if start < end and stop < end:
                wall.at(stop, lambda t: _status(wall, t, "green", "open"))
    wall.at(end, lambda t: _status(wall, t, "finished", "closed"))
    moment = 0.0
    while moment < end + 300.0:
        wall.at(moment + 0.01, lambda t: wall.tell(t, ev.TimeReached(id=f"time-{t:g}", t=t)))
        if moment % CLOCK_S == 0 and moment < end:
            wall.at(moment + 0.02, lambda t: _clock(wall, fate, t))
        moment += TICK_S


def _clock(wall: Wall, fate: Fate, t: float) -> None:
    stands = fate.setup.regulations.red_clock == "stops"
    to_come = sum(stop - max(start, t) for start, stop in fate.reds if stop > t) if stands else 0.0
    running = not (stands and fate.red_within(t, t + 1e-6))
    left = max(0.0, fate.end_s - t - to_come)
    wall.tell(t, ev.ClockReported(id=f"clock-{t:g}", t=t, remaining_s=left, running=running))


def _status(wall: Wall, t: float, status: ev.SessionStatus, pit_exit: ev.PitExit) -> None:
    wall.tell(t, ev.StatusChanged(id=f"status-{t:g}", t=t, status=status, pit_exit=pit_exit))
