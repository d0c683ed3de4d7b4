"""A stage for the engine in tests: a small setup with round numbers, and a session that a test drives along in time.

The circuit is timing-only: a good lap takes 100 s, the loops lie at 30 and 70 s, so every moment can be worked out in
the head. ``shipped`` gives the demo event instead, with its physics and its library.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterable, Mapping
from functools import lru_cache
from typing import Any, Self, TypeVar

from pitwall.app.loading import load_setup
from pitwall.app.resources import demo_event
from pitwall.engine.call import Call
from pitwall.engine.car import CarTrack
from pitwall.engine.session import Session
from pitwall.engine.team import TeamCar
from pitwall.model import events as ev
from pitwall.model.car import Car
from pitwall.model.circuit import Circuit
from pitwall.model.outputs import Answered, Output, Prompt, Refused, WakeAt
from pitwall.model.plan import Plan, Run
from pitwall.model.procedure import Procedure
from pitwall.model.rules import Regulations
from pitwall.model.setup import CallTiming, ForecastSettings, SessionSetup
from pitwall.pace.field_pace import FieldPace
from pitwall.pace.laptimes import CarPace
from pitwall.track.lapmap import LapMap, lap_map

CAR = "41"
LAP_S = 100.0
SOON_S = 60.0
"""From the last fact of a test to the end of its session, where nothing else is to happen in it."""
LOOPS = {"1": 0.3, "2": 0.7}
PIT_EXIT, LAST_CHANCE, PIT_ENTRY = 0.05, 0.93, 0.95
Made = TypeVar("Made", bound=Output)

CIRCUIT = Circuit.model_validate(
    {
        "circuit": 1, "name": "Round Numbers", "lap_s": LAP_S,
        "loops": [{"loop": "line"}, *({"loop": loop, "at_share": share} for loop, share in LOOPS.items())],
        "places": [{"place": "bridge", "at_share": 0.5}, {"place": "turn 1", "at_share": 0.1}],
        "pit": {"entry_share": PIT_ENTRY, "exit_share": PIT_EXIT, "last_chance_share": LAST_CHANCE, "lane_s": 20},
        "marshal_sectors": [
            {"sector": "1", "from_share": 0.0, "to_share": 0.25}, {"sector": "2", "from_share": 0.25, "to_share": 0.6},
            {"sector": "3", "from_share": 0.6, "to_share": 0.99},
        ],
    }
)  # fmt: skip

SWITCHES: list[dict[str, Any]] = [
    {"switch": "torque_map", "kind": "rotary", "word": "torque", "positions": [1, 2, 3, 4], "default": 2,
     "defaults": [{"position": 1, "lap": "cool"}, {"position": 3, "driver": "dana"}, {"position": 4, "wet": True}],
     "measured": True},
    {"switch": "brake_bias", "kind": "bias", "word": "bias", "low": 50, "high": 60, "step": 0.5, "free_range": 0.5,
     "default": 55},
    {"switch": "flap", "kind": "toggle", "word": "flap", "positions": ["closed", "open"], "default": "closed"},
    {"switch": "display", "kind": "paged", "word": "display", "positions": ["drive", "tyres"], "home": "drive",
     "default": "drive"},
    {"switch": "start_map", "kind": "stationary", "word": "start map", "positions": [1, 2], "default": 1},
    {"switch": "mark", "kind": "momentary", "word": "mark", "positions": ["up", "down"], "default": "up"},
    {"switch": "push", "kind": "preset", "word": "push", "positions": ["none", "on"], "default": "none",
     "sets": {"torque_map": 4}},
]  # fmt: skip

_PROCEDURES: list[dict[str, Any]] = [
    {"name": "radio_check", "laps": ["out", "cool", "installation"], "extra_s": 0,
     "steps": [{"say": "Radio check, how do you hear me?", "short": "Radio check", "where": "lap_start",
                "offset_s": 15, "reaction_s": 2}]},
    {"name": "hold", "laps": ["out", "cool", "in"], "place": "needed", "extra_s": 4, "caution": "slow on a straight",
     "arguments": {"seconds": {"type": "number", "default": 5}},
     "steps": [{"say": "After {after}: hold, count {seconds}.", "short": "{after}: hold", "where": "place",
                "reaction_s": 3}]},
    {"name": "flap_lap", "laps": ["timed"], "switches": {"flap": "open"},
     "steps": [{"say": "Next lap: flap open.", "short": "Flap open", "where": "lap_start"}]},
    {"name": "bias_step", "laps": ["timed"], "by": "by",
     "arguments": {"switch": {"type": "switch"}, "by": {"type": "number"}},
     "steps": [{"say": "Comparison lap.", "short": "Comparison", "where": "lap_start"}]},
    {"name": "set_one", "laps": ["timed", "cool"], "switches": {"{switch}": "{position}"},
     "arguments": {"switch": {"type": "switch"}, "position": {"type": "position"}},
     "steps": [{"say": "Comparison lap.", "short": "Comparison", "where": "lap_start"}]},
    {"name": "comment", "laps": ["cool", "in"],
     "steps": [{"say": "Comment please.", "short": "Comment", "kind": "question", "where": "lap_start",
                "offset_s": 14, "reaction_s": 2}]},
    {"name": "standing_start", "laps": ["out"], "extra_s": 12, "place": "optional",
     "steps": [{"say": "Practice start.", "short": "Start", "where": "pit_exit", "reaction_s": 4}]},
    {"name": "bite_check", "laps": ["out", "installation"], "stationary": True,
     "steps": [{"say": "Find the bite point.", "short": "Bite point", "where": "garage"}]},
    {"name": "lane_stop", "laps": ["out", "in"],
     "steps": [{"say": "On the marks.", "short": "Marks", "where": "pit_lane"}]},
    {"name": "limiter_pass", "laps": ["in"],
     "steps": [{"say": "Pit lane: limiter.", "short": "Limiter", "where": "pit_entry", "reaction_s": 3}]},
]  # fmt: skip
PROCEDURES = {
    item["name"]: Procedure.model_validate({"procedure": 1, "purpose": "test", **item}) for item in _PROCEDURES
}

CHECKS: dict[str, Any] = {"run": "checks", "want": "must", "laps": "out-in", "after_garage_s": 300}
MAIN: dict[str, Any] = {"run": "main", "want": "must", "laps": "out, 2 timed, in", "after_garage_s": 300}
SPARE: dict[str, Any] = {"run": "spare", "want": "could", "laps": "out, 1 timed, in", "after_garage_s": 300}


def run(**changes: Any) -> Run:
    """The run ``main`` (out, 2 timed, in) with changes."""
    return Run.model_validate(MAIN | changes)


def plan(*runs: Mapping[str, Any], car: str = CAR, driver: str = "ines", **more: Any) -> Plan:
    """A plan of these runs; ``main`` and ``spare`` when none is given."""
    return Plan.model_validate(
        {"plan": 1, "car": car, "driver": driver, "session": "p1", "runs": list(runs or (MAIN, SPARE)), **more}
    )


def car_file(**changes: Any) -> Car:
    """The demo car of these tests."""
    values: dict[str, Any] = {
        "car": 1, "name": "Test car", "mass_kg": 700, "power_w": 4e5, "drag_area_m2": 1.0, "downforce_area_m2": 3.0,
        "grip": 1.6, "brake_mps2": 30, "traction_mps2": 10, "fuel_per_lap_kg": 2.0, "fuel_reserve_kg": 2.0,
        "switches": SWITCHES, "forbidden_on_timed": ["torque_map", "brake_bias", "flap"],
    }  # fmt: skip
    return Car.model_validate(values | changes)


def regulations(**changes: Any) -> Regulations:
    """An hour; the clock runs under red unless changed."""
    sessions = [{"session": "p1", "duration_s": changes.pop("duration_s", 3600)}]
    return Regulations.model_validate({"regulations": 1, "sessions": sessions, **changes})


def setup(*plans: Plan, **changes: Any) -> SessionSetup:
    """A session with these plans (one for car 41 by default)."""
    chosen = plans or (plan(),)
    values: dict[str, Any] = {
        "event": "Test event", "session": "p1", "team": "Test team", "regulations": regulations(), "circuit": CIRCUIT,
        "cars": {one.car: car_file() for one in chosen}, "plans": {one.car: one for one in chosen},
        "procedures": PROCEDURES, "calls": CallTiming(), "forecast": ForecastSettings(futures=100),
    }  # fmt: skip
    return SessionSetup(**(values | changes))


@lru_cache
def shipped() -> SessionSetup:
    """The demo event as it is shipped: a measured circuit, two cars, the whole procedure library."""
    return load_setup(demo_event())


@lru_cache
def round_map() -> LapMap:
    """Lap map of the circuit with the round numbers."""
    return lap_map(CIRCUIT, None, CallTiming())


def pace() -> CarPace:
    """Pace of a car that has not driven yet."""
    return CarPace(dict(round_map().loops), FieldPace(LAP_S))


def track(line_in_lane: bool = True) -> CarTrack:
    """A car in its garage before its first lap."""
    return CarTrack(CAR, round_map(), pace(), line_in_lane)


class Stage:
    """A session and its time: wake-ups come by themselves while the test goes on to its next moment.

    ``outputs`` holds everything decided so far. Moments are session seconds; feed facts arrive ``late_s`` after they
    happened.
    """

    def __init__(self, prepared: SessionSetup | None = None, *, begin: float = -300.0, late_s: float = 0.0) -> None:
        self.session, self.outputs, self.now, self.late_s = Session(), list[Output](), begin, late_s
        self._wakes: list[float] = []
        self._seq = 0
        self.handle(ev.SessionPrepared(id="prepared", t=begin, setup=prepared if prepared is not None else setup()))

    @property
    def car(self) -> TeamCar:
        """The first car's parts."""
        return self.session.team[min(self.session.team)]

    # -- time and facts ---------------------------------------------------------------------------------------------

    def handle(self, event: ev.Event) -> tuple[Output, ...]:
        """Give one fact now; returns what was decided on it."""
        found = self.session.handle(ev.Stamped(seq=self._seq, received_t=self.now, event=event))
        self._seq += 1
        self.outputs += found
        for output in found:
            if isinstance(output, WakeAt):
                heapq.heappush(self._wakes, output.t)
        return found

    def wait(self, until: float) -> Self:
        """Let time pass, wake-ups and all."""
        while self._wakes and self._wakes[0] <= until:
            self.now = max(self.now, heapq.heappop(self._wakes))
            self.handle(ev.TimeReached(id=f"wake-{self._seq}", t=self.now))
        self.now = max(self.now, until)
        return self

    def give(self, event: ev.Event) -> tuple[Output, ...]:
        """Let time pass until the fact arrives, then give it."""
        self.wait(max(self.now, event.t + self.late_s))
        return self.handle(event)

    def _id(self) -> str:
        return f"fact-{self._seq}"

    def cross(self, t: float, loop: str = "line", car: str = CAR, **more: Any) -> tuple[Output, ...]:
        """The car passes a loop."""
        return self.give(ev.CarCrossed(id=self._id(), t=t, car=car, loop=loop, **more))

    def pit(self, t: float, where: str, car: str = CAR) -> tuple[Output, ...]:
        """The car passes the pit exit or entry."""
        return self.give(ev.CarPitted.model_validate({"id": self._id(), "t": t, "car": car, "where": where}))

    def status(self, t: float, status: str | None = None, **more: Any) -> tuple[Output, ...]:
        """Race control says something."""
        return self.give(ev.StatusChanged.model_validate({"id": self._id(), "t": t, "status": status, **more}))

    def clock(self, t: float, remaining_s: float, running: bool = True) -> tuple[Output, ...]:
        """The official clock."""
        return self.give(ev.ClockReported(id=self._id(), t=t, remaining_s=remaining_s, running=running))

    def switch(self, t: float, switch: str, position: Any, car: str = CAR) -> tuple[Output, ...]:
        """Telemetry."""
        return self.give(ev.SwitchReported(id=self._id(), t=t, car=car, switch=switch, position=position))

    def command(self, command: str, t: float | None = None, car: str = CAR, **more: Any) -> Answered | Refused:
        """The desk asks for something; returns its one answer."""
        values = {"id": self._id(), "t": self.now if t is None else t, "car": car, "command": command, "by": "desk"}
        outputs = self.give(ev.CommandGiven.model_validate(values | more))
        answers = [one for one in outputs if isinstance(one, Answered | Refused)]
        assert len(answers) == 1, f"{command} got {len(answers)} answers"
        return answers[0]

    def close(self) -> Self:
        """Race control ends the session soon after what was told last. A test that is about the end of the hour gives
        it itself: to wait for that, each of its seconds decided on here and by what reads the journal, costs more than
        all the rest."""
        self.status(self.now + SOON_S, "finished")
        self.status(self.now + SOON_S, "closed")
        return self

    # -- whole laps -------------------------------------------------------------------------------------------------

    def green(self, t: float = 0.0) -> Stage:
        """The session begins."""
        self.status(t, "green", pit_exit="open")
        return self

    def leave(self, t: float, car: str = CAR) -> Stage:
        """The car passes the pit exit."""
        self.pit(t, "exit", car)
        return self

    def lap(self, begin: float, seconds: float, *, from_exit: bool = False, car: str = CAR) -> float:
        """Drive to the line in ``seconds``, evenly; returns when the line is passed."""
        start = PIT_EXIT if from_exit else 0.0
        for loop, share in LOOPS.items():
            self.cross(begin + seconds * (share - start) / (1 - start), loop, car)
        self.cross(begin + seconds, "line", car)
        return begin + seconds

    def home(self, begin: float, seconds: float = 118.0, *, from_exit: bool = False, car: str = CAR) -> float:
        """Drive an in-lap (``seconds`` would be its whole length); returns when the pit entry is passed."""
        start = PIT_EXIT if from_exit else 0.0
        for loop, share in LOOPS.items():
            self.cross(begin + seconds * (share - start) / (1 - start), loop, car)
        t = begin + seconds * (PIT_ENTRY - start) / (1 - start)
        self.pit(t, "entry", car)
        return t

    def drive(self, begin: float, *laps: float, car: str = CAR) -> float:
        """Leave the pits at ``begin`` and drive these laps, the first from the pit exit; returns the last line."""
        self.leave(begin, car)
        t = begin
        for number, seconds in enumerate(laps):
            t = self.lap(t, seconds, from_exit=number == 0, car=car)
        return t

    # -- what came of it --------------------------------------------------------------------------------------------

    def made(self, kind: type[Made]) -> list[Made]:
        """Every output of this type so far."""
        return [one for one in self.outputs if isinstance(one, kind)]

    def prompts(self, part: str = "", state: str | None = None) -> list[Prompt]:
        """Prompts of calls whose id contains ``part``, in the order in which they were published."""
        return [one for one in self.made(Prompt) if part in one.call and state in (None, one.state)]

    def call(self, part: str, car: str = CAR) -> Call:
        """The latest call whose id ends with ``part`` (a further attempt counts as the same), else contains it."""
        calls = self.session.team[car].book.calls
        found = [call for name, call in calls.items() if part in name]
        assert found, f"no call with {part!r}; there are {sorted(calls)}"
        return ([call for call in found if call.id.split("~")[0].endswith(part)] or found)[-1]

    def has_call(self, part: str, car: str = CAR) -> bool:
        """True when some call's id contains ``part``."""
        return any(part in name for name in self.session.team[car].book.calls)


def signals_of(happenings: Iterable[Any]) -> list[str]:
    """The words of happenings, for short assertions."""
    return [happening.what for happening in happenings]


def effect(answer: Answered | Refused) -> str:
    """The effect in words; a refusal fails the test."""
    assert isinstance(answer, Answered), answer
    return answer.effect


def reason(answer: Answered | Refused) -> str:
    """The reason of a refusal; an effect fails the test."""
    assert isinstance(answer, Refused), answer
    return answer.reason
