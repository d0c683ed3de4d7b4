"""The last timed lap of a run is driven in place of the cool-down lap before it: what it was for has no lap any more.

The calls for that lap are not made (``driven_on.py``): in the middle of a quick lap they would spoil
what is left of it, and the lap that they are for does not come. It is told instead, while the desk can still give the
run one more timed lap; then what was told is done on that one.
"""

from __future__ import annotations

from collections.abc import Iterator

from pitwall.engine.alerts.book import AlertBook
from pitwall.engine.driven_on import last_timed_lap_spent
from pitwall.engine.items import next_leg
from pitwall.engine.run_state import RunState
from pitwall.engine.session_clock import SessionClock
from pitwall.engine.team import TeamCar
from pitwall.model.outputs import Output

KIND = "not_as_told"
CLOCK_S = 2.0  # the official clock is known to a second or two (common practice, no source)
EXTEND = "Extend the run by one timed lap (extend) before the line, or carry it on into a later run."


def look(car: TeamCar, alerts: AlertBook, clock: SessionClock, now: float) -> list[Output]:
    """Every few seconds: what is lost with the lap, until the line, or until the run has another timed lap for it."""
    found: list[Output] = []
    for run in car.progress.runs:
        lost = [*_lost(car, run)] if run is car.progress.current else []
        detail = f"{run.run.run}-spent"
        if lost:
            text = f"Car {car.car}: {', '.join(lost)} of {run.run.run} {_why(car, clock, now)}"
            found += alerts.hold(KIND, car.car, text, now, clock.alert_status, detail, help_text=EXTEND)
        else:
            found += alerts.over(KIND, car.car, now, detail)
    return found


def _lost(car: TeamCar, run: RunState) -> Iterator[str]:
    """What was to be done on that lap, as a must or on a run that is one, and has no lap after it."""
    if not car.track.on_track or not last_timed_lap_spent(car, run):
        return
    leg = run.pointer + 1
    for item in run.items:
        procedure = car.setup.procedures.get(item.item.do)
        if item.leg != leg or item.behind or procedure is None or item.state not in ("planned", "called"):
            continue
        if "must" in (item.item.want, run.run.want) and next_leg(run, item, procedure, leg) is None:
            yield item.item.do.replace("_", " ")


def _why(car: TeamCar, clock: SessionClock, now: float) -> str:
    why = "has no lap left: the cool-down lap before it is driven as a timed lap"
    line = car.legs[0].end_s if car.legs and car.legs[0].running else now
    if clock.running and clock.end_s(now) < line + CLOCK_S:
        return f"{why}, and the flag falls before another"
    return f"{why}. One more timed lap would do: extend by one, and it is told for that"
