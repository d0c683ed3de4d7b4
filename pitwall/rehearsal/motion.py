"""What the motion of a car is made of: steady stints, and points ahead at which something happens."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Steady:
    """Steady motion from ``t`` on: seconds a lap, or None where the car is not on a lap. ``phase`` is bent."""

    t: float
    phase: float
    lap_s: float | None
    bend: float = 0.0


@dataclass(order=True)
class Point:
    """A place ahead, and what happens as the car reaches it."""

    phase: float
    order: int
    what: str = field(compare=False)
    name: str = field(compare=False, default="")
    action: Callable[[float], None] | None = field(compare=False, default=None)
