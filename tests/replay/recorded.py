"""Journals recorded with the real engine from short scripted sessions: what the replay tests and golden journals use.

Lap times are half a minute, so that a few minutes hold garage calls, runs, commands, a yellow and a red flag.
"""

from __future__ import annotations

import functools
from typing import Any

from pitwall.model.circuit import Circuit
from pitwall.model.events import Stamped
from pitwall.model.plan import Plan
from pitwall.model.procedure import Procedure
from pitwall.model.setup import CallTiming, SessionSetup
from pitwall.testing import tiny_setup
from tests.acceptance.script import Script
from tests.acceptance.script_patterns import command, prompt, status, switch

LAP_S = 30.0

_RUNS: list[dict[str, Any]] = [
    {
        "run": "first",
        "want": "must",
        "laps": "out, 2 timed, in",
        "after_garage_s": [20, 30, 40],
        "items": [{"do": "radio_check", "on": "out"}, {"do": "map_compare", "on": {"timed": 2}}],
    },
    {
        "run": "second",
        "want": "must",
        "laps": "out, 1 timed, cool, 1 timed, in",
        "after_garage_s": [20, 30, 40],
        "items": [{"do": "map_compare", "on": {"timed": 2}}],
    },
    {"run": "third", "want": "could", "laps": "out, 3 timed, in"},
]


def _procedure(name: str, where: str, **more: Any) -> Procedure:
    values: dict[str, Any] = {
        "procedure": 1,
        "name": name,
        "purpose": "a test",
        "steps": [{"say": "Do it now", "short": "Now"}],
    } | more
    values["steps"] = [{**step, "where": where, "offset_s": 12} for step in values["steps"]]
    return Procedure.model_validate(values)


def half_minute_laps() -> SessionSetup:
    """A session of ten minutes on a short timing-only circuit: one car, three runs, one measured switch."""
    base = tiny_setup()
    circuit = Circuit.model_validate(
        {
            "circuit": 1,
            "name": "Test oval",
            "lap_s": LAP_S,
            "loops": [{"loop": "line"}, {"loop": "1", "at_share": 0.3}, {"loop": "2", "at_share": 0.7}],
            "pit": {"entry_share": 0.95, "exit_share": 0.05, "last_chance_share": 0.92, "lane_s": 10},
            "marshal_sectors": [
                {"sector": "1", "from_share": 0.0, "to_share": 0.5},
                {"sector": "2", "from_share": 0.5, "to_share": 1.0},
            ],
        }
    )
    plan = {
        "plan": 1,
        "car": "41",
        "driver": "driver_a",
        "session": base.session,
        "runs": _RUNS,
        "quiet": {"timed": ["session", "safety", "box", "switch", "procedure"]},
    }
    return base.model_copy(
        update={
            "circuit": circuit,
            "plans": {"41": Plan.model_validate(plan)},
            "procedures": {
                "radio_check": _procedure("radio_check", "lap_start"),
                "map_compare": _procedure("map_compare", "lap_start", switches={"torque_map": 3}),
            },
            "calls": CallTiming(
                lead_s=6,
                window_s=6,
                brief_s=20,
                release_check_s=15,
                fire_up_s=8,
                box_shown_before_s=12,
                garage_after_s=15,
                feed_stale_s=30,
                silent_after_s=60,
            ),
            "forecast": base.forecast.model_copy(update={"futures": 100, "every_s": 60}),
        }
    )


def _opening(seconds: float) -> Script:
    play = Script(half_minute_laps(), starts_at=-seconds)
    play.at(0).push(status("green", pit_exit="open"))
    return play


@functools.cache
def everything() -> tuple[Stamped, ...]:
    """Some 300 events: a run with every key pressed, commands of many kinds, a yellow, a switch that stands wrong, a
    doubled and a missing crossing, and a red flag in the second run."""
    play = _opening(10)
    play.whenever(prompt(state="due"), 1.0, lambda heard: [command("said", call=heard.call, by="engineer")])
    play.whenever(prompt(kind="switch", state="said"), 1.5, lambda heard: [command("confirm", call=heard.call)])
    car = play.car().leaves(4).lap(38, doubled=("1",)).lap(31)
    play.at(car.t - 4).push(switch("torque_map", 2))
    play.at(car.t + 2).push(command("acknowledge", alert="switch-wrong-41-torque_map"))
    play.at(car.t + 6).push(switch("torque_map", 3), status("yellow", sectors=("2",)))
    play.at(car.t + 18).push(status("green", sectors=("2",)), command("comment", text="rear loose"))
    car.lap(30.5).comes_in(35)
    play.at(car.t + 2).push(command("drop", run="third"), command("keep_in"))
    play.at(car.t + 5).push(command("let_go"), command("box"))
    again = play.car().leaves(car.t + 12).lap(37, missing=("line",))
    play.at(again.t + 3).push(command("extend", run="second"), command("skip", call="no-such-call"))
    red = again.t + 14
    again.comes_in(42)
    play.at(red).push(status("red"))
    play.at(again.t + 4).push(status("green", pit_exit="open"))
    play.at(again.t + 8).push(command("quiet"), command("quiet", by="second seat"))
    play.run(until=again.t + 12)
    return play.events


@functools.cache
def quiet_run() -> tuple[Stamped, ...]:
    """One run without a key, from garage to garage."""
    play = _opening(10)
    car = play.car().leaves(4).lap(38).lap(31).lap(30.5).comes_in(35)
    play.run(until=car.t + 12)
    return play.events


@functools.cache
def red_flag() -> tuple[Stamped, ...]:
    """A red flag on a timed lap, the run resumed after it, the flag at the end, the session closed."""
    play = _opening(10)
    car = play.car().leaves(4).lap(38).to("1", 32)
    play.at(car.t + 2).push(status("red"))
    car.comes_in(48)
    play.at(car.t + 10).push(status("green", pit_exit="open"))
    again = play.car().leaves(car.t + 24).lap(36)
    play.at(again.t + 14).push(status("finished"))
    again.lap(31).comes_in(36)
    play.at(again.t + 6).push(status("closed"))
    play.run(until=again.t + 45)
    return play.events
