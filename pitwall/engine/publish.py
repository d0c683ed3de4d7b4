"""The retained states as they are published: desk, plan, field, clock. Built from the engine's state, never kept."""

from __future__ import annotations

import functools
from collections.abc import Iterable

from pitwall.engine import drivers, for_the_flag, windows
from pitwall.engine.ahead import on_what_is_fitted
from pitwall.engine.car import CarTrack
from pitwall.engine.crew_seen import of_roles
from pitwall.engine.plan_desk import SHOWN
from pitwall.engine.planned import planned_spans
from pitwall.engine.progress import RunState, run_progress
from pitwall.engine.running_lap import running_lap
from pitwall.engine.session_clock import SessionClock
from pitwall.engine.switch_watch import wanted_shown
from pitwall.engine.team import TeamCar
from pitwall.model.outputs import Arrival, CarState, ClockState, DeskState, FieldCar, FieldState, PlanState, RunProgress

STACK = 16  # prompts on the published stack
SHOWN_COMMENTS = 12


def desk_state(car: TeamCar, clock: SessionClock, now: float) -> DeskState:
    """``desk/<car>/state``."""
    run = for_the_flag.run_of(car)
    leg = run.pointer if run is not None and car.track.on_track else 0
    wanted = wanted_shown(car, clock.status, now)
    if wanted is None:
        wanted = car.switches.wanted(run if run is not None and run.laps else None, leg)
    laps = car.track.laps
    changed = drivers.change(car)
    return DeskState(
        id=f"desk-{car.car}-{now:.3f}",
        t=now,
        car=car.car,
        state=car.track.state,
        run=run.run.run if run else None,
        lap_number=car.track.lap_number,
        lap_kind=car.track.lap_kind,
        lap_of_run=run.lap_label(leg) if run is not None and run.laps and car.track.on_track else None,
        medium=car.plan.medium,
        quiet=car.quiet,
        kept_in=car.kept_in,
        prompts=tuple(call.prompt(now) for call in car.book.outstanding()[:STACK]),
        switches=car.switches.cards(wanted, parked=not car.track.on_track),
        arrivals=_arrivals(car),
        running_lap=running_lap(car, clock, now),
        flag_margin_s=flag_margin(car, clock, now),
        last_lap_s=next((lap.lap_time_s for lap in reversed(laps) if lap.lap_time_s), None),
        best_lap_s=car.track.pace.best_s,
        engineer=car.engineer,
        driver=drivers.of_run(car, run),
        tyres=car.carried.tyres,
        tyre_laps=car.carried.tyre_laps(car.track),
        fuel_kg=fuel_left(car),
        by_hand=car.by_hand(),
        questions=car.owed.shown(),
        comments=tuple(car.comments.comments[-SHOWN_COMMENTS:]),
        driver_change=changed[1] if changed is not None else None,
        wet=car.switches.wet,
    )


def fuel_left(car: TeamCar) -> float | None:
    """About how much is in the car at the beginning of the running lap, kilograms."""
    left = car.carried.fuel(car.track, car.switches.car.fuel_per_lap_kg)
    return None if left is None else round(left, 1)


def _arrivals(car: TeamCar) -> tuple[Arrival, ...]:
    if not car.track.on_track or car.track.lap is None:
        return ()
    lap_map = car.lap_map
    places = [(lap_map.loops[loop] or 1.0, f"loop {loop}" if loop != "line" else "line") for loop in lap_map.loops]
    places += [(lap_map.last_chance, "last place for the pit entry"), (lap_map.pit_entry, "pit entry")]
    found, arrival = [], car.track.going_on()
    for phase, name in sorted(places):
        at = arrival(phase) if phase > car.track.seen_phase else None
        if at is not None:
            found.append(Arrival(place=name, at_s=round(at, 2)))
    return tuple(found)


def flag_margin(car: TeamCar, clock: SessionClock, now: float) -> float | None:
    """Seconds in hand at the line to start one more timed lap before the flag; None in the pits or under red."""
    arrival = car.track.arrival(1.0)
    if arrival is None or clock.status in ("red", "finished", "closed"):
        return None
    return round(clock.end_s(now) - arrival, 1)


