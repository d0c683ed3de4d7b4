"""When each run was meant to be driven: the plan laid out from the green light with likely durations.

It rests on the plan as it stands and the circuit's own lap times alone, so it stays where it is while the session goes
otherwise: what happened, and what is expected now, is shown beside it.
"""

from __future__ import annotations

from pitwall.engine.team import TeamCar
from pitwall.model.plan import Plan
from pitwall.pace.field_pace import FIRST_RATIO


def planned_spans(car: TeamCar, plan: Plan) -> dict[str, tuple[float, float]]:
    """From release to return of each run with laps, in session seconds, by its name.

    Args:
        car: for the circuit's lap time.
        plan: the plan.
    """
    reference = car.lap_map.lap_s
    spans: dict[str, tuple[float, float]] = {}
    t = 0.0
    for run in plan.runs:
        if not run.laps:
            continue
        begin = max(t, run.release.not_before or t)
        end = begin + sum(reference * FIRST_RATIO[kind] for kind in (("installation",) if run.out_in else run.laps))
        spans[run.run] = (round(begin, 1), round(end, 1))
        t = end + run.after_garage_s.likely_s
    return spans
