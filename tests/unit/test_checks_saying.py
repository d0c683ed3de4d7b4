"""Steps that lie too early in their lap to be said: what is doubted, and what the laps around make possible."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from pitwall.checks.around import Around
from pitwall.checks.plan import check_plan
from pitwall.errors import Finding, path_text
from pitwall.model.plan import Plan
from pitwall.model.procedure import Procedure
from pitwall.model.setup import CallTiming
from pitwall.radio.speech import spoken_s
from pitwall.track.lapmap import lap_map
from tests.unit.engine_stage import shipped

SETUP = shipped()
CAR = SETUP.cars["41"]
LAP = lap_map(SETUP.circuit, CAR, SETUP.calls)
SAY = "Two hard stops on the straights, and then no more."
SAID_S = spoken_s(SAY, 150)
LAPS = "out, 1 timed, cool, 2 timed, in"


def doubts(
    on: object, *, laps: str = LAPS, rate: float = 150, head: dict[str, Any] | None = None,
    after: str | None = None, **step: Any,
) -> list[Finding]:
    """What is said of one item on these laps whose step is this one."""
    where = {"where": "place"} if after is not None else {"where": "lap_start"}
    procedure = Procedure.model_validate({
        "procedure": 1, "name": "stops", "purpose": "p", "place": "optional",
        "steps": [{"say": SAY, "short": "stops", "reaction_s": 3, **where, **step}]})
    around = Around(circuit=SETUP.circuit, car=CAR, lap=LAP, procedures={"stops": procedure},
                    calls=CallTiming(words_per_minute=rate))
    item = {"do": "stops", "on": on, **({"after": after} if after is not None else {})}
    plan = Plan.model_validate({
        "plan": 1, "car": 41, "driver": "ines", "session": "practice-1", **(head or {}),
        "runs": [{"run": "a", "want": "must", "laps": laps, "fuel_kg": 40, "items": [item]}]})
    return [found for found in check_plan(plan, around) if found.code == "PW210"]


def test_a_step_too_soon_after_the_pit_exit_is_a_warning_with_the_figures() -> None:
    """Nothing is said before the car leaves: 7 s do not hold the sentence and 3 s of reaction."""
    (found,) = doubts("out", offset_s=7, reaction_s=3)
    assert SAID_S + 3 > 7
    assert (found.severity, path_text(found.path)) == ("warning", "runs[0].items[0]")
    assert f"{SAID_S + 3:.1f} s to say it and to react" in found.found
    assert "7.0 s after the start of the lap" in found.found
    remedy = int((found.suggestion or "").split(" to ")[1].split()[0])
    assert remedy > SAID_S + 3
    assert doubts("out", offset_s=remedy) == []


def test_the_edge_is_speech_and_reaction() -> None:
    """A second more is enough, at the engineer's own rate: a slower one needs more."""
    assert len(doubts("out", offset_s=SAID_S + 3)) == 1
    assert doubts("out", offset_s=SAID_S + 4) == []
    assert len(doubts("out", offset_s=SAID_S + 4, rate=80)) == 1


def test_a_step_at_the_end_of_a_lap_reaches_back_no_further_than_its_start() -> None:
    """25 s before the line is late in an out-lap; 120 s before it is not in a lap of less than that."""
    assert doubts("out", where="lap_end", offset_s=-25) == []
    assert len(doubts("out", where="lap_end", offset_s=-120)) == 1


def test_the_lap_before_gives_time_where_it_may_be_spoken_on() -> None:
    """A timed lap after the out-lap, and an in-lap after a cool-down lap, are called on the lap before."""
    assert doubts({"timed": 1}, offset_s=0) == []
    assert doubts("in", laps="out, 1 timed, cool, in", offset_s=0, where="lap_start") == []


def test_after_a_silent_lap_an_early_place_is_doubted() -> None:
    """On a timed lap nothing may be said, so a place early in the lap after it comes too soon; a later one does not."""
    first, last = min(LAP.places, key=LAP.phase_of), max(LAP.places, key=LAP.phase_of)
    (found,) = doubts("cool", after=first, offset_s=-20)
    assert path_text(found.path) == "runs[0].items[0].after"
    assert doubts("cool", after=last) == []
    everything = {"quiet": {"timed": "all"}}
    assert doubts("cool", after=first, offset_s=-20, head=everything) == []


def test_what_is_for_the_start_of_a_lap_is_said_as_it_begins_after_a_silent_one() -> None:
    """As the engine does it: it is late for nothing, since the lap itself is meant."""
    assert doubts("cool", offset_s=2) == []


def test_between_two_silent_laps_a_call_is_made_all_the_same() -> None:
    """It has nowhere else to go, so the lap before serves."""
    first = min(LAP.places, key=LAP.phase_of)
    assert doubts({"timed": 3}, after=first, offset_s=-20) == []


def test_a_place_before_the_pit_exit_is_never_passed_on_an_out_lap() -> None:
    """The car joins the lap after it: that is told as such, and not as a sentence that comes too late."""
    late = replace(LAP, pit_exit=0.5)
    procedure = SETUP.procedures["coast_down"]
    plan = Plan.model_validate({
        "plan": 1, "car": 41, "driver": "ines", "session": "practice-1", "runs": [
            {"run": "a", "want": "must", "laps": LAPS, "fuel_kg": 40,
             "items": [{"do": "coast_down", "on": "out", "after": min(LAP.places, key=LAP.phase_of)}]}]})
    around = Around(circuit=SETUP.circuit, lap=late, procedures={"coast_down": procedure})
    found = [one for one in check_plan(plan, around) if one.code in ("PW210", "PW211")]
    assert [("before the pit exit" in one.found, one.code) for one in found] == [(True, "PW211")]


@pytest.mark.parametrize("where", ["garage", "pit_exit", "pit_lane"])
def test_what_is_said_off_the_lap_is_not_judged(where: str) -> None:
    """The car stands, or rolls in the lane: there is no lap to be early in."""
    assert doubts("out", where=where) == []


def test_a_pit_board_needs_no_time_to_speak() -> None:
    """It is shown a lap ahead."""
    assert doubts("out", offset_s=2, head={"medium": "board"}) == []


def test_every_shipped_procedure_can_be_said_on_the_laps_it_is_for() -> None:
    """On each lap kind that it allows, after a timed lap or out of the pits, with the shipped settings."""
    around = Around(circuit=SETUP.circuit, lap=LAP, procedures=SETUP.procedures, calls=SETUP.calls)
    arguments = {"gear": 5, "flap": "open", "switch": "torque_map", "position": 3, "by": 1}
    for procedure in SETUP.procedures.values():
        for kind in procedure.laps:
            laps = "out-in" if kind == "installation" else "out, 1 timed, cool, 1 timed, in"
            item: dict[str, Any] = {"do": procedure.name, "on": kind}
            item["with"] = {name: value for name, value in arguments.items() if name in procedure.arguments}
            if procedure.place == "needed":
                item["after"] = "turn 4"
            plan = Plan.model_validate({"plan": 1, "car": 41, "driver": "ines", "session": "practice-1", "runs": [
                {"run": "a", "want": "must", "laps": laps, "items": [item]}]})
            told = [found.text() for found in check_plan(plan, around) if found.code == "PW210"]
            assert told == [], f"{procedure.name} on {kind}"
