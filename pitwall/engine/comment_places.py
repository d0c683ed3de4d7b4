"""On which lap a comment was made, when a crossing becomes known later: its moment says so, not what was known then.

Comments that the desk gave to a run or a lap by name stay where they are.
"""

from __future__ import annotations

from typing import Any

from pitwall.engine.comment_commands import driver_at, lap_at, lap_of, run_at
from pitwall.engine.team import TeamCar


def look_again(car: TeamCar, now: float) -> None:
    """Laps of this car were changed by hand: comments whose moment lies on another lap now are put there."""
    for comment in tuple(car.comments.comments):
        lap = lap_at(car, min(comment.t, now))
        number = None if lap is None else lap.number
        if comment.comment in car.comments.named or number == comment.lap_number:
            continue
        run = run_at(car, lap, min(comment.t, now))
        found: dict[str, Any] = {"lap_number": number, "lap_kind": None, "lap": None,
                                 "run": None if run is None else run.run.run, "driver": driver_at(car, run, lap)}
        if lap is not None:
            found |= lap_of(car, lap, run)
        car.comments.put(comment.model_copy(update=found), now)
