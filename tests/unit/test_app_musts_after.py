"""What the answer to a change of the plan says of the musts: how sure they are now, as soon as that is reckoned."""

from __future__ import annotations

import asyncio
from typing import Any

import pytest

from pitwall.app.commanding import arguments_from, command_from, give
from pitwall.app.musts_after import MustsAfter, changed_the_plan
from pitwall.bus.memory import MemoryBus
from pitwall.model.outlook import CarOutlook, RunOutlook
from pitwall.model.outputs import Answered, ForecastState, Output
from tests.unit.test_app_commanding import Running


def forecast(t: float, chance: float, *, lost: tuple[str, ...] = (), musts: int = 1, car: str = "41") -> ForecastState:
    """What was reckoned at that second of so many musts that are still to come."""
    of_run: Any = RunOutlook
    of_car: Any = CarOutlook
    of_all: Any = ForecastState  # of each only what is told of the musts
    runs = tuple(of_run.model_construct(run=f"m{number}", want="must") for number in range(musts))
    outlook = of_car.model_construct(car=car, musts_chance=chance, runs=runs)
    made: ForecastState = of_all.model_construct(id=f"f{t}", t=t, car=car, outlook=outlook, musts_lost=lost)
    return made


async def told(*messages: Output, effect: str = "main: 2 timed laps more") -> str:
    """What goes behind an answer of second 100, with these messages before and after it."""
    musts = MustsAfter("41", asyncio.get_running_loop())
    for one in messages:
        if one.t <= 100:
            musts.hear(one)
    answer = Answered(id="a", t=100.0, because="k", car="41", effect=effect)
    words = asyncio.ensure_future(musts.words(answer, 0.05))
    await asyncio.sleep(0)
    for one in messages:
        musts.hear(one)
    return await words


@pytest.mark.parametrize(("messages", "words"), [
    ((forecast(95, 0.8), forecast(100.5, 0.0)), "; every must of car 41 fits now: 0% (80% before)"),
    ((forecast(100.5, 0.97),), "; every must of car 41 fits now: 97%"),
    ((forecast(95, 0.8), forecast(100.5, 0.4, lost=("maps",))),
     "; must-run lost: maps; every other must of car 41 fits now: 40% (80% before)"),
    ((forecast(100.5, 1.0, lost=("maps",), musts=0),), "; must-run lost: maps"),
    ((forecast(100.5, 1.0, musts=0),), ""),                # no must is left: there is nothing to say
    ((forecast(95, 0.8), forecast(100.5, 0.1, car="58")), ""), ((forecast(95, 0.8),), ""),
])  # fmt: skip
async def test_the_answer_has_what_is_reckoned_after_it(messages: tuple[Output, ...], words: str) -> None:
    """Of this car, and after the answer; what is not there in time is left out."""
    assert await told(*messages) == words


async def test_nobody_waits_for_a_plan_that_did_not_change() -> None:
    """No forecast follows an answer that all is so already."""
    assert await told(forecast(100.5, 0.1), effect="the plan is so already") == ""


@pytest.mark.parametrize(("command", "effect", "changed"), [
    ("extend", "run main: now 3 timed laps", True),
    ("undo", "taken back: shorten; car 41 is as before", True),
    ("undo", "QUIET IS ON, session, safety and box calls only; taken back: drop; car 41 is as before", True),
    ("undo", "taken back: comment 2; 0 comments noted", False),
    ("quiet", "quiet is over: all calls again", False),
])  # fmt: skip
def test_taking_a_change_of_the_plan_back_is_one(command: str, effect: str, changed: bool) -> None:
    """Then, too, one wants to know how sure the musts are; of what changed no plan no forecast is awaited."""
    assert changed_the_plan(command, Answered(id="a", t=1.0, because="b", car="41", effect=effect)) is changed


async def test_a_command_to_a_daemon_is_answered_with_the_chance_of_the_musts() -> None:
    """Six timed laps more than there is time for: the one answer has the effect, and what it does to the musts."""
    running = await Running().start(0.0)
    await running.ask("status", "status=green", at="0")
    await running.clock.run_to(10.0, running.daemon.host.drain)
    values = command_from("41", "extend", "ann", arguments_from(["run=main", "laps=9"]))
    asked = asyncio.ensure_future(give(MemoryBus(running.broker), running.session, values, within_s=60.0))
    t = 10.0
    while not asked.done():
        t += 0.01
        await asyncio.sleep(0)
        await running.clock.run_to(t, running.daemon.host.drain)
    answer = await asked
    assert isinstance(answer, Answered)
    effect, _, chance = answer.effect.partition("; every must of car 41 fits now: ")
    assert "timed laps" in effect
    assert chance.endswith("% before)")
