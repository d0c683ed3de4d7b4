"""The product at work in such a session: the real engine is told what happens, and what it advises is done.

**Real.** ``Session`` of the engine with the session's own setup, fed with the facts of a timing feed; its snapshots and
forecasts, its moments of asking for advice, its questions, ``advise``, its proposals, and ``adopt`` of the desk. The
plan that is driven is the one that the engine then follows: which run is next, how many laps it has.

**The world's.** When things happen (``replan_world.py``). An engineer adopts the first proposal ``ADOPTS_S`` after it
stands; nobody shortens, drops or adds anything else. With ``asks`` the desk also asks by itself (the command
``advise``), before the green light and whenever a car comes in: what is in danger and no must raises no alert, so
nobody else would ask. Engine time goes on in steps of ``TICK_S``, and nothing is said on the radio: the driver knows
the plan. Two runs that are joined by an advised plan stay two in what is counted.
"""

from __future__ import annotations

import heapq
import itertools
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

from pitwall.engine.advising_question import question
from pitwall.engine.run_state import RunState
from pitwall.engine.session import Session
from pitwall.forecast.futures import forecast
from pitwall.model import events as ev
from pitwall.model import outputs as out
from pitwall.model.advice import AdviceAnswer, AdviceQuestion, CarPlan, RunChoice
from pitwall.model.plan import LapKind
from pitwall.model.setup import SessionSetup
from simulations.replan_driving import CarDay, Choice, Done, What
from simulations.replan_world import Fate

TICK_S = 10.0
CLOCK_S = 60.0
FORECAST_S, ADVICE_S, ADOPTS_S, ASKS_S = 0.5, 2.0, 8.0, 5.0
ASKS_FIRST_S = -40.0
BEFORE_S = 60.0


Advise = Callable[[AdviceQuestion], AdviceAnswer]


class Wall:
    """The engine and its desk; ``joined`` holds by car and run the lengths of what follows it without a stop."""

    def __init__(self, setup: SessionSetup, advise: Advise, *, asks: bool = False) -> None:
        """``asks``: somebody asks for advice as well, before the green light and whenever a car comes in."""
        self.session, self._advise, self.now, self._asks = Session(), advise, -BEFORE_S, asks
        self._better = True
        self._seq, self._order = itertools.count(), itertools.count()
        self._waiting: list[tuple[float, int, Callable[[float], None]]] = []
        self.joined: dict[tuple[str, str], list[tuple[str, int]]] = {}
        self.asked = self.adopted = self._wishes = 0
        self.refused: list[str] = []
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
                self.at(self.now + FORECAST_S, partial(self._answer_forecast, output))
            elif isinstance(output, out.AdviceWanted):
                self.asked += 1
                self.at(self.now + ADVICE_S, partial(self._answer_advice, output))
            elif isinstance(output, out.AdviceState) and output.proposals and self._better:
                self.at(self.now + ADOPTS_S, partial(self._adopt, output.proposals[0]))
            elif isinstance(output, out.Refused):
                self.refused.append(output.reason)

    def _answer_forecast(self, wanted: out.ForecastWanted, t: float) -> None:
        self.tell(t, ev.ForecastReady(id=f"forecast-{wanted.revision}", t=t, revision=wanted.revision,
                                      answer=forecast(wanted)))

    def _answer_advice(self, wanted: out.AdviceWanted, t: float) -> None:
        answer = self._advise(wanted.question)
        self._better = bool(answer.best) and answer.best[0].cars != answer.as_planned.cars
        self.tell(t, ev.AdviceReady(id=f"advice-{wanted.revision}", t=t, revision=wanted.revision, answer=answer))

    def may_ask(self, car: str, t: float) -> None:
        """A moment at which the next run may still change: the desk asks, if it does so at all."""
        if self._asks and self.session.clock.status not in ("finished", "closed"):
            self._wishes += 1
            self.at(t + ASKS_S, lambda then, number=self._wishes: self.tell(then, ev.CommandGiven(
                id=f"advise-{number}", t=then, car=car, command="advise", by="engineer")))

    def _adopt(self, shown: out.Proposal, t: float) -> None:
        """The engineer takes it, if it still stands."""
        offer = next((one for one in self.session.advising.offers if one.shown.id == shown.id), None)
        if offer is None:
            return
        self.adopted += 1
        for part in offer.parts:
            self._note_joined(part)
        self.tell(t, ev.CommandGiven(id=f"adopt-{self.adopted}", t=t, car=shown.cars[0], command="adopt",
                                     proposal=shown.id, by="engineer"))

    def _note_joined(self, part: CarPlan) -> None:
        lengths = {done.run: done.timed for done in part.runs}
        first = {done.run: done.with_run for done in part.runs if done.with_run is not None}
        for name, host in first.items():
            while host in first:
                host = first[host]
            known = self.joined.setdefault((part.car, host), [(host, lengths[host])])
            known.append((name, lengths[name]))

    def choices(self) -> dict[str, tuple[RunChoice, ...]]:
        """By car, the runs and what may be changed of them, as the engine would ask now."""
        asked = question(self.session.setup, self.session.clock, self.session.team, 0, None, self.now)
        return {car: tuple(one for one in asked.choices if one.car == car) for car in self.session.team}


@dataclass
class Obedient:
    """The pilot of one car who does what the engine's plan says."""

    wall: Wall
    car: str
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
        return self._meant(state), kind if kind in ("timed", "cool") else "in"

    def _meant(self, state: RunState) -> str:
        """Which of the joined runs this lap belongs to."""
        driven, meant = 0, state.run.run
        for name, timed in self.wall.joined.get((self.car, state.run.run), ()):
            driven, meant = driven + timed, name
            if state.timed_done < driven:
                break
        return meant

    def told(self, what: What, t: float, lap_s: float | None) -> None:
        """Timing saw it."""
        self._facts += 1
        name = f"{self.car}-{self._facts}-{what}"
        if what == "exit" or what == "entry":
            self.wall.tell(t, ev.CarPitted(id=name, t=t, car=self.car, where=what))
            if what == "entry":
                self.wall.may_ask(self.car, t)
        else:
            self.wall.tell(t, ev.CarCrossed(id=name, t=t, car=self.car, loop="line", lap_time_s=lap_s))


def opened(setup: SessionSetup) -> dict[str, tuple[RunChoice, ...]]:
    """What may be changed of each run as the session opens."""
    def nobody(asked: AdviceQuestion) -> AdviceAnswer:
        raise AssertionError(f"nobody is asked at {asked.snapshot.t}")

    return Wall(setup, nobody).choices()


def followed(fate: Fate, advise: Advise, *, asks: bool = False) -> tuple[dict[str, dict[str, Done]], Wall]:
    """The session with the product on the wall; what was done by car and run."""
    wall = Wall(fate.setup, advise, asks=asks)
    days = {car: CarDay(fate, car, Obedient(wall, car)) for car in sorted(fate.setup.plans)}
    _arm(wall, fate)
    wall.at(ASKS_FIRST_S, partial(wall.may_ask, min(days)))
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