def _of_plan(
    car: TeamCar, progress: RunProgress, state: RunState, planned: dict[str, tuple[float, float]]
) -> RunProgress:
    run, on_track = state.run, state.left_as if state.state in ("running", "done") else None
    # A car that stayed out, and was taken for this run on track, changed neither tyres nor fuel for it.
    ready = on_track or run
    model = car.plan.original(ready)
    fuel = None if on_track is not None else run.fuel_kg if run.fuel_kg is not None else model.fuel_kg
    tyres, work = ready.tyres or model.tyres, run.after_garage_s
    known = car.plan.tyre_sets.get(tyres or "")
    added = {"driver": car.plan.driver_of(run), "window": run.window, "tyres": tyres, "fuel_kg": fuel,
             "compound": known.compound if known is not None else None, "crew": run.crew,
             "goes_on": on_what_is_fitted(car, state),
             "work_s": (work.low_s, work.likely_s, work.high_s) if run.laps else None,
             "planned_span_s": planned.get(run.run)}
    return progress.model_copy(update=added)


def plan_state(car: TeamCar, now: float) -> PlanState:
    """``plan/<car>``: expected spans follow the forecast durations at their likely values."""
    spans: dict[str, tuple[float, float]] = {}
    t = now
    for run in car.progress.runs:
        if run.state == "running" and car.legs:
            spans[run.run.run] = (run.start_t or now, car.legs[-1].end_s)
            t = car.legs[-1].end_s + run.run.after_garage_s.likely_s
        elif run.state in ("planned", "next", "cut") and run.laps:
            start = car.release_s if run.state == "next" and car.release_s is not None else t
            start = windows.start_within(car, run, max(start, now, run.run.release.not_before or start))
            kinds = ("installation",) if run.out_in else ("out", *run.laps[run.resume_at :])
            end = start + sum(car.track.pace.lap_s(kind) for kind in kinds)
            spans[run.run.run] = (round(start, 1), round(end, 1))
            t = end + run.run.after_garage_s.likely_s
    planned = planned_spans(car, car.desk.base[car.desk.driven])
    runs = tuple(
        _of_plan(car, run_progress(run, spans.get(run.run.run)), run, planned) for run in car.progress.runs
    )
    return PlanState(
        id=f"plan-{car.car}-{now:.3f}", t=now, car=car.car, revision=car.progress.revision, runs=runs,
        seen=of_roles(car), drivers=drivers.rows(car),
        km=drivers.kilometres(car) if car.car in car.setup.limits else None,
        alternate=car.desk.driven, changes=tuple(car.desk.changes[-SHOWN:]),
    )


def clock_state(clock: SessionClock, now: float) -> ClockState:
    """``clock``."""
    return ClockState(
        id=f"clock-{now:.3f}",
        t=now,
        remaining_s=round(clock.remaining(now), 2),
        running=clock.running,
        rate=clock.rate,
        status=clock.status,
        yellow_sectors=clock.yellow_sectors,
        pit_exit=clock.pit_exit,
        window=clock.window_now.window if clock.window_now is not None else None,
    )


def field_state(tracks: Iterable[CarTrack], now: float) -> FieldState:
    """``field``: every car as followed."""
    cars = []
    for track in tracks:
        last = next((lap.lap_time_s for lap in reversed(track.laps) if lap.lap_time_s), None)
        cars.append(_field_car(track.car, track.state, track.lap_number, last, track.pace.best_s))
    return FieldState(id=f"field-{now:.3f}", t=now, cars=tuple(cars))


@functools.lru_cache(maxsize=256)
def _field_car(car: str, state: CarState, lap_number: int, last_s: float | None, best_s: float | None) -> FieldCar:
    # Most of the field is as it was five seconds ago.
    return FieldCar(car=car, state=state, lap_number=lap_number, last_lap_s=last_s, best_lap_s=best_s)
