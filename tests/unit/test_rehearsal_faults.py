"""Faults of the rehearsed world: off by default, drawn from the seed, and what they do to tyres, fuel and feed."""

from __future__ import annotations

import asyncio
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError

from pitwall.app.scenarios import load_rehearsal
from pitwall.app.wiring import Evidence, rehearse_instant
from pitwall.model.events import CarCrossed, CarPitted, ClockReported, CommandGiven, TyreReported
from pitwall.rehearsal.scenario import FaultHabits

SCENARIO = Path(__file__).parents[2] / "simulations" / "alerts" / "faults.yaml"


def rehearsed(seed: int = 1, **faults: Any) -> Evidence:
    """A quarter of an hour with these faults alone."""
    loaded, kept = load_rehearsal(str(SCENARIO)), list[Evidence]()
    scenario = loaded.scenario.model_copy(update={"faults": FaultHabits.model_validate(faults)})
    asyncio.run(rehearse_instant(replace(loaded, scenario=scenario, seed=seed), witness=kept.append))
    return kept[0]


@lru_cache
def healthy() -> Evidence:
    """Without a fault, with telemetry."""
    return rehearsed(tyres_every_s=5)


def test_nothing_goes_wrong_by_default() -> None:
    """No rate, no share, no telemetry: a scenario without the key is as it was."""
    assert FaultHabits() == FaultHabits.model_validate({})
    evidence = rehearsed()
    assert evidence.outcome.faults == ()
    assert not [one for one in evidence.events if isinstance(one.event, TyreReported)]


def test_faults_of_tyres_that_nobody_could_see_are_refused() -> None:
    """Without telemetry a hot tyre would be a fault that nothing tells of."""
    with pytest.raises(ValidationError, match="tyres_every_s"):
        FaultHabits(tyre_hot_per_hour=1)


def test_healthy_tyres_stay_within_the_limits_of_the_demo_car() -> None:
    """Telemetry of a whole session, out-laps to in-laps, and no alert about tyres."""
    reports = [one.event for one in healthy().events if isinstance(one.event, TyreReported)]
    assert len(reports) > 200
    assert {one.corner for one in reports} == {"fl", "fr", "rl", "rr"}
    assert not [one for one in healthy().recorder.alert_changes if one.kind.startswith("tyre")]


def test_a_hot_tyre_and_a_leak_are_in_the_telemetry_as_long_as_the_truth_says() -> None:
    """Within each span that was plain to see the reports of that corner show it; faults end in the garage."""
    evidence = rehearsed(tyres_every_s=5, tyre_hot_per_hour=12, pressure_losses_per_hour=8)
    kinds = {fault.what for fault in evidence.outcome.faults if fault.plain}
    assert kinds == {"tyre_hot", "pressure_loss"}
    for fault in evidence.outcome.faults:
        for begin, end in fault.plain:
            seen = [one.event for one in evidence.events if isinstance(one.event, TyreReported)
                    and one.event.car == fault.car and one.event.corner == fault.detail and begin <= one.event.t <= end]
            hot = fault.what == "tyre_hot"
            assert seen
            assert all(_shows(one, hot) for one in seen)
            assert fault.start_s <= begin <= end <= fault.end_s


def _shows(report: TyreReported, hot: bool) -> bool:
    assert report.carcass_c is not None
    assert report.pressure_kpa is not None
    return report.carcass_c > 115 if hot else report.pressure_kpa < 122


def test_a_silence_of_the_feed_swallows_timing_and_clock_and_nothing_else() -> None:
    """No crossing, pit signal or clock of that time arrives; telemetry does."""
    evidence = rehearsed(tyres_every_s=5, silences_per_hour=12)
    silences = [fault for fault in evidence.outcome.faults if fault.what == "feed_silence"]
    assert silences
    for fault in silences:
        of_then = [one.event for one in evidence.events if fault.start_s <= one.event.t < fault.end_s]
        assert not [one for one in of_then if isinstance(one, CarCrossed | CarPitted | ClockReported)]
        assert [one for one in of_then if isinstance(one, TyreReported)] or fault.start_s > 700


def test_a_stop_on_track_lasts_as_long_as_the_truth_says() -> None:
    """No loop of that car is passed between."""
    evidence = rehearsed(stops_per_hour=8)
    stops = [fault for fault in evidence.outcome.faults if fault.what == "stopped"]
    assert stops
    for fault in stops:
        assert fault.end_s - fault.start_s > 100
        assert not [one for one in evidence.events if isinstance(one.event, CarCrossed) and one.event.car == fault.car
                    and fault.start_s < one.event.t < fault.end_s]  # fmt: skip


def test_a_short_fill_is_real_and_is_entered_at_the_desk() -> None:
    """Half of what the run needs beyond the reserve is in the car, and the command says the same."""
    evidence = rehearsed(short_fills=1)
    fills = [fault for fault in evidence.outcome.faults if fault.what == "fuel_short"]
    entered = [one.event for one in evidence.events if isinstance(one.event, CommandGiven)
               and one.event.command == "set_fuel"]  # fmt: skip
    assert fills
    assert len(fills) == len(entered)
    for fault in fills:
        laps = evidence.outcome.cars[fault.car or ""].laps
        first = next(lap for lap in laps if lap.run == fault.detail and lap.start_s >= fault.start_s)
        assert first.fuel_kg in {command.fuel_kg for command in entered if command.car == fault.car}
        assert (first.fuel_kg or 0) < 16 / 2 + 2


def test_one_seed_is_one_day() -> None:
    """The same faults again with the same seed, others with another."""
    every = {"tyres_every_s": 5, "tyre_hot_per_hour": 8, "stops_per_hour": 3, "silences_per_hour": 4}
    first = rehearsed(3, **every).outcome.faults
    assert rehearsed(3, **every).outcome.faults == first
    assert rehearsed(4, **every).outcome.faults != first
