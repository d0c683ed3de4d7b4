"""What is said of a call that was said, once its place lies a minute behind: what speaks against it, if anything does.

Nothing showed that it was acted on, or it would be done by that evidence. A box call with the car on a lap from the
line since, and a switch that telemetry shows elsewhere, are evidence to the contrary; for anything else there is none.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from pitwall.engine.call import Call
from pitwall.engine.calls import SETTLED
from pitwall.model.car import position_text, same_position

if TYPE_CHECKING:
    from pitwall.engine.team import TeamCar

DROVE_ON = "said, but the car drove on"
EARLY = 0.5
"""Share of a quick lap by which the line may have been passed before the expected pit entry (common practice, no
source)."""


def settled_words(car: TeamCar, call: Call) -> str:
    """The reason of a call that time settles."""
    if call.spec.ask.action == "box":
        return DROVE_ON if _drove_on(car, call) else SETTLED
    if call.spec.ask.action == "set_switch":
        return _elsewhere(car, call) or SETTLED
    if call.spec.ask.action == "check_switches":
        return _elsewhere(car, call, call.said_t or 0.0) or SETTLED
    return SETTLED


def _drove_on(car: TeamCar, call: Call) -> bool:
    """Guard: the car is on a lap that it began at the line, after the call and about where it was to come in: a lap at
    the pace is over earlier than the in-lap that was expected, and the line before that lies a lap back."""
    lap, said = car.track.lap, call.said_t or 0.0
    if not car.track.on_track or lap is None or lap.start_phase > 0:
        return False
    return lap.start_t > max(said, (call.spec.act_at_s or said) - EARLY * car.track.pace.quick_s())


def _elsewhere(car: TeamCar, call: Call, since_s: float | None = None) -> str | None:
    """What telemetry shows at another position; with ``since_s`` what was not moved since then: the out-lap moves what
    was read out before it."""
    board, shown = car.switches, []
    for name, wanted in call.spec.asked.items():
        switch, measured = board.known(name), board.measured.get(name)
        if since_s is not None and board.moved_t(name) > since_s:
            continue
        if switch is not None and measured is not None and not same_position(measured, wanted):
            shown.append(f"{switch.word} at {position_text(measured)}")
    return f"said, but telemetry shows {', '.join(shown)}" if shown else None
