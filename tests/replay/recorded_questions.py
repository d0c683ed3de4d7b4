"""A journal in which the driver speaks: what he says and is asked, what he asks himself, and what the desk corrects.

Two runs on a circuit of round numbers (a lap of 100 s), each with wishes for comments; a second car of the field, which
is in the way once.
"""

from __future__ import annotations

import functools
from typing import Any

from pitwall.model.events import Stamped
from tests.acceptance.script import Script
from tests.acceptance.script_car import Car
from tests.acceptance.script_patterns import command, crossing, pit, prompt, status
from tests.unit.engine_stage import plan, setup

WORK = {"after_garage_s": [50, 60, 80]}
HOLD = {"do": "hold", "on": ["out", "cool"], "after": "turn 1", "want": "must"}
ONE: dict[str, Any] = WORK | {
    "run": "one", "want": "must", "laps": "out, 2 timed, cool, 2 timed, in", "tyres": "B1", "fuel_kg": 30,
    "items": [HOLD], "feedback": ["tyres", "balance"],
}  # fmt: skip
TWO: dict[str, Any] = WORK | {
    "run": "two", "want": "must", "laps": "out, 2 timed, in", "tyres": "C1", "fuel_kg": 20,
    "switches": {"brake_bias": 57}, "feedback": ["balance", "braking", "tyres"],
}  # fmt: skip
SPARE: dict[str, Any] = {"run": "spare", "want": "could", "laps": "out, 1 timed, in"}
SETS = {"B1": {"compound": "medium", "laps": 3}, "C1": {"compound": "soft"}}


def said(typed: str, by: str = "ann", **more: Any) -> Any:
    """A comment in shorthand."""
    return command("comment", by=by, shorthand=typed, **more)


@functools.cache
def questions() -> tuple[Stamped, ...]:
    """What is wanted of a run is asked on its cool-down lap, less what was noted before; on the way in of the second
    run the question goes, because the last comment comes first. A comment is completed later, one is taken back, two
    contradict each other, and some are said of both runs. Of two questions of the driver one is answered."""
    play = Script(setup(plan(ONE, TWO, SPARE, tyre_sets=SETS, starts_with={"tyres": "B1"})), starts_at=-60)
    play.at(0).push(status("green", pit_exit="open"))
    asks = prompt(kind="question", state="due", run="one")
    play.whenever(asks, 2.0, lambda heard: [command("said", call=heard.call, by="ines-e")])
    play.whenever(asks, 14.0, lambda heard: [said("t4 mid us 3, t7 exit os 2: with the throttle")])
    car = play.car().leaves(60).lap(125)
    play.at(car.t + 40).push(command("asked", by="ann", text="gap behind?"))
    car.lap(100.2).lap(100.6)
    play.at(car.t - 12).push(command("comment", by="ann"))
    play.at(car.t + 8).push(said("rears hot 4: since the second lap"))
    play.at(car.t + 60).push(command("answered", by="ann", question=1))
    car.lap(160).lap(100.9)
    _behind(play, car)
    play.at(car.t + 30).push(said("t4 mid os 2"), said("t9 snap 4", by="tom"), command("undo", by="tom"))
    play.at(car.t + 40).push(command("asked", by="ann", text="how long is the stop?"))
    car.comes_in(118)
    play.at(car.t + 20).push(said("t4 entry us 2", by="tom", comment=1), command("drop", run="spare", text="no time"))
    again = play.car().leaves(car.t + 130).lap(125)
    again.lap(99.1, late={"line": 6.0})
    play.at(again.t + 1.5).push(command("cross", by="ann"))
    play.at(again.t + 20).push(said("t4 mid us 1: much better"), command("extend", by="ann", run="two"))
    again.lap(99.4).lap(99.3)
    play.at(again.t + 4).push(said("t7 exit os 3, fronts lock t1 3"))
    play.at(again.t + 21).push(said("rears good"))
    again.comes_in(118)
    play.at(again.t + 60).push(status("closed"))
    play.run(until=again.t + 90)
    return play.events


def _behind(play: Script, car: Car) -> None:
    """A timed lap on which a car is in the way between the first and the second loop; it left long before."""
    begun = car.t
    play.at(begun - 150).push(pit("exit", "7"))
    play.at(begun - 40).push(crossing("line", "7"))
    for loop, seconds in (("1", 100), ("2", 109)):
        car.to(loop, seconds)
        play.at(car.t - 1.1).push(crossing(loop, "7"))
    car.lap(car.t - begun + 30.2)
    play.at(car.t - 1.2).push(crossing("line", "7"))
