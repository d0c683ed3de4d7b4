"""The crew's side of a changed plan: what the run that leaves next needs of them, and how long before they must know.

While the car is out, the run that leaves next is the one after the run it is on. A change of its laps alone needs no
notice: the car is the same.
"""

from __future__ import annotations

from dataclasses import dataclass

from pitwall.engine.run_state import RunState
from pitwall.engine.team import TeamCar
from pitwall.model.plan import Plan
from pitwall.model.setup import CrewNotice
from pitwall.model.units import clock_text

UNTOLD = ("planned", "shown", "withdrawn")
PAST = ("done", "skipped", "running")


@dataclass(frozen=True)
class Upcoming:
    """The run that leaves next, as crew and driver know it. ``told``: what its brief tells."""

    run: str
    tyres: str | None
    fuel_kg: float | None
    driver: str
    told: tuple[object, ...]


def upcoming(plan: Plan, states: dict[str, RunState]) -> Upcoming | None:
    """The run of this plan that leaves next, None when nothing is left."""
    for run in plan.runs:
        state = states.get(run.run)
        if run.laps and (state is None or state.state not in PAST):
            model = plan.original(run)
            fuel = run.fuel_kg if run.fuel_kg is not None else model.fuel_kg
            driver = run.driver if run.driver is not None else plan.driver
            return Upcoming(run.run, run.tyres, fuel, driver, (run.laps, run.items))
    return None


def notice(needs: CrewNotice, before: Upcoming | None, after: Upcoming | None) -> tuple[float, str]:
    """``(seconds, what for)``: how long the crew must know of this change; 0 when it is not theirs."""
    if after is None or before == after:
        return 0.0, ""
    found = [(0.0, "")]
    if before is None or before.run != after.run:
        found.append((needs.other_run_s, f"another run ({after.run})"))
    if before is not None:
        if after.tyres != before.tyres and after.tyres is not None:
            found.append((needs.tyres_s, f"tyres ({after.tyres})"))
        if after.fuel_kg != before.fuel_kg and after.fuel_kg is not None:
            found.append((needs.fuel_s, f"fuel ({after.fuel_kg:g} kg)"))
        if after.driver != before.driver:
            found.append((needs.driver_s, f"the driver ({after.driver})"))
    return max(found, key=lambda one: one[0])


def hold_for_crew(car: TeamCar, before: Upcoming | None, after: Upcoming | None, now: float) -> str | None:
    """The car leaves no earlier than the crew can be ready; says so where that moves the leaving."""
    seconds, what = notice(car.setup.crew, before, after)
    if seconds <= 0 or after is None:
        return None
    ready = now + seconds
    leaves = car.earliest_release()
    car.crew_floor = max(car.crew_floor, ready)
    if leaves is not None and leaves >= ready:
        return None
    if car.track.on_track and not _soon(car, ready):
        return None
    return f"{after.run} leaves no earlier than {clock_text(ready)}: the crew needs {seconds:g} s for {what}"


def _soon(car: TeamCar, ready: float) -> bool:
    """Guard: the car that is out may be in, and worked on, before the crew is ready."""
    run = car.progress.current
    work = run.run.after_garage_s.likely_s if run is not None else 0.0
    return not car.legs or car.legs[-1].end_s + work < ready


def tell_anew(car: TeamCar, run: RunState, *, brief: bool, check: bool, release: bool) -> None:
    """Garage calls of the next run that were made already, and say something else now, are made once more."""
    leaving = f"{run.run.run}-{run.leavings + 1}-"
    told = [
        call
        for call in car.book.calls.values()
        if call.spec.lap == "garage" and call.spec.key.startswith(leaving) and call.state not in UNTOLD
    ]
    if brief:
        run.brief_laps, run.brief_cut_s = None, None
    if brief and any(call.spec.kind == "brief" for call in told):
        run.brief_edition, run.brief_anew_s = run.brief_edition + 1, None
    if check and any(call.spec.ask.action == "check_switches" for call in told):
        run.check_edition += 1
    if release and any(call.spec.ask.action in ("fire_up", "leave") for call in told):
        car.recalls += 1
        car.fire_ups = car.recalls
