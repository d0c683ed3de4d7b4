"""A call that left the stack while it was being said, and of which only the radio desk's reports tell that it was.

With a key it is noted that the driver heard it all the same (``engine/commands.py``); without one the talk tells, where
it began in the window of that call alone, went on over its end, and was as long as it takes.
"""

from __future__ import annotations

from pitwall.engine import items
from pitwall.engine.team import TeamCar


def look(car: TeamCar, now: float) -> None:
    """Every few seconds: what such a call asked for is believed to stand there now, and its item was told."""
    call = car.channel.times.withdrawn_while_said(car.book, now)
    if call is None:
        return
    car.switches.told(call.spec.asked, False, call.said_t, None)
    items.said_all_the_same(car.progress.runs, call, now)
