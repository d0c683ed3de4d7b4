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

Each run draws from a stream of its own, keyed by car and run. So dropping a run, or adding one, changes nothing in the
durations drawn for the others: two forecasts with the same seed may be compared.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from pitwall.forecast.interruptions import Calendar, Slot, draw_calendar
from pitwall.forecast.pert import Floats, sample
from pitwall.forecast.release import Decisive, latest_release
from pitwall.forecast.walk import ON_TRACK, Chain, Path, walk
from pitwall.model.outputs import (
    Activity,
    CarOutlook,
    CarSnapshot,
    ForecastAnswer,
    ForecastSnapshot,
    ForecastWanted,
    RunOutlook,
)

OUT_OF_TIMED = (1.07, 1.25, 1.41)
"""Out-lap over good lap, 10, 50 and 90 percent of recorded practice sessions: for a car with no out-lap to go by."""

CALENDAR_STREAM = 0
DAY_S = 86_400.0


def forecast(wanted: ForecastWanted) -> ForecastAnswer:
    """Answer one question to the forecaster. Pure: the same question gives the same answer, to the last bit.

    Args:
        wanted: The seed and the snapshot; the snapshot holds all that matters.

    Returns:
        Per car and run the chance that it fits, quantiles of its end and its latest release time.
    """
    snapshot = wanted.snapshot
    calendar = draw_calendar(stream(wanted.seed, CALENDAR_STREAM), snapshot)
    return ForecastAnswer(
        cars=tuple(_outlook(car, snapshot, calendar, wanted.seed) for car in snapshot.cars),
        futures=calendar.session_end.shape[0],
        seed=wanted.seed,
    )


def stream(seed: int, *key: int) -> np.random.Generator:
    """The stream of draws of that key, such as the calendar's or a run's."""
    # SeedSequence wants whole numbers from zero: a negative seed is folded over.
    return np.random.Generator(np.random.PCG64(np.random.SeedSequence([seed % (1 << 64), *key])))


def _key(car: str, name: str) -> int:
    # Not hash(): that differs from one process to the next.
    return 1 + zlib.crc32(f"{car}/{name}".encode())


def _outlook(car: CarSnapshot, snapshot: ForecastSnapshot, calendar: Calendar, seed: int) -> CarOutlook:
    count = calendar.session_end.shape[0]
    chain = draw_chain(car, count, seed)
    begin = np.full(count, max(car.from_s, 0.0) if snapshot.status == "waiting" else car.from_s)
    names = dict.fromkeys(activity.run for activity in car.activities if activity.run is not None)
    groups = [_Group.of(car, name, snapshot) for name in names]
    slots = _slots(chain, groups) if snapshot.windows else {}
    path = walk(chain, begin, calendar, slots=slots, started=snapshot.finish_started_lap)
    runs, margins = [], {}
    musts = np.ones(count, dtype=np.bool_)
    for group in groups:
        run, members, decisive = group.run, group.members, group.decisive
        if not members:
            continue
        margin = _margin(decisive, path, calendar, group.allowed)
        ok = margin > 0 if decisive is not None and decisive.by == "start" else margin >= 0
        want = car.wants.get(run, "should")
        margins[run] = margin
        if want == "must":
            musts &= ok
        low, middle, high = np.quantile(path.ends[members[-1]], (0.1, 0.5, 0.9))
        runs.append(
            RunOutlook(
                run=run, want=want, chance=float(ok.mean()), end_q10_s=_rounded(low), end_q50_s=_rounded(middle),
                end_q90_s=_rounded(high), last_release_s=_release(chain, group, calendar, snapshot),
            )
        )
    spare = _spare(car, margins, snapshot, calendar)
    return CarOutlook(car=car.car, musts_chance=float(musts.mean()), runs=tuple(runs), spare_q50_s=spare)


@dataclass(frozen=True)
class _Group:
    """One run: its laps and items by their indices, which of them decides, and in which windows it may be done."""

    run: str
    members: list[int]
    decisive: Decisive | None
    allowed: tuple[int, ...]

    @classmethod
    def of(cls, car: CarSnapshot, run: str, snapshot: ForecastSnapshot) -> _Group:
        """The group of that run."""
        members = [i for i, activity in enumerate(car.activities) if activity.run == run and _is_running(activity)]
        decisive = find_decisive(car, run, members, snapshot.finish_started_lap)
        bound = car.windows.get(run)
        allowed = tuple(range(len(snapshot.windows))) if bound is None else (bound,) if bound >= 0 else ()
        return cls(run, members, decisive, allowed)


def _slots(chain: Chain, groups: list[_Group]) -> dict[int, Slot]:
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


def draw_chain(car: CarSnapshot, count: int, seed: int) -> Chain:
    """Draw ``count`` durations for each activity of one car."""
    streams: dict[str, np.random.Generator] = {}
    rows = []
    last = ""
    for activity in car.activities:
        # Work that names no run belongs to the one it follows.
        last = activity.run or last
        name = f"{last}/{activity.kind}" if activity.run is None else last
        if name not in streams:
            streams[name] = stream(seed, _key(car.car, name))
        rows.append(sample(streams[name], *_ordered(activity), count))
    under_way = car.on_track and bool(car.activities) and car.activities[0].kind in ON_TRACK
    durations = np.array(rows) if rows else np.empty((0, count))
    again = durations
    if under_way and (whole := _whole_lap(car)) is not None:
        again = durations.copy()
        again[0] = np.maximum(durations[whole], durations[0])
    spare = stream(seed, _key(car.car, "/out again"))
    return Chain(car.activities, durations, again, _out_laps(car, durations, spare, under_way), under_way)


def _ordered(activity: Activity) -> tuple[float, float, float]:
    # Estimates are scaled and clipped on their way here: a likely value a rounding error outside is no news.
    low, high = min(activity.low_s, activity.high_s), max(activity.low_s, activity.high_s)
    return low, min(max(activity.likely_s, low), high), high


def _whole_lap(car: CarSnapshot) -> int | None:
    """A later activity of the kind that is under way: how long that lap takes from its beginning."""
    kind = car.activities[0].kind
    return next((i for i, activity in enumerate(car.activities) if i > 0 and activity.kind == kind), None)


def _out_laps(car: CarSnapshot, durations: Floats, rng: np.random.Generator, under_way: bool) -> tuple[Floats, ...]:
    """Per activity the out-lap it needs after a red flag: its own run's, else the car's next, else a typical one."""
    outs = {
        activity.run: i
        for i, activity in reversed(list(enumerate(car.activities)))
        if activity.kind == "out" and not (under_way and i == 0)
    }
    fallback = durations[min(outs.values())] if outs else _typical_out(car, durations, rng)
    return tuple(durations[outs[activity.run]] if activity.run in outs else fallback for activity in car.activities)


def _typical_out(car: CarSnapshot, durations: Floats, rng: np.random.Generator) -> Floats:
    ratio = sample(rng, *OUT_OF_TIMED, durations.shape[1])
    laps = [activity.likely_s for activity in car.activities if activity.kind in ON_TRACK]
    whole: Floats = ratio * (max(laps) if laps else 0.0)
    return whole


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


def _release(chain: Chain, group: _Group, calendar: Calendar, snapshot: ForecastSnapshot) -> float | None:
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
