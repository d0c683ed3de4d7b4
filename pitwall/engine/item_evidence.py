"""What telemetry says of items that are a switch position, once their lap is over: it outweighs anybody's word.

A switch that telemetry shows elsewhere for all of the lap was not set: the item is *not done*, whoever confirmed it.
Where the procedure's file counts the switch as evidence, and not the driver's word, only telemetry makes it *done*;
without telemetry of the switch it is *probably done*. A switch that was set for a part of the lap is left to the
debrief, which knows the data window.
"""

from __future__ import annotations

from collections.abc import Mapping

from pitwall.engine.run_state import RunState
from pitwall.engine.switches import SwitchBoard
from pitwall.model.car import Position, position_text
from pitwall.model.procedure import Procedure

SHOWN = "telemetry shows the position"
TOLD = ("called", "done", "probably_done")


def word_suffices(procedure: Procedure | None) -> bool:
    """Guard: the item is done when somebody says so; not where its file wants the switch seen and names no driver."""
    return procedure is None or "switch" not in procedure.done_when or "driver" in procedure.done_when


def judge(run: RunState, leg: int, board: SwitchBoard, since: float, t: float, *, again: bool = False) -> None:
    """A lap of the run is behind the car: what its items wanted, and where the switches stood.

    Args:
        run: the run that the car was on.
        leg: the planned lap that was driven.
        board: the switches of the car.
        since: session second at which the lap began.
        t: now.
        again: the lap did not count, and the planned one is still to come: what was not set is tried again on it.
    """
    for item in run.items:
        if item.leg != leg or item.behind or item.state not in TOLD:
            continue
        wants = board.item_wants(run, item)
        reason = _not_set(board, wants, since)
        if reason is not None:
            item.signal("not_set", t, reason)
            if again:
                item.signal("retry", t, reason)
                item.attempt += 1
        elif wants and not word_suffices(board.procedures.get(item.item.do)) and board.measured_at(wants):
            item.signal("confirm", t, SHOWN)


def _not_set(board: SwitchBoard, wants: Mapping[str, Position], since: float) -> str | None:
    """Switches that stood elsewhere for the whole lap, in words; None where there is none."""
    words = []
    for name in board.measured_off(wants):
        switch, was = board.known(name), board.measured_before.get(name)
        # It may have been put back just before the line: what it was moved from on this lap counts, too.
        set_before = was is not None and was[1] > since and not board.changes({name: was[0]}, {name: wants[name]}, True)
        if switch is not None and not set_before:
            stood, wanted = position_text(board.measured[name]), position_text(wants[name])
            words.append(f"{switch.word} stood at {stood}, {wanted} was wanted")
    return "; ".join(words) or None
