"""Under a red flag near the end, while the clock runs: from when on no restart leaves time for a timed lap.

A restart after that is no restart to plan for. What stands in its place says what is lost then, and what is left: a run
that asks for no timed lap, and what is to be done after the flag.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from pitwall.engine.last_release import after_this_flag, last_release_s, needs_a_timed_lap, on_track_by_s, ready_s
from pitwall.engine.run_state import RunState
from pitwall.engine.session_clock import SessionClock
from pitwall.engine.team import TeamCar
from pitwall.model.proposal import Rung
from pitwall.model.units import clock_text

NO_TIMED_LAP = "from then on no timed lap before the flag any more"


def last_restart_s(cars: Iterable[TeamCar], clock: SessionClock, now: float) -> float | None:
    """Until when a restart leaves any car the time for a timed lap, by quick work and a usual out-lap, session
    seconds; for a run without one where none is left. None where the clock stands, or another window follows."""
    if clock.status != "red" or not clock.running or clock.more_windows:
        return None
    runs = [(car, run) for car in cars for run in _to_drive(car)]
    timed = [(car, run) for car, run in runs if needs_a_timed_lap(run)]
    found = [now]
    for car, run in timed or runs:
        last = last_release_s(car, run, clock, now)
        if last is not None and (car.track.on_track or ready_s(car, clock) <= last):
            found.append(last)
    return max(found)


def too_late_rung(team: Mapping[str, TeamCar], clock: SessionClock, red_s: float, now: float) -> Rung | None:
    """The last rung of a ladder that ends with the session: from when on it is too late, what is lost, what is left."""
    last = last_restart_s(team.values(), clock, now)
    if last is None:
        return None
    many = len(team) > 1
    lost = [(car, run) for car in team.values() for run in _to_drive(car) if needs_a_timed_lap(run)]
    if not lost:
        return None
    left = [f"{_of(car, many)}{words}" for car in team.values() for words in _left(car, clock, now)]
    losses = ", ".join(f"{_of(car, many)}{_lost(run)}" for car, run in lost)
    flag = f"From then on no timed lap before the flag at {clock_text(clock.end_s(now))} any more"
    still = (f"left: {', '.join(left)}",) if left else ()
    return Rung(
        restart_s=round(last - red_s, 3), at_s=round(last, 3), too_late=True,
        musts_chance=0.0 if any(run.run.want == "must" for _, run in lost) else 1.0,
        sentence="; ".join((flag, f"lost: {losses}", *still)) + ".", lines=(NO_TIMED_LAP, *still),
    )  # fmt: skip


def _to_drive(car: TeamCar) -> list[RunState]:
    """Runs with laps that are still to be driven; the one that the car is on counts where timed laps of it are left."""
    return [run for run in car.progress.rest()
            if run.laps and (run.state != "running" or run.timed_done < run.timed_wanted)]


def _of(car: TeamCar, many: bool) -> str:
    return f"car {car.car}: " if many else ""


def _lost(run: RunState) -> str:
    left, name = run.timed_wanted - run.timed_done, f"{run.run.run} (a {run.run.want})"
    return name if not run.timed_done else f"{left} timed lap{'' if left == 1 else 's'} of {name}"


def _left(car: TeamCar, clock: SessionClock, now: float) -> Iterator[str]:
    yield from (f"{run.run.run} until the flag" for run in _to_drive(car) if not needs_a_timed_lap(run))
    block, by_s = after_this_flag(car, clock), on_track_by_s(car, clock, now)
    if block is not None and by_s is not None:
        yield f"{block.run.run} after the flag, leave by {clock_text(by_s)}"
