"""What comes next on track: another timed lap or not, how slow the in-lap may be, which limits the plan runs into."""

from __future__ import annotations

import numpy as np

from pitwall.forecast.calendar import Calendar
from pitwall.forecast.chain import Chain, Path
from pitwall.forecast.pert import Floats, normal
from pitwall.forecast.runs import Group, flag_of
from pitwall.forecast.tenths import at_level, rounded, tenths
from pitwall.model.outlook import (
    CarSnapshot,
    ForecastSnapshot,
    InLapLimit,
    Limit,
    LimitOutlook,
    NextLap,
    RunOutlook,
)
from pitwall.model.units import clock_text


def next_lap_of(
    car: CarSnapshot, chain: Chain, path: Path, calendar: Calendar, snapshot: ForecastSnapshot
) -> NextLap | None:
    """Can the car still start a timed lap, and another one after it?

    On track: at the end of the lap that it is on, whatever the plan says of the next one. In the garage: after its
    out-lap, if it leaves once it is ready. None on an in-lap, after the flag, and when nothing is left to drive.
    """
    first = 0 if chain.under_way else next((i for i, one in enumerate(car.activities) if one.kind == "out"), None)
    if first is None or not car.activities or snapshot.status in ("finished", "closed"):
        return None
    if car.activities[first].kind == "in":
        return None
    starts = path.ends[first]
    lap = _timed(car, chain, first)
    counts_from = starts if snapshot.finish_started_lap or lap is None else starts + lap
    flag = flag_of(starts, Group("", [first], None, tuple(range(len(calendar.windows)))), calendar)
    margin = flag - counts_from
    early, middle, late = tenths(starts)
    low, half, high = tenths(margin)
    more = None if lap is None else margin - lap
    return NextLap(
        starts_q10_s=early, starts_q50_s=middle, starts_q90_s=late, margin_q10_s=low, margin_q50_s=half,
        margin_q90_s=high, chance=float((margin > 0).mean()),
        one_more_margin_q50_s=None if more is None else rounded(np.median(more)),
        one_more_chance=None if more is None else float((more > 0).mean()),
    )


def _timed(car: CarSnapshot, chain: Chain, first: int) -> Floats | None:
    """What a timed lap takes in each future, shape (N,): the next one of the plan, else a usual one."""
    planned = next((i for i, one in enumerate(car.activities) if i > first and one.kind == "timed"), None)
    if planned is not None:
        found: Floats = chain.durations[planned]
        return found
    return None if car.lap_s is None else np.full(chain.durations.shape[1], car.lap_s)


def in_lap_of(
    car: CarSnapshot, groups: tuple[Group, ...], runs: list[RunOutlook], path: Path, snapshot: ForecastSnapshot
) -> InLapLimit | None:
    """The slowest in-lap that is permitted, from its beginning to the garage; None in the garage and where nothing
    limits it.

    For the next release the in-lap must end so early that the work is done by then with the wanted confidence.
    """
    index = next((i for i, one in enumerate(car.activities) if one.kind == "in"), None)
    if index is None or not car.on_track or not groups or index not in groups[0].members:
        return None
    begins = path.starts[index] if index else np.full(path.ends.shape[1], _began(car))
    # Where a red flag ends the run the way back takes the in-lap's place: it is none, and no limit holds for it.
    begins = np.where(begins < np.inf, begins, path.ends[index])
    took = path.ends[index] - begins
    limits: list[tuple[float, str]] = []
    if snapshot.slowest_in_lap_s is not None and (index > 0 or car.lap_began_s is not None):
        limits.append((snapshot.slowest_in_lap_s, "regulations"))
    behind = [run for run in runs[1:] if run.run not in car.after_flag]  # for those it may be on this very in-lap
    following = next((run for run in behind if run.last_release_s is not None), None)
    if following is not None and following.last_release_s is not None:
        first = next(group.members[0] for group in groups if group.run == following.run)
        works = [i for i in range(index + 1, first) if car.activities[i].kind == "garage"]
        if first == index + 1 + len(works):
            stop = sum((path.ends[i] - path.starts[i] for i in works), np.zeros(took.size))
            slowest = following.last_release_s - at_level(begins + stop, snapshot.confidence)
            limits.append((slowest, "next release"))
    if not limits:
        return None
    slowest, reason = min(limits)
    chance = float((took <= slowest).mean())
    return InLapLimit.model_validate({"slowest_s": rounded(slowest), "reason": reason, "chance": chance})


def _began(car: CarSnapshot) -> float:
    return car.from_s if car.lap_began_s is None else car.lap_began_s


def limits_of(car: CarSnapshot, groups: tuple[Group, ...], path: Path, calendar: Calendar) -> tuple[LimitOutlook, ...]:
    """When the plan, driven as written, runs into each limit: at the end of the last lap that is allowed."""
    found = []
    for limit in car.limits:
        group = next((group for group in groups if group.run == limit.run), None)
        laps = [] if group is None else [i for i in group.members if car.activities[i].kind != "item"]
        if group is not None and laps:
            found.append(_limit(limit, group, laps, path, calendar))
    return tuple(found)


def _limit(limit: Limit, group: Group, laps: list[int], path: Path, calendar: Calendar) -> LimitOutlook:
    count = path.ends.shape[1]
    # The same evenly spread figures every time: how much more or less a lap uses is not worth a stream of its own.
    factor = 1.0 + limit.spread * normal((np.arange(count) + 0.5) / count) if limit.spread else np.ones(count)
    allowed = np.floor(limit.laps * factor + 1e-9).astype(np.intp)
    # Laps of the run are in order, so the lap after the allowed ones begins where the last allowed one ends.
    place = np.minimum(allowed, len(laps) - 1)
    at = path.starts[np.array(laps)[place], np.arange(count)]
    at = np.where(np.isneginf(at), path.ends[laps[0]], at)
    hit = (allowed < len(laps)) & (at < flag_of(at, group, calendar))
    chance, usual = float(hit.mean()), int(min(limit.laps, len(laps)))
    when: tuple[float, float, float] | tuple[None, None, None] = tenths(at[hit]) if hit.any() else (None, None, None)
    moment = "" if when[1] is None else f" at about {clock_text(when[1])}"
    text = f"{limit.run}: {limit.what}{moment}, after {usual} of the {len(laps)} laps still to do ({chance:.0%})"
    return LimitOutlook(kind=limit.kind, run=limit.run, chance=chance, laps=usual, at_q10_s=when[0], at_q50_s=when[1],
                        at_q90_s=when[2], text=text)
