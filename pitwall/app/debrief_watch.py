"""Stands beside the engine, live or in a replay, and notes what a debrief needs and only the engine knows.

``NotedSession`` is the engine with somebody who takes notes: same facts, same outputs. What is noted where a lap
begins (what the car carried, what was expected of the lap) cannot be asked for afterwards.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from typing import Any, TypeGuard

import structlog

from pitwall.app.memory import few_collections
from pitwall.debrief.notes import Notes
from pitwall.engine.driven_instead import PLANNED, wanted_instead
from pitwall.engine.laps import LapRecord
from pitwall.engine.run_state import RunState
from pitwall.engine.session import Session
from pitwall.engine.session_clock import SessionClock
from pitwall.engine.team import TeamCar
from pitwall.model import outputs as out
from pitwall.model.car import Position
from pitwall.model.debrief_rows import Expected, SwitchEvidence
from pitwall.model.events import Stamped, SwitchReported
from pitwall.pace.believing import timed_next
from pitwall.pace.weighing import LEVELS, MIDDLE
from pitwall.runtime.apply import apply

log = structlog.get_logger(__name__)

LOW, HIGH = LEVELS.index(0.05), LEVELS.index(0.95)
MOVES_A_CAR = frozenset({"car_crossed", "car_pitted", "command_given", "time_reached"})
MOVES_A_SWITCH = frozenset({"switch_reported", "command_given"})


@dataclass(frozen=True, slots=True)
class LapStart:
    """A lap as it began: when that was heard of, what the car carried, and what was expected of a timed lap.

    ``wanted_timed``: of a lap that the plan has as in-lap or cool-down lap, where its switches may stand should it be
    driven as a timed one, with the items of the lap that it takes the place of and without; empty of other laps.
    """

    number: int
    start_t: float
    heard_s: float
    driver: str
    tyres: str | None
    tyre_laps: int | None
    fuel_kg: float | None
    expected: Expected | None
    wanted_timed: tuple[Mapping[str, Position], ...] = ()


@dataclass(frozen=True, slots=True)
class Flag:
    """The status of the session from a moment on."""

    t: float
    status: out.Status
    sectors: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Retold:
    """At ``t`` a status, or a clock, was taken back that had stood since ``since_s``."""

    t: float
    since_s: float


@dataclass(frozen=True, slots=True)
class Moved:
    """A switch came to stand elsewhere."""

    t: float
    switch: str
    position: Any
    before: Any
    evidence: SwitchEvidence
    run: str | None
    lap: int | None


@dataclass
class CarWatch:
    """What was noted of one car. ``legs``: by lap number the run and its planned lap on which the car was last;
    ``measured_from``: when telemetry first spoke of each switch, be it only where it was taken to stand; ``weak``: by
    switch the last move where it was told or not even that, which may be known better while that run lasts."""
    starts: list[LapStart] = field(default_factory=list)
    legs: dict[int, tuple[str, int]] = field(default_factory=dict)
    moves: list[Moved] = field(default_factory=list)
    stands: dict[str, Any] = field(default_factory=dict)
    measured_from: dict[str, float] = field(default_factory=dict)
    weak: dict[str, int] = field(default_factory=dict)


TellRun = Callable[["NotedSession", str], out.RunDebrief | None]
NEWS = (out.LapJudged, out.PlanState, out.CommentNoted, out.Corrected)
"""Outputs after which what is known of a run may be more."""
News = out.LapJudged | out.PlanState | out.CommentNoted | out.Corrected | out.Prompt
SETTLED = ("done", "late", "missed", "unconfirmed", "withdrawn", "skipped")


class NotedSession:
    """The engine, and beside it the notes for the debrief. A failure of the notes costs no output."""

    def __init__(self, session: Session | None = None, live: TellRun | None = None) -> None:
        """Around a fresh engine, or the one given; ``live`` makes the debrief of a car's last run as it comes in."""
        self.session = session if session is not None else Session()
        self._live = live
        self.notes, self.cars, self.flags = Notes(), dict[str, CarWatch](), list[Flag]()
        self.retold: list[Retold] = []
        self.failures = self._mended = 0
        self.told: dict[str, out.RunDebrief] = {}

    def handle(self, stamped: Stamped) -> tuple[out.Output, ...]:
        """Advance by one fact, as the engine does, and note it."""
        step = apply(self.session, stamped)
        more: tuple[out.Output, ...] = ()
        try:
            self._note(stamped, step.outputs, step.failure is not None)
            if step.failure is None and self._live is not None:
                more = self._runs_over(step.outputs, self._live)
        except Exception:
            self.failures += 1
            log.exception("the notes for the debrief failed on a fact; the session goes on", seq=stamped.seq)
        if step.failure is not None:
            raise step.failure
        return (*step.outputs, *more)

    def standing(self) -> tuple[out.Output, ...]:
        """As the engine has it, and the debrief of each car's last run."""
        return (*self.session.standing(), *self.told.values())

    def _runs_over(self, outputs: tuple[out.Output, ...], tell: TellRun) -> tuple[out.Output, ...]:
        """The debrief of a run as its car comes in, and anew when something about it changed while it stands there."""
        found = []
        # Most facts lead to a wake-up, if to anything.
        news = [one for one in outputs if type(one) is not out.WakeAt and self._is_news(one)]
        if not news:
            return ()
        for name in dict.fromkeys(one.car for one in news if one.car in self.session.team):
            in_pits = not self.session.team[name].track.on_track
            came_in = any(isinstance(one, out.LapJudged) and one.car == name and one.at == "pit" for one in outputs)
            if not in_pits or not (came_in or name in self.told):
                continue
            made = tell(self, name)
            last = self.told.get(name)
            if made is not None and (last is None or made.model_copy(update={"id": last.id, "t": last.t}) != last):
                self.told[name] = made
                found.append(made)
        return tuple(found)

    @contextmanager
    def unseen(self) -> Iterator[None]:
        """While a journal is gone over: what only screens show is not drawn up, for whoever looks is told what stands
        afterwards. A quarter of what the engine costs then; what it decides is the same."""
        before, self.session.notices.shown = self.session.notices.shown, False
        try:
            with few_collections():
                yield
        finally:
            self.session.notices.shown = before

    def _is_news(self, one: out.Output) -> TypeGuard[News]:
        """True where more may be known of a run now, also when one of its calls was settled."""
        if not isinstance(one, out.Prompt):
            return isinstance(one, NEWS)
        last = self.told.get(one.car)
        return last is not None and last.run is not None and one.run == last.run.run and one.state in SETTLED

    def open_wishes(self) -> tuple[out.Output, ...]:
        """As the engine has it."""
        return self.session.open_wishes()

    def _note(self, stamped: Stamped, outputs: tuple[out.Output, ...], failed: bool) -> None:
        self.notes.take(stamped, outputs, failed=failed)
        session, kind = self.session, stamped.event.type
        if not session.prepared:
            return
        history = session.hands.clocks
        if history.mended != self._mended:
            # What was entered wrongly never held: what is believed since stands in its place.
            self._mended = history.mended
            self.retold.append(Retold(session.now, history.mended_s))
            self.flags = [flag for flag in self.flags if flag.t < history.mended_s]
            for t, clock in history.since(history.mended_s):
                self._flag(t, clock)
        # A change by time alone, and one that was reported, hold from when the engine knew.
        self._flag(session.now, session.clock)
        if kind in MOVES_A_CAR:
            for name, car in session.team.items():
                self._laps(self._watch(name), car, session.now)
        if kind in MOVES_A_SWITCH or (outputs and any(type(one) is out.Prompt for one in outputs)) or not self.cars:
            seen = stamped.event if isinstance(stamped.event, SwitchReported) else None
            for name, car in session.team.items():
                self._switches(self._watch(name), car, session.now, seen)

    def _watch(self, name: str) -> CarWatch:
        found = self.cars.get(name)
        if found is None:
            found = self.cars[name] = CarWatch()
        return found

    def _flag(self, t: float, clock: SessionClock) -> None:
        last = self.flags[-1] if self.flags else None
        if last is None or last.status != clock.status or last.sectors != clock.yellow_sectors:
            self.flags.append(Flag(t, clock.status, clock.yellow_sectors))

    def _laps(self, watch: CarWatch, car: TeamCar, now: float) -> None:
        lap = car.track.lap
        if lap is None or not car.track.on_track:
            return
        run = car.progress.current
        if run is not None:
            watch.legs[lap.number] = (run.run.run, run.pointer)
        last = watch.starts[-1] if watch.starts else None
        if last is None or last.number != lap.number or abs(last.start_t - lap.start_t) > 1.0:
            watch.starts.append(LapStart(
                lap.number, lap.start_t, now, car.seated, car.carried.tyres, car.carried.tyre_laps(car.track),
                car.carried.fuel(car.track, car.switches.car.fuel_per_lap_kg), _expected(car),
                _wanted_timed(car, run),
            ))

    def _switches(self, watch: CarWatch, car: TeamCar, now: float, seen: SwitchReported | None) -> None:
        """What is measured stands from when telemetry saw it; the report may have come seconds later."""
        board = car.switches
        measured_t = board.measured_t
        if seen is not None and seen.car == car.car:
            measured_t = measured_t | {seen.switch: min(seen.t, now)}
        for name in measured_t.keys() - watch.measured_from.keys():
            watch.measured_from[name] = measured_t[name]
        _known_better(watch, car)
        if watch.stands == board.believed:
            return
        run, lap = car.progress.current, car.track.lap
        for name, position in board.believed.items():
            before = watch.stands.get(name)
            if name in watch.stands and type(before) is type(position) and before == position:
                continue
            evidence: SwitchEvidence = "told"
            if name in board.measured:
                evidence = "measured"
            elif not watch.stands:
                evidence = "assumed"
            elif name in board.verified:
                evidence = "confirmed"
            elif name in board.unsaid:
                evidence = "unconfirmed"
            known = {} if evidence == "unconfirmed" else measured_t if evidence == "measured" else board.told_t
            t = _moment(known, name, now)
            watch.moves.append(Moved(t, name, position, before, evidence, run.run.run if run is not None else None,
                                     _lap_at(lap, t)))
            watch.weak.pop(name, None)
            if before is not None and evidence in ("unconfirmed", "told"):
                watch.weak[name] = len(watch.moves) - 1
        watch.stands = dict(board.believed)


