"""Records the rehearsed sessions whose debriefs are recounted: small ones of each kind that a team has.

    python -m tests.recount.record [NAME ...]

Run it from the top of the repository, only when the stored journals can no longer be read: they stand for the ones
that people have. What a rehearsal has not (comments of the driver, the desk's own changes, a machine's clock) is woven
into the facts as a person would have keyed it in.
"""

from __future__ import annotations

import asyncio
import gzip
import logging
import sys
from collections.abc import Callable, Iterable, Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

import structlog
import yaml

from pitwall.app.scenarios import Rehearsal, load_rehearsal
from pitwall.app.wiring import instant_evidence
from pitwall.journal.codec import encode
from pitwall.model.circuit import Circuit
from pitwall.model.events import CommandGiven, Event, Resumed, Stamped
from pitwall.model.plan import Alternate, Plan
from pitwall.model.setup import SessionSetup
from pitwall.rehearsal.scenario import Scenario

ROOT = Path(__file__).resolve().parents[2]
STORED = ROOT / "tests" / "data" / "rehearsed"
Facts = tuple[Stamped, ...]
Made = tuple[Scenario, SessionSetup, int]
CLOCK_DRIFT = 2e-5

def _plan(car: str, runs: Iterable[Mapping[str, Any]], session: str = "practice-1", **more: Any) -> Plan:
    sets = {"A1": {"compound": "hard", "laps": 14}, "B1": {"compound": "medium"}, "C1": {"compound": "soft", "laps": 2}}
    return Plan.model_validate({
        "plan": 1, "car": car, "driver": "ines", "session": session, "starts_with": {"tyres": "A1", "fuel_kg": 12},
        "tyre_sets": sets, "runs": list(runs), **more})

CHECKS: dict[str, Any] = {
    "run": "checks", "purpose": "installation lap", "want": "must", "laps": "out-in", "tyres": "A1", "fuel_kg": 12,
    "after_garage_s": [30, 40, 60],
    "items": [{"do": "radio_check", "on": "out", "want": "must"}, {"do": "systems_check", "on": "in"}]}
HOLDS: dict[str, Any] = {
    "run": "holds", "purpose": "steady-state data, brake bias 2 rearward", "want": "must", "tyres": "B1",
    "laps": "out, 2 timed, cool, 1 timed, in", "fuel_kg": 16, "after_garage_s": [30, 40, 60],
    "feedback": ["tyres", "balance"],
    "items": [
        {"do": "constant_speed_hold", "on": ["out", "cool", "in"], "after": "turn 4",
         "with": {"gear": 5, "seconds": 5}, "want": "must"},
        {"do": "switch_compare", "on": {"timed": 3}, "with": {"switch": "brake_bias", "by": -2.0}},
        {"do": "driver_comment", "on": "in", "with": {"topic": "braking"}}]}
SHORT = HOLDS | {"laps": "out, 1 timed, cool, in", "items": HOLDS["items"][:1]}
MORE: dict[str, Any] = {
    "run": "more", "purpose": "laps for the driver", "want": "should", "laps": "out, 1 timed, in", "tyres": "C1",
    "fuel_kg": 12, "items": [{"do": "tyre_warm_up", "on": "out"}, {"do": "pit_lane_pass", "on": "in"}]}
LAST: dict[str, Any] = {"run": "last", "want": "could", "laps": "out, 6 timed, in", "tyres": "C1", "fuel_kg": 20,
                        "items": [{"do": "flap_compare", "on": {"timed": 2}, "with": {"flap": "open"}}]}

def _made(event: str, changes: Mapping[str, Any], plans: Mapping[str, Plan], minutes: float, seed: int,
          of_setup: Mapping[str, Any] | None = None) -> Made:
    base = load_rehearsal(str(ROOT / "simulations" / "practice_hour.yaml"), event=str(ROOT / "config" / event))
    told = {"scenario": 1, "name": "small", "event": event, "duration_s": 60 * minutes, "starts_at_s": -30,
            "close_after_s": 30, "wake_after_s": 60, "field": {"cars": 4, "first_out_s": [5, 30, 60]},
            "driver": {"forgets": 0.05, "mishears": 0.05, "leaves_wrong": 0.1}, **changes}
    told["feed"] = {"clock_every_s": 10} | told.get("feed", {})
    scenario = Scenario.model_validate(told)
    setup = base.setup.model_copy(update={
        "plans": dict(plans), "cars": {car: base.setup.cars[car] for car in plans}, "alternates": {},
        "field_cars": base.setup.field_cars[:4], **(of_setup or {})})
    return scenario, scenario.fitted(setup), seed

