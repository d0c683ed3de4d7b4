"""Who drives: the driver of each run, the change of drivers as garage work, and what each has driven so far."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pitwall.engine.alerts.book import AlertBook
from pitwall.engine.progress import RunState
from pitwall.engine.session_clock import RUNNING, SessionClock
from pitwall.model.outputs import DriverRunning, Output
from pitwall.model.plan import Plan, ThreePoint
from pitwall.model.units import clock_text

if TYPE_CHECKING:
    from pitwall.engine.team import TeamCar

LOOK_S = 60.0
NEAR_SHARE = 0.9  # of a limit: from there on it is told (common practice, no source)
M_PER_KM = 1000.0


def of_run(car: TeamCar, run: RunState | None) -> str:
    """Who drives this run; without one, who sat in the car last."""
    return car.plan.driver_of(run.run) if run is not None else car.seated


def spoken(car: TeamCar, driver: str) -> str:
    """The driver's short name on the radio."""
    known = car.setup.drivers.get(driver)
    return known.spoken if known is not None else driver.replace("_", " ")


def change(car: TeamCar) -> tuple[str, str] | None:
    """``(who gets in, who gets out)`` before the next run; None when the driver stays."""
    run = car.progress.next
    if run is None or car.track.on_track:
        return None
    driver = of_run(car, run)
    return None if driver == car.seated else (driver, car.seated)


def stop(car: TeamCar) -> ThreePoint:
    """How long the garage works before the next run: the work after the last one, and a change of drivers."""
    work = car.work if car.work is not None else ThreePoint(low_s=0, likely_s=0, high_s=0)
    if car.progress.parked_t is None:
        return work
    return car.setup.garage.stop(work, changes_driver=change(car) is not None)


def plan_for(car: TeamCar, run: RunState | None) -> Plan:
    """The plan with the quiet profile of the run's driver over its own."""
    driver = of_run(car, run)
    known = car.setup.drivers.get(driver)
    if known is None or not known.quiet:
        return car.plan
    if car.quiet_plan is None or car.quiet_plan[0] is not car.plan or car.quiet_plan[1] != driver:
        merged = car.plan.model_copy(update={"quiet": {**car.plan.quiet, **known.quiet}})
        car.quiet_plan = (car.plan, driver, merged)
    return car.quiet_plan[2]


def gets_in(car: TeamCar, run: RunState | None) -> None:
    """The car left: whoever the run names sits in it."""
    car.seated = car.switches.driver = of_run(car, run)
    on_lap(car)


def on_lap(car: TeamCar) -> None:
    """A lap began: note who drives it."""
    if car.track.lap is not None:
        car.drove[car.track.lap.number] = car.seated


# -- what was driven -------------------------------------------------------------------------------------------


def rows(car: TeamCar) -> tuple[DriverRunning, ...]:
    """Each driver of the plan with laps and time so far; none where one drives and nothing is demanded."""
    named = dict.fromkeys([*(car.plan.driver_of(run.run) for run in car.progress.runs), *car.drove.values()])
    driven = _driven(car)
    found = tuple(_row(car, driver, *driven.get(driver, (0, 0.0))) for driver in named)
    told = len(found) > 1 or any(_demands(row) for row in found)
    return found if told else ()


def _demands(row: DriverRunning) -> bool:
    return any(limit is not None for limit in (row.minimum_laps, row.minimum_s, row.most_laps, row.most_s))


def _row(car: TeamCar, driver: str, driven: int, running_s: float) -> DriverRunning:
    known = car.setup.drivers.get(driver)
    minimum = car.plan.minimum_laps.get(driver, known.minimum_laps if known is not None else None)
    return DriverRunning(
        driver=driver,
        laps=driven,
        running_s=round(running_s, 1),
        planned_laps=sum(_laps_left(run) for run in car.progress.rest() if of_run(car, run) == driver),
        minimum_laps=minimum,
        minimum_s=known.minimum_s if known is not None else None,
        most_laps=known.most_laps if known is not None else None,
        most_s=known.most_s if known is not None else None,
    )


def _driven(car: TeamCar) -> dict[str, tuple[int, float]]:
    """Laps and seconds on track so far, by driver."""
    found: dict[str, tuple[int, float]] = {}
    for lap in car.track.laps:
        driver = car.drove.get(lap.number)
        if driver is not None:
            laps, seconds = found.get(driver, (0, 0.0))
            found[driver] = (laps + 1, seconds + (lap.end_t or lap.start_t) - lap.start_t)
    return found


