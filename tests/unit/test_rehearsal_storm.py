"""Whatever a daemon says, and whatever race control does, the world goes on, ends, and stays consistent with itself."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from pitwall.model.events import CarCrossed
from pitwall.rehearsal.scenario import Scenario
from tests.unit.rehearsal_stage import PROCEDURES, SWITCHES, Stage, setup

DAY = {
    "scenario": 1, "name": "storm", "event": "event.yaml", "field": {"cars": 4, "first_out_s": [1, 10, 60]},
    "flags": {"red_per_hour": 6, "slow_per_hour": 8, "yellow_per_hour": 30, "red_length_s": [20, 60, 200]},
    "driver": {"forgets": 0.1, "mishears": 0.2, "leaves_wrong": 0.2, "knocks_per_hour": 20, "readback": 0.7},
    "engineer": {"forgets": 0.1, "keys": "some"}, "talks": {"timed": 0.1, "out": 0.2, "other": 0.4},
    "feed": {"lost": 0.05, "doubled": 0.1, "out_of_order": 0.1, "switches": "all", "channel": True},
    "incidents": [{"at": 900, "car": "41", "lasts": 30}, {"at": 100, "car": "99"}],
}  # fmt: skip
ACTIONS = ["none", "box", "set_switch", "check_switches", "procedure", "lap_kind", "leave", "fire_up", "slow",
           "return_to_pits", "resume"]  # fmt: skip
PLACES = [
    None, "turn 4", "after turn 7", "line", "lap start", "pit entry", "pit lane", "pit exit", "garage", "grid", "?",
]  # fmt: skip
STATES = ["planned", "shown", "due", "due", "due", "due", "said", "unconfirmed", "late", "missed", "withdrawn", "done"]


def storm(seed: int, red_clock: str) -> Stage:
    """Four hundred prompts of every kind at random moments of twenty minutes, many about the same calls."""
    stage = Stage(Scenario.model_validate(DAY), setup(20, red_clock), seed)
    rng = np.random.default_rng(seed)

    def one_of(choices: list[Any]) -> Any:
        return choices[int(rng.integers(len(choices)))]

    for number in range(400):
        t, action, switch = float(rng.uniform(-60, 1500)), one_of(ACTIONS), one_of(SWITCHES)
        more: dict[str, Any] = {
            "place": one_of(PLACES), "state": one_of(STATES), "priority": int(rng.integers(101)),
            "kind": one_of(["box", "switch", "procedure", "question", "release", "session"]),
            "wait": float(rng.uniform(-5, 30)), "window": float(rng.uniform(0, 20)), "procedure": one_of([*PROCEDURES]),
            "spoken_s": float(rng.uniform(0, 9)), "act_at_s": one_of([None, t + float(rng.uniform(-10, 90))]),
            "lap_kind": one_of(["out", "timed", "cool", "in", None]), "item": one_of(["i1", "i2", None]),
            "run": one_of(["first", "second", None]), "arguments": {"seconds": one_of([5, "long", 3.5])},
            "switch": one_of([switch["switch"], "no_such", None]), "position": one_of([1, 2, "open", 55.5, True, None]),
            "positions": one_of([{}, {"torque_map": 3, "flap": "open"}, {"no_such": 1}]),
        }  # fmt: skip
        stage.say_at(t, f"{action}-{number % 120}", action, **more)
    return stage.run()


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("red_clock", ["runs", "stops"])
def test_a_storm_of_prompts_breaks_nothing(seed: int, red_clock: str) -> None:
    """No exception; the world ends in time; each car's laps follow one another; one voice at a time."""
    stage = storm(seed, red_clock)
    outcome = stage.world.outcome()
    assert outcome.finished
    assert outcome.ended_s <= stage.world.ends_by_s + 30
    for laps in [outcome.cars["41"].laps, *(car.laps for car in outcome.field)]:
        assert all(lap.start_s < lap.end_s for lap in laps)
        assert all(before.end_s <= after.start_s + 0.002 for before, after in pairwise(laps))
        assert all(lap.time_s > 60 for lap in laps if lap.kind in ("timed", "cool", "out"))
    spoken = sorted((call.start_s, call.end_s) for call in outcome.cars["41"].calls)
    assert all(end <= start + 0.002 for (_, end), (start, _) in pairwise(spoken))
    crossings = sorted({(fact.t, fact.loop) for fact in stage.of(CarCrossed) if fact.car == "41"})
    assert all(before[0] < after[0] for before, after in pairwise(crossings))


def test_the_storms_are_worth_their_name() -> None:
    """Among them the car really runs, is called in, does procedures, hears things wrongly and gets stuck under red."""
    truths = [storm(seed, "runs").world.outcome() for seed in range(4)]
    cars = [truth.cars["41"] for truth in truths]
    assert sum(len(car.laps) for car in cars) > 10
    assert any(call.misheard for car in cars for call in car.calls)
    assert any(item.done for car in cars for item in car.procedures)
    assert any(box.entered_s for car in cars for box in car.boxes)
    assert any(flag.status == "red" for truth in truths for flag in truth.flags)