def played(made: Made) -> Facts:
    """The facts of a rehearsal."""
    scenario, setup, seed = made
    base = load_rehearsal(str(ROOT / "simulations" / "practice_hour.yaml"))
    return asyncio.run(instant_evidence(Rehearsal(scenario, setup, seed, base.scenario_file, base.event_file, {}))
                       ).events

def woven(facts: Facts, more: Iterable[Event]) -> Facts:
    """The facts with these among them, each when it happened."""
    whole = sorted([*((one.received_t, 0, one.seq, one.event) for one in facts),
                    *((one.t, 1, at, one) for at, one in enumerate(more))], key=lambda one: one[:3])
    return tuple(Stamped(seq=seq, received_t=t, event=event) for seq, (t, _, _, event) in enumerate(whole))

def on_the_wall(facts: Facts, green: str) -> Facts:
    """With the clock of the daemon's machine, which goes a little fast."""
    zero = datetime.fromisoformat(green).timestamp() + 0.3517
    return tuple(one.model_copy(update={"wall_s": round(zero + one.received_t * (1 + CLOCK_DRIFT), 6)})
                 for one in facts)

def key(t: float, command: str, car: str = "41", **more: Any) -> CommandGiven:
    """A command of the desk."""
    return CommandGiven(id=f"key-{car}-{command}-{t}", t=t, car=car, command=command, **({"by": "ann"} | more))

def said(*pairs: tuple[float, str]) -> list[CommandGiven]:
    """Comments in shorthand, each at its moment."""
    return [key(t, "comment", shorthand=text) for t, text in pairs]

def faulty() -> Facts:
    """An hour in small: a feed that loses and doubles, comments of every sort, a plan that is changed."""
    feed = {"lost": 0.03, "doubled": 0.02, "out_of_order": 0.02, "delay_p99_s": 2}
    facts = played(_made("event.yaml", {"feed": feed}, {"41": _plan("41", [CHECKS, HOLDS, MORE, LAST])}, 21, 3))
    return on_the_wall(woven(facts, [
        *said((420.0, "t4 entry us 3, exit os 2: with 2 clicks more"), (520.0, "t7 mid us 2; fronts hot 2"),
              (560.0, "t4 entry os 4"), (700.0, "slow corners us 2; ride harsh 4: at the 3rd kerb"),
              (1000.0, "t4 entry us 1; t1 fl lock 3 ?"), (1010.0, "t7 mid us 4, t12 snap 5; t10 exit os 2"),
              (1015.0, "t9 mid us 1")),
        key(1020.0, "comment", text="nothing at 100 percent"),
        key(530.0, "asked", text="gap to car 7?"), key(560.0, "answered", question=1, text="4 s"),
        key(1030.0, "asked", text="how many laps, 2 or 3?"),
        key(640.0, "extend", run="more", text="1 more to see the 2nd lap"),
        key(1100.0, "drop", run="last", text="no time for 6 laps"),
    ]), "2031-05-16T10:30:00+02:00")

def stopped() -> Facts:
    """Red flags, a slow period and a yellow; positions at 10 Hz, holds that are driven, a radio desk that tells."""
    flags = {"scripted": [
        {"at": 80, "status": "red", "lasts": 30}, {"at": 330, "status": "yellow", "lasts": 30, "sectors": ["5"]},
        {"at": 395, "status": "slow", "lasts": 20}, {"at": 455, "status": "red", "lasts": 45}]}
    changes = {"flags": flags, "holds": "driven", "feed": {"positions_hz": 10, "channel": True, "lost": 0},
               "field": {"cars": 2, "first_out_s": [60, 70, 80]}}
    return played(_made("event.yaml", changes, {"41": _plan("41", [SHORT, MORE])}, 8.5, 5))

