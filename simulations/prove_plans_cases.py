"""Small random plans, cars and procedures for the proof to be tried on: all kinds of switches, all that a plan can say
of them.

Numbered and seeded: case 17 of seed 1 is the same everywhere. Small means that every afternoon of it can be lived
through: up to three runs of up to three timed laps, two to four switches, up to three items.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from pitwall.model.car import Car
from pitwall.model.plan import Plan
from pitwall.model.procedure import Procedure

DRIVERS = ("dana", "edda")
LAPS = ("out, 1 timed, in", "out, 2 timed, in", "out, 1 timed, cool, 1 timed, in", "out, 3 timed, in", "out-in")
LAPS_OFTEN = (0.35, 0.35, 0.15, 0.12, 0.03)
BODY: dict[str, Any] = {"car": 1, "name": "Case", "mass_kg": 700, "power_w": 4e5, "drag_area_m2": 1.0,
                        "downforce_area_m2": 3.0, "grip": 1.6, "brake_mps2": 30, "traction_mps2": 10,
                        "fuel_per_lap_kg": 2.0}
POSITIONS = (1, 2, 3)
BIAS = (54, 55, 56, 57)
TRAPS = (0.95, 0.8)  # share of plans with one thing in it that cannot go well, and with another
STEP_SAID = {"say": "Next lap is the comparison.", "short": "Comparison", "where": "lap_start"}
ARGUMENTS = {"switch": {"type": "switch"}, "position": {"type": "position"}}


def procedures() -> dict[str, Procedure]:
    """One switch to a position, one by a step, and one that leaves it to the procedure file not to put back."""
    listed: list[dict[str, Any]] = [
        {"name": "to_position", "switches": {"{switch}": "{position}"}, "arguments": ARGUMENTS},
        {"name": "to_stay", "switches": {"{switch}": "{position}"}, "arguments": ARGUMENTS, "put_back": False},
        {"name": "by_step", "by": "by", "arguments": {"switch": {"type": "switch"}, "by": {"type": "number"}}},
    ]
    return {one["name"]: Procedure.model_validate({"procedure": 1, "purpose": "p", "steps": [STEP_SAID], **one})
            for one in listed}


PROCEDURES = procedures()


@dataclass(frozen=True)
class Case:
    """One plan with its car."""

    number: int
    plan: Plan
    car: Car
    wet: bool


def case(seed: int, number: int, most_runs: int = 3) -> Case:
    """The case of that number, with no more runs than told."""
    rng = np.random.default_rng([seed, number])
    for _ in range(100):
        try:
            switches = _switches(rng)
            plan, guarded = _plan(rng, switches, most_runs), _guarded(rng, switches)
            for share in TRAPS:
                if rng.random() < share:
                    _trap(rng, switches, plan["runs"], guarded)
            car = Car.model_validate({**BODY, "switches": switches, "forbidden_on_timed": guarded})
            return Case(number, Plan.model_validate(plan), car, bool(rng.random() < 0.2))
        except ValueError:
            continue  # a combination that the models refuse is no case
    raise AssertionError("no sound case in a hundred draws")


def _one(rng: np.random.Generator, of: Any) -> Any:
    return of[int(rng.integers(len(of)))]


def _switches(rng: np.random.Generator) -> list[dict[str, Any]]:
    count = int(rng.choice([1, 2, 3], p=[0.3, 0.55, 0.15]))
    kinds = [str(kind) for kind in rng.choice(
        ["rotary", "toggle", "bias", "paged", "preset", "stationary", "momentary"], size=count,
        p=[0.14, 0.06, 0.10, 0.24, 0.24, 0.20, 0.02])]
    if "preset" in kinds and not any(kind in ("rotary", "toggle") for kind in kinds):
        kinds.append("rotary")
    made = [_switch(rng, number, kind) for number, kind in enumerate(kinds)]
    for one in made:
        if one["kind"] == "preset":
            others = [other for other in made if other["kind"] in ("rotary", "toggle")]
            target = _one(rng, others)
            one["sets"] = {target["switch"]: _one(rng, target["positions"])}
    return made


def _switch(rng: np.random.Generator, number: int, kind: str) -> dict[str, Any]:
    name = f"{_one(rng, 'abcxyz')}{number}_{kind}"
    found: dict[str, Any] = {"switch": name, "kind": kind, "word": name.replace("_", " "),
                             "measured": bool(rng.random() < 0.4)}
    positions: Any = POSITIONS if kind in ("rotary", "paged", "stationary") else ("off", "on")
    if kind == "bias":
        positions = BIAS
        found |= {"low": 50, "high": 60, "step": 0.5, "free_range": float(_one(rng, (0.0, 0.0, 0.5, 1.0)))}
    else:
        found["positions"] = list(positions)
    found["default"] = _one(rng, positions[:2]) if kind != "preset" else "off"
    if kind == "paged":
        found["home"] = found["default"] if rng.random() < 0.5 else _one(rng, positions)
    if kind != "preset":
        found["defaults"] = _defaults(rng, positions, kind)
    return found


def _defaults(rng: np.random.Generator, positions: Any, kind: str) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = []
    laps = ("out", "cool", "in") if kind != "stationary" else ("out", "timed")
    if rng.random() < (0.35 if kind != "stationary" else 0.7):
        found.append({"lap": _one(rng, laps), "position": _one(rng, positions)})
    if rng.random() < 0.2:
        found.append({"driver": _one(rng, DRIVERS), "position": _one(rng, positions)})
    if rng.random() < 0.15:
        found.append({"wet": True, "position": _one(rng, positions)})
    return found


def _guarded(rng: np.random.Generator, switches: list[dict[str, Any]]) -> list[str]:
    names = [one["switch"] for one in switches if one["kind"] != "momentary"]
    if not names or rng.random() < 0.5:
        return []
    return sorted({_one(rng, names) for _ in range(int(rng.integers(1, 5)))})


def _trap(
    rng: np.random.Generator, switches: list[dict[str, Any]], runs: list[dict[str, Any]], guarded: list[str]
) -> None:
    """What people write into a plan that cannot go well, whatever is said; it may still be harmless in this one."""
    may = [one for one in switches if one["kind"] in ("paged", "stationary", "preset") or one.get("free_range")]
    one, run = _one(rng, may or switches), _one(rng, runs)
    target = one["switch"]
    if one["kind"] == "paged":  # wanted for a whole run, but it goes home by itself
        run.setdefault("switches", {})[target] = _one(rng, [spot for spot in POSITIONS if spot != one["home"]])
    elif one["kind"] == "stationary":  # wanted otherwise on timed laps than where it is set
        one["defaults"] = [{"lap": "timed", "position": POSITIONS[2]}]
    elif one["kind"] == "preset":  # held through a run, against what the run wants of what it sets
        target, _ = next(iter(one["sets"].items()))
        moved = next(other for other in switches if other["switch"] == target)
        one["sets"][target] = _one(rng, [spot for spot in moved["positions"] if spot != moved["default"]])
        run.setdefault("switches", {})[one["switch"]] = "on"
    elif one["kind"] == "bias" and one["free_range"]:  # the next run wants it elsewhere within the free range
        run.setdefault("switches", {})[target] = one["default"] + one["free_range"]
        one["measured"] = False
    if guarded and target not in guarded:
        guarded.append(target)


def _positions(one: dict[str, Any]) -> Any:
    return BIAS if one["kind"] == "bias" else one["positions"]


def _plan(rng: np.random.Generator, switches: list[dict[str, Any]], most_runs: int) -> dict[str, Any]:
    count = min(most_runs, int(rng.choice([1, 2, 3], p=[0.5, 0.45, 0.05])))
    plan: dict[str, Any] = {"plan": 1, "car": 41, "driver": DRIVERS[0], "session": "p1",
                            "runs": [_run(rng, number, switches) for number in range(count)]}
    if rng.random() < 0.55:
        one = _one(rng, [one for one in switches if one["kind"] == "preset"] or switches)
        plan["starts_with"] = {"switches": {one["switch"]: _one(rng, _positions(one))}}
    if rng.random() < 0.3:
        plan["quiet"] = {"timed": "all"} if rng.random() < 0.5 else {"timed": ["box"], "cool": ["box"]}
    return plan


def _run(rng: np.random.Generator, number: int, switches: list[dict[str, Any]]) -> dict[str, Any]:
    laps = str(rng.choice(LAPS, p=LAPS_OFTEN))
    found: dict[str, Any] = {"run": f"r{number}", "want": "must", "laps": laps}
    movable = [one for one in switches if one["kind"] not in ("stationary",)]
    presets = [one for one in movable if one["kind"] == "preset"] * 2
    count = int(rng.choice([0, 1, 2], p=[0.4, 0.45, 0.15])) if movable else 0
    items = [_item(rng, laps, _one(rng, [*movable, *presets])) for _ in range(count)]
    found["items"] = [one for one in items if one is not None]
    if rng.random() < 0.35:
        one = _one(rng, [*switches, *(one for one in switches if one["kind"] == "paged")])
        found["switches"] = {one["switch"]: _one(rng, _positions(one))}
    if "timed" in laps and rng.random() < 0.3:
        found["shorten_to"] = 1
    if number and rng.random() < 0.15:
        found["same_as"] = "r0"
    if rng.random() < 0.15:
        found["driver"] = DRIVERS[1]
    return found


def _item(rng: np.random.Generator, laps: str, one: dict[str, Any]) -> dict[str, Any] | None:
    kinds = [kind for kind in ("out", "timed", "timed", "timed", "cool") if kind in laps]
    kind = _one(rng, kinds)
    on: Any = {kind: 1} if kind != "timed" or rng.random() < 0.5 else "timed"
    item: dict[str, Any] = {"on": on}
    if one["kind"] == "bias" and rng.random() < 0.6:
        item |= {"do": "by_step", "with": {"switch": one["switch"], "by": float(_one(rng, (-1.0, 1.0, 2.0)))}}
    else:
        do = "to_position" if rng.random() < 0.9 else "to_stay"
        item |= {"do": do, "with": {"switch": one["switch"], "position": _one(rng, _positions(one))}}
    if rng.random() < 0.15:
        item |= {"put_back": False, "why": "wanted so"}
    return item
