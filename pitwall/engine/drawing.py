"""A state for the screens is drawn up, or it is told that it could not be.

Drawing decides nothing: where it fails, what was decided on the same fact still goes out, and the session is what it is
for a daemon that draws nothing up, such as one that goes over its journal after a restart.
"""

from __future__ import annotations

from collections.abc import Callable

from pitwall.model.outputs import Output, Refused


def drawn(what: str, car: str | None, now: float, draw: Callable[[], Output]) -> Output:
    """The state that ``draw`` makes; where that fails, a refusal which says so.

    Args:
        what: the state in words: ``desk state``.
        car: the car concerned, or None.
        now: session second.
        draw: makes the state; must change nothing.
    """
    try:
        return draw()
    except Exception as failure:
        name = "-".join(part for part in ("not-drawn", what.replace(" ", "-"), car) if part)
        return Refused(
            id=f"{name}-{now:.3f}", t=now, because=name, car=car,
            reason=f"pitwall failed to draw up the {what} ({type(failure).__name__}: {str(failure)[:200]}); what the"
            " screens show of it is old, calls and alerts go on. Please report it with the journal.",
        )
