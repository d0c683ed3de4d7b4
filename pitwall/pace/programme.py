"""Whether a car's next run is for one quick lap or for many: what teams do, corrected by what these teams do.

A quick run has a timed lap or two with little fuel; a long run has lap after lap with more of it, some per cent slower.
When a car comes in nobody says which one is next. Common practice, no source: quick runs come first, and long ones
once the softer tyre was tried and half of the session is over; a long run is followed by another; when little time is
left, who comes out again does so in another part of the session, for a quick lap. The first chances are invented from
that; how far the log odds are off today is learned from all cars, on a grid (exact Bayesian updating).
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from pitwall.pace.weighing import Array

QUICK_RUN, LONG_RUN = 0, 1
BEGUN, TRIED_BOTH, LATE, LATE_TRIED_BOTH = -2.2, 1.2, 1.0, 3.0
"""Log odds of a long run after a quick one: at first; with two compounds tried; late; late with two compounds tried."""
AFTER_LONG, NO_TIME_LEFT, IN_THE_WET = 1.4, -3.0, -6.0
LATE_FROM, LATE_OVER, LEAST_LEFT_S = 0.35, 0.3, 1000.0
UNKNOWN_SHARE = 0.4
OFF, OFF_DEVIATION, FADES = np.linspace(-4.0, 4.0, 17), 1.3, 0.97
_PRIOR = -0.5 * (OFF / OFF_DEVIATION) ** 2


def log_odds(last_mode: int, compounds_tried: int, wet: bool, t: float, end_s: float) -> float:
    """Log odds that the next run is a long one, by common practice alone.

    Args:
        last_mode: what the run that just ended was.
        compounds_tried: how many compounds the car had on its quick runs.
        wet: it was on tyres for a wet track: pace there says nothing of fuel, and all runs are taken for one kind.
        t: second of the session at which it came in.
        end_s: when the session ends; infinity where that is not known.
    """
    if wet:
        return IN_THE_WET
    if last_mode == LONG_RUN:
        return AFTER_LONG
    share = t / end_s if 0.0 < end_s < float("inf") else UNKNOWN_SHARE
    late = min(max((share - LATE_FROM) / LATE_OVER, 0.0), 1.0)
    odds = BEGUN + (TRIED_BOTH + LATE_TRIED_BOTH * late if compounds_tried >= 2 else LATE * late)
    return odds + (NO_TIME_LEFT if end_s - t < LEAST_LEFT_S else 0.0)


@dataclass
class Programme:
    """How far common practice is off in this session: log weights on the grid ``OFF``, by the mode before."""

    _seen: dict[int, Array] = field(default_factory=dict)

    def long_run(self, last_mode: int, odds: float) -> float:
        """Probability that the next run is a long one, with what the session taught."""
        weights = np.exp(_PRIOR + self._seen.get(last_mode, 0.0))
        return float(weights @ _chance(odds + OFF) / weights.sum())

    def learn(self, last_mode: int, odds: float, mode: int) -> None:
        """Take what a run turned out to be; older ones count less and less."""
        chance = _chance(odds + OFF)
        said = np.log(chance if mode == LONG_RUN else 1.0 - chance)
        seen = FADES * (self._seen.get(last_mode, 0.0) + said)
        self._seen[last_mode] = seen - seen.max()


def _chance(odds: Array) -> Array:
    made: Array = 1.0 / (1.0 + np.exp(-odds))
    return made
