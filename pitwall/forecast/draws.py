"""What every activity of a car takes in each future, drawn so that alternatives may be compared.

Each kind of activity of each run draws from a stream of its own, keyed by car, run and kind, one lap after the other.
So dropping, shortening or reordering runs, or a longer work, changes none of the durations drawn for the rest: two
plans with the same seed meet the same luck.

Timed laps of a run are off together (fuel, driver, track: the run's level) and each on its own; some are spoilt by a
mistake. How much of each comes with the question (``RunPace``), as the lap-time model knows it at that moment.
"""

from __future__ import annotations

import zlib
from dataclasses import replace

import numpy as np

from pitwall.forecast.chain import ON_TRACK, Chain
from pitwall.forecast.pert import Z90, Floats, normal, sample, sample_tenths, tenths_at
from pitwall.model.outlook import Activity, CarSnapshot, RunPace

OUT_OF_TIMED = (1.07, 1.25, 1.41)
"""Out-lap over good lap, 10, 50 and 90 percent of recorded practice sessions: for a car with no out-lap to go by."""

EVEN = RunPace(level=0.0, lap=0.0)


def stream(seed: int, *key: int) -> np.random.Generator:
    """A stream of random numbers for this key; the same seed and key give the same numbers."""
    # SeedSequence wants whole numbers from zero: a negative seed is folded over.
    return np.random.Generator(np.random.PCG64(np.random.SeedSequence([seed % (1 << 64), *key])))


def named(seed: int, *names: str) -> np.random.Generator:
    """The same for a key of names."""
    # Not hash(): that differs from one process to the next.
    return stream(seed, 1 + zlib.crc32("/".join(names).encode()))


def draw_chain(car: CarSnapshot, count: int, seed: int) -> Chain:
    """Draw ``count`` durations for each activity of one car."""
    durations = draw_durations(car, count, seed)
    under_way = car.on_track and bool(car.activities) and car.activities[0].kind in ON_TRACK
    again = durations
    if under_way and (whole := _whole_lap(car)) is not None:
        again = durations.copy()
        again[0] = np.maximum(durations[whole], durations[0])
    out_again = _out_laps(car, durations, seed, under_way)
    return Chain(car.activities, durations, again, out_again, under_way, ends_run=ends_run(car))


def ends_run(car: CarSnapshot) -> tuple[float | None, ...]:
    """Per activity: None where a lap that a red flag cuts is driven again, else its run is over (``Chain.ends_run``).

    It is over when all timed laps that count are done before that lap; an installation lap counts as it is. What the
    garage does on a car that was sent back is told from the line in the lane, and the stop after a run from the garage:
    the difference of the two is the way between them.
    """
    found: list[float | None] = [None] * len(car.activities)
    for run in {one.run for one in car.activities if one.run is not None}:
        members = [index for index, one in enumerate(car.activities) if one.run == run]
        kinds = [car.activities[index].kind for index in members]
        if "item" in kinds:
            continue
        needed, done = min(car.minimum_laps.get(run, kinds.count("timed")), kinds.count("timed")), 0
        following = car.activities[members[-1] + 1 : members[-1] + 2]
        way = 0.0
        if run in car.cut_work and following and following[0].kind == "garage":
            way = max(car.cut_work[run].likely_s - following[0].likely_s, 0.0)
        for index, kind in zip(members, kinds, strict=True):
            if kind in ON_TRACK and kind != "in" and done >= needed:
                found[index] = way
            done += kind == "timed"
    return tuple(found)


def with_stops(chain: Chain, car: CarSnapshot, seed: int) -> Chain:
    """The same chain, with what the garage does on a car that a red flag sends back, where the question tells that."""
    count = chain.durations.shape[1]
    drawn: dict[str, Floats] = {}
    for run, work in car.cut_work.items():
        stop = _drawn(named(seed, car.car, run, "/cut"), work, count)
        drawn[run] = np.maximum(stop, work.not_under_s)
    if not drawn:
        return chain
    at_once = np.zeros(count)
    return replace(chain, stops=tuple(drawn.get(activity.run or "", at_once) for activity in chain.activities))


