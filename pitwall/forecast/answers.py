"""What the futures of one car say: chances, end times, time in hand, laps and items that it still gets.

Times and margins are told at 10, 50 and 90 percent of the futures. A run, a lap or an item for which the rule asks
nothing of the clock has no margin, and none is told.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from pitwall.forecast.calendar import Calendar
from pitwall.forecast.chain import Chain, Path
from pitwall.forecast.coming import in_lap_of, limits_of, next_lap_of
from pitwall.forecast.pert import Floats
from pitwall.forecast.problems import problem_of_car
from pitwall.forecast.resolution import outlook_of_comparison
from pitwall.forecast.runs import DAY_S, Group, begun_in_time, ended_in_time, fits, release_of
from pitwall.forecast.tenths import rounded, tenths
from pitwall.model.outlook import CarOutlook, CarSnapshot, ForecastSnapshot, ItemOutlook, RunOutlook

SURE, EVEN_CHANCE, HARDLY = 0.9, 0.5, 0.1


@dataclass(frozen=True)
class CarFutures:
    """One car in all futures: what it has to do, its runs, and when each activity begins and ends."""

    car: CarSnapshot
    chain: Chain
    groups: tuple[Group, ...]
    path: Path


@dataclass(frozen=True)
class Futures:
    """Everything that was drawn and walked for one question."""

    snapshot: ForecastSnapshot
    calendar: Calendar
    cars: tuple[CarFutures, ...]

    @property
    def count(self) -> int:
        """How many futures."""
        return int(self.calendar.session_end.shape[0])


def outlook_of(own: CarFutures, futures: Futures) -> CarOutlook:
    """One car's future."""
    car, calendar, snapshot = own.car, futures.calendar, futures.snapshot
    runs, margins = [], {}
    musts = np.ones(futures.count, dtype=np.bool_)
    for group in own.groups:
        margin, ok = fits(group, own.path, calendar)
        margins[group.run] = margin
        if car.wants.get(group.run, "should") == "must":
            musts &= ok
        runs.append(_run(own, group, futures, margin, float(ok.mean())))
    low, middle, high = _spare(car, margins, snapshot, calendar)
    return CarOutlook(
        car=car.car, musts_chance=float(musts.mean()), runs=tuple(runs), spare_q10_s=low, spare_q50_s=middle,
        spare_q90_s=high,
        next_lap=next_lap_of(car, own.chain, own.path, calendar, snapshot),
        in_lap=in_lap_of(car, own.groups, runs, own.path, snapshot),
        limits=limits_of(car, own.groups, own.path, calendar),
        comparisons=tuple(outlook_of_comparison(pair) for pair in car.comparisons),
        problem=problem_of_car(car, snapshot),
    )


def _run(own: CarFutures, group: Group, futures: Futures, margin: Floats, chance: float) -> RunOutlook:
    car, path, calendar = own.car, own.path, futures.calendar
    low, middle, high = tenths(path.ends[group.members[-1]])
    latest = release_of(car, own.chain, group, calendar, futures.snapshot)
    spare = tenths(margin) if np.isfinite(margin).all() else (None, None, None)
    laps = [_lap_chance(own, group, index, futures) for index in group.members]
    timed = [one for one, index in zip(laps, group.members, strict=True) if car.activities[index].kind == "timed"]
    # A later lap never fits where an earlier one does not: the laps that are likely enough are the first ones.
    counts = [sum(one >= level for one in timed) for level in (SURE, EVEN_CHANCE, HARDLY)] if timed else [None] * 3
    items = [ItemOutlook(item=item, chance=one) for one, index in zip(laps, group.members, strict=True)
             for item in car.activities[index].items]
    return RunOutlook(
        run=group.run, want=car.wants.get(group.run, "should"), chance=chance, end_q10_s=low, end_q50_s=middle,
        end_q90_s=high, last_release_s=None if latest is None else rounded(latest),
        spare_q10_s=spare[0], spare_q50_s=spare[1], spare_q90_s=spare[2],
        timed_q10=counts[0], timed_q50=counts[1], timed_q90=counts[2], items=tuple(items),
    )


def _lap_chance(own: CarFutures, group: Group, index: int, futures: Futures) -> float:
    """In how many of the futures this lap is still driven: begun before the flag, or ended where the rule asks that.

    An in-lap is driven whenever the car has left, unless a red flag ends the run on a lap before it. A block that may
    be done after the flag is done, unless all is over.
    """
    kind, calendar, closed = own.car.activities[index].kind, futures.calendar, futures.snapshot.status == "closed"
    if kind == "item" and group.run in own.car.after_flag:
        return 0.0 if closed else 1.0
    if kind == "in":
        left = own.chain.under_way and group.members[0] == 0
        driven = own.path.starts[index] < np.inf
        return 0.0 if closed else _share(
            driven if left else driven & begun_in_time(group.members[0], group, own.path, calendar))
    whole = kind == "item" or (kind == "timed" and not futures.snapshot.finish_started_lap)
    return _share((ended_in_time if whole else begun_in_time)(index, group, own.path, calendar))


def _share(true: NDArray[np.bool_]) -> float:
    return float(np.count_nonzero(true)) / true.size


def _spare(
    car: CarSnapshot, margins: dict[str, Floats], snapshot: ForecastSnapshot, calendar: Calendar
) -> tuple[float, float, float]:
    """Tenths over the futures of the least margin, seconds; of the time left when no run has a margin."""
    left = calendar.session_end - max(car.from_s, snapshot.t)
    for (_, flag), (green, _) in pairwise(snapshot.windows):
        left = left - max(0.0, green - flag)
    left = np.where(np.isneginf(left), 0.0, np.maximum(left, 0.0))
    chosen = [m for run, m in margins.items() if car.wants.get(run, "should") == "must"] or list(margins.values())
    least = left if not chosen else np.minimum.reduce(chosen)
    least = np.where(np.isposinf(least), left, least)
    # A closed session has no margin to speak of: the figure stays finite for the wire.
    return tenths(np.where(np.isneginf(least), -DAY_S, least))
