"""An engineer hands a car's radio over to another: the answer is what the new one must know, in words."""

from __future__ import annotations

from pitwall.engine import drivers
from pitwall.engine.alerts.book import AlertBook
from pitwall.engine.team import TeamCar
from pitwall.model.car import position_text
from pitwall.model.units import clock_text

MOST_CALLS = 5


def take_over(car: TeamCar, by: str, alerts: AlertBook) -> str:
    """``by`` has the radio of this car from now on; commands of others are still taken."""
    before, car.engineer = car.engineer, by
    car.channel.waits.is_with(by)
    if before == by:
        return f"{by} has car {car.car} already. {in_words(car, alerts)}"
    took = f"{by} takes car {car.car} over" + (f" from {before}" if before is not None else "")
    return f"{took}. {in_words(car, alerts)}"


def in_words(car: TeamCar, alerts: AlertBook) -> str:
    """Where the car is, what is open, what is owed, and what comes next: short sentences."""
    sentences = [_where(car), _next(car), _calls(car), _questions(car), _owed(car), _desk(car), _alerts(car, alerts),
                 _comments(car)]
    return " ".join(sentence for sentence in sentences if sentence)


def _where(car: TeamCar) -> str:
    run, driver = car.progress.current, drivers.spoken(car, car.seated)
    if not car.track.on_track:
        place = "in the pit lane" if car.track.state == "pit_lane" else "in the garage"
        return f"The car is {place}, {driver} drove last." if car.drove else f"The car is {place}."
    if run is None:
        return f"{driver} is on track, on no run of the plan, lap {car.track.lap_number}."
    done = f"{run.timed_own} of {run.timed_wanted} timed laps done"
    return f"{driver} is on {run.run.run}, {run.lap_label(run.pointer)}, {done}."


def _next(car: TeamCar) -> str:
    run = car.progress.next
    if run is None:
        return "" if car.track.on_track else "Nothing is left to run."
    when = f" at {clock_text(car.release_s)}" if car.release_s is not None else ""
    changed = drivers.change(car)
    who = f", driver change: {drivers.spoken(car, changed[0])} in" if changed is not None else ""
    return f"Next release: {run.run.run}{when}{who}."


def _calls(car: TeamCar) -> str:
    calls = [call for call in car.book.outstanding() if call.state in ("shown", "due")]
    if not calls:
        return "No call is open."
    said = "; ".join(f"{call.spec.short} ({call.state})" for call in calls[:MOST_CALLS])
    more = f"; {len(calls) - MOST_CALLS} more" if len(calls) > MOST_CALLS else ""
    return f"Open calls: {said}{more}."


def _questions(car: TeamCar) -> str:
    asked = [question.words or f"what was asked at {clock_text(question.t)}" for question in car.owed.open]
    return f"The driver waits for an answer: {'; '.join(asked)}." if asked else ""


def _owed(car: TeamCar) -> str:
    owed = []
    for name, position in sorted(car.switches.owed.items()):
        switch = car.switches.known(name)
        owed.append(f"{switch.word if switch is not None else name} {position_text(position)}")
    return f"Put-backs owed: {', '.join(owed)}." if owed else ""


def _desk(car: TeamCar) -> str:
    words = (["The car is kept in."] if car.kept_in else []) + (["Quiet is on."] if car.quiet else [])
    return " ".join(words)


def _alerts(car: TeamCar, alerts: AlertBook) -> str:
    texts = [alert.text for _, alert in sorted(alerts.active.items()) if alert.car in (None, car.car)]
    return f"Alerts: {'; '.join(texts)}." if texts else ""


def _comments(car: TeamCar) -> str:
    count = len(car.comments.comments)
    return f"{count} comment{'s' if count != 1 else ''} of the driver noted." if count else ""
