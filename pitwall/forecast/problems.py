"""Why a forecast has less to say than usual, in a sentence: so that nobody reads a figure where there is none."""

from __future__ import annotations

from pitwall.forecast.chain import ON_TRACK
from pitwall.model.outlook import CarSnapshot, ForecastSnapshot
from pitwall.model.units import clock_text


def problem_of(snapshot: ForecastSnapshot) -> str | None:
    """Why nothing can be said at all; None when something can."""
    if not snapshot.cars:
        return "No car has a plan: there is nothing to forecast."
    return None


def problem_of_car(car: CarSnapshot, snapshot: ForecastSnapshot) -> str | None:
    """Why a car's figures say less than usual: the first reason that applies, None when all is well."""
    if snapshot.status == "closed":
        return "The session is over: nothing can be done any more."
    if not car.activities:
        return "Nothing of the plan is left to do."
    if snapshot.status == "finished" and not snapshot.windows:
        return "The flag has fallen: no run and no timed lap can begin any more, only what is allowed after it."
    lost = [one for one in car.activities if one.kind in ON_TRACK and one.high_s <= 0.0 and not car.on_track]
    if lost:
        return f"No lap time is known for {lost[0].run}: its end and its chance say nothing."
    return _impossible(car, snapshot)


def _impossible(car: CarSnapshot, snapshot: ForecastSnapshot) -> str | None:
    """A run that cannot be, however quickly everything goes."""
    over = sorted(run for run, window in car.windows.items() if window < 0)
    if over:
        return f"{over[0]} cannot be done: its window is over."
    flag = snapshot.windows[-1][1] if snapshot.windows else max(snapshot.t, 0.0) + snapshot.remaining_s
    may_move = snapshot.red_clock == "stops" and not snapshot.windows
    for one in car.activities:
        if one.run is None or one.run in car.after_flag:
            continue
        if one.not_before_s is not None and one.not_before_s >= flag and not may_move:
            return (f"{one.run} cannot be done: it may not leave before {clock_text(one.not_before_s)}, "
                    f"and the flag falls at {clock_text(flag)}.")
        if one.not_after_s is not None and one.not_after_s < car.from_s:
            return f"{one.run} cannot be done as planned: it had to leave by {clock_text(one.not_after_s)}."
    return None
