"""A switch that a timed lap needs, while the lap before it runs: what the panel wants, is told and called again."""

from __future__ import annotations

from typing import Any

import pytest

from pitwall.engine.call import Call, CallSpec
from pitwall.engine.calls import CallBook
from pitwall.engine.publish import desk_state
from pitwall.engine.switch_watch import AHEAD_S
from pitwall.model.outputs import Alert, Ask
from pitwall.model.record import altered
from pitwall.radio.ways import Room
from tests.unit.engine_stage import MAIN, Stage, plan, setup
from tests.unit.test_engine_switch_watch import alerts

COOL_RUN = MAIN | {"laps": "out, 1 timed, cool, 1 timed, in"}


def on_the_cool_down_lap(**more: Any) -> tuple[Stage, float]:
    """Ten seconds into a cool-down lap of some 130 s, torque at 1 as that lap has it; the timed lap after it needs 2.
    Returns when the lap began."""
    stage = Stage(setup(plan(COOL_RUN, **more))).green()
    t = stage.drive(200, 125, 100)
    stage.switch(t + 10, "torque_map", 1)
    stage.cross(t + 39, "1")
    return stage, t


def wanted(stage: Stage, switch: str = "torque_map") -> Any:
    """Where the panel has the switch wanted."""
    state = desk_state(stage.car, stage.session.clock, stage.now)
    return next(card.wanted for card in state.switches if card.switch == switch)


def back(stage: Stage) -> list[Call]:
    """Every call for torque 2."""
    return [call for call in stage.car.book.asking("set_switch") if call.spec.asked == {"torque_map": 2}]


def line_ahead(stage: Stage) -> float:
    """When the car is expected at the line."""
    return stage.car.legs[0].end_s


# -- the panel ---------------------------------------------------------------------------------------------------------


def test_from_the_call_on_the_panel_wants_what_the_lap_ahead_needs() -> None:
    """Until then torque 1 is right on the cool-down lap; with the call out, what stands at 1 differs, and what was
    moved to 2 does not."""
    stage, t = on_the_cool_down_lap()
    stage.wait(t + 50)
    assert (back(stage)[-1].due_t, wanted(stage)) == (None, 1)
    while back(stage)[-1].due_t is None and stage.now < t + 130:
        stage.wait(stage.now + 1)
    assert wanted(stage) == 2
    stage.command("said", call=back(stage)[-1].id)
    stage.switch(stage.now + 2, "torque_map", 2)
    assert wanted(stage) == 2
    stage.wait(line_ahead(stage) - 1)
    assert wanted(stage) == 2


def test_a_switch_that_was_moved_for_the_lap_ahead_before_anybody_called_for_it_is_not_red() -> None:
    """The driver thinks ahead, and the panel with him."""
    stage, t = on_the_cool_down_lap()
    stage.switch(t + 45, "torque_map", 2)
    assert wanted(stage) == 2


def test_what_was_never_set_for_the_cool_down_lap_is_not_red_as_the_timed_lap_comes_near() -> None:
    """It stood right for the timed lap before and stands right for the one ahead: nobody sends it to and fro now."""
    stage = Stage(setup(plan(COOL_RUN))).green()
    stage.switch(190, "torque_map", 2)
    t = stage.drive(200, 125, 100)
    stage.wait(t + 5)
    assert wanted(stage) == 1
    stage.cross(t + 39, "1")
    stage.wait(t + 80)
    assert wanted(stage) == 2


def test_with_the_line_near_the_panel_wants_what_is_needed_there_though_nothing_was_called() -> None:
    """The call was skipped by hand: the position is wrong for the lap ahead all the same."""
    stage, t = on_the_cool_down_lap()
    stage.wait(t + 50)
    stage.command("skip", call=back(stage)[-1].id)
    assert wanted(stage) == 1
    stage.cross(t + 91, "2")
    stage.wait(line_ahead(stage) - AHEAD_S + 1)
    assert wanted(stage) == 2


def test_on_a_timed_lap_the_panel_wants_what_that_lap_needs_to_its_end() -> None:
    """The call for the lap after it is heard there, and a driver who waits for the line does well: the flap belongs
    open until it was told to close and was closed."""
    stage = Stage(setup(plan(MAIN | {"items": [{"do": "flap_lap", "on": {"timed": 1}}]}))).green()
    stage.leave(200)
    stage.cross(250, "1")
    stage.switch(300, "flap", "open")
    stage.cross(290, "2")
    stage.cross(325)
    stage.cross(355, "1")
    stage.cross(395, "2")
    closing = [call for call in stage.car.book.asking("set_switch") if call.spec.asked == {"flap": "closed"}][-1]
    while closing.due_t is None and stage.now < 424:
        stage.wait(stage.now + 1)
    assert (closing.state, wanted(stage, "flap")) == ("due", "open")
    stage.command("said", call=closing.id)
    assert wanted(stage, "flap") == "open"
    stage.switch(stage.now + 1, "flap", "closed")
    assert wanted(stage, "flap") == "closed"


# -- told before the line ----------------------------------------------------------------------------------------------


def to_the_last_seconds(stage: Stage, t: float) -> float:
    """Drive on to two seconds before the last look ahead; returns when the line is expected."""
    stage.cross(t + 91, "2")
    stage.wait(line_ahead(stage) - AHEAD_S - 2)
    return line_ahead(stage)


