"""The runs of a car in the futures: by which moment each is decided, whether it fits, and until when it may leave.

When does a run fit? By its decisive activity:

* with timed laps: the last timed lap it needs (all of them, or ``minimum_laps`` of those still to do) has *begun*
  before the session's end when a started lap may be finished, else *ended* by it;
* with items only: the last item has ended by it;
* with an out-lap only (an installation lap): it has left before the end;
* with nothing but an in-lap left, or allowed after the flag: it fits.

A run that begins after its ``not_after_s`` does not count.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pitwall.forecast.calendar import Calendar, Slot
from pitwall.forecast.chain import ON_TRACK, Chain, Path
from pitwall.forecast.pert import Floats
from pitwall.forecast.release import Decisive, latest_release
from pitwall.model.outlook import Activity, CarSnapshot, ForecastSnapshot

DAY_S = 86_400.0


@dataclass(frozen=True)
class Group:
    """One run: its laps and items by their indices, which of them decides, and in which windows it may be done."""

    run: str
    members: list[int]
    decisive: Decisive | None
    allowed: tuple[int, ...]
    not_after_s: float | None = None

    @classmethod
    def of(cls, car: CarSnapshot, run: str, snapshot: ForecastSnapshot) -> Group:
        """The group of that run."""
        members = [i for i, activity in enumerate(car.activities) if activity.run == run and _is_running(activity)]
        decisive = find_decisive(car, run, members, snapshot.finish_started_lap)
        bound = car.windows.get(run)
        allowed = tuple(range(len(snapshot.windows))) if bound is None else (bound,) if bound >= 0 else ()
        return cls(run, members, decisive, allowed, car.activities[members[0]].not_after_s if members else None)


def groups_of(car: CarSnapshot, snapshot: ForecastSnapshot) -> tuple[Group, ...]:
    """The car's runs in order."""
    names = dict.fromkeys(activity.run for activity in car.activities if activity.run is not None)
    return tuple(group for group in (Group.of(car, name, snapshot) for name in names) if group.members)


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


def fits(group: Group, path: Path, calendar: Calendar) -> tuple[Floats, NDArray[np.bool_]]:
    """Seconds in hand of a run in each future, and whether it fits there, shape (N,) each."""
    margin = _margin(group.decisive, path, calendar, group.allowed)
    if group.not_after_s is not None:
        margin = np.minimum(margin, group.not_after_s - path.starts[group.members[0]])
    by_start = group.decisive is not None and group.decisive.by == "start"
    return margin, margin > 0 if by_start else margin >= 0


def begun_in_time(index: int, group: Group, path: Path, calendar: Calendar) -> NDArray[np.bool_]:
    """Whether this activity begins before the flag, shape (N,)."""
    starts = path.starts[index]
    found: NDArray[np.bool_] = starts < flag_of(starts, group, calendar)
    return found


def ended_in_time(index: int, group: Group, path: Path, calendar: Calendar) -> NDArray[np.bool_]:
    """Whether it is driven, and over by the flag, shape (N,)."""
    starts = path.starts[index]
    found: NDArray[np.bool_] = (path.ends[index] <= flag_of(starts, group, calendar)) & (starts < np.inf)
    return found


def flag_of(moment: Floats, group: Group, calendar: Calendar) -> Floats:
    """The flag that decides about these moments of the run, shape (N,); long ago where its window is over."""
    if not calendar.windows:
        return calendar.session_end
    if not group.allowed:
        return np.full(moment.shape, -np.inf)
    return calendar.flag_after(moment, group.allowed)


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


def slots_of(chain: Chain, groups: tuple[Group, ...]) -> dict[int, Slot]:
    """By the first activity of each run that has not begun: what the run asks of a window."""
    found: dict[int, Slot] = {}
    for group in groups:
        decisive, first = group.decisive, group.members[0] if group.members else 0
        if decisive is None or not group.allowed or (first == 0 and chain.under_way):
            continue
        upto = decisive.index if decisive.by == "start" else decisive.index + 1
        found[first] = Slot(chain.durations[first:upto].sum(axis=0), group.allowed)
    return found


def release_of(
    car: CarSnapshot, chain: Chain, group: Group, calendar: Calendar, snapshot: ForecastSnapshot
) -> float | None:
    """The latest moment at which the run may leave and fit with the wanted confidence; None where there is none."""
    if group.run in car.after_flag and all(car.activities[index].kind == "item" for index in group.members):
        return _on_track_by(group, calendar, snapshot, car.to_track_s)
    members, decisive = group.members, group.decisive
    first = members[0]
    if decisive is None or (first == 0 and chain.under_way) or chain.activities[first].kind not in ("out", "item"):
        return None
    if snapshot.status in ("finished", "closed") or (snapshot.windows and not group.allowed):
        return None
    own = replace(chain.part(first, members[-1] + 1), stops=())
    if decisive.by == "start" and decisive.index == first:
        # An installation lap: once it has begun it counts, so no flag is in its way.
        own = replace(own, durations=np.zeros_like(own.durations), again=np.zeros_like(own.again))
    now = max(snapshot.t, 0.0) if snapshot.status == "waiting" else snapshot.t
    if snapshot.windows:
        calendar, now = calendar.only(group.allowed), max(now, snapshot.windows[group.allowed[0]][0])
    latest = latest_release(own, Decisive(decisive.index - first, decisive.by), calendar, snapshot.confidence, now)
    if latest is None or group.not_after_s is None:
        return latest
    return min(latest, group.not_after_s) if group.not_after_s >= now else None


def _on_track_by(group: Group, calendar: Calendar, snapshot: ForecastSnapshot, to_track_s: float) -> float | None:
    """Items that are done after the flag ask for a car that is on track when it falls: until when it may leave its
    garage for that, with the wanted confidence; None where that is past."""
    if snapshot.status in ("finished", "closed") or (snapshot.windows and not group.allowed):
        return None
    flag: Floats = calendar.windows[group.allowed[-1]][1] if calendar.windows else calendar.session_end
    needed = math.ceil(snapshot.confidence * flag.size - 1e-9)
    latest = float(np.partition(flag, flag.size - needed)[flag.size - needed]) - to_track_s
    return latest if latest >= snapshot.t else None
