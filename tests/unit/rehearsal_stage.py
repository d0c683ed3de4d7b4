"""A stage for the rehearsed world in tests: a heap for a clock, a setup, and a daemon that says what the test wants."""

from __future__ import annotations

import heapq
from collections.abc import Callable
from functools import lru_cache
from pathlib import Path
from typing import Any, TypeVar

import yaml

from pitwall.model.car import Car
from pitwall.model.circuit import Circuit
from pitwall.model.events import CarCrossed, CarPitted, CommandGiven, Fact
from pitwall.model.outputs import Ask, Prompt
from pitwall.model.plan import Plan
from pitwall.model.procedure import Procedure
from pitwall.model.rules import Regulations
from pitwall.model.setup import SessionSetup
from pitwall.rehearsal.scenario import Scenario
from pitwall.rehearsal.world import World

ROOT = Path(__file__).parents[2]
CAR = "41"
F = TypeVar("F", bound=Fact)


class Heap:
    """The least clock that will do: a heap of (time, order, action)."""

    def __init__(self, begin: float = -100.0) -> None:
        self._now, self._order, self._armed = begin, 0, list[tuple[float, int, Callable[[], None]]]()
        self.ran = 0

    def now(self) -> float:
        """Session seconds."""
        return self._now

    def call_at(self, t: float, action: Callable[[], None]) -> None:
        """Arm; equal times run in the order in which they were armed."""
        self._order += 1
        heapq.heappush(self._armed, (t, self._order, action))

    def run(self, until: float = float("inf"), most: int = 2_000_000) -> None:
        """Run until nothing is armed before ``until``; more than ``most`` actions mean that the world never ends."""
        while self._armed and self._armed[0][0] <= until:
            t, _, action = heapq.heappop(self._armed)
            self._now = max(self._now, t)
            self.ran += 1
            assert self.ran < most, "the world does not come to an end"
            action()
        if until != float("inf"):
            self._now = max(self._now, until)


@lru_cache
def _read(name: str) -> Any:
    return yaml.safe_load((ROOT / "config" / name).read_text())


SWITCHES = [
    {"switch": "torque_map", "kind": "rotary", "word": "torque", "positions": [1, 2, 3, 4], "default": 2,
     "measured": True},
    {"switch": "brake_bias", "kind": "bias", "word": "bias", "low": 50, "high": 60, "step": 0.5, "free_range": 0.5,
     "default": 55},
    {"switch": "flap", "kind": "toggle", "word": "flap", "positions": ["closed", "open"], "default": "closed"},
    {"switch": "start_map", "kind": "stationary", "word": "start map", "positions": [1, 2], "default": 1},
    {"switch": "mark", "kind": "momentary", "word": "mark", "positions": ["released", "pressed"],
     "default": "released", "measured": True},
    {"switch": "push", "kind": "preset", "word": "push", "positions": ["none", "on"], "default": "none",
     "sets": {"torque_map": 4}},
]  # fmt: skip

HOLD = {"procedure": 1, "name": "hold", "purpose": "steady data", "place": "needed", "arguments":
        {"seconds": {"type": "number", "default": 5}}, "hold": {"seconds": "seconds", "speed_mps": 55}, "extra_s": 2,
        "steps": [{"say": "After {after}: hold.", "short": "Hold now", "where": "place"}]}  # fmt: skip
COMPARE = {"procedure": 1, "name": "flap_open", "purpose": "comparison", "laps": ["timed"],
           "switches": {"flap": "open"},
           "steps": [{"say": "Next lap flap open.", "short": "Flap open", "where": "lap_start"}]}  # fmt: skip
BIAS = {"procedure": 1, "name": "bias_step", "purpose": "comparison", "laps": ["timed"], "by": "by",
        "arguments": {"switch": {"type": "switch"}, "by": {"type": "number"}},
        "steps": [{"say": "Next lap is the comparison.", "short": "Comparison", "where": "lap_start"}]}  # fmt: skip
LANE = {"procedure": 1, "name": "pit_stop", "purpose": "stop", "extra_s": 15, "stationary": True,
        "steps": [{"say": "Practice stop.", "short": "Stop now", "where": "pit_entry"}]}  # fmt: skip
_LIBRARY = [Procedure.model_validate(raw) for raw in (HOLD, COMPARE, BIAS, LANE)]
PROCEDURES = {procedure.name: procedure for procedure in _LIBRARY}


def plan(car: str = CAR, **changes: Any) -> Plan:
    """One run of eight timed laps."""
    values: dict[str, Any] = {
        "plan": 1, "car": car, "driver": "ada", "session": "p1",
        "runs": [{"run": "first", "want": "must", "laps": "out, 8 timed, in", "fuel_kg": 30,
                  "after_garage_s": [60, 90, 120]}],
    }  # fmt: skip
    return Plan.model_validate(values | changes)


def setup(minutes: float = 20, red_clock: str = "runs", circuit: dict[str, Any] | None = None,
          **changes: Any) -> SessionSetup:
    """Car 41 on the demo circuit (or another) with a wheel of its own."""
    car = Car.model_validate(_read("car.yaml") | {"switches": SWITCHES, "forbidden_on_timed": []})
    values: dict[str, Any] = {
        "event": "Test", "session": "p1", "team": "Test",
        "regulations": Regulations.model_validate(
            {"regulations": 1, "red_clock": red_clock, "sessions": [{"session": "p1", "duration_s": minutes * 60}]}
        ),
        "circuit": Circuit.model_validate(circuit or _read("circuit.yaml")),
        "cars": {CAR: car}, "plans": {CAR: plan()}, "procedures": PROCEDURES, "field_cars": ("3", "7"),
    }  # fmt: skip
    return SessionSetup(**(values | changes))


