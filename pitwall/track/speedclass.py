"""Slow, medium and fast corners, by the slowest point of each turn on a reference lap."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from pitwall.model.comments import SpeedClass
from pitwall.track.lapmap import LapMap

SLOW_MPS, FAST_MPS = 33.0, 50.0
"""Below 120 km/h a corner is slow, from 180 km/h on fast (common practice, no source)."""
STEPS = 12


def speed_class(speed_mps: float) -> SpeedClass:
    """The class of a corner with this lowest speed, m/s."""
    return "slow" if speed_mps < SLOW_MPS else "fast" if speed_mps >= FAST_MPS else "medium"


def speed_classes(lap: LapMap, turns: Iterable[int]) -> Mapping[int, SpeedClass]:
    """The class of each turn, as far as geometry tells; none on a timing-only circuit.

    Args:
        lap: of the car.
        turns: numbers of turns that the circuit has.
    """
    found: dict[int, SpeedClass] = {}
    for turn in turns:
        stretch = lap.stretch_of(f"turn {turn}")
        length = (stretch.end - stretch.start) % 1.0
        speeds = [lap.speed_at_phase(stretch.start + length * step / STEPS) for step in range(STEPS + 1)]
        known = [speed for speed in speeds if speed is not None]
        if known:
            found[turn] = speed_class(min(known))
    return found
