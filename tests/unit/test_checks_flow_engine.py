"""Is the truth honest? The daemon itself is driven through small plans, with a driver who misses one call, beside it.

``simulations/prove_plans_truth.py`` decides whether the static proof is right, so it must know what the daemon calls
for, and when. Here the real engine follows a car lap by lap; an engineer says each call as it comes due, and a driver
does what is said, save for one call. The wheel must stand the same, as each timed lap starts, as in the truth with the
same call missed.
"""

from __future__ import annotations

import itertools
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

from pitwall.engine.call import Call
from pitwall.model.car import Position, same_position
from pitwall.model.plan import Plan, Run
from tests.unit.engine_stage import CAR, LAP_S, MAIN, PROCEDURES, Stage, car_file, plan, setup

sys.path.insert(0, str(Path(__file__).parents[2] / "simulations"))

from prove_plans_truth import Afternoons

STEP_S = 2.0
REACTION_S = 1.5
TIMED_S, COOL_S = LAP_S, 150.0

FLAP = {"do": "flap_lap", "on": {"timed": 1}}
TORQUE = {"do": "set_one", "on": {"timed": 2}, "with": {"switch": "torque_map", "position": 4}}
BIAS = {"do": "bias_step", "on": {"timed": 2}, "with": {"switch": "brake_bias", "by": -2.0}}
PLANS: dict[str, Plan] = {
    "unmeasured, measured and a step": plan(
        MAIN | {"laps": "out, 3 timed, in", "items": [FLAP, TORQUE, BIAS], "release": {"not_before": 300}},
        MAIN | {"run": "after", "laps": "out, 2 timed, in"}),
    "cool-down lap with its own default": plan(
        MAIN | {"laps": "out, 1 timed, cool, 1 timed, in", "items": [FLAP], "release": {"not_before": 300}}),
    "left changed on purpose": plan(
        MAIN | {"laps": "out, 2 timed, in", "items": [FLAP | {"put_back": False, "why": "so"}],
                "release": {"not_before": 300}},
        MAIN | {"run": "after", "laps": "out, 1 timed, in"}),
    "starts elsewhere": plan(
        MAIN | {"laps": "out, 2 timed, in", "switches": {"brake_bias": 57}, "release": {"not_before": 300}},
        starts_with={"switches": {"flap": "open", "torque_map": 4}}),
    "talk allowed on timed laps": plan(
        MAIN | {"laps": "out, 2 timed, cool, 1 timed, in", "items": [TORQUE], "release": {"not_before": 300}},
        quiet={"timed": "all"}),
}


