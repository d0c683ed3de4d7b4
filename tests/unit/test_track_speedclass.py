"""Slow, medium and fast corners, by the slowest point of each turn."""

from __future__ import annotations

import math

import pytest

from pitwall.track.lapmap import lap_map
from pitwall.track.speedclass import speed_class, speed_classes
from tests.unit.engine_stage import round_map, shipped


@pytest.mark.parametrize(
    ("kph", "name"), [(60, "slow"), (115, "slow"), (125, "medium"), (175, "medium"), (185, "fast")]
)
def test_the_class_follows_the_lowest_speed(kph: float, name: str) -> None:
    """Slow below 120 km/h, fast from 180 km/h on (common practice, no source)."""
    assert speed_class(kph / 3.6) == name


def test_turns_of_a_measured_circuit_have_a_class() -> None:
    """Each turn of the demo circuit; a turn is never faster than its tightest radius allows: the order of radii is the
    order of classes, as far as downforce and banking leave it."""
    prepared = shipped()
    lap = lap_map(prepared.circuit, prepared.cars["41"], prepared.calls)
    found = speed_classes(lap, prepared.circuit.turns)
    assert sorted(found) == list(prepared.circuit.turns)
    assert {"slow", "fast"} <= set(found.values())
    tightest = {turn: min(one.radius_m or math.inf for one in prepared.circuit.segments if one.turn == turn)
                for turn in prepared.circuit.turns}  # fmt: skip
    slow = max(tightest[turn] for turn, name in found.items() if name == "slow")
    fast = min(tightest[turn] for turn, name in found.items() if name == "fast")
    assert slow < fast


def test_without_geometry_nobody_knows() -> None:
    """A timing-only circuit has places and no speeds."""
    assert round_map().timing_only
    assert speed_classes(round_map(), (1,)) == {}