def test_a_switch_measured_wrong_is_told_before_the_line_once_its_call_is_over() -> None:
    """Nothing is left that would bring it back: twelve seconds before the line it is an alert, while there is time to
    say it. The same alert stands on the timed lap, and is over as soon as the switch is right."""
    stage, t = on_the_cool_down_lap()
    stage.wait(t + 50)
    stage.command("skip", call=back(stage)[-1].id)
    line = to_the_last_seconds(stage, t)
    assert alerts(stage, "switch_wrong") == []
    stage.wait(line - AHEAD_S + 0.5)
    ((name, told_t, on),) = alerts(stage, "switch_wrong")
    assert (name, on) == ("torque_map", True)
    assert line - AHEAD_S <= told_t <= line - AHEAD_S + 0.5
    (alert,) = [one for one in stage.made(Alert) if one.kind == "switch_wrong"]
    assert alert.text == "torque stands at 1, the timed lap ahead needs 2"
    stage.cross(line)
    stage.switch(line + 20, "torque_map", 2)
    assert [on for _, _, on in alerts(stage, "switch_wrong")] == [True, False]
    assert alerts(stage, "switch_wrong")[-1][:2] == ("torque_map", line + 20)


def test_moved_before_the_line_the_alert_is_over_there() -> None:
    """It did what it was for."""
    stage, t = on_the_cool_down_lap()
    stage.wait(t + 50)
    stage.command("skip", call=back(stage)[-1].id)
    line = to_the_last_seconds(stage, t)
    stage.switch(line - 5, "torque_map", 2)
    assert [on for _, _, on in alerts(stage, "switch_wrong")] == [True, False]
    assert alerts(stage, "switch_wrong")[-1][1] == line - 5


@pytest.mark.parametrize("state", ["to be said", "said just now"])
def test_while_its_call_may_still_be_obeyed_no_alert_stands_beside_it(state: str) -> None:
    """An alert that a driver's hand ends in a second is noise: it is told at the line, as before."""
    stage, t = on_the_cool_down_lap()
    line = to_the_last_seconds(stage, t)
    call = back(stage)[-1]
    call.state = "due"
    if state == "said just now":
        stage.command("said", call=call.id)
    stage.wait(line - 5)
    assert alerts(stage, "switch_wrong") == []
    stage.cross(line)
    assert [(on, told_t) for _, told_t, on in alerts(stage, "switch_wrong")] == [(True, line)]


def test_a_switch_knocked_in_the_last_seconds_is_told_at_the_line() -> None:
    """No driver would hear of it and act before the line, and he may put it right himself."""
    stage, t = on_the_cool_down_lap()
    stage.switch(t + 50, "torque_map", 2)
    line = to_the_last_seconds(stage, t)
    stage.switch(line - 4, "torque_map", 3)
    stage.wait(line - 0.5)
    assert alerts(stage, "switch_wrong") == []
    stage.cross(line)
    assert [(on, told_t) for _, told_t, on in alerts(stage, "switch_wrong")] == [(True, line)]


def test_a_board_tells_nobody_before_the_line() -> None:
    """Between two passes of the pit wall nothing can be said: it is told where it can be shown."""
    stage, t = on_the_cool_down_lap(medium="board")
    for call in stage.car.book.asking("set_switch"):
        if call.open:
            stage.command("skip", call=call.id)
    line = to_the_last_seconds(stage, t)
    stage.wait(line - 1)
    assert alerts(stage, "switch_wrong") == []


# -- said again --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("but", "comes"), [
    ({}, True),
    ({"not_done": False}, False),  # telemetry shows it done, or never spoke of it
    ({"place": None}, False),  # for the lap that runs already
    ({"latest_s": 122.0}, False),  # nothing is left to say it in
    ({"room": Room(((60.0, 105.0), (121.0, 121.5)), 60.0, 170.0)}, False),  # the driver listens nowhere before the line
    ({"room": Room(((60.0, 105.0), (140.0, 145.0)), 60.0, 170.0)}, True),
])
def test_where_nobody_presses_keys_what_telemetry_shows_undone_is_offered_once_more(
    but: dict[str, Any], comes: bool
) -> None:
    """Unconfirmed at 104, and the switch stands where it stood: by 114 telemetry would have shown it moved, and the
    line is a minute ahead. It comes once more, where the driver listens; and not a third time."""
    book = CallBook("41", 3.0)
    spec = CallSpec(key="back", kind="switch", text="Torque 2.", short="Torque 2", say_from_s=98.0, say_by_s=100.0,
                    spoken_s=1.0, lead_s=10.0, place="line", latest_s=160.0, not_done=True,
                    ask=Ask(action="set_switch", switch="torque_map", position=2), room=Room(None, 60.0, 170.0))
    book.reconcile([spec], 90.0, "", False, ("main", 2, 3))
    for t in (98.0, 104.0):
        book.tick(t)
    first = book.calls["41-back"]
    assert (first.state, book.keys) == ("unconfirmed", 0)
    later = altered(spec, say_from_s=120.0, say_by_s=150.0, **but)
    book.reconcile([later], 112.0, "", False, ("main", 2, 3))
    assert list(book.calls) == ["41-back"]
    book.reconcile([later], 120.0, "", False, ("main", 2, 3))
    assert list(book.calls) == (["41-back", "41-back~2"] if comes else ["41-back"])
    for t in (120.0, 160.0):
        book.tick(t)
    book.reconcile([altered(later, say_by_s=175.0, latest_s=180.0)], 174.0, "", False, ("main", 2, 3))
    assert len(book.calls) == 1 + comes
