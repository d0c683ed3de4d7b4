"""The rehearsed receivers of the team's own cars: how often, how far off, and where they say nothing."""

from __future__ import annotations

from itertools import pairwise

import pytest

from pitwall.model.events import CarPositioned
from pitwall.rehearsal.positions import OFF_M
from tests.unit.rehearsal_stage import CAR, Stage, scenario


def positions(stage: Stage) -> list[CarPositioned]:
    """What the receivers said, in order of time."""
    arrived = stage.clock.now() - 15.0  # the newest may still be on their way
    return sorted((fact for fact in stage.of(CarPositioned) if fact.t < arrived), key=lambda fact: fact.t)


def running(hz: float, until: float = 300.0, seed: int = 1) -> Stage:
    """Car 41 leaves at about 75 s."""
    stage = Stage(scenario(feed={"positions_hz": hz}), seed=seed)
    stage.release(60)
    return stage.run(until=until)


def test_a_car_is_reported_as_often_as_the_scenario_says() -> None:
    """Once a second while it is on track, and never from the garage."""
    stage = running(1.0)
    found = positions(stage)
    (left,) = stage.pits("exit")
    assert {fact.car for fact in found} == {CAR}
    assert all(fact.t >= left for fact in found)
    assert len(found) == pytest.approx(285 - left, abs=3)
    assert {round(after.t - before.t, 3) for before, after in pairwise(found)} == {1.0}


def test_without_receivers_nothing_is_reported() -> None:
    """No rate, no positions."""
    assert positions(running(0.0)) == []


def test_positions_lie_on_the_lap_and_go_forward() -> None:
    """Metres from the line, less than a lap; the car never goes backward by more than the receiver is off."""
    stage = running(1.0)
    length = stage.setup.circuit.length_m
    assert length is not None
    found = [fact.distance_m for fact in positions(stage)]
    assert all(0 <= metres <= length for metres in found)
    steps = [(after - before) % length for before, after in pairwise(found)]
    assert all(-8 * OFF_M < (step if step < length / 2 else step - length) < 120 for step in steps)


def test_equal_seeds_report_equal_positions() -> None:
    """And another seed another error."""
    assert positions(running(1.0, 150)) == positions(running(1.0, 150))
    assert positions(running(1.0, 150)) != positions(running(1.0, 150, seed=2))


def test_a_hold_that_is_driven_shows_in_positions_and_at_the_line() -> None:
    """The speed of the hold is there from the moment to the moment that the truth says; before it the car had another
    pace. The lap costs more time than the same lap without a hold, and no procedure is lost."""
    day = scenario(feed={"positions_hz": 10.0}).model_copy(update={"holds": "driven"})
    stage = Stage(day, seed=3)
    stage.release(60)
    stage.on_line(1, lambda now: stage.prompt("hold", "procedure", now, wait=1, procedure="hold", item="i1",
                                              place="turn 4", act_at_s=now + 35))
    truth = stage.run(until=400).truth
    (done,) = truth.procedures
    assert done.held is not None
    assert done.held.speed_mps == pytest.approx(55, abs=1.5)
    assert 4.0 <= done.held.to_s - done.held.from_s <= 9.0
    found = positions(stage)
    inside = [fact for fact in found if done.held.from_s <= fact.t <= done.held.to_s]
    assert len(inside) >= 35
    assert all(fact.speed_mps == pytest.approx(done.held.speed_mps, abs=1.2) for fact in inside)
    first, last = inside[0], inside[-1]
    assert last.distance_m - first.distance_m == pytest.approx(done.held.speed_mps * (last.t - first.t), abs=6 * OFF_M)
    beside = Stage(scenario(), seed=3)
    beside.release(60)
    quick = beside.run(until=400).truth.laps[1]
    assert truth.laps[1].time_s > quick.time_s + 1.0