def wet() -> Facts:
    """In the wet, by the alternate for it; the driver complains of grip."""
    runs = [CHECKS | {"tyres": "W1"},
            {"run": "learn", "purpose": "where the water stands", "want": "must", "laps": "out, 3 timed, in",
             "tyres": "W1", "fuel_kg": 22, "shorten_to": 2, "after_garage_s": [30, 40, 60],
             "items": [{"do": "driver_comment", "on": "in", "with": {"topic": "grip"}}]}]
    rain = _plan("58", runs, driver="bryn", tyre_sets={"W1": {"compound": "wet", "laps": 4}},
                 starts_with={"tyres": "W1", "fuel_kg": 12})
    dry = _plan("58", [CHECKS, HOLDS], driver="bryn")
    alternates: dict[str, dict[Alternate, Plan]] = {"58": {"wet": rain}}
    changes = {"feed": {"lost": 0, "switches": "all"}, "pace": {"spoilt": 0.9}}
    facts = played(_made("event.yaml", changes, {"58": dry}, 12, 2, {"wet": True, "alternates": alternates}))
    return woven(facts, [key(-20.0, "switch_plan", "58", alternate="wet", text="rain from 10:20 on")])

def two_windows() -> Facts:
    """A test day in small: two windows, a break, two drivers; by night, while the clocks are put back."""
    morning = [CHECKS, MORE | {"run": "early"}]
    later = [MORE | {"run": "late", "driver": "maro", "window": "second"}]
    regulations = {"regulations": 1, "sessions": [{
        "session": "test-day", "opens_at": "2031-10-26T02:56:00+02:00",
        "windows": [{"window": "first", "from": 0, "to": 600}, {"window": "second", "from": 720, "to": 1380}]}]}
    base = load_rehearsal(str(ROOT / "simulations" / "test_day.yaml"))
    rules = type(base.setup.regulations).model_validate(regulations)
    scenario, setup, seed = _made(
        "test_day.yaml", {"duration_s": None, "session": "test-day", "feed": {"lost": 0},
         "driver_change_s": [20, 30, 40], "engineer": {"forgets": 0}},
        {"41": _plan("41", [*morning, *later], "test-day")}, 1, 4,
        {"regulations": rules, "session": "test-day"})
    return on_the_wall(played((scenario, setup, seed)), "2031-10-26T02:56:00+02:00")

def timing_only() -> Facts:
    """A circuit of which only shares of the lap are known; no positions, no telemetry; nobody presses keys."""
    document = yaml.safe_load((ROOT / "config" / "circuit_timing_only.yaml").read_text(encoding="utf-8"))
    circuit = Circuit.model_validate(document)
    changes = {"feed": {"switches": "none", "lost": 0.01}, "engineer": {"keys": "none"}}
    facts = played(_made("event.yaml", changes, {"41": _plan("41", [CHECKS, HOLDS])}, 14, 6, {"circuit": circuit}))
    return woven(facts, [Resumed(id="resumed-1", t=520.0, gap_s=14.0), *said((500.0, "t4 mid us 3; t7 exit os 2"))])

def stayed_out() -> Facts:
    """A driver who does not do as he is told: laps that were to be in-laps and cool-down laps are driven timed, with
    the switches of those laps."""
    driver = {"forgets": 0.5, "mishears": 0.1, "leaves_wrong": 0.1}
    changes = {"driver": driver, "feed": {"lost": 0, "switches": "measured"}}
    return played(_made("event.yaml", changes, {"41": _plan("41", [HOLDS, LAST])}, 15, 4))

def held() -> Facts:
    """A driver who drives his holds on laps that he drives timed else: what they cost is no mistake of his."""
    changes = {"driver": {"forgets": 0.5, "mishears": 0.1, "leaves_wrong": 0.1}, "holds": "driven",
               "feed": {"lost": 0, "switches": "measured"}}
    return played(_made("event.yaml", changes, {"41": _plan("41", [SHORT])}, 8, 9))

RECORD: dict[str, Callable[[], Facts]] = {
    "faulty": faulty, "stopped": stopped, "wet": wet, "two_windows": two_windows, "timing_only": timing_only,
    "stayed_out": stayed_out, "held": held}

def main(names: Iterable[str]) -> int:
    """Record these, or all."""
    structlog.configure(wrapper_class=structlog.make_filtering_bound_logger(logging.ERROR))
    STORED.mkdir(parents=True, exist_ok=True)
    for name in list(names) or list(RECORD):
        facts = RECORD[name]()
        body = b"".join(encode(one) + b"\n" for one in facts)
        path = STORED / f"{name}.jsonl.gz"
        path.write_bytes(gzip.compress(body, 9, mtime=0))
        print(f"{path.name}  {len(facts)} facts  {path.stat().st_size // 1024} kB")
    return 0

if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
