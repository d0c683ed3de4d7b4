"""A feed that begins in the middle of the session, with a car already on track: which run is it on?

By the plan's own times: the runs one after the other from the green light, each with its laps at the usual pace and the
garage work after it. The first one that would still be going on is the one. A guess, and told as one: ``set_car`` says
better. Runs before it are skipped, since nobody saw them.
"""

from __future__ import annotations

from pitwall.engine.session_clock import SessionClock
from pitwall.engine.team import TeamCar
from pitwall.model.units import clock_text

JOINED_AFTER_S = 300.0
"""So much of the session must be over before a first sight means that pitwall came late."""
FIRST_SIGHT_S = 180.0
"""Within this of the first word of timing a car that is seen for the first time was out already: a slow lap or so."""


def run_in_progress(car: TeamCar, clock: SessionClock, heard_t: float | None, now: float) -> str | None:
    """The run that a car is taken to be on that is first seen on a lap; None where it is to be followed as usual.

    Args:
        car: one of ours.
        clock: as it stands.
        heard_t: when timing was first heard.
        now: session second.
    """
    spent = spent_s(car, clock, now)
    followed = bool(car.track.laps) or car.track.on_track or any(run.start_t is not None for run in car.progress.runs)
    if followed or heard_t is None or now - heard_t > FIRST_SIGHT_S or spent < JOINED_AFTER_S:
        return None
    begins, name = 0.0, None
    for run in car.progress.runs:
        if not run.laps or run.state not in ("planned", "next"):
            continue
        begins = max(begins, run.run.release.not_before or 0.0)
        ends = begins + sum(car.track.pace.lap_s(kind) for kind in (("installation",) if run.out_in else run.laps))
        name = run.run.run
        if spent < ends:
            break
        begins = ends + run.run.after_garage_s.likely_s
    return name


def spent_s(car: TeamCar, clock: SessionClock, now: float) -> float:
    """How much of the session is over, by its clock."""
    return car.setup.duration_s - clock.remaining(now)


def words(car: TeamCar, name: str, clock: SessionClock, now: float) -> str:
    """What was decided, and how to mend it."""
    before = [run.run.run for run in car.progress.runs if run.state == "skipped"]
    skipped = f"; {', '.join(before)} skipped, as nobody saw them" if before else ""
    after = clock_text(spent_s(car, clock, now))
    return f"Car {car.car} first seen {after} into the session: taken to be on {name}{skipped}; if not so, 'set_car'"
