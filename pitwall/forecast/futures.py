"""Does the plan still fit: simulated futures of what is left of the session.

``forecast`` draws every duration of every activity N times (``pert``), one calendar of interruptions and session ends
for all cars (``interruptions``), walks each car through them (``walk``) and counts.

When does a run fit? By its decisive activity:

* with timed laps: the last timed lap it needs (all of them, or ``minimum_laps`` of those still to do) has *begun*
  before the session's end when a started lap may be finished, else *ended* by it;
* with items only: the last item has ended by it;
* with an out-lap only (an installation lap): it has left before the end;
* with nothing but an in-lap left, or allowed after the flag: it fits.

End times are those of the plan as written, also beyond the flag: how far it overshoots is what the engineer asks.
Spare time is the least margin of the musts (of all runs when nothing is a must): session end less decisive moment.

What is drawn for a run does not depend on the other runs (``draws``): two forecasts with the same seed may be compared.
Where cars share a crew they are walked together (``sharing``).
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from pitwall.forecast.draws import draw_chain, stream
from pitwall.forecast.interruptions import Calendar, Slot, draw_calendar
from pitwall.forecast.pert import Floats
from pitwall.forecast.release import Decisive, latest_release
from pitwall.forecast.sharing import walk_together
from pitwall.forecast.walk import ON_TRACK, Chain, Path
from pitwall.model.outputs import (
    Activity,
    CarOutlook,
    CarSnapshot,
    ForecastAnswer,
    ForecastSnapshot,
    ForecastWanted,
    RunOutlook,
)

CALENDAR_STREAM = 0
DAY_S = 86_400.0


def forecast(wanted: ForecastWanted) -> ForecastAnswer:
    """Answer one question to the forecaster. Pure: the same question gives the same answer, to the last bit.

    Args:
        wanted: The seed and the snapshot; the snapshot holds all that matters.

    Returns:
        Per car and run the chance that it fits, quantiles of its end and its latest release time.
    """
    futures = simulate(wanted)
    return ForecastAnswer(
        cars=tuple(_outlook(car, futures) for car in futures.cars), futures=futures.count, seed=wanted.seed
    )


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


def simulate(wanted: ForecastWanted) -> Futures:
    """Draw and walk the futures of all cars together."""
    snapshot, seed = wanted.snapshot, wanted.seed
    calendar = draw_calendar(stream(seed, CALENDAR_STREAM), snapshot)
    count = calendar.session_end.shape[0]
    chains = [draw_chain(car, count, seed) for car in snapshot.cars]
    groups = [groups_of(car, snapshot) for car in snapshot.cars]
    slots = [_slots(chain, own) if snapshot.windows else {} for chain, own in zip(chains, groups, strict=True)]
    begins = [np.full(count, begins_at(car, snapshot)) for car in snapshot.cars]
    paths = walk_together(chains, begins, calendar, slots, snapshot.finish_started_lap)
    made = zip(snapshot.cars, chains, groups, paths, strict=True)
    return Futures(snapshot, calendar, tuple(CarFutures(*one) for one in made))


def begins_at(car: CarSnapshot, snapshot: ForecastSnapshot) -> float:
    """From when the car goes on with its plan, session seconds: nobody leaves before the green light."""
    return max(car.from_s, 0.0) if snapshot.status == "waiting" else car.from_s


def groups_of(car: CarSnapshot, snapshot: ForecastSnapshot) -> tuple[Group, ...]:
    """The car's runs in order."""
    names = dict.fromkeys(activity.run for activity in car.activities if activity.run is not None)
    return tuple(group for group in (Group.of(car, name, snapshot) for name in names) if group.members)


def fits(group: Group, path: Path, calendar: Calendar) -> tuple[Floats, NDArray[np.bool_]]:
    """Seconds in hand of a run in each future, and whether it fits there, shape (N,) each."""
    margin = _margin(group.decisive, path, calendar, group.allowed)
    by_start = group.decisive is not None and group.decisive.by == "start"
    return margin, margin > 0 if by_start else margin >= 0


def _outlook(own: CarFutures, futures: Futures) -> CarOutlook:
    car, chain, path, calendar, snapshot = own.car, own.chain, own.path, futures.calendar, futures.snapshot
    runs, margins = [], {}
    musts = np.ones(futures.count, dtype=np.bool_)
    for group in own.groups:
        margin, ok = fits(group, path, calendar)
        want = car.wants.get(group.run, "should")
        margins[group.run] = margin
        if want == "must":
            musts &= ok
        low, middle, high = np.quantile(path.ends[group.members[-1]], (0.1, 0.5, 0.9))
        runs.append(
            RunOutlook(
                run=group.run, want=want, chance=float(ok.mean()), end_q10_s=_rounded(low), end_q50_s=_rounded(middle),
                end_q90_s=_rounded(high), last_release_s=_release(chain, group, calendar, snapshot),
            )
        )
    spare = _spare(car, margins, snapshot, calendar)
    return CarOutlook(car=car.car, musts_chance=float(musts.mean()), runs=tuple(runs), spare_q50_s=spare)


