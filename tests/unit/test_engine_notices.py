"""States for the screens are drawn up beside what is decided: a drawing that fails costs no decision."""

from __future__ import annotations

from typing import Any

import pytest

from pitwall.engine import publish
from pitwall.model.outputs import Alert, ClockState, DeskState, FieldState, Output, PlanState, Prompt, Refused
from tests.unit.engine_stage import Stage

DRAWN = (ClockState, DeskState, FieldState, PlanState, Refused)


def drive(shown: bool) -> Stage:
    """A run with a switch that is wrong on its timed lap; ``shown``: somebody looks at the screens."""
    stage = Stage()
    stage.session.notices.shown = shown
    stage.green().leave(200)
    stage.switch(300, "torque_map", 4)
    stage.lap(300.5, 24.5, from_exit=True)
    stage.lap(325, 100)
    return stage


def decided(stage: Stage) -> list[Output]:
    """What was decided, without what is only drawn."""
    return [one for one in stage.outputs if not isinstance(one, DRAWN)]


@pytest.mark.parametrize("state", ["desk_state", "field_state", "clock_state"])
def test_a_state_that_cannot_be_drawn_up_changes_no_decision(state: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Live, where it is drawn, and in a restart, which draws nothing: the same calls, alerts, questions and wake-ups.
    It is told once, with the cause, and not with every fact; the other states go on."""
    quiet = drive(shown=False)

    def fails(*_: Any) -> Output:
        raise ZeroDivisionError("no pace")

    monkeypatch.setattr(publish, state, fails)
    live = drive(shown=True)
    assert decided(live) == decided(quiet)
    assert live.session.open_wishes() == quiet.session.open_wishes()
    assert {type(one) for one in decided(live)} >= {Alert, Prompt}
    (told,) = live.made(Refused)
    assert "ZeroDivisionError: no pace" in told.reason
    assert len({type(one) for one in live.outputs} & set(DRAWN)) == len(DRAWN) - 1
    standing = live.session.standing()
    assert sum(isinstance(one, Refused) for one in standing) == 1
    assert any(isinstance(one, PlanState) for one in standing)


def test_a_state_that_can_be_drawn_up_again_is_shown_and_its_next_failure_is_told(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """One failure, whatever its length, is one word; another one is another."""
    stage = Stage().green().leave(200)
    for begin in (210.0, 230.0):
        with monkeypatch.context() as broken:
            broken.setattr(publish, "desk_state", lambda *_: 1 / 0)
            stage.wait(begin + 10)
        before = len(stage.made(DeskState))
        stage.wait(begin + 20)
        assert len(stage.made(DeskState)) > before
    assert len(stage.made(Refused)) == 2
