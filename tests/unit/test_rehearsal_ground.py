"""The world's own circuit: places in order, a pit lane, and a pace that differs from world to world."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from pitwall.model.circuit import Circuit
from pitwall.model.events import CarCrossed
from pitwall.model.setup import SessionSetup
from pitwall.rehearsal.draws import Streams
from pitwall.rehearsal.ground import Ground, lay_ground
from pitwall.rehearsal.scenario import PaceOfWorld
from tests.unit.rehearsal_stage import CAR, Stage, scenario, setup

SAME = PaceOfWorld(lap=0, grip=0, power=0, pit=0)
SHARES: dict[str, Any] = {
    "circuit": 1, "name": "Shares only", "lap_s": 90,
    "loops": [{"loop": "line"}, {"loop": "a", "at_share": 0.31}, {"loop": "b", "at_share": 0.7}],
    "places": [{"place": "Bridge", "at_share": 0.5}],
    "pit": {"entry_share": 0.95, "exit_share": 0.06, "last_chance_share": 0.93, "lane_s": 22},
    "marshal_sectors": [{"sector": 1, "from_share": 0.9, "to_share": 0.1}],
}  # fmt: skip


def ground(session: SessionSetup, pace: PaceOfWorld = SAME, seed: int = 1) -> Ground:
    """The ground of this session's circuit."""
    return lay_ground(session.circuit, session.cars[CAR], 80, pace, Streams(seed).stream("ground"))


def test_places_lie_in_the_order_of_the_lap() -> None:
    """Loops, turns, pit entry and exit as the file has them; the end of a turn after its beginning."""
    found = ground(setup())
    turns = [found.places[f"turn {number}"] for number in range(1, 14)]
    assert turns == sorted(turns)
    assert 0 < found.exit < turns[0]
    assert turns[-1] < found.last_chance < found.entry < 1
    assert all(found.places[f"after turn {number}"] > found.places[f"turn {number}"] for number in range(1, 14))
    assert [name for name, _ in found.loops] == ["1", "2"]


def test_a_place_is_found_by_its_name() -> None:
    """Case and a leading ``at`` do not matter; an unknown place is None."""
    found = ground(setup())
    assert found.phase_of("Turn 4") == found.phase_of("at turn 4") == found.places["turn 4"]
    assert found.phase_of("after turn 4") > found.places["turn 4"]  # type: ignore[operator]  # a known place
    assert found.phase_of("moon") is None
    assert found.phase_of(None) is None


def test_the_lap_is_of_the_right_size() -> None:
    """4.9 km in 85 to 100 s: a large single-seater on a medium-fast circuit (common practice, no source)."""
    assert 85 < ground(setup()).lap_s < 100


def test_slow_places_take_more_time_than_their_share_of_the_distance() -> None:
    """A hairpin takes a larger share of the time than of the metres; a straight a smaller one."""
    found, session = ground(setup()), setup()
    length = session.circuit.length_m or 1.0
    hairpin = found.places["after turn 4"] - found.places["turn 4"]
    straight = found.places["turn 5"] - found.places["after turn 4"]
    assert hairpin > 1.5 * 76 / length
    assert straight < 651 / length


def test_a_circle_at_its_grip_limit() -> None:
    """On a circle without downforce v^2 / R = grip * g: R 50 m, grip 1 gives 22.1472 m/s and a lap of 14.1850 s.

    Source: closed form, 2 pi R / sqrt(g R) at 9.81 m/s^2.
    """
    circle = Circuit.model_validate({
        "circuit": 1, "name": "circle", "loops": [{"loop": "line"}],
        "segments": [{"length_m": 2 * np.pi * 50, "radius_m": 50}],
        "pit": {"entry_m": 280, "exit_m": 20, "last_chance_m": 270}})
    car = setup().cars[CAR].model_copy(update={"grip": 1.0, "downforce_area_m2": 0.0, "drag_area_m2": 0.0})
    found = lay_ground(circle, car, 80, SAME, Streams(1).stream("ground"))
    assert found.lap_s == pytest.approx(14.1850, abs=0.001)


def test_every_world_has_its_own_pace() -> None:
    """Grip, power and pace differ by seed around the files' figures; with no spread they are the files' own."""
    laps = [ground(setup(), PaceOfWorld(), seed).lap_s for seed in range(40)]
    plain = ground(setup()).lap_s
    assert 0.005 < np.std(laps) / plain < 0.03
    assert np.mean(laps) == pytest.approx(plain, rel=0.01)
    lanes = {round(ground(setup(), PaceOfWorld(), seed).lane_s, 3) for seed in range(10)}
    assert len(lanes) == 10


def test_the_lane_takes_its_length_at_the_limit() -> None:
    """462 m at 80 km/h are 20.79 s; the part before the line is its share of the way from entry to exit."""
    found = ground(setup())
    assert found.lane_s == pytest.approx(462 / (80 / 3.6))
    assert found.line_part == pytest.approx(260 / 440)


def test_a_circuit_without_geometry_uses_its_shares() -> None:
    """Places are the shares given, the lap is the lap given, and a car can drive a session on it."""
    session = setup(circuit=SHARES)
    found = ground(session)
    assert (found.lap_s, found.lane_s, found.places["bridge"]) == (90, 22, 0.5)
    assert found.loops == (("a", 0.31), ("b", 0.7))
    assert found.speeds == {}
    stage = Stage(scenario(), session)
    stage.release(60)
    stage.on_line(3, lambda now: stage.prompt("box", "box", now, wait=1))
    assert [lap.kind for lap in stage.run(until=900).truth.laps] == ["out", "timed", "timed", "in"]
    assert all(fact.speed_mps is None for fact in stage.of(CarCrossed))


def test_a_pit_entry_beyond_the_line_works() -> None:
    """The last place lies before the line and the entry after it: the in-lap goes on over the line into the lane."""
    beyond = SHARES | {"pit": {"entry_share": 0.02, "exit_share": 0.2, "last_chance_share": 0.98, "lane_s": 22}}
    stage = Stage(scenario(), setup(circuit=beyond))
    stage.release(60)
    stage.say_at(100, "box", "box")
    stage.run(until=900)
    assert len(stage.pits("entry")) == 1
    assert stage.truth.laps[-1].kind == "in"
