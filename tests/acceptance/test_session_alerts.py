"""Alerts: raised when their condition holds and for no other reason, cleared when it is over, never by a mere call."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from pitwall.model.outputs import CarOutlook, ForecastAnswer, ForecastWanted, RunOutlook
from tests.acceptance.script import Script, between
from tests.acceptance.script_car import Car
from tests.acceptance.script_patterns import (
    after,
    alert,
    alert_cleared,
    any_alert,
    command,
    crossing,
    forecast,
    forecast_asked,
    has,
    status,
    switch,
)
from tests.acceptance.script_plans import CHECKS, MORE, WORK, session

Chances = Callable[[float], float]


def _forecaster(musts: Chances, could: float = 1.0) -> Callable[[ForecastWanted], ForecastAnswer]:
    """A forecaster that gives each must this chance at its time, and each could the other."""

    def answer(wanted: ForecastWanted) -> ForecastAnswer:
        cars = []
        for car in wanted.snapshot.cars:
            runs = tuple(
                RunOutlook(
                    run=name,
                    want=want,
                    chance=musts(wanted.t) if want == "must" else could,
                    end_q10_s=1000,
                    end_q50_s=1100,
                    end_q90_s=1200,
                    last_release_s=700 if want == "must" else None,
                )
                for name, want in sorted(car.wants.items())
            )
            cars.append(CarOutlook(car=car.car, musts_chance=musts(wanted.t), runs=runs, spare_q50_s=0))
        return ForecastAnswer(cars=tuple(cars), futures=wanted.snapshot.futures, seed=wanted.seed)

    return answer


def _steps(*steps: tuple[float, float]) -> Chances:
    """A chance that changes at these times: the last step that began holds."""
    return lambda t: [chance for begin, chance in steps if begin <= t][-1]


def test_a_must_in_danger_raises_the_overrun_alert_and_hysteresis_holds_it() -> None:
    """Below 0.6 the alert rises, with the run and the time to leave by; between 0.6 and 0.75 it neither rises nor
    clears, and only its words follow; above 0.75 it clears."""
    chances = _steps((-1000, 0.9), (100, 0.65), (300, 0.5), (500, 0.7), (700, 0.8), (900, 0.65))
    play = session(WORK, starts_at=-60, forecast=_forecaster(chances))
    play.never(alert("overrun"), between(-60, 300))
    play.want(alert("overrun", text=has("work may not fit: 50 %"), priority="medium"), between(300, 440), times=1)
    play.never(alert_cleared("overrun"), between(300, 700))
    play.want(alert_cleared("overrun"), between(700, 840), times=1)
    play.want(alert("overrun", text=has("work may not fit: 70 % likely, 90 % at")), between(500, 640))
    play.never(alert("overrun", since_s=after(440)), between(440, 1200))
    play.run(until=1200)
    raised = play.heard(alert("overrun"))[0].what
    assert "11:40" in raised.text  # type: ignore[union-attr]  # an alert: leave by 700 s


def test_a_could_that_does_not_fit_is_no_alert() -> None:
    """Plans are over-full on purpose: a run that is nice to have raises nothing, however small its chance."""
    play = session(WORK, MORE, starts_at=-60, forecast=_forecaster(lambda t: 0.95, could=0.0))
    play.want(forecast())
    play.never(any_alert("release_overdue"))
    play.run(until=300)


@pytest.mark.parametrize(("want", "alarmed"), [("must", True), ("could", False)])
def test_too_many_laps_for_the_time_left_alarm_for_a_must_only(want: str, alarmed: bool) -> None:
    """With the real forecast: forty laps in twenty minutes raise the overrun alert when they are a must, and none when
    they are not; it says so before the car ever left."""
    long = {"run": "long", "want": want, "laps": "out, 40 timed, in"}
    play = session(CHECKS, long, duration_s=1200, starts_at=-120)
    if alarmed:
        play.want(alert("overrun", text=has("long")), between(-120, 20), times=1)
    else:
        play.want(forecast(), between(-120, 20))
        play.never(alert("overrun"))
    play.run(until=60)


def test_time_lost_under_red_puts_a_must_in_danger() -> None:
    """The plan fits at first; thirteen minutes of red, the clock running, leave no time for its least laps: under red
    nobody is alarmed, with the green the overrun alert is up, and dropping the run clears it."""
    play = session(CHECKS, WORK, duration_s=1150, starts_at=-60)
    car = play.car().leaves(20).comes_in(125)
    play.at(200).push(status("red"))
    play.at(1000).push(status("green", pit_exit="open"))
    play.at(1100).push(command("drop", run="work", text="no time left"))
    play.never(alert("overrun"), between(-60, 999))
    play.want(alert("overrun", text=has("work")), between(1000, 1005), times=1)
    play.want(alert_cleared("overrun"), between(1100, 1110), times=1)
    play.run(until=1200)
    assert car.t < 200


def _lap_with_a_switch_wrong(name: str, position: Any) -> tuple[Script, Car]:
    """On the out-lap telemetry reports a switch; then the line, and a timed lap begins."""
    play = session(MORE)
    car = play.car().leaves(60).lap(112)
    play.at(car.t - 3).push(switch(name, position))
    return play, car


def test_a_measured_switch_that_stands_wrong_alarms_as_the_timed_lap_begins() -> None:
    """At the receipt of the line crossing, not before and not later: the alert names the switch, where it stands and
    what the lap needs. It clears when telemetry shows it put right."""
    play, car = _lap_with_a_switch_wrong("torque_map", 7)
    play.at(car.t + 30).push(switch("torque_map", 4))
    car_line = car.t
    car.lap(91)
    play.never(any_alert(), between(-300, car_line - 0.001))
    told = alert("switch_wrong", text=has("torque stands at 7, this timed lap needs 4"), priority="high")
    play.want(told, between(car_line, car_line + 0.001), times=1)
    play.want(alert_cleared("switch_wrong"), between(car_line + 30, car_line + 36), times=1)
    play.run(until=car_line + 60)


def test_a_late_line_message_is_not_waited_for() -> None:
    """The crossing is reported 10 s late: by the prediction the timed lap has begun, so the alert comes before the
    message, and no second one with it."""
    play = session(MORE)
    car = play.car().leaves(60).lap(112, late={"line": 10.0})
    play.at(car.t - 3).push(switch("torque_map", 7))
    play.want(alert("switch_wrong"), between(car.t, car.t + 5), times=1)
    play.never(any_alert(), between(-300, car.t - 0.001))
    play.never(any_alert(), between(car.t + 5.001, car.t + 30))
    play.run(until=car.t + 30)


@pytest.mark.parametrize(("position", "alarmed"), [(56.5, False), (55.0, False), (53.0, True)])
def test_a_bias_within_the_driver_free_range_is_no_alert(position: float, alarmed: bool) -> None:
    """Drivers move the brake bias each lap: within its free range of 1.0 nobody minds, beyond it is an alert."""
    play, car = _lap_with_a_switch_wrong("brake_bias", position)
    if alarmed:
        play.want(alert("switch_wrong", text=has("brake bias")), between(car.t, car.t + 0.001), times=1)
    else:
        play.never(any_alert())
    play.run(until=car.t + 20)


def test_a_switch_that_spoils_no_timed_lap_is_no_alert() -> None:
    """The radio volume is not among the switches that a timed lap needs: it may stand where it likes."""
    play, car = _lap_with_a_switch_wrong("radio_volume", 5)
    play.never(any_alert())
    play.run(until=car.t + 20)


def test_a_silent_feed_alarms_while_a_car_is_on_track() -> None:
    """No timing message for 90 s while a car runs: the alert; the next crossing clears it."""
    play = session(MORE)
    car = play.car().leaves(60).lap(112).to("1", 91)
    silent = car.t
    play.at(silent + 120).push(crossing("line", happened=silent + 61))
    play.want(alert("feed_stale", text=has("no timing message")), between(silent + 90, silent + 96), times=1)
    play.want(alert_cleared("feed_stale"), between(silent + 120, silent + 126), times=1)
    play.run(until=silent + 130)


def test_a_silent_feed_alarms_nobody_while_every_car_stands() -> None:
    """Nobody on track, nothing to report: silence is no alert."""
    play = session(CHECKS, MORE, starts_at=-60)
    car = play.car().leaves(20).comes_in(125)
    play.never(alert("feed_stale"))
    play.run(until=car.t + 600)


def test_a_car_that_no_loop_saw_for_long_is_looked_for() -> None:
    """A car on track unseen for three minutes, others still reported: the alert says which car; seen again, it
    clears."""
    play = session(MORE)
    car = play.car().leaves(60).lap(112).to("1", 91)
    for number in range(14):
        play.at(car.t + 20 * number).push(crossing("line", car="7"))
    back = car.t + 250
    play.at(back).push(crossing("2"))
    play.want(alert("car_silent", car="41"), between(car.t + 180, car.t + 190), times=1)
    play.want(alert_cleared("car_silent"), between(back, back + 6), times=1)
    play.run(until=back + 20)


def test_no_call_alone_raises_an_alert() -> None:
    """A car that does nothing of what is called, in a garage where nobody presses a key: calls rest unconfirmed, the
    forecast is asked again and again, and no alert rises from any of it; that the car
    has not left is another matter, and is said once."""
    play = session(CHECKS, MORE, starts_at=-300)
    play.want(forecast_asked())
    play.never(any_alert("release_overdue"))
    play.want(alert("release_overdue", car="41"), times=1)
    play.run(until=900)
    assert any(history[-1].state == "unconfirmed" for history in play.calls().values())