TWO_SECONDS_WPM = 240 / 1.7  # at which four words and a breath take two seconds
PERFECT: dict[str, Any] = {
    "engineer": {"forgets": 0, "reaction_s": [0.5, 0.5, 0.5], "speech": [1, 1, 1], "key_delay_s": [0.5, 0.5, 0.5],
                 "words_per_minute": [TWO_SECONDS_WPM] * 3},
    "driver": {"forgets": 0, "mishears": 0, "leaves_wrong": 0, "knocks_per_hour": 0, "readback": 1,
               "reaction_s": [1, 1, 1], "readback_s": [1, 1, 1]},
    "talks": {"timed": 0, "out": 0, "other": 0},
    "field": {"cars": 0},
    "feed": {"lost": 0, "doubled": 0, "out_of_order": 0},
    "pace": {"spoilt": 0},
}  # fmt: skip
"""People who make no mistake, and no other cars: what is left is the rule under test."""


def scenario(**changes: Any) -> Scenario:
    """A scenario of perfect people; ``changes`` go into its sections, field by field."""
    values: dict[str, Any] = {"scenario": 1, "name": "test", "event": "event.yaml"}
    for section, given in PERFECT.items():
        values[section] = dict(given)
    for section, given in changes.items():
        values[section] = values[section] | given if isinstance(given, dict) and section in values else given
    return Scenario.model_validate(values)


class Stage:
    """A world on a heap, with every fact it sent and a say for the test."""

    def __init__(self, day: Scenario | None = None, session: SessionSetup | None = None, seed: int = 1) -> None:
        self.clock = Heap()
        self.facts: list[tuple[float, Fact]] = []
        self.setup = session or setup()
        self.world = World(day or scenario(), self.setup, seed, self.clock, self._take)
        self._revision: dict[str, int] = {}
        self._watchers: list[Callable[[Fact], None]] = []
        self.world.start()

    def _take(self, fact: Fact) -> None:
        self.facts.append((self.clock.now(), fact))
        for watcher in self._watchers:
            watcher(fact)

    def of(self, kind: type[F]) -> list[F]:
        """Every fact of this kind, in the order in which it was sent."""
        return [fact for _, fact in self.facts if isinstance(fact, kind)]

    def when(self, watcher: Callable[[Fact], None]) -> None:
        """Call this with every fact, as a daemon would see it."""
        self._watchers.append(watcher)

    def on_line(self, number: int, action: Callable[[float], None], car: str = CAR) -> None:
        """Act once when this car's ``number``-th crossing of the line on track is heard of."""
        seen = list[float]()

        def watch(fact: Fact) -> None:
            if isinstance(fact, CarCrossed) and fact.car == car and fact.loop == "line":
                seen.append(fact.t)
                if len(seen) == number:
                    action(self.clock.now())

        self.when(watch)

    def prompt(self, call: str, action: str, now: float, *, wait: float = 0.0, window: float = 10.0,
               **more: Any) -> None:
        """Publish a prompt at this moment, sayable after ``wait``."""
        revision = self._revision[call] = self._revision.get(call, 0) + 1
        kinds = {"box": "box", "leave": "release", "fire_up": "release", "set_switch": "switch",
                 "check_switches": "switch", "procedure": "procedure", "lap_kind": "run"}
        ask = {name: more.pop(name) for name in tuple(more) if name in Ask.model_fields}
        values: dict[str, Any] = {
            "id": f"{call}.{revision}", "t": now, "car": CAR, "call": call, "revision": revision,
            "kind": kinds.get(action, "pace"), "text": "Now do it, please.", "short": call, "say_from_s": now + wait,
            "say_by_s": now + wait + window, "spoken_s": 2.0, "priority": 50, "state": "due",
            "ask": Ask.model_validate({"action": action} | ask),
        }  # fmt: skip
        self.world.hear(Prompt(**(values | more)))

    def say_at(self, t: float, call: str, action: str, **more: Any) -> None:
        """Publish a prompt at a session second."""
        self.clock.call_at(t, lambda: self.prompt(call, action, t, **more))

    def release(self, t: float = 60.0, run: str = "first") -> None:
        """Fire up, then leave."""
        self.say_at(t - 40, f"fire-{t:g}", "fire_up")
        self.say_at(t, f"leave-{t:g}", "leave", run=run, act_at_s=t)

    def run(self, until: float = float("inf")) -> Stage:
        """Run the clock."""
        self.clock.run(until)
        return self

    def pits(self, where: str, car: str = CAR) -> list[float]:
        """When this car was seen at pit entry or exit."""
        return [fact.t for fact in self.of(CarPitted) if fact.car == car and fact.where == where]

    def pressed(self) -> list[CommandGiven]:
        """Keys that the engineer pressed."""
        return self.of(CommandGiven)

    @property
    def truth(self) -> Any:
        """The truth of car 41."""
        return self.world.outcome().cars[CAR]
