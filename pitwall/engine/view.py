"""What the rules see of one car: its parts, gathered for one moment."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pitwall.engine import drivers, feedback, for_the_flag
from pitwall.engine.last_release import after_this_flag, last_release_s, leaves_for, on_track_by_s, too_late
from pitwall.engine.run_state import RunState
from pitwall.engine.session_clock import SessionClock
from pitwall.engine.situation import Situation, at_one_moment

if TYPE_CHECKING:  # the car asks for its own view
    from pitwall.engine.team import TeamCar


def situation(car: TeamCar, clock: SessionClock, now: float) -> Situation:
    """What the rules see."""
    run, on_track = for_the_flag.run_of(car), car.track.on_track
    changed = drivers.change(car)
    return Situation(
        now=now,
        car=car.car,
        track=car.track,
        plan=drivers.plan_for(car, run),
        progress=car.progress,
        clock=clock,
        switches=car.switches,
        procedures=car.setup.procedures,
        lap_map=car.lap_map,
        timing=car.setup.calls,
        run=run,
        legs=at_one_moment(car.legs),
        release_s=car.release_s,
        news=tuple(car.news),
        kept_in=car.kept_in,
        leave_by_s=_leave_by_s(car, run, clock, now),
        too_late=too_late(car, clock, now),
        block=after_this_flag(car, clock) if on_track else leaves_for(car, clock, now),
        since_s=car.since_s,
        recalls=car.recalls,
        fire_ups=car.fire_ups,
        feed_speaks=car.heard,
        driver=drivers.spoken(car, drivers.of_run(car, run)),
        driver_out=drivers.spoken(car, changed[1]) if changed is not None else None,
        change_s=car.setup.garage.driver_change_s.likely_s,
        sharp=car.holds.sharp(now),
        holding=car.holds.holding(),
        questions=car.owed.open,
        feedback=feedback.wanted(car),
        called_in=car.called_in,
        tyres=car.tyres_told,
        begins_within_s=car.channel.waits.within_s,
        words_per_minute=car.channel.times.words_per_minute(car.engineer, car.setup.calls.words_per_minute),
        others=tuple(track for name, track in car.field_tracks.items() if name != car.car),
    )


def _leave_by_s(car: TeamCar, run: RunState | None, clock: SessionClock, now: float) -> float | None:
    if run is None or car.track.on_track:
        return None
    block = leaves_for(car, clock, now)
    return on_track_by_s(car, clock, now) if block is not None else last_release_s(car, run, clock, now)
