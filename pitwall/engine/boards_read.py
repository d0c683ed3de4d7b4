"""Boards with switches that hang, or have been seen, and on which the driver has yet to act.

A board hangs before the car passes it, and a change for the next lap is made at the line that ends the lap which begins
there. Until then the switches are believed to stand where they stood, unless telemetry shows them moved.
"""

from __future__ import annotations

from pitwall.engine.call import Call
from pitwall.engine.car import CarTrack

TOLD = ("said", "late", "unconfirmed")


def is_ahead(call: Call, track: CarTrack) -> bool:
    """Guard: the board was hung out, and the lap at whose beginning the driver acts is still to come."""
    number = call.spec.pass_number
    if number is None or call.spec.ask.action != "set_switch" or call.state not in TOLD or not track.on_track:
        return False
    return track.lap_number < number + (1 if call.spec.place == "line" else 0)


def acted_on(ahead: dict[str, Call], track: CarTrack) -> list[Call]:
    """The calls among ``ahead`` whose lap has begun, or whose car is in, in the order in which they were told; they are
    taken out of it. One that was withdrawn meanwhile is not among them."""
    over = [call for call in ahead.values() if not is_ahead(call, track)]
    for call in over:
        del ahead[call.id]
    return [call for call in over if call.state in (*TOLD, "done")]
