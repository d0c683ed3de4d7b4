"""Randomness for the world: one stream per actor, so that one actor's draws never shift another's.

A stream is named, not numbered: adding a car or an actor leaves every other stream as it was.
"""

from __future__ import annotations

from zlib import crc32

import numpy as np

from pitwall.rehearsal.scenario import Spread

Rng = np.random.Generator
TENTH = 1.2815515655446004  # the 90th percentile of the standard normal distribution


class Streams:
    """Generators by name, all from one seed."""

    def __init__(self, seed: int) -> None:
        self.seed = seed

    def stream(self, *names: str) -> Rng:
        """The stream of this actor; the same names give the same stream from its beginning."""
        # crc32, not hash(): hash() of text changes from one Python process to the next.
        key = tuple(crc32(name.encode()) for name in names)
        return np.random.default_rng(np.random.SeedSequence(self.seed, spawn_key=key))


def between(rng: Rng, spread: Spread, low: float = 0.0, high: float = float("inf")) -> float:
    """One draw from two half normal curves that meet the three percentiles; held within ``low`` and ``high``."""
    p10, p50, p90 = spread
    z = float(rng.standard_normal())
    drawn = p50 + z * ((p90 - p50) if z > 0 else (p50 - p10)) / TENTH
    return min(max(drawn, low, p10 * 0.5), high)


def long_tailed(rng: Rng, spread: Spread) -> float:
    """One draw from two half log-normal curves that meet the three percentiles (all must be above zero)."""
    p10, p50, p90 = (float(np.log(max(value, 1e-6))) for value in spread)
    z = float(rng.standard_normal())
    return float(np.exp(p50 + z * ((p90 - p50) if z > 0 else (p50 - p10)) / TENTH))


def happens(rng: Rng, share: float) -> bool:
    """True in this share of cases; always takes exactly one draw."""
    return float(rng.random()) < share


def shifted(rng: Rng, sigma: float, most: float = 2.5) -> float:
    """A factor around one: ``1 + sigma * z`` with z held within ``most``."""
    z = min(max(float(rng.standard_normal()), -most), most)
    return 1.0 + sigma * z


def moments(rng: Rng, per_hour: float, start_s: float, end_s: float) -> list[float]:
    """Random moments at a steady rate in [start_s, end_s)."""
    found: list[float] = []
    if per_hour <= 0:
        return found
    t = start_s + float(rng.exponential(3600.0 / per_hour))
    while t < end_s:
        found.append(t)
        t += float(rng.exponential(3600.0 / per_hour))
    return found

def pick(rng: Rng, choices: list[str]) -> str | None:
    """One of these, or None when there are none; always takes one draw."""
    drawn = float(rng.random())
    return choices[int(drawn * len(choices))] if choices else None
