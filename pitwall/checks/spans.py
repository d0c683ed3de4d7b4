"""When each run of a plan that is checked would happen by likely times (``track/likely.py``)."""

from __future__ import annotations

from pitwall.checks.around import Around
from pitwall.model.plan import Plan
from pitwall.track.likely import Span, plan_spans


def spans_of(plan: Plan, lap_s: float, around: Around) -> tuple[Span, ...]:
    """Every run on the clock of the plan's own session; none when that is unknown."""
    session = around.regulations.window(plan.session) if around.regulations is not None else None
    if session is None or around.regulations is None:
        return ()
    return plan_spans(plan, lap_s, session, around.procedures, around.garage,
                      finish_started_lap=around.regulations.finish_started_lap)
