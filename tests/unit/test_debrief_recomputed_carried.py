"""What a debrief says that the car carried, reckoned a second time from plan and crossings: tyres, their age, fuel.

The journal is driven by hand, for the stored ones have neither tyre sets nor comments: two runs on one set, one that
repeats another, a lap more than planned before the box, and comments of the driver.
"""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest

from pitwall.app.debriefing import debrief_of
from pitwall.debrief.model import CarDebrief
from tests.unit.engine_stage import PIT_EXIT, plan, setup
from tests.unit.test_app_next_plan import BOTH, Kept

Row = dict[str, Any]
HOLD = {"do": "hold", "on": "out", "after": "turn 1", "want": "must"}
RUNS: tuple[Row, ...] = (
    {"run": "first", "want": "must", "laps": "out, 2 timed, in", "tyres": "B1", "fuel_kg": 30, "items": [HOLD]},
    {"run": "second", "want": "must", "laps": "out, 1 timed, in", "tyres": "C1", "fuel_kg": 20},
    {"run": "again", "want": "should", "laps": "out, 1 timed, in", "same_as": "first"},
)
SETS = {"A1": {"compound": "hard", "laps": 14}, "B1": {"compound": "medium", "laps": 3}, "C1": {"compound": "soft"}}


@cache
def driven() -> tuple[CarDebrief, tuple[Row, ...]]:
    """The debrief of the car, and the rows of its journal as they are stored."""
    made = Kept(setup(plan(*RUNS, tyre_sets=SETS, starts_with={"tyres": "A1"}), regulations=BOTH)).green()
    t = 200.0
    for timed in (2, 2, 1):  # the second run asks for one: the car stays out for another
        t = made.wait(t).leave(t).lap(t, 125, from_exit=True)
        for _ in range(timed):
            t = made.lap(t, 100)
            made.command("comment", shorthand="t1 mid us 2")
        t = made.home(t) + 500
    made.command("comment", text="the balance was good")
    made.status(3600, "closed")
    with TemporaryDirectory() as folder:
        path = made.journal(Path(folder))
        rows = tuple(json.loads(line) for line in path.read_text(encoding="utf-8").splitlines())
        return debrief_of(path).cars[0], rows


def stints() -> list[list[tuple[float, float]]]:
    """Begin and end of every lap, one list for each leaving of the pits; from pit signals and lines alone."""
    events = [row["event"] for row in driven()[1]]
    seen = sorted((one["t"], one.get("where") or one["loop"]) for one in events
                  if one["type"] == "car_pitted" or (one["type"] == "car_crossed" and one["loop"] == "line"))
    found: list[list[tuple[float, float]]] = []
    begun = None
    for t, what in seen:
        if what == "exit":
            found.append([])
        elif begun is not None:
            found[-1].append((begun, t))
        begun = None if what == "entry" else t
    return found


def test_tyres_their_age_and_fuel_are_those_of_plan_and_laps() -> None:
    """A set ages by every lap that it was driven; fuel is the load of the plan less the burn of the laps before."""
    car, rows = driven()
    given = rows[0]["event"]["setup"]
    planned, sets = given["plans"]["41"]["runs"], given["plans"]["41"]["tyre_sets"]
    ages = {name: one["laps"] for name, one in sets.items()}
    burn = given["cars"]["41"]["fuel_per_lap_kg"]
    by_name = {run["run"]: run for run in planned}
    own: list[tuple[str, int, float]] = []
    for run, laps in zip(planned, stints(), strict=True):
        like = by_name.get(run["same_as"] or "", run)
        tyres, fuel = run["tyres"] or like["tyres"], run["fuel_kg"] or like["fuel_kg"]
        for at, _ in enumerate(laps):
            own.append((tyres, ages[tyres], fuel))
            ages[tyres] += 1
            fuel -= burn * (1 - PIT_EXIT if at == 0 else 1)
    assert len(own) == 11
    assert [(lap.tyres, lap.tyre_laps) for lap in car.laps] == [(tyres, age) for tyres, age, _ in own]
    assert [lap.fuel_kg for lap in car.laps] == pytest.approx([fuel for _, _, fuel in own], abs=0.011)


def test_timed_laps_of_the_runs_add_up_to_the_lap_table() -> None:
    """Every timed lap of the lap table is one of a run, and the runs have no others."""
    car, _ = driven()
    timed = [lap for lap in car.laps if lap.kind == "timed"]
    assert len(timed) == 5
    assert sum(run.timed_done for run in car.runs) == len(timed)


def test_laps_stand_at_the_sessions_status() -> None:
    """Under green from the light on: each lap has that status, and no other."""
    car, _ = driven()
    assert car.laps
    assert {lap.status for lap in car.laps} == {("green",)}


def test_every_comment_of_the_journal_is_there() -> None:
    """One for one: when it was said, and what."""
    car, rows = driven()
    keys = [row["event"] for row in rows if row["event"]["type"] == "command_given"]
    said = [(one["t"], one.get("text") or "") for one in keys if one["command"] == "comment"]
    assert len(said) == 6
    assert [(one.t, one.text) for one in car.comments] == said
