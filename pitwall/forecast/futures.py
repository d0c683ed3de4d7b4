"""Does the plan still fit: simulated futures of what is left of the session.

``forecast`` draws every duration of every activity N times (``draws``), one calendar of interruptions and session ends
for all cars (``interruptions``), walks the cars through them together (``sharing``, ``walk``), and counts (``answers``;
when a run fits is told in ``runs``).

End times are those of the plan as written, also beyond the flag: how far it overshoots is what the engineer asks.
What is drawn for a run does not depend on the other runs: two forecasts with the same seed may be compared.
"""

from __future__ import annotations

import numpy as np

from pitwall.forecast.answers import CarFutures, Futures, outlook_of
from pitwall.forecast.draws import draw_chain, stream, with_stops
from pitwall.forecast.interruptions import draw_calendar
from pitwall.forecast.problems import problem_of
from pitwall.forecast.runs import groups_of, slots_of
from pitwall.forecast.sharing import walk_together
from pitwall.model.outlook import CarSnapshot, ForecastAnswer, ForecastSnapshot
from pitwall.model.outputs import ForecastWanted

__all__ = ["CarFutures", "Futures", "draw_chain", "forecast", "simulate"]

CALENDAR_STREAM = 0


def forecast(wanted: ForecastWanted) -> ForecastAnswer:
    """Answer one question to the forecaster. Pure: the same question gives the same answer, to the last bit.

    Args:
        wanted: The seed and the snapshot; the snapshot holds all that matters.

    Returns:
        Per car and run the chance that it fits, quantiles of its end and its latest release time.
    """
    problem = problem_of(wanted.snapshot)
    if problem is not None:
        return ForecastAnswer(cars=(), futures=max(wanted.snapshot.futures, 1), seed=wanted.seed, problem=problem)
    futures = simulate(wanted)
    return ForecastAnswer(
        cars=tuple(outlook_of(car, futures) for car in futures.cars), futures=futures.count, seed=wanted.seed
    )


def simulate(wanted: ForecastWanted) -> Futures:
    """Draw and walk the futures of all cars together."""
    snapshot, seed = wanted.snapshot, wanted.seed
    calendar = draw_calendar(stream(seed, CALENDAR_STREAM), snapshot)
    count = calendar.session_end.shape[0]
    chains = [with_stops(draw_chain(car, count, seed), car, seed) for car in snapshot.cars]
    groups = [groups_of(car, snapshot) for car in snapshot.cars]
    slots = [slots_of(chain, own) if snapshot.windows else {} for chain, own in zip(chains, groups, strict=True)]
    begins = [np.full(count, begins_at(car, snapshot)) for car in snapshot.cars]
    paths = walk_together(chains, begins, calendar, slots, snapshot.finish_started_lap)
    made = zip(snapshot.cars, chains, groups, paths, strict=True)
    return Futures(snapshot, calendar, tuple(CarFutures(*one) for one in made))


def begins_at(car: CarSnapshot, snapshot: ForecastSnapshot) -> float:
    """From when the car goes on with its plan, session seconds: nobody leaves before the green light."""
    return max(car.from_s, 0.0) if snapshot.status == "waiting" else car.from_s
