"""The rehearsed engineer and the forecast's advice: followed where that is the custom, else left to people."""

from __future__ import annotations

from typing import Any

import pytest

from pitwall.model.events import CommandGiven
from pitwall.model.outputs import AdviceState, Proposal
from tests.unit.rehearsal_stage import CAR, Stage, scenario


def advice(*names: str, car: str = CAR) -> AdviceState:
    """Advice with these proposals, best first."""
    proposals = tuple(
        Proposal(id=name, t=100, car=car, cars=(car,), active=True, source="forecast", lines=("run a is dropped",),
                 plan_revision=1)
        for name in names
    )  # fmt: skip
    return AdviceState(id="advice", t=100, active=bool(names), asked="musts in danger", musts_chance=0.3,
                       proposals=proposals)  # fmt: skip


def given(habits: dict[str, Any], *told: tuple[float, AdviceState]) -> list[tuple[float, str | None]]:
    """What the engineer adopts, and when."""
    made = Stage(scenario(engineer=habits))
    for t, state in told:
        made.clock.run(until=t)
        made.world.hear(state)
    made.clock.run(until=400)
    return [(fact.t, fact.proposal) for fact in made.of(CommandGiven) if fact.command == "adopt"]


def test_the_first_proposal_is_adopted_after_some_thought() -> None:
    """Once, though it is told again with other chances."""
    assert given({"adopts_after_s": 8}, (100, advice("a-1", "a-2")), (105, advice("a-1"))) == [(108, "a-1")]


def test_what_is_withdrawn_meanwhile_is_not_adopted() -> None:
    """Nothing stands any more, or something better does: that one is thought over from its own moment."""
    assert given({"adopts_after_s": 8}, (100, advice("a-1")), (104, advice())) == []
    assert given({"adopts_after_s": 8}, (100, advice("a-1")), (104, advice("b-1", "a-1"))) == [(112, "b-1")]


@pytest.mark.parametrize(("habits", "car"), [({}, CAR), ({"adopts_after_s": 8}, "58")])
def test_nothing_is_adopted_without_the_custom_nor_for_another_car(habits: dict[str, Any], car: str) -> None:
    """As a rule advice waits for people; that for another car waits for its own engineer."""
    assert given(habits, (100, advice("a-1", car=car))) == []