def _known_better(watch: CarWatch, car: TeamCar) -> None:
    """The key to a call came after it was given up as unconfirmed, or the driver read back what he was told: the move
    is known so. What is said on another run, or before it, is of where the switch stands then."""
    board, run = car.switches, car.progress.current
    for name, at in list(watch.weak.items()):
        move = watch.moves[at]
        left_since = move.run is None and watch.starts and watch.starts[-1].heard_s > move.t
        if left_since or move.run != (run.run.run if run is not None else None):
            del watch.weak[name]
        elif name in board.verified and name not in board.measured:
            watch.moves[at] = replace(move, evidence="confirmed")
            del watch.weak[name]
        elif move.evidence == "unconfirmed" and name not in board.unsaid and name in board.told_t:
            watch.moves[at] = replace(move, evidence="told")


def _moment(known: Mapping[str, float], name: str, now: float) -> float:
    return known.get(name, now)


def _lap_at(lap: LapRecord | None, t: float) -> int | None:
    """The number of the lap on which it was; what is told on this lap may have been before its line."""
    if lap is None or t >= lap.start_t:
        return lap.number if lap is not None else None
    return lap.number - 1 if lap.start_phase == 0.0 and lap.number > 1 else None


def _wanted_timed(car: TeamCar, run: RunState | None) -> tuple[Mapping[str, Position], ...]:
    if run is None or run.expected_kind not in PLANNED:
        return ()
    return car.switches.wanted(run, run.pointer, instead="timed"), wanted_instead(car, run)


def _expected(car: TeamCar) -> Expected | None:
    """What a timed lap that begins now is expected to take; only looked at."""
    told = timed_next(car.track.pace.belief)
    if told is None:
        return None
    return Expected(median_s=round(float(told[MIDDLE]), 3), low_s=round(float(told[LOW]), 3),
                    high_s=round(float(told[HIGH]), 3))
