"""The conditions that alerts stand for, asked every few seconds. That of the musts: ``must_watch.py``."""

from __future__ import annotations

from pitwall.engine import drivers, stayed_out
from pitwall.engine.ahead import laps_of, on_what_is_fitted
from pitwall.engine.alerts.book import AlertBook
from pitwall.engine.last_release import too_late
from pitwall.engine.run_state import RunState
from pitwall.engine.session_clock import SessionClock
from pitwall.engine.slowed import SLOW_RATIO, last_section, slowed
from pitwall.engine.switch_watch import look_at_switches
from pitwall.engine.team import TeamCar
from pitwall.model.outputs import Output, Status
from pitwall.model.units import clock_text

IN_LATE_S = 30.0  # beyond the usual in-lap (common practice, no source)
BOX_AT_THE_PASS = "Show the box at the next pass of the pit wall: it comes in on the lap after that."
PART_OF_A_LAP = 0.3  # laps are counted to this
OVERDUE_S = 60.0  # beyond the slow estimate of the work (common practice, no source)
NOT_OUT_YET_S = 180.0  # the same of a car that has not been out: the first run is rarely pressed for time (the same)


def around(car: TeamCar, alerts: AlertBook, clock: SessionClock, now: float) -> list[Output]:
    """Every few seconds: switches, a car unseen, fuel for the lap that the car is on."""
    status = clock.alert_status
    found = look_at_switches(car, alerts, status, now)
    if car.track.state == "stopped":
        found += alerts.hold(
            "car_silent", car.car, f"Car {car.car} not seen on track for {clock_text(now - car.track.seen_t)}", now,
            status
        )
    else:
        found += alerts.over("car_silent", car.car, now)
    found += _in_lap(car, alerts, status, now) + _stayed_out(car, alerts, status, now)
    found += _under_red(car, alerts, clock, now) + _on_another_run(car, alerts, status, now)
    found += _answers(car, alerts, status, now)
    found += _fuel_to_go_on(car, alerts, clock, now)
    return found + _fuel(car, alerts, status, now) + _release(car, alerts, clock, now)


def _answers(car: TeamCar, alerts: AlertBook, status: Status, now: float) -> list[Output]:
    """The driver has waited for an answer for long."""
    found: list[Output] = []
    for question in car.owed.questions:
        if question.old(now):
            text = f"The driver still waits for the answer to {question.named}"
            found += alerts.hold("answer_owed", car.car, text, now, status, str(question.number))
        else:
            found += alerts.over("answer_owed", car.car, now, str(question.number))
    return found


def _in_lap(car: TeamCar, alerts: AlertBook, status: Status, now: float) -> list[Output]:
    """Followed by hand, the car is on its in-lap for longer than such laps take: a key may have been forgotten, and a
    feed that would tell is not there."""
    track = car.track
    due = track.arrival(track.lap_map.pit_entry) if track.state in ("in", "out_in") else None
    if due is None or not car.by_hand() or now < due + IN_LATE_S:
        return alerts.over("in_overdue", car.car, now)
    text = f"Car {car.car} was due at the pit entry at {clock_text(due)}, and nobody saw it there"
    return alerts.hold("in_overdue", car.car, text, now, status)


def _stayed_out(car: TeamCar, alerts: AlertBook, status: Status, now: float) -> list[Output]:
    """The car was to come in, and is over the line: its fuel is reckoned for that, and laps are lost."""
    run = car.progress.current
    if run is None or not car.track.on_track or run.expected_kind != "in" or run.stayed_out == 0:
        return alerts.over("stayed_out", car.car, now)
    if not stayed_out.seen_beyond(car, run):
        return []
    of = f"from its installation lap ({run.run.run})" if run.out_in else f"at the end of {run.run.run}"
    text = f"Car {car.car} did not come in {of}"
    shown = BOX_AT_THE_PASS if car.plan.medium == "board" else None
    return alerts.hold("stayed_out", car.car, text, now, status, help_text=shown)


def _on_another_run(car: TeamCar, alerts: AlertBook, status: Status, now: float) -> list[Output]:
    """The car stayed out and is taken to be on a later run: its laps, items and tyres count for that one now, and no
    box is called before it is over. Whoever knows better must be told that."""
    run = car.progress.current
    if run is None or not car.track.on_track or run.begun_as is None:
        return alerts.over("on_another_run", car.car, now)
    text = f"Car {car.car} stays out beyond {run.begun_as}: its laps count for {run.run.run} now"
    return alerts.hold("on_another_run", car.car, text, now, status)


def _under_red(car: TeamCar, alerts: AlertBook, clock: SessionClock, now: float) -> list[Output]:
    """The car goes on as if no red flag were out: its driver does not know, or the flag was entered by mistake."""
    red = clock.status == "red" and car.track.on_track
    ratio = last_section(car, clock.since_s) if red else None
    if ratio is None or ratio >= SLOW_RATIO or slowed(car, clock.since_s, now):
        return alerts.over("pace_under_red", car.car, now)
    text = f"Car {car.car} goes on at full pace under the red flag"
    return alerts.hold("pace_under_red", car.car, text, now, clock.alert_status)