def _laps_left(run: RunState) -> int:
    if not run.laps:
        return 0
    if run.out_in:
        return 1
    if run.state == "running":
        return len(run.laps) - run.pointer
    return 1 + len(run.laps) - run.resume_at


def kilometres(car: TeamCar) -> float | None:
    """Mileage of the car in the session so far; None where the circuit has no length."""
    metres = car.setup.circuit.length_m
    if metres is None:
        return None
    ends = {"pit": car.lap_map.pit_entry}
    share = sum(max(0.0, ends.get(lap.ended_at, 1.0) - lap.start_phase) for lap in car.track.laps)
    return round(share * metres / M_PER_KM, 1)


# -- what is watched -------------------------------------------------------------------------------------------


def watch(car: TeamCar, clock: SessionClock, alerts: AlertBook, now: float) -> list[Output]:
    """Every few seconds: a driver whose minimum gets out of reach, a driver or the car near a limit."""
    found: list[Output] = []
    # Laps are what these hang on: a lap that has ended, or every now and then, for the time that is left.
    driven = (len(car.track.laps), car.progress.revision, clock.status)
    if clock.status not in RUNNING or (driven == car.watched and now < car.watched_t + LOOK_S):
        return found
    car.watched, car.watched_t = driven, now
    for row in rows(car) if _anything_demanded(car) else ():
        found += _told(alerts, "driver_laps", car.car, row.driver, _out_of_reach(car, clock, row, now), now, clock)
        found += _told(alerts, "driver_limit", car.car, row.driver, _near(car, row), now, clock)
    limits = car.setup.limits.get(car.car)
    if limits is not None:
        km, laps = kilometres(car), len(car.track.laps)
        text = None
        if limits.most_laps is not None and laps >= NEAR_SHARE * limits.most_laps:
            text = f"Car {car.car}: {laps} laps, {limits.most_laps} are allowed"
        elif limits.most_km is not None and km is not None and km >= NEAR_SHARE * limits.most_km:
            text = f"Car {car.car}: {km:g} km, {limits.most_km:g} are allowed"
        found += _told(alerts, "car_limit", car.car, "", text, now, clock)
    return found


def _anything_demanded(car: TeamCar) -> bool:
    """Guard: some driver has a minimum or a limit, so that it is worth counting laps every few seconds."""
    known = car.setup.drivers.values()
    return bool(car.plan.minimum_laps) or any(
        limit is not None
        for driver in known
        for limit in (driver.minimum_laps, driver.minimum_s, driver.most_laps, driver.most_s)
    )


def _told(
    alerts: AlertBook, kind: str, car: str, detail: str, text: str | None, now: float, clock: SessionClock
) -> list[Output]:
    if text is None:
        return alerts.over(kind, car, now, detail)
    return alerts.hold(kind, car, text, now, clock.status, detail)


def _out_of_reach(car: TeamCar, clock: SessionClock, row: DriverRunning, now: float) -> str | None:
    """Why the minimum cannot be reached as things stand; None when it can, or is."""
    name, lap_s = spoken(car, row.driver), car.track.pace.lap_s("timed")
    ahead = clock.windows_ahead(now)
    left_s = sum(end - max(begin, now) for begin, end in ahead.values()) if ahead else clock.remaining(now)
    missing = max(0, (row.minimum_laps or 0) - row.laps)
    if missing > row.planned_laps:
        return (f"{name} has {row.laps} of at least {row.minimum_laps} laps, "
                f"and the rest of the plan gives {row.planned_laps}")
    if missing * lap_s > left_s:
        return f"{name} has {row.laps} of at least {row.minimum_laps} laps, and {clock_text(left_s)} is left"
    missing_s = max(0.0, (row.minimum_s or 0.0) - row.running_s)
    if missing_s > min(left_s, row.planned_laps * car.track.pace.lap_s("out")):
        return (f"{name} has driven {clock_text(row.running_s)} of at least {clock_text(row.minimum_s or 0.0)}, "
                f"and the rest of the plan gives {row.planned_laps} laps")
    return None


def _near(car: TeamCar, row: DriverRunning) -> str | None:
    name = spoken(car, row.driver)
    if row.most_laps is not None and row.laps >= NEAR_SHARE * row.most_laps:
        return f"{name} has driven {row.laps} laps, {row.most_laps} are allowed"
    if row.most_s is not None and row.running_s >= NEAR_SHARE * row.most_s:
        return f"{name} has driven {clock_text(row.running_s)}, {clock_text(row.most_s)} are allowed"
    return None
