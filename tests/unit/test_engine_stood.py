"""A position that was entered by a slip and is taken back: nothing of it is left, no call, no doubt and no alert."""

from __future__ import annotations

from typing import Any

import pytest

from pitwall.engine.switches import ANSWERS_ENTERED
from pitwall.model.outputs import Alert
from tests.unit.engine_stage import MAIN, Stage, effect, plan, setup

FLAP = {"do": "flap_lap", "on": {"timed": 1}}


def on_lap(*laps: float, items: tuple[dict[str, Any], ...] = ()) -> tuple[Stage, float]:
    """The car has just begun the lap after these, of a run of three timed ones."""
    stage = Stage(setup(plan(MAIN | {"laps": "out, 3 timed, in", "items": list(items)}))).green()
    if not laps:
        return stage.leave(200), 200.0
    return stage, stage.drive(200, *laps)


def alerts(stage: Stage) -> dict[str, bool]:
    """Alerts about switches, with whether each is active, as told last."""
    return {one.text: one.active for one in stage.made(Alert) if one.kind.startswith("switch_")}


@pytest.mark.parametrize(("switch", "wrong", "stood"), [
    ("brake_bias", 58, 55), ("flap", "open", "closed"), ("torque_map", 3, 2), ("push", "on", "none"),
])
@pytest.mark.parametrize("laps", [(), (125,)])
def test_a_position_taken_back_leaves_no_call_no_doubt_and_no_alert(
    laps: tuple[float, ...], switch: str, wrong: Any, stood: Any
) -> None:
    """A put-back was planned for it, and on a timed lap it was told as unsure. It never stood so, and what a preset was
    taken to move along did not move: all of that goes, also where drivers' answers are entered."""
    stage, t = on_lap(*laps)
    stage.car.switches.confirms = ANSWERS_ENTERED
    sure = set(stage.car.switches.verified)
    effect(stage.command("set_switch", t + 20, switch=switch, position=wrong))
    stage.wait(t + 26)
    assert [call for call in stage.car.book.calls.values() if call.open and call.spec.ask.action == "set_switch"]
    effect(stage.command("undo", t + 28))
    stage.wait(t + 35)
    assert not [call.id for call in stage.car.book.calls.values()
                if call.open and call.spec.ask.action == "set_switch"]
    assert not any(alerts(stage).values())
    board = stage.car.switches
    assert (board.stands(switch), board.stands("torque_map"), board.in_doubt()) == (stood, 2, [])
    assert board.verified == sure


def test_what_was_taken_as_done_for_it_is_called_for_after_all() -> None:
    """"Flap open" was about to be told, and a hand entered that it is open: taken back, the call comes again."""
    stage, t = on_lap(items=(FLAP,))
    stage.cross(t + 32, "1")
    stage.cross(t + 85, "2")
    stage.wait(t + 110)
    (opening,) = [call for call in stage.car.book.asking("set_switch") if call.state == "due"]
    effect(stage.command("set_switch", t + 111, switch="flap", position="open"))
    assert opening.state == "done"
    effect(stage.command("undo", t + 112))
    stage.wait(t + 113)
    asked = [call for call in stage.car.book.asking("set_switch") if call.spec.asked == {"flap": "open"}]
    (again,) = [call for call in asked if call.open]
    assert (again.state, opening.said_t) == ("due", None)


def test_what_the_driver_said_since_stands() -> None:
    """The flap was entered as open by a slip, and the call to close it was read back: that it is closed is known, and
    the undo takes nothing of it away."""
    stage, t = on_lap(125)
    stage.cross(t + 30, "1")
    effect(stage.command("set_switch", t + 40, switch="flap", position="open"))
    stage.cross(t + 70, "2")
    stage.wait(t + 90)
    (closing,) = [call for call in stage.car.book.asking("set_switch") if call.state == "due"]
    stage.command("said", t + 91, call=closing.id)
    stage.command("confirm", t + 94, call=closing.id)
    assert effect(stage.command("undo", t + 96, of="set_switch")).endswith("flap at closed")
    board = stage.car.switches
    assert (board.stands("flap"), "flap" in board.verified, board.in_doubt()) == ("closed", True, [])
