"""One step of the engine that cannot take the daemon down: the live host and every replay take exactly this step.

An event on which the engine raises is *poisoned*: it stays in the journal (it was stored before it was applied), it
has no outputs of its own but a refusal, and whatever it changed before it raised stays changed. Because the engine is
pure, a replay raises at the same event and ends in the same state, so nothing drifts apart.
"""

from __future__ import annotations

from typing import NamedTuple

from pitwall.model.events import CommandGiven, Stamped
from pitwall.model.outputs import Output, Refused
from pitwall.runtime.ports import Decider

_INSIDE = frozenset({"time_reached", "forecast_ready", "advice_ready", "prompt_delivered", "restarted", "resumed",
                     "timetable_reached", "link_changed", "comment_read"})


class Step(NamedTuple):
    """What one event led to; ``failure`` is what the engine raised, if it did."""

    outputs: tuple[Output, ...]
    failure: Exception | None = None


def apply(decider: Decider, stamped: Stamped) -> Step:
    """Hand one journaled event to the engine; never raises for what the engine does with it."""
    try:
        return Step(decider.handle(stamped))
    except Exception as failure:
        return Step(_refusal(stamped), failure)


def _refusal(stamped: Stamped) -> tuple[Output, ...]:
    event = stamped.event
    if event.type in _INSIDE:
        # Nobody outside sent it, so nobody waits for a word about it; the host counts and logs it.
        return ()
    return (
        Refused(
            id=f"refused:{event.id}"[:128],
            t=stamped.received_t,
            because=event.id,
            car=event.car if isinstance(event, CommandGiven) else None,
            reason="pitwall failed on this message; it is kept in the journal, the session goes on without it."
            " Please report it with the journal.",
        ),
    )