def draw_durations(car: CarSnapshot, count: int, seed: int) -> Floats:
    """Seconds that each of A activities takes in each of N futures, shape (A, N)."""
    durations = np.empty((len(car.activities), count))
    streams: dict[tuple[str, str], np.random.Generator] = {}
    levels: dict[str, Floats] = {}
    last = ""
    for index, activity in enumerate(car.activities):
        # Work that names no run belongs to the one it follows.
        last = activity.run or last
        rng = streams.get((last, activity.kind))
        if rng is None:
            rng = streams[last, activity.kind] = named(seed, car.car, last, activity.kind)
        if activity.points == "pace":
            if last not in levels:
                levels[last] = _level(named(seed, car.car, last, "level"), car.pace.get(last, EVEN), count)
            durations[index] = _timed(rng, activity.likely_s * levels[last], car.pace.get(last, EVEN), count)
        elif index == 0 and car.on_track and activity.points == "tenths":
            durations[index] = _rest_of_lap(rng, activity, count)
        else:
            durations[index] = _drawn(rng, activity, count)
    return durations


def _rest_of_lap(rng: np.random.Generator, activity: Activity, count: int) -> Floats:
    """What is left of the lap under way: off by seconds, and by no share of them, however little it is."""
    z = normal(rng.random(count))
    low, high = activity.likely_s - activity.low_s, activity.high_s - activity.likely_s
    rest: Floats = np.maximum(activity.likely_s + z * np.where(z < 0, low, high) / Z90, 0.0)
    return rest


def _drawn(rng: np.random.Generator, activity: Activity, count: int) -> Floats:
    # Estimates are scaled and clipped on their way here: a likely value a rounding error outside is no news.
    low, high = min(activity.low_s, activity.high_s), max(activity.low_s, activity.high_s)
    likely = min(max(activity.likely_s, low), high)
    if activity.points == "tenths":
        return sample_tenths(rng, low, likely, high, count)
    if activity.lasted_s > 0.0:
        return sample(rng, low, likely, high, count, activity.lasted_s) - activity.lasted_s
    return sample(rng, low, likely, high, count)


def _level(rng: np.random.Generator, pace: RunPace, count: int) -> Floats:
    """By which factor all timed laps of the run are off, shape (N,)."""
    level: Floats = np.exp(pace.level * normal(rng.random(count)))
    return level


def _timed(rng: np.random.Generator, usual: Floats, pace: RunPace, count: int) -> Floats:
    """One timed lap: about what is usual in each future, and now and then spoilt. Two numbers a future, always."""
    lap = normal(rng.random(count))
    even = rng.random(count)
    lap *= pace.lap
    lap += 1.0
    spoilt = (even < pace.mistake_chance).nonzero()[0]
    if spoilt.size:
        lap[spoilt] += tenths_at(even[spoilt] / pace.mistake_chance, *pace.mistake)
    lap *= usual
    return lap


def _whole_lap(car: CarSnapshot) -> int | None:
    """A later activity of the kind that is under way: how long that lap takes from its beginning."""
    kind = car.activities[0].kind
    return next((i for i, activity in enumerate(car.activities) if i > 0 and activity.kind == kind), None)


def _out_laps(car: CarSnapshot, durations: Floats, seed: int, under_way: bool) -> tuple[Floats, ...]:
    """Per activity the out-lap it needs after a red flag: its own run's, else the car's next, else a typical one."""
    outs = {
        activity.run: i
        for i, activity in reversed(list(enumerate(car.activities)))
        if activity.kind == "out" and not (under_way and i == 0)
    }
    fallback = durations[min(outs.values())] if outs else _typical_out(car, durations.shape[1], seed)
    # One array a run, not one a lap: whoever finds the same one twice knows that nothing differs.
    own = {run: durations[index] for run, index in outs.items()}
    return tuple(own.get(activity.run, fallback) for activity in car.activities)


def _typical_out(car: CarSnapshot, count: int, seed: int) -> Floats:
    ratio = sample_tenths(named(seed, car.car, "/out again"), *OUT_OF_TIMED, count)
    laps = [activity.likely_s for activity in car.activities if activity.kind in ON_TRACK]
    whole: Floats = ratio * (max(laps) if laps else 0.0)
    return whole
