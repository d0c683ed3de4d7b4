"""Tyres beyond their limits: which limit counts, how long it must be crossed, and when nobody wants to hear of it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pytest
from pydantic import ValidationError

from pitwall.model.events import TyreReported
from pitwall.model.outputs import Alert, HeldBack
from pitwall.model.tyre import TyreLimit, limit_of
from tests.unit.engine_stage import CAR, CIRCUIT, MAIN, Stage, car_file, plan, setup

HOT: dict[str, Any] = {"of": "carcass_c", "low": 70, "high": 110, "deadband": 4, "holds_s": 5}
PRESSURE: dict[str, Any] = {"of": "pressure_kpa", "low": 140, "high": 190, "deadband": 5, "holds_s": 5}


def stage(*limits: Mapping[str, Any], **more: Any) -> Stage:
    """A session with one car on these limits, under green, that leaves at 200 s and begins a timed lap at 325 s."""
    made = plan(MAIN | {"laps": "out, 6 timed, in"}, **more)
    here = Stage(setup(made, cars={CAR: car_file(tyre_limits=list(limits))})).green()
    here.drive(200, 125)
    return here


def tell(here: Stage, t: float, corner: str = "fl", **values: float) -> None:
    """Telemetry of one corner."""
    here.give(TyreReported.model_validate({"id": f"t:{t}:{corner}", "t": t, "car": CAR, "corner": corner, **values}))


def told(here: Stage) -> list[tuple[str, bool, float]]:
    """Kind, activity and time of every alert about tyres."""
    return [(one.kind, one.active, one.t) for one in here.made(Alert) if one.kind.startswith("tyre")]


# -- which limit counts ------------------------------------------------------------------------------------------------


def test_the_most_particular_limit_wins_for_each_side_by_itself() -> None:
    """An upper limit for soft tyres leaves the lower one of all tyres in force; for the front another one counts."""
    limits = [TyreLimit.model_validate(one) for one in (
        HOT, {"of": "carcass_c", "high": 100, "compound": "soft"},
        {"of": "carcass_c", "high": 95, "compound": "soft", "axle": "front"},
    )]  # fmt: skip
    sought = [("high", "rl", "soft"), ("low", "rl", "soft"), ("high", "fr", "Soft"), ("high", "fr", "hard"),
              ("high", "fr", None)]  # fmt: skip
    found = [limit_of(limits, side, "carcass_c", corner, compound, "timed") for side, corner, compound in sought]  # type: ignore[arg-type]
    assert [one and (one.low if side == "low" else one.high) for one, (side, _, _) in zip(found, sought, strict=True)
            ] == [100, 70, 95, 110, 110]


def test_a_value_without_a_limit_has_none() -> None:
    """Surface and pressure are not watched by a limit for the carcass."""
    limits = [TyreLimit.model_validate(HOT)]
    assert limit_of(limits, "high", "surface_c", "fl", None, "timed") is None
    assert limit_of(limits, "high", "pressure_kpa", "fl", None, "timed") is None


def test_on_laps_with_cold_tyres_only_a_limit_that_names_the_lap_is_a_lower_one() -> None:
    """Cold tyres on an out-lap are as they should be, unless the car file says how cold is too cold there."""
    general, there = TyreLimit.model_validate(PRESSURE), TyreLimit.model_validate(PRESSURE | {"low": 110, "lap": "out"})
    assert limit_of([general], "low", "pressure_kpa", "fl", None, "out") is None
    assert limit_of([general], "high", "pressure_kpa", "fl", None, "out") == general
    assert limit_of([general, there], "low", "pressure_kpa", "fl", None, "out") == there
    assert limit_of([general, there], "low", "pressure_kpa", "fl", None, "timed") == general


@pytest.mark.parametrize("wrong", [
    {"of": "carcass_c"}, {"of": "carcass_c", "low": 100, "high": 90}, {"of": "carcass_c", "low": 90, "high": 95},
    {"of": "colour", "low": 1}, {"of": "carcass_c", "high": 90, "deadband": -1},
])  # fmt: skip
def test_a_limit_that_makes_no_sense_is_refused(wrong: dict[str, Any]) -> None:
    """No side, sides that cross or that the deadband bridges, an unknown value, a negative deadband."""
    with pytest.raises(ValidationError):
        TyreLimit.model_validate(wrong)


# -- raised and over ---------------------------------------------------------------------------------------------------


def test_a_hot_tyre_is_told_once_it_was_hot_for_long_enough_and_is_over_within_the_deadband() -> None:
    """Limit 110, deadband 4, 5 s: raised with the report 5 s after the first one above, over with the first at 106."""
    here = stage(HOT)
    for t, value in ((330, 108), (335, 112), (338, 113), (340, 112), (345, 107), (350, 106.1), (355, 106)):
        tell(here, t, carcass_c=value)
    assert told(here) == [("tyre_hot", True, 340), ("tyre_hot", False, 355)]
    (alert,) = [one for one in here.made(Alert) if one.active and one.kind == "tyre_hot"]
    assert (alert.text, alert.priority) == ("Car 41: front left carcass 112 °C, limit 110", "low")


def test_one_report_and_silence_are_no_alert() -> None:
    """A single report above, and no more telemetry: nobody knows whether it stayed there."""
    here = stage(HOT)
    tell(here, 330, carcass_c=150)
    here.wait(420)
    assert told(here) == []


def test_the_time_beyond_the_limit_counts_without_a_break() -> None:
    """Above, once inside, above again: the five seconds begin anew."""
    here = stage(HOT)
    for t, value in ((330, 112), (333, 109), (334, 112), (338, 112)):
        tell(here, t, carcass_c=value)
    assert told(here) == []
    tell(here, 339, carcass_c=112)
    assert told(here) == [("tyre_hot", True, 339)]


def test_one_alert_names_every_corner() -> None:
    """Two corners too hot: one alert, whose words follow; over when the last is back."""
    here = stage(HOT)
    for t in (330, 336):
        tell(here, t, "fl", carcass_c=120)
    for t in (360, 366):
        tell(here, t, "rr", carcass_c=115)
    here.wait(370)
    texts = [one.text for one in here.made(Alert) if one.kind == "tyre_hot"]
    assert texts == ["Car 41: front left carcass 120 °C, limit 110",
                     "Car 41: front left carcass 120 °C, limit 110; rear right carcass 115 °C, limit 110"]
    tell(here, 372, "fl", carcass_c=100)
    assert told(here)[-1][1] is True
    tell(here, 373, "rr", carcass_c=100)
    assert told(here)[-1] == ("tyre_hot", False, 373)


def test_a_pressure_that_falls_is_urgent_and_explains_the_cold() -> None:
    """Too low: high priority, with what to do. That the tyre is cold besides says nothing new."""
    here = stage(HOT, PRESSURE)
    for t in (330, 336, 342):
        tell(here, t, "rl", pressure_kpa=120)
        tell(here, t, "rl", carcass_c=60)
    assert [(kind, on) for kind, on, _ in told(here)] == [("tyre_pressure_low", True)]
    (alert,) = [one for one in here.made(Alert) if one.kind == "tyre_pressure_low"]
    assert (alert.text, alert.priority) == ("Car 41: rear left pressure 120 kPa, limit 140", "high")
    assert "box" in alert.help
    (held,) = [one for one in here.made(HeldBack) if one.alert == "tyre-cold-41"]
    assert held.reason == "explained by tyre-pressure-low-41"


def test_cold_tyres_on_an_out_lap_are_no_alert_and_on_a_timed_lap_they_are() -> None:
    """The same temperature: normal until the line, told once the timed lap has begun."""
    made = plan(MAIN)
    here = Stage(setup(made, cars={CAR: car_file(tyre_limits=[HOT])})).green().leave(200)
    for t in (210, 220, 230):
        tell(here, t, carcass_c=55)
    assert told(here) == []
    here.lap(200.5, 124.5, from_exit=True)
    for t in (326, 332):
        tell(here, t, carcass_c=58)
    assert told(here) == [("tyre_cold", True, 332)]


def test_without_limits_there_is_no_alert() -> None:
    """A car file that says nothing of tyres: telemetry is kept, and nothing is told."""
    here = stage()
    for t in (330, 340, 350):
        tell(here, t, carcass_c=300, pressure_kpa=1)
    assert told(here) == []


def test_the_limit_of_the_compound_on_the_car_counts() -> None:
    """The plan has the car on a soft set with a lower limit of its own."""
    sets = {"C1": {"compound": "soft"}}
    here = stage(HOT, HOT | {"high": 95, "compound": "soft"}, tyre_sets=sets, starts_with={"tyres": "C1"})
    for t in (330, 336):
        tell(here, t, carcass_c=100)
    assert told(here) == [("tyre_hot", True, 336)]


def test_in_the_pits_it_is_over_and_new_tyres_start_from_nothing() -> None:
    """The car comes in: over. What was measured on the old set says nothing of the new one."""
    here = stage(HOT)
    for t in (330, 336):
        tell(here, t, carcass_c=120)
    here.pit(420, "entry")
    here.wait(430)
    assert told(here)[-1][:2] == ("tyre_hot", False)
    here.leave(900)
    tell(here, 905, carcass_c=120)
    assert [on for _, on, _ in told(here)] == [True, False], "one report of the new set is no alert yet"


def test_under_red_it_is_silenced_and_works_on_underneath() -> None:
    """It stands when red comes: off the screens, with the reason on record; still there under green, it is back."""
    here = stage(HOT)
    for t in (330, 336):
        tell(here, t, carcass_c=120)
    here.status(350, "red", pit_exit="closed")
    tell(here, 352, carcass_c=121)
    assert [on for _, on, _ in told(here)] == [True, False]
    (held,) = [one for one in here.made(HeldBack) if one.alert == "tyre-hot-41"]
    assert held.reason == "idle while the session is red"
    here.status(400, "green", pit_exit="open")
    tell(here, 402, carcass_c=122)
    assert [on for _, on, _ in told(here)] == [True, False, True]


def test_an_older_report_that_comes_late_changes_nothing() -> None:
    """Telemetry out of order: the newest value stands."""
    here = stage(HOT)
    for t in (330, 336):
        tell(here, t, carcass_c=120)
    here.handle(TyreReported(id="late", t=333, car=CAR, corner="fl", carcass_c=90))
    assert told(here) == [("tyre_hot", True, 336)]


def test_after_a_stop_on_track_old_values_say_nothing() -> None:
    """Too hot as the car stopped for minutes: over with the stop, and not back before new reports show it."""
    here = stage(HOT)
    for t in (330, 336):
        tell(here, t, carcass_c=120)
    here.wait(560)
    assert here.car.track.state == "stopped"
    assert [on for _, on, _ in told(here)] == [True, False]
    here.cross(600, "1")
    tell(here, 601, carcass_c=80)
    here.wait(640)
    assert [on for _, on, _ in told(here)] == [True, False]


def test_while_the_timing_is_silent_a_car_that_nobody_sees_is_watched_by_its_telemetry() -> None:
    """No car is seen for minutes, so this one counts as unseen; its tyre loses air all the same, and is told. Where
    other cars are seen, the car stands and a falling pressure is of no interest."""
    for others in (False, True):
        here = stage(PRESSURE)
        here.cross(328, "1", car="7")
        for t in range(340, 620, 20):
            if others:
                here.cross(t, "12"[t // 20 % 2], car="7")
        here.wait(620)
        assert here.car.track.state == "stopped"
        for t in (621, 627):
            tell(here, t, pressure_kpa=120)
        assert told(here) == ([] if others else [("tyre_pressure_low", True, 627)])


def test_on_a_long_lap_with_only_the_line_a_silent_timing_ends_no_alert() -> None:
    """From line to line an out-lap may take longer than a car may be unseen: the timing counts as silent no later than
    the car seen last counts as stopped, so what its telemetry goes on to show stays told."""
    circuit = CIRCUIT.model_copy(update={"lap_s": 120.0, "loops": CIRCUIT.loops[:1]})
    made = plan(MAIN | {"laps": "out, 6 timed, in"})
    here = Stage(setup(made, circuit=circuit, cars={CAR: car_file(tyre_limits=[HOT])})).green()
    here.pit(190, "exit", car="7")
    here.pit(200, "exit")
    here.cross(320, car="7")
    here.cross(330)
    for t in range(335, 660, 5):
        tell(here, t, carcass_c=120)
    assert here.car.track.state == "stopped"
    assert told(here) == [("tyre_hot", True, 340)]


def test_a_car_that_is_out_alone_and_not_seen_stands() -> None:
    """Nothing tells a silent timing from a car that has stopped where no other car runs: its tyres are not watched. Nor
    are they while one other car runs, which is seen only every minute."""
    for alone in (True, False):
        here = stage(PRESSURE)
        for number, t in enumerate(range(340, 620, 50) if not alone else ()):
            here.cross(t, "12"[number % 2], car="7")
        here.wait(620)
        assert here.car.track.state == "stopped"
        for t in (621, 627):
            tell(here, t, pressure_kpa=120)
        assert told(here) == []
