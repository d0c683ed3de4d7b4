"""The demo circuit, car and regulations: they load, hang together and are of a plausible size."""

from __future__ import annotations

import itertools
import math
from pathlib import Path
from typing import Any, get_args

import pytest
import yaml

from pitwall.model.car import Car, SwitchKind
from pitwall.model.circuit import Circuit
from pitwall.model.rules import Regulations
from pitwall.model.setup import CallTiming
from pitwall.track.lapmap import lap_map

CONFIG = Path(__file__).parents[2] / "config"


def _read(name: str) -> Any:
    return yaml.safe_load((CONFIG / name).read_text(encoding="utf-8"))


CIRCUIT = Circuit.model_validate(_read("circuit.yaml"))
CAR = Car.model_validate(_read("car.yaml"))
LAP = lap_map(CIRCUIT, CAR, CallTiming())


def test_the_circuit_is_4900_m_with_13_turns() -> None:
    """The segments sum to the length exactly and number their turns from 1 to 13 in lap order."""
    assert CIRCUIT.length_m == 4900.0
    assert [segment.turn for segment in CIRCUIT.segments if segment.turn] == list(range(1, 14))
    assert all((segment.turn is None) == (segment.radius_m is None) == (segment.direction is None)
               for segment in CIRCUIT.segments)


def test_the_circuit_closes() -> None:
    """Driven once round, the heading turns by 360 degrees and the end meets the start within a few metres."""
    x = y = heading = 0.0
    for segment in CIRCUIT.segments:
        turned = 0.0
        if segment.radius_m is not None:
            turned = segment.length_m / segment.radius_m * (1 if segment.direction == "left" else -1)
        chord = segment.length_m if turned == 0 else 2 * segment.length_m / abs(turned) * math.sin(abs(turned) / 2)
        x += chord * math.cos(heading + turned / 2)
        y += chord * math.sin(heading + turned / 2)
        heading += turned
    assert math.degrees(heading) == pytest.approx(-360, abs=2)  # clockwise
    assert math.hypot(x, y) < 5


def test_the_lap_is_of_a_plausible_size() -> None:
    """85 to 95 s, with a top speed and a slowest corner that such cars have (common practice)."""
    assert LAP.profile is not None
    assert 85 < LAP.lap_s < 95
    assert 280 < LAP.profile.v_mps.max() * 3.6 < 330
    assert 70 < LAP.profile.v_mps.min() * 3.6 < 110


def test_pit_entry_and_exit_lie_about_the_line() -> None:
    """The exit joins just after the line, the entry leaves before it, its last chance some 100 m earlier."""
    pit = CIRCUIT.pit
    assert 0 < (pit.exit_m or 0) < 300
    assert (pit.entry_m or 0) - (pit.last_chance_m or 0) == pytest.approx(100)
    assert 15 < (LAP.pit_lane_s(80) or 0) < 25  # common practice


def test_marshal_sectors_cover_the_lap_once() -> None:
    """Every place on the lap lies in exactly one of the fourteen sectors."""
    assert len(CIRCUIT.marshal_sectors) == 14
    assert {len(LAP.marshal_sectors_at(n / 1000)) for n in range(1000)} == {1}


def test_timing_loops_cut_the_lap_in_useful_parts() -> None:
    """Two loops and the line, no sector shorter than a fifth of the lap."""
    phases = [0.0, *(LAP.loops[label] for label in LAP.loop_order[:-1]), 1.0]
    assert LAP.loop_order == ("1", "2", "line")
    assert min(b - a for a, b in itertools.pairwise(phases)) > 0.2


def test_the_driver_can_listen_often_enough() -> None:
    """Between a fifth and two thirds of the lap is calm, in windows of 2 s and more; braking for slow turns is not."""
    assert LAP.listening is not None
    assert 0.2 < sum(end - start for start, end in LAP.listening) < 0.67
    assert LAP.may_listen(LAP.phase_of("line") + 0.01) is True
    for number in (1, 4, 5, 7, 10, 11):
        assert LAP.may_listen(LAP.turn_start(f"turn {number}") - 0.002) is False
        assert LAP.may_listen(LAP.turn_start(f"turn {number}") + 0.002) is False