def _release(car: TeamCar, alerts: AlertBook, clock: SessionClock, now: float) -> list[Output]:
    """The car was to leave some time ago, may, and stands here still: nobody may have noticed."""
    run = car.progress.next
    planned = car.first_release_s
    held = car.kept_in or clock.pit_exit == "closed" or too_late(car, clock, now) or car.flag_run is not None
    if run is None or car.track.on_track or held or planned is None or _early(car, planned, now):
        return alerts.over("release_overdue", car.car, now)
    text = f"Car {car.car} stands here still: {run.run.run} ({run.run.want}) was to leave at {clock_text(planned)}"
    if _slowest(car, planned) > planned:
        text += f", after slow work at {clock_text(_slowest(car, planned))}"
    return alerts.hold("release_overdue", car.car, text, now, clock.alert_status)


def _early(car: TeamCar, planned: float, now: float) -> bool:
    """Guard: the work may still take so long."""
    beyond = NOT_OUT_YET_S if car.progress.parked_t is None else OVERDUE_S
    return now < _slowest(car, planned) + beyond


def _slowest(car: TeamCar, planned: float) -> float:
    """When the car would have left after work that is as slow as the plan foresees; no sooner than it was to leave."""
    parked_t, work = car.progress.parked_t, drivers.stop(car)
    return planned if parked_t is None else max(planned, parked_t + work.high_s)


def _fuel_to_go_on(car: TeamCar, alerts: AlertBook, clock: SessionClock, now: float) -> list[Output]:
    """In the pits, before it leaves again for a run that was broken off: what is in the car, against what its laps
    take. The run was fuelled for its laps, and some of them are burnt without counting."""
    run, fuel = car.progress.next, car.carried.fuel(car.track, car.switches.car.fuel_per_lap_kg)
    on_it = run is not None and bool(run.laps) and not car.track.on_track and on_what_is_fitted(car, run)
    if run is None or fuel is None or not on_it or too_late(car, clock, now):
        return alerts.over("fuel_to_go_on", car.car, now)
    burn, reserve, laps = car.switches.car.fuel_per_lap_kg, car.switches.car.fuel_reserve_kg, laps_of(run)
    needed = laps * burn + reserve
    if fuel > needed - PART_OF_A_LAP * burn:
        return alerts.over("fuel_to_go_on", car.car, now)
    text = (f"Car {car.car} goes on with {run.run.run} on about {max(fuel, 0):.1f} kg: its {laps} laps and the reserve "
            f"take {needed:.1f} kg")
    return alerts.hold("fuel_to_go_on", car.car, text, now, clock.alert_status)


def _fuel(car: TeamCar, alerts: AlertBook, status: Status, now: float) -> list[Output]:
    run = car.progress.current
    if run is None or not car.track.on_track:
        return alerts.over("fuel_short", car.car, now)
    burn, reserve = car.switches.car.fuel_per_lap_kg, car.switches.car.fuel_reserve_kg
    in_tank = car.carried.fuel(car.track, burn)
    if in_tank is None:
        return alerts.over("fuel_short", car.car, now)
    left = in_tank - burn
    if left >= reserve or _filled_unseen(car, run, burn + reserve, burn):
        return alerts.over("fuel_short", car.car, now)
    text = f"Car {car.car}: about {max(left, 0):.1f} kg at the end of this lap, the reserve is {reserve:.1f} kg"
    return alerts.hold("fuel_short", car.car, text, now, status)


def _filled_unseen(car: TeamCar, run: RunState, lap_and_reserve_kg: float, burn_kg: float) -> bool:
    """Guard: the car left again on a run that it had come in from, with less than a lap takes as far as anybody
    entered. Nobody sends it out so: it was filled, and how much is in it nobody knows."""
    track, carried = car.track, car.carried
    if run.leavings < 2 or track.pit_exit_t is None or carried.fuel_kg is None:
        return False
    driven = sum(1.0 - lap.start_phase for lap in track.laps if lap.start_t >= track.pit_exit_t)
    left_at = track.fuel_laps - driven
    entered_since = carried.filled_at > left_at - PART_OF_A_LAP
    return not entered_since and carried.fuel_kg - burn_kg * (left_at - carried.filled_at) < lap_and_reserve_kg


def clock(clock: SessionClock, on_track: bool, alerts: AlertBook, now: float) -> list[Output]:
    """Cars run, and nobody said when the session began or ends: every release and every flag margin hangs on it."""
    known = clock.official or clock.status != "waiting"
    if known or not on_track:
        return alerts.over("clock_unknown", None, now)
    text = "Cars are on track, and neither a green light nor the official clock was seen: the time left is not known"
    return alerts.hold("clock_unknown", None, text, now, clock.alert_status)


def feed(
    feed_t: float | None, due: bool, stale_s: float, alerts: AlertBook, status: Status, now: float
) -> list[Output]:
    """No timing message for long while cars run, and one of them is due at a loop."""
    if not due or feed_t is None or now - feed_t < stale_s:
        return alerts.over("feed_stale", None, now)
    return alerts.hold(
        "feed_stale", None, f"No timing message for {now - feed_t:.0f} s while cars are on track", now, status
    )
