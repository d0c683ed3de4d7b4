"""Interruptions of the simulated futures, and the end of the session that follows from them.

Theory. Red flags come as a Poisson process in green time (exponential gaps counted from the end of the last one), slow
periods likewise and on their own. Sessions differ in how often they are stopped: the rate is a gamma variable about the
one of the regulations, and what the session has shown so far corrects it (gamma-Poisson, Gelman et al., Bayesian Data
Analysis, 3rd ed., section 2.6). Lengths: see ``lengths``.
An interruption that is under way lasts as long as those of its lengths that are longer than it has lasted already.
Where nobody knows how long that is, it is given a uniform part of a fresh length.
The official clock is known to a second or two: the end falls so much sooner or later, evenly, in each future.
All cars of the team share the calendar of a future: what stops one stops all.

The draws are taken interruption by interruption, so a longer horizon only adds to the calendar: the same seed with
more time left has the same interruptions first. That is what makes the chance of a run monotone in the time left.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from pitwall.forecast.calendar import Calendar, Spans
from pitwall.forecast.lengths import draw_common, draw_lengths, rest_of_length
from pitwall.forecast.pert import Floats
from pitwall.model.outputs import ForecastSnapshot

HAIR_S = 1e-3
"""What falls into a break is put so long before its end, where nobody is on track."""

LONGEST_LAP_S = 600.0
"""How long after the end a lap begun in time may still be under way."""


def _rest(
    rng: np.random.Generator, lengths: Floats, quantiles: tuple[float, float, float], lasted: float | None,
    common: Floats | None,
) -> Floats:
    """How much longer the one under way lasts, shape (N,)."""
    even = rng.random(lengths.shape)
    return lengths * even if lasted is None else rest_of_length(even, quantiles, lasted, common)


def draw_spans(
    rng: np.random.Generator, per_hour: float | Floats, quantiles: tuple[float, float, float], first_from: float,
    until: Floats, *,
    under_way: bool = False,
    lasted: float | None = None,
    clock_stops: bool = False,
    common: Floats | None = None,
) -> tuple[Spans, Floats]:
    """Draw the interruptions of one kind.

    Args:
        rng: Source of the draws.
        per_hour: Mean number in an hour of running; one rate for all futures, or shape (N,).
        quantiles: Length at 10, 50 and 90 percent, seconds.
        first_from: Session second from which they may come.
        until: Shape (N,), when the time runs out if nothing happens.
        under_way: One is in progress at ``first_from``.
        lasted: For how many seconds; None when nobody knows.
        clock_stops: Each one moves the end of the session by its length.
        common: What the lengths of each future have in common, shape (N,); None: nothing.

    Returns:
        The spans, and the end of the session, shape (N,).
    """
    count = until.shape[0]
    end_of_session = until.copy()
    free_from = np.full(count, first_from)
    starts, ends = list[Floats](), list[Floats]()
    while True:
        gaps = rng.standard_exponential(count)
        lengths = draw_lengths(rng, quantiles, count, common)
        if under_way and not starts:
            start, lengths = free_from, _rest(rng, lengths, quantiles, lasted, common)
        elif np.any(per_hour):
            start = free_from + gaps * (3600.0 / per_hour)
        else:
            break
        # Laps begun before the flag are still out there, so what comes shortly after the end counts too.
        happens = start < end_of_session + LONGEST_LAP_S
        if not happens.any():
            break
        end = start + lengths
        if clock_stops:
            end_of_session += np.where(start < end_of_session, lengths, 0.0)
        starts.append(np.where(happens, start, np.inf))
        ends.append(np.where(happens, end, np.inf))
        free_from = np.where(happens, end, np.inf)
    never = np.full(count, np.inf)
    return Spans(np.array([*starts, never]), np.array([*ends, never])), end_of_session


def draw_calendar(rng: np.random.Generator, snapshot: ForecastSnapshot) -> Calendar:
    """Draw what all cars share: interruptions and the end of the session, for ``snapshot.futures`` futures.

    Before the green light the session lasts from second zero; after the flag nothing interrupts any more.
    """
    count = max(snapshot.futures, 1)
    if snapshot.windows:
        return _calendar_in_windows(rng, snapshot, count)
    origin = max(snapshot.t, 0.0) if snapshot.status == "waiting" else snapshot.t
    if snapshot.status in ("finished", "closed"):
        none = Spans(np.full((1, count), np.inf), np.full((1, count), np.inf))
        return Calendar(none, none, np.full(count, -np.inf if snapshot.status == "closed" else snapshot.t))
    rates, lasted = snapshot.interruptions, _lasted(snapshot)
    streams = rng.spawn(4)
    often, slowly = draw_rates(streams[2], snapshot, count)
    red_alike, slow_alike = _alike(streams[3], snapshot, count)
    red, end = draw_spans(
        rng, often, rates.red_length_s, origin, np.full(count, origin + snapshot.remaining_s),
        under_way=snapshot.status == "red", lasted=lasted, clock_stops=snapshot.red_clock == "stops", common=red_alike,
    )
    slow, _ = draw_spans(
        streams[0], slowly, rates.slow_length_s, origin, end,
        under_way=snapshot.status == "slow", lasted=lasted, common=slow_alike,
    )
    return Calendar(_until_left(red, snapshot), slow, end + _clock_error(streams[1], snapshot, count))


def _until_left(red: Spans, snapshot: ForecastSnapshot) -> Spans:
    """Red flags up to the moment at which cars leave again: they must be called and fired up once the exit opens."""
    return Spans(red.starts, red.ends + snapshot.reopening_s)


def draw_rates(
    rng: np.random.Generator, snapshot: ForecastSnapshot, count: int
) -> tuple[float | Floats, float | Floats]:
    """Red flags and slow periods in an hour, for each future where sessions differ in them."""
    rates, spread = snapshot.interruptions, snapshot.rate_spread
    if spread <= 0.0:
        return rates.red_per_hour, rates.slow_per_hour
    seen = ((rates.red_per_hour, snapshot.reds_seen), (rates.slow_per_hour, snapshot.slows_seen))
    red, slow = (
        0.0 if rate <= 0.0 else
        rng.standard_gamma(spread**-2 + number, count) / (spread**-2 / rate + snapshot.seen_s / 3600.0)
        for rate, number in seen
    )
    return red, slow


def _alike(rng: np.random.Generator, snapshot: ForecastSnapshot, count: int) -> tuple[Floats | None, Floats | None]:
    """What red flags, and slow periods, have in common in length, where sessions differ in that."""
    if snapshot.rate_spread <= 0.0:
        return None, None
    rates, lasted = snapshot.interruptions, _lasted(snapshot)
    red, slow = (lasted if snapshot.status == kind else None for kind in ("red", "slow"))
    return (draw_common(rng, rates.red_length_s, snapshot.red_lengths_s, count, red),
            draw_common(rng, rates.slow_length_s, snapshot.slow_lengths_s, count, slow))


def _lasted(snapshot: ForecastSnapshot) -> float | None:
    since = snapshot.status_since_s
    return None if since is None else max(0.0, snapshot.t - since)


def _clock_error(rng: np.random.Generator, snapshot: ForecastSnapshot, count: int) -> Floats:
    """By how much the flag falls sooner or later than the clock says, seconds, shape (N,)."""
    error: Floats = (2.0 * rng.random(count) - 1.0) * snapshot.clock_uncertainty_s
    return error


def _calendar_in_windows(rng: np.random.Generator, snapshot: ForecastSnapshot, count: int) -> Calendar:
    """The same for what is left of a session in windows. Nothing is interrupted in the breaks, and none is the shorter
    for a red flag before it: where the clock stops, the flag of that window comes the later."""
    windows, rates = snapshot.windows, snapshot.interruptions
    origin = max(snapshot.t, windows[0][0])
    until = np.full(count, windows[-1][1])
    streams = rng.spawn(4)
    often, slowly = draw_rates(streams[2], snapshot, count)
    red_alike, slow_alike = _alike(streams[3], snapshot, count)
    red, _ = draw_spans(rng, often, rates.red_length_s, origin, until,
                        under_way=snapshot.status == "red", lasted=_lasted(snapshot), common=red_alike)
    slow, _ = draw_spans(streams[0], slowly, rates.slow_length_s, origin, until,
                         under_way=snapshot.status == "slow", lasted=_lasted(snapshot), common=slow_alike)
    error = _clock_error(streams[1], snapshot, count)
    held = _outside_breaks(_until_left(red, snapshot), windows)
    red, slow = _outside_breaks(red, windows), _outside_breaks(slow, windows)
    ends = []
    for begin, end in windows:
        stopped = np.where((red.starts >= min(begin, origin)) & (red.starts < end), red.lengths, 0.0).sum(axis=0)
        ends.append(end + error + stopped if snapshot.red_clock == "stops" else end + error)
    return Calendar(held, slow, ends[-1], tuple((begin, end) for (begin, _), end in zip(windows, ends, strict=True)))


def _outside_breaks(spans: Spans, windows: tuple[tuple[float, float], ...]) -> Spans:
    """What falls into a break shrinks to nothing at its end, and what would last into one ends with it."""
    starts, ends = spans.starts.copy(), spans.ends.copy()
    for (_, flag), (green, _) in pairwise(windows):
        before = starts < flag
        ends = np.where(before, np.minimum(ends, green - HAIR_S), ends)
        inside = ~before & (starts < green)
        starts, ends = np.where(inside, green - HAIR_S, starts), np.where(inside, green - HAIR_S, ends)
    return Spans(starts, ends)
