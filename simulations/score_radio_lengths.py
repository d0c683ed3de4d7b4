"""How well the spoken length that a prompt tells was met, before the engineer's rate is learned and after it.

The engineer of the world speaks at a rate of its own (``words_per_minute`` of the scenario), and no two calls alike.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from statistics import median
from typing import Any

from pitwall.app.wiring import Evidence

FIRST = 8  # calls of a car's day until the rate is about known
LONG_S = 1.2  # a shorter call says little about a rate


def shares_of(evidence: Evidence) -> list[list[float]]:
    """For each car: real length over told length of every call on the channel, in order."""
    found = []
    for truth in evidence.outcome.cars.values():
        told = {prompt.id: prompt.spoken_s for prompts in evidence.recorder.calls.values() for prompt in prompts}
        found.append([(said.end_s - said.start_s) / told[said.prompt] for said in truth.calls
                      if told.get(said.prompt, 0.0) >= LONG_S])
    return found


def lengths(days: Iterable[Sequence[Sequence[float]]]) -> dict[str, Any]:
    """Median of real over told length, and of how far that is from one, of the first calls and of the later ones."""
    cars = [car for day in days for car in day]
    parts = {"first": [one for car in cars for one in car[:FIRST]],
             "later": [one for car in cars for one in car[FIRST:]]}
    return {name: {"calls": len(found), "real_over_told": round(median(found), 3),
                   "off_by": round(median(abs(one - 1.0) for one in found), 3)} if found else {"calls": 0}
            for name, found in parts.items()}
