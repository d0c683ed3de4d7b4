"""When each run was meant to be driven: the plan laid out from the green light with likely durations.

It rests on the plan as it stands and the circuit's own lap times alone, so it stays where it is while the session goes
otherwise: what happened, and what is expected now, is shown beside it. The check and the run sheet have the same times.
"""

from __future__ import annotations

from pitwall.engine.team import TeamCar
from pitwall.model.plan import Plan
from pitwall.track.likely import plan_spans


def planned_spans(car: TeamCar, plan: Plan) -> dict[str, tuple[float, float]]:
    """From release to return of each run with laps, in session seconds, by its name.

    Args:
        car: for the circuit's lap time, the session and the library.
        plan: the plan.
    """
    rules = car.setup.regulations
    session = next(one for one in rules.sessions if one.session == car.setup.session)
    spans = plan_spans(plan, car.lap_map.lap_s, session, car.setup.procedures, car.setup.garage,
                       finish_started_lap=rules.finish_started_lap)
    return {one.run.run: (round(one.start_s, 1), round(one.end_s, 1)) for one in spans if one.run.laps}