def test_the_hold_after_turn_4_fits() -> None:
    """The demo plan holds 55 m/s for 5 s after turn 4; after turn 7 the straight is too short."""
    assert LAP.hold_fits("turn 4", 5, 55, 1.5).fits is True
    assert LAP.hold_fits("turn 7", 5, 55, 1.5).fits is False


def test_the_car_has_every_kind_of_switch() -> None:
    """At least fourteen settings, every kind among them, some measured, some owned by the driver's word only."""
    assert len(CAR.switches) >= 14
    assert {switch.kind for switch in CAR.switches} == set(get_args(SwitchKind))
    assert {switch.measured for switch in CAR.switches} == {True, False}


@pytest.mark.parametrize(("name", "kind"), [
    ("brake_bias", "bias"), ("torque_map", "rotary"), ("flap", "toggle"), ("pit_limiter", "toggle"),
    ("engine_mode", "rotary"), ("start_map", "stationary"), ("clutch_bite", "stationary"), ("display_page", "paged"),
])
def test_switches_that_the_procedures_use(name: str, kind: str) -> None:
    """Switches named by the shipped procedures and plans are there and of their kind."""
    switch = CAR.switch(name)
    assert switch is not None
    assert switch.kind == kind


def test_defaults_differ_by_lap_driver_and_weather() -> None:
    """Each of the three conditions changes some position, and a mix of them is settled by the most particular entry."""
    torque, bias = CAR.switch("torque_map"), CAR.switch("brake_bias")
    assert torque is not None
    assert bias is not None
    assert [torque.wanted("timed", "x", False), torque.wanted("cool", "x", False)] == [4, 2]
    assert [torque.wanted("timed", "x", True), torque.wanted("cool", "x", True)] == [6, 2]
    assert any(item.driver for switch in CAR.switches for item in switch.defaults)
    assert bias.wanted("timed", "x", True) < bias.wanted("timed", "x", False)  # type: ignore[operator]  # both numbers


def test_the_other_circuit_is_timing_only() -> None:
    """Alder Heath loads without a car and leaves physics unknown."""
    lap = lap_map(Circuit.model_validate(_read("circuit_timing_only.yaml")), None, CallTiming())
    assert lap.timing_only
    assert lap.listening is None
    assert lap.phase_of("turn 4") == pytest.approx(0.287)


def test_the_regulations_hold_the_sessions() -> None:
    """Two practice hours and one of ninety minutes, each with its opening time."""
    rules = Regulations.model_validate(_read("regulations.yaml"))
    assert {window.session: window.duration_s for window in rules.sessions} == {
        "practice-1": 3600, "practice-2": 3600, "practice-90": 5400,
    }
    assert all(window.opens_at is not None for window in rules.sessions)
    assert rules.red_clock == "runs"


@pytest.mark.parametrize(("changes", "complaint"), [
    ({"forbidden_on_timed": ["brake_bais"]}, "forbidden_on_timed names unknown switches: brake_bais"),
    ({"gears": {1: 30, 2: 25}}, "each gear's top speed must be positive and above that of the gear below"),
    ({"switches": [{"switch": "page", "kind": "paged", "word": "page", "positions": [1, 2], "default": 1}],
      "forbidden_on_timed": []}, "is paged: give its 'home', one of 1, 2"),
    ({"switches": [{"switch": "all", "kind": "preset", "word": "all", "positions": [0, 1], "default": 0,
                    "sets": {"flap": "open"}}], "forbidden_on_timed": []}, "no such switch or position"),
])
def test_car_files_that_contradict_themselves(changes: dict[str, Any], complaint: str) -> None:
    """Unknown switches, gears out of order and paged dials without a home are refused by name."""
    with pytest.raises(ValueError, match=complaint):
        Car.model_validate({**_read("car.yaml"), **changes})