@dataclass(frozen=True)
class Group:
    """One run: its laps and items by their indices, which of them decides, and in which windows it may be done."""

    run: str
    members: list[int]
    decisive: Decisive | None
    allowed: tuple[int, ...]

    @classmethod
    def of(cls, car: CarSnapshot, run: str, snapshot: ForecastSnapshot) -> Group:
        """The group of that run."""
        members = [i for i, activity in enumerate(car.activities) if activity.run == run and _is_running(activity)]
        decisive = find_decisive(car, run, members, snapshot.finish_started_lap)
        bound = car.windows.get(run)
        allowed = tuple(range(len(snapshot.windows))) if bound is None else (bound,) if bound >= 0 else ()
        return cls(run, members, decisive, allowed)


def _slots(chain: Chain, groups: tuple[Group, ...]) -> dict[int, Slot]:
    """By the first activity of each run that has not begun: what the run asks of a window."""
    found: dict[int, Slot] = {}
    for group in groups:
        decisive, first = group.decisive, group.members[0] if group.members else 0
        if decisive is None or not group.allowed or (first == 0 and chain.under_way):
            continue
        upto = decisive.index if decisive.by == "start" else decisive.index + 1
        found[first] = Slot(chain.durations[first:upto].sum(axis=0), group.allowed)
    return found


def _is_running(activity: Activity) -> bool:
    return activity.kind in ON_TRACK or activity.kind == "item"


def find_decisive(car: CarSnapshot, run: str, members: list[int], finish_started_lap: bool) -> Decisive | None:
    """The activity that decides whether the run fits, by its index in the car's; None when nothing can stop the run.

    Args:
        car: The car's snapshot.
        run: The run.
        members: Indices of the run's laps and items, in order.
        finish_started_lap: A timed lap begun before the end counts.
    """
    if run in car.after_flag:
        return None
    timed = [i for i in members if car.activities[i].kind == "timed"]
    needed = min(car.minimum_laps.get(run, len(timed)), len(timed))
    if needed > 0:
        return Decisive(timed[needed - 1], "start" if finish_started_lap else "end")
    if timed:
        return None  # its minimum is done already
    items = [i for i in members if car.activities[i].kind == "item"]
    if items:
        return Decisive(items[-1], "end")
    outs = [i for i in members if car.activities[i].kind == "out"]
    return Decisive(outs[0], "start") if outs else None


def _margin(decisive: Decisive | None, path: Path, calendar: Calendar, allowed: tuple[int, ...]) -> Floats:
    """Seconds in hand in each future, shape (N,): infinite when nothing can stop the run, minus that once closed."""
    if decisive is None:
        return np.where(np.isneginf(calendar.session_end), -np.inf, np.inf)
    moment = decisive.moment(path.starts, path.ends)
    if calendar.windows:
        in_hand = calendar.flag_after(moment, allowed) - moment if allowed else np.full(moment.shape, -DAY_S)
        return in_hand
    margin: Floats = calendar.session_end - moment
    return np.where(np.isneginf(calendar.session_end), -np.inf, margin)


def _release(chain: Chain, group: Group, calendar: Calendar, snapshot: ForecastSnapshot) -> float | None:
    members, decisive = group.members, group.decisive
    first = members[0]
    if decisive is None or (first == 0 and chain.under_way) or chain.activities[first].kind not in ("out", "item"):
        return None
    if snapshot.status in ("finished", "closed") or (snapshot.windows and not group.allowed):
        return None
    own = chain.part(first, members[-1] + 1)
    now = max(snapshot.t, 0.0) if snapshot.status == "waiting" else snapshot.t
    if snapshot.windows:
        calendar, now = calendar.only(group.allowed), max(now, snapshot.windows[group.allowed[0]][0])
    latest = latest_release(own, Decisive(decisive.index - first, decisive.by), calendar, snapshot.confidence, now)
    return None if latest is None else _rounded(latest)


def _spare(car: CarSnapshot, margins: dict[str, Floats], snapshot: ForecastSnapshot, calendar: Calendar) -> float:
    """Median over the futures of the least margin, seconds; the time left when no run has a margin."""
    left = calendar.session_end - max(car.from_s, snapshot.t)
    for (_, flag), (green, _) in pairwise(snapshot.windows):
        left = left - max(0.0, green - flag)
    left = np.where(np.isneginf(left), 0.0, np.maximum(left, 0.0))
    chosen = [m for run, m in margins.items() if car.wants.get(run, "should") == "must"] or list(margins.values())
    least = left if not chosen else np.minimum.reduce(chosen)
    least = np.where(np.isposinf(least), left, least)
    # A closed session has no margin to speak of: the figure stays finite for the wire.
    return _rounded(float(np.median(np.where(np.isneginf(least), -DAY_S, least))))


def _rounded(seconds: float) -> float:
    return round(float(seconds), 3)