@dataclass
class Day:
    """The daemon beside a car: its calls are said as they come due, and done, save for the call with one key."""

    made: Plan
    misses: str | None = None
    red: tuple[str, int] | None = None
    wheel: dict[str, Position] = field(default_factory=dict)
    starts: list[tuple[str, int, dict[str, Position]]] = field(default_factory=list)
    calls: dict[str, tuple[str, int, frozenset[str]]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.stage = Stage(setup(self.made))
        self.wheel = dict(self.stage.car.switches.believed)
        self.switches = {one.switch: one for one in car_file().switches}
        for name, switch in sorted(self.switches.items()):
            if switch.measured:
                self.stage.switch(-299.0, name, self.wheel[name])
        self.done: set[str] = set()
        self.line: list[Call] = []

    def drive(self) -> Day:
        """The whole plan as it stands."""
        self.stage.green()
        now = 310.0
        for run in self.made.runs:
            legs = list(range(len(run.laps)))
            while legs:
                now, legs = self._stint(run, now, legs)
        return self

    def _stint(self, run: Run, now: float, legs: list[int]) -> tuple[float, list[int]]:
        """One leaving over these laps; returns when to leave next, and what is left of the run."""
        self._until(now)
        self.stage.leave(now)
        for leg, following in zip(legs, [*legs[1:], None], strict=True):
            self._begin(run.run, leg)
            if (run.run, leg) == self.red:
                self.red = None
                self.stage.status(now + 5, "red", pit_exit="closed")
                now = self._home(now + 5)
                self.stage.status(now + 200, "green", pit_exit="open")
                rest = legs[legs.index(leg):] if leg else legs[1:]
                # Nobody drives a cool-down lap straight after an out-lap.
                return now + 520.0, [0, *itertools.dropwhile(lambda one: run.laps[one] == "cool", rest)]
            if following is not None:
                now = self._lap(now, COOL_S if run.laps[leg] in ("out", "cool") else TIMED_S, leg == 0)
        return self._home(now) + 320.0, []

    def _begin(self, run: str, leg: int) -> None:
        state = self.stage.car.progress.current
        assert state is not None
        assert (state.run.run, state.pointer) == (run, leg)
        self.starts.append((run, leg, dict(self.wheel)))

    def _lap(self, begin: float, seconds: float, from_exit: bool) -> float:
        first = 0.05 if from_exit else 0.0
        for loop, share in (("1", 0.3), ("2", 0.7), ("line", 1.0)):
            t = begin + seconds * (share - first) / (1 - first)
            self._until(t - 0.5)
            if loop == "line":
                for call in self.line:
                    self._do(call)
                self.line = []
            self.stage.cross(t, loop)
        return begin + seconds

    def _home(self, begin: float) -> float:
        for loop, share in (("1", 0.3), ("2", 0.7)):
            self._until(begin + 118.0 * share)
            self.stage.cross(begin + 118.0 * share, loop)
        t = begin + 118.0 * 0.95
        self._until(t)
        self.stage.pit(t, "entry")
        self.line = []
        return t

    def _until(self, t: float) -> None:
        while self.stage.now < t:
            self.stage.wait(min(t, self.stage.now + STEP_S))
            for call in list(self.stage.car.book.calls.values()):
                if call.state == "due" and call.spec.asked and call.spec.ask.action != "procedure":
                    self._say(call)

    def _say(self, call: Call) -> None:
        if call.spec.key in self.done:
            return  # said again because telemetry shows nothing: the same call, missed as a whole
        self.done.add(call.spec.key)
        self.stage.command("said", call=call.id)
        self.stage.command("confirm", call=call.id)
        state = self.stage.car.progress.current or self.stage.car.progress.next
        assert state is not None
        leg = int(call.spec.key.split("-")[2]) if call.spec.ask.action == "set_switch" else 0
        self.calls[call.spec.key] = (state.run.run, leg, frozenset(call.spec.asked))
        if call.spec.key == self.misses:
            return
        lap = self.stage.car.track.lap
        if call.spec.place == "line" and lap is not None and lap.kind == "timed":
            self.line.append(call)  # a timed lap itself must not suffer: done as it ends
        else:
            self.stage.wait(self.stage.now + REACTION_S)
            self._do(call)

    def _do(self, call: Call) -> None:
        for name, to in sorted(call.spec.asked.items()):
            moved = not same_position(self.wheel[name], to)
            self.wheel[name] = to
            if moved and self.switches[name].measured:
                self.stage.switch(self.stage.now, name, to)


def same_wheels(day: Day, truth: list[tuple[str, int, dict[str, Position]]]) -> Iterator[str]:
    """What differs as a timed lap starts, in words. Into other laps a change may be called after the line."""
    kinds = {run.run: run.laps for run in day.made.runs}
    assert [(run, leg) for run, leg, _ in day.starts] == [(run, leg) for run, leg, _ in truth]
    for (run, leg, mine), (_, _, theirs) in zip(day.starts, truth, strict=True):
        for name in sorted(mine) if kinds[run][leg] == "timed" else ():
            if not same_position(mine[name], theirs[name]):
                yield f"{run}, lap {leg}: {name} at {mine[name]} behind the daemon, at {theirs[name]} in the truth"


@pytest.mark.parametrize("name", PLANS)
def test_with_every_call_made_the_wheel_stands_as_in_the_truth(name: str) -> None:
    """The daemon's calls, said and done, put the wheel where the truth has it at each lap start."""
    made = PLANS[name]
    truth = Afternoons(made, car_file(), PROCEDURES).as_planned()
    assert list(same_wheels(Day(made).drive(), truth)) == []


@pytest.mark.parametrize("name", PLANS)
def test_with_any_one_call_missed_the_wheel_stands_as_in_the_truth(name: str) -> None:
    """Each call of the day is read back and not done, one at a time: what the daemon does about it is what the truth
    says."""
    made = PLANS[name]
    calls = Day(made).drive().calls
    assert len(calls) >= 2
    faults: list[Any] = []
    for key, wanted in calls.items():
        day = Day(made, misses=key).drive()
        truth = Afternoons(made, car_file(), PROCEDURES).as_planned(lambda *call, wanted=wanted: call == wanted)
        faults += [(key, fault) for fault in same_wheels(day, truth)]
    assert faults == []


REDS = [(name, run.run, lap) for name, made in PLANS.items() for run in made.runs[:1]
        for lap in range(len(run.laps) - 1) if run.laps[:lap].count("timed") < (run.shorten_to or run.timed_laps)]
"""Laps on which the run does not count yet, so that it is gone on with."""


@pytest.mark.parametrize(("name", "run", "lap"), REDS)
def test_after_a_red_flag_on_any_lap_the_wheel_stands_as_in_the_truth(name: str, run: str, lap: int) -> None:
    """The lap is broken off with a switch changed: the put-back is owed at the next check, the run is gone on with."""
    made = PLANS[name]
    truth = Afternoons(made, car_file(), PROCEDURES).as_planned(red=(run, lap))
    assert list(same_wheels(Day(made, red=(run, lap)).drive(), truth)) == []


def test_the_car_of_this_stage_has_both_measured_and_unmeasured_switches() -> None:
    """The comparison means something: the daemon learns of some changes by telemetry and of others by word alone."""
    assert {switch.measured for switch in car_file().switches} == {True, False}
    assert CAR in setup().plans
