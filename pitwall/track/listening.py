"""Listening windows: stretches of the lap on which a call may be spoken.

A driver takes in a sentence while the car is calm: not braking, not loaded sideways above a limit, and for long
enough to finish it. What counts as braking and how much load is too much is common practice, no source; the lateral
limit and the least length come from the settings. A circuit file may take stretches out (quiet places) and put others
in (``listening``): the engineer knows the track better than the profile does.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

import numpy as np

from pitwall.track.limits import BoolArray, FloatArray
from pitwall.track.places import Stretch
from pitwall.track.profile import SpeedProfile

BRAKING_MPS2 = 1.0
"""Slowing down harder than this counts as braking; a lifted throttle at middling speed stays below it."""

Window = tuple[float, float]


def listening_windows(
    profile: SpeedProfile,
    *,
    lateral_limit_mps2: float,
    least_s: float,
    quiet: Iterable[Stretch] = (),
    always: Iterable[Stretch] = (),
    slower: float = 1.0,
) -> tuple[Window, ...]:
    """The windows of one lap in phase, in lap order.

    A window that spans the line is judged by its whole length and then cut there, so every window lies in 0..1.

    Args:
        profile: the reference lap.
        lateral_limit_mps2: most lateral acceleration at which a driver can listen.
        least_s: shortest window worth having, seconds.
        slower: how many times the reference lap time the lap takes; every acceleration falls with its square.
        quiet: stretches in metres where nothing is said. A point is widened to ``least_s`` around it.
        always: stretches in metres that count as calm whatever the profile says, unless they are quiet.
    """
    calm = _calm(profile, lateral_limit_mps2 * slower**2, BRAKING_MPS2 * slower**2)
    middle = 0.5 * (profile.s_m[:-1] + profile.s_m[1:])
    for stretch in always:
        calm |= _inside(middle, stretch)
    for stretch in quiet:
        calm &= ~_inside(middle, _widened(profile, stretch, least_s))
    return tuple((start / profile.lap_s, end / profile.lap_s) for start, end in _long_enough(profile, calm, least_s))


def _calm(profile: SpeedProfile, lateral_limit_mps2: float, braking_mps2: float) -> BoolArray:
    """Which elements are calm, shape ``(n,)``; the faster end of an element decides its lateral load."""
    here, there = profile.v_mps[:-1], profile.v_mps[1:]
    aside = np.abs(profile.ay_mps2[:-1]) * (np.maximum(here, there) / np.maximum(here, 1e-9)) ** 2
    calm: BoolArray = (profile.ax_mps2[:-1] >= -braking_mps2) & (aside <= lateral_limit_mps2)
    return calm


def _widened(profile: SpeedProfile, stretch: Stretch, seconds: float) -> Stretch:
    if stretch.start != stretch.end:
        return stretch
    at = profile.time_at(stretch.start)
    return Stretch(profile.distance_at(at - seconds / 2), profile.distance_at(at + seconds / 2))


def _inside(at_m: FloatArray, stretch: Stretch) -> BoolArray:
    after, before = at_m >= stretch.start, at_m < stretch.end
    inside: BoolArray = (after & before) if stretch.start <= stretch.end else (after | before)
    return inside


def _long_enough(profile: SpeedProfile, calm: BoolArray, least_s: float) -> list[Window]:
    """Runs of calm elements in seconds after the line, long enough, cut at the line."""
    if calm.all():
        return [(0.0, profile.lap_s)] if profile.lap_s >= least_s else []
    edges = np.flatnonzero(np.diff(np.concatenate(([False], calm, [False])).astype(np.int8)))
    runs = [(float(profile.t_s[start]), float(profile.t_s[end])) for start, end in edges.reshape(-1, 2)]
    joined = 0.0
    if calm[0] and calm[-1]:
        joined = (runs[0][1] - runs[0][0]) + (runs[-1][1] - runs[-1][0])
    kept = []
    for start, end in runs:
        over_the_line = joined if start == 0.0 or end == profile.lap_s else 0.0
        if max(end - start, over_the_line) >= least_s:
            kept.append((start, end))
    return kept


def named_windows(
    stretches: Iterable[Stretch], lap_s: float, least_s: float, quiet: Iterable[Stretch] = ()
) -> tuple[Window, ...]:
    """The windows of a circuit without geometry, whose file names them as shares of the lap.

    Args:
        stretches: shares of the lap; one may span the line and is then cut there, as above.
        lap_s: lap time, seconds.
        least_s: shortest window worth having, seconds; one over the line is judged by its whole length.
        quiet: where nothing is said, shares of the lap. A point is widened to ``least_s`` around it.
    """
    left = _union(piece for stretch in stretches for piece in _pieces(stretch.start, stretch.end))
    half = 0.5 * least_s / lap_s
    for stretch in quiet:
        wide = half if stretch.start == stretch.end else 0.0
        for first, last in _pieces((stretch.start - wide) % 1.0, (stretch.end + wide) % 1.0):
            left = [piece for begin, end in left for piece in ((begin, min(end, first)), (max(begin, last), end))]
            left = [(begin, end) for begin, end in left if begin < end]
    over = sum(end - begin for begin, end in left if begin == 0.0 or end == 1.0)
    joined = over if left and left[0][0] == 0.0 and left[-1][1] == 1.0 else 0.0
    return tuple((begin, end) for begin, end in left
                 if (max(end - begin, joined) if begin == 0.0 or end == 1.0 else end - begin) * lap_s >= least_s)


def _pieces(start: float, end: float) -> list[Window]:
    """A stretch of the lap cut at the line; one that ends where it starts is the whole lap."""
    pieces = [(start, end)] if start < end else [(start, 1.0), (0.0, end)]
    return [(begin, last) for begin, last in pieces if begin < last]


def start_windows(
    stretches: Iterable[Window] | None, length_s: float, from_s: float, end_by_s: float, least_s: float = 0.0
) -> tuple[Window, ...]:
    """When something of this length may be begun so that it ends inside the stretch in which it began.

    Args:
        stretches: listening stretches in seconds of any one clock; None where they are unknown: then ``from_s`` and
            ``end_by_s`` alone decide.
        length_s: how long it is.
        from_s: not begun before.
        end_by_s: over by then.
        least_s: a window shorter than this is left out: nobody can hit it.
    """
    given = ((from_s, end_by_s),) if stretches is None else tuple(stretches)
    before = -math.inf
    found: list[Window] = []
    for begin, end in given:
        if begin <= before:
            # They touch or are in no order, as hardly any are: what was found so far counts no more.
            return _starts(_union(given), length_s, from_s, end_by_s, least_s)
        before = end
        first = begin if begin > from_s else from_s
        last = (end if end < end_by_s else end_by_s) - length_s
        if last >= first and last - first >= least_s:
            found.append((first, last))
    return tuple(found)


def _starts(
    windows: Iterable[Window], length_s: float, from_s: float, end_by_s: float, least_s: float
) -> tuple[Window, ...]:
    ends = [(max(begin, from_s), min(end, end_by_s) - length_s) for begin, end in windows]
    return tuple([(first, last) for first, last in ends if last >= first and last - first >= least_s])


def _union(windows: Iterable[Window]) -> list[Window]:
    joined: list[Window] = []
    for begin, end in sorted(windows):
        if joined and begin <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(joined[-1][1], end))
        else:
            joined.append((begin, end))
    return joined
