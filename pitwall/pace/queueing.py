"""Cars on their out-laps one behind the other: who follows reaches the line after the one ahead, with a gap.

Before a timed lap every driver lets the car ahead draw away, and on an out-lap hardly anybody overtakes; so in a queue
each out-lap takes longer than the one before it. Left alone the gap would stay what it was at the place passed last;
drivers want ``CLEAR_S`` to the car ahead at the line. What it becomes is taken to lie half-way between the two.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from pitwall.pace.weighing import Array

CLEAR_S = 7.0
"""A gap of 6 to 8 s at the line is enough at equal pace (common practice, no source)."""
FOLLOWS_S = 20.0
"""Farther back nobody is held up."""
STALE_S = 300.0


class OnOutLap(NamedTuple):
    """A car on its out-lap. Seconds of the session.

    ``passed``: when it passed each knot, as far as it is; ``line``: quantiles of when it reaches the line.
    """

    passed: tuple[float, ...]
    line: Array


@dataclass
class OutLapQueue:
    """The out-laps that are under way, by car."""

    _cars: dict[str, OnOutLap] = field(default_factory=dict)

    def behind(self, car: str, knot: int, t: float) -> Array | None:
        """Quantiles of when this car reaches the line, as it follows another; None where it follows none.

        Args:
            car: which.
            knot: the loop passed last; 0 for the pit exit.
            t: when.
        """
        ahead: tuple[float, str, OnOutLap] | None = None
        for name, other in self._cars.items():
            if name != car and len(other.passed) > knot and t - FOLLOWS_S <= other.passed[knot] <= t:
                here = other.passed[knot], name, other
                ahead = here if ahead is None or here[:2] > ahead[:2] else ahead
        if ahead is None:
            return None
        gap = t - ahead[0]
        behind: Array = ahead[2].line + 0.5 * (gap + CLEAR_S)
        return behind

    def passes(self, car: str, passed: Sequence[float], line: Array) -> None:
        """Take where a car is on its out-lap; who left long ago and was not seen again is forgotten."""
        self._cars = {name: other for name, other in self._cars.items() if passed[0] - other.passed[-1] < STALE_S}
        self._cars[car] = OnOutLap(tuple(passed), line)

    def over(self, car: str) -> None:
        """Its out-lap is over."""
        self._cars.pop(car, None)
