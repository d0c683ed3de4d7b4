"""What the timed laps of a run will take, as the forecast of the session needs it: all of them at once, and together.

Laps of a run are off together (fuel, driver, set-up, the track by then: the *level*) and each on its own. Both come
from the lap-time model (``lapmodel``): inside a run its later laps, for a run to come the first lap of such a run and
what each lap more costs. Where a car drove no timed lap yet, its usual lap stands in, with a wide level.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from pitwall.pace.lapmodel import FEWEST_LONG
from pitwall.pace.laptimes import CarPace
from pitwall.pace.programme import LONG_RUN, QUICK_RUN
from pitwall.pace.weighing import MIDDLE

UNKNOWN_LEVEL = 0.02
"""Deviation of a car's pace, as a share, before it drove a timed lap (common practice, no source)."""
MOST_LEVEL = 0.03


@dataclass(frozen=True)
class LapsAhead:
    """Likely seconds of each timed lap, and the deviations of all together and of each alone, as shares of a lap."""

    seconds: tuple[float, ...]
    level: float
    lap: float


def of_this_run(pace: CarPace, count: int) -> LapsAhead:
    """The next ``count`` timed laps of the run that is on, from the one after the running lap's beginning."""
    laps, field = pace.belief.laps, pace.field_pace.believing(pace.labels).laps
    if count == 0 or not laps.this_run:
        return of_next_run(pace, count, 0.0)
    first, last = (float(field.lap_ahead(pace.car, laps, ahead)[MIDDLE]) for ahead in (1, count))
    told = tuple(first + (last - first) * lap / max(count - 1, 1) for lap in range(count))
    noise = field.model.noise
    _, whole = field.model.later(pace.car, laps.run, (1.0 + count) / 2.0)
    return LapsAhead(told, min(math.sqrt(max(whole**2 - noise**2, 0.0)), MOST_LEVEL), noise)


def of_next_run(pace: CarPace, count: int, ahead_s: float) -> LapsAhead:
    """``count`` timed laps of a run that leaves about ``ahead_s`` from now; as many as a long run has: a long one's."""
    model = pace.field_pace.believing(pace.labels).laps.model
    if not pace.quick or not model.knows(pace.car):
        return LapsAhead((pace.quick_s(),) * count, UNKNOWN_LEVEL, model.noise)
    mode = LONG_RUN if count >= FEWEST_LONG else QUICK_RUN
    mean, deviation, wear = model.run_to_come(pace.car, mode, ahead_s)
    seconds = tuple(math.exp(mean + wear * lap) for lap in range(count))
    return LapsAhead(seconds, min(deviation, MOST_LEVEL), model.noise)
