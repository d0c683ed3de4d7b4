"""How long interruptions last: drawn through the percentiles of the regulations, alike within a session.

Theory. A length is drawn from a two-piece lognormal about the given median: log-length is normal with one spread below
the median and another above, such that the lengths of one *known* session and those of many sessions lie apart. Counted
in the deviations that the given 10th and 90th percentile make, each length has a part of its own (``OWN``) and one that
is common to all of its kind that day (``DAY``). What was seen tells of the common part: lengths that are over are a
normal mean with known variance (Gelman et al., Bayesian Data Analysis, 3rd ed., section 2.5), and one that is under way
is a length that is known to be longer than it has lasted.

The two together are wider than the percentiles say: those are what a team expects of a usual day, and nobody knows
beforehand whether this is one. What it takes to clear a track depends on the circuit, its crews and the day.
"""

from __future__ import annotations

import math

import numpy as np

from pitwall.forecast.pert import Z90, Floats, normal, normal_below, normal_below_each

LONGEST_S = 7200.0
"""No single interruption is taken to last longer: past two hours the session is lost anyway."""

OWN = 0.8
"""Deviation of a length about those of its session (common practice, no source)."""

DAY = 0.9
"""Deviation of a session's lengths about what the regulations file expects (common practice, no source)."""

FAR = 3.0
"""One length that no percentile foresees must not decide all that follow: so many deviations are believed."""

Quantiles = tuple[float, float, float]


def _deviations(length: float, quantiles: Quantiles) -> float:
    """A length in deviations from the median, on its side of it."""
    low, middle, high = (max(value, 1e-3) for value in sorted(quantiles))
    side = math.log(middle / low if length < middle else high / middle)
    return math.log(max(length, 1e-3) / middle) / max(side / Z90, 1e-9)


def _lengths(z: Floats, quantiles: Quantiles) -> Floats:
    """Lengths so many deviations from the median, seconds."""
    low, middle, high = (max(value, 1e-3) for value in sorted(quantiles))
    spread = np.where(z < 0, math.log(middle / low), math.log(high / middle)) / Z90
    found: Floats = np.minimum(middle * np.exp(spread * z), LONGEST_S)
    return found


def draw_common(
    rng: np.random.Generator, quantiles: Quantiles, seen_s: tuple[float, ...], count: int, lasted: float | None = None
) -> Floats:
    """The part that the lengths of one kind have in common, in deviations, shape (N,), after what was seen.

    Args:
        rng: Source of the draws, two numbers a future.
        quantiles: Length at 10, 50 and 90 percent, seconds.
        seen_s: Lengths of those that are over, seconds.
        count: How many futures.
        lasted: One is under way and has lasted so long; None: none is, or nobody knows.
    """
    precision = DAY**-2 + len(seen_s) * OWN**-2
    seen = sum(max(-FAR, min(FAR, _deviations(length, quantiles))) for length in seen_s)
    mean, deviation = seen * OWN**-2 / precision, precision**-0.5
    even, own = rng.random(count), rng.standard_normal(count)
    if lasted is None:
        common: Floats = mean + deviation * own
        return common
    # The whole length is beyond what it has lasted; what of it is the day's follows from the two variances.
    whole = math.hypot(deviation, OWN)
    passed = normal_below((min(_deviations(lasted, quantiles), FAR) - mean) / whole)
    beyond = whole * normal(passed + (1.0 - passed) * even)
    share = (deviation / whole) ** 2
    held: Floats = mean + share * beyond + deviation * math.sqrt(1.0 - share) * own
    return held


def draw_lengths(rng: np.random.Generator, quantiles: Quantiles, count: int, common: Floats | None = None) -> Floats:
    """Draw interruption lengths.

    Args:
        rng: Source of the draws.
        quantiles: Seconds at 10, 50 and 90 percent; put in order and kept positive when they are not.
        count: How many.
        common: What the lengths of each future have in common (:func:`draw_common`); None: lengths go exactly through
            the percentiles.

    Returns:
        Seconds, shape (count,), at most ``LONGEST_S``.
    """
    z = rng.standard_normal(count)
    return _lengths(z if common is None else common + OWN * z, quantiles)


def rest_of_length(even: Floats, quantiles: Quantiles, lasted: float, common: Floats | None = None) -> Floats:
    """How much longer an interruption lasts that has lasted so long, at these levels, shape (N,).

    Beyond what the percentiles know (``LONGEST_S``, or further off than four deviations) it is as good as over.
    """
    reached = _deviations(lasted, quantiles)
    if common is None:
        passed = normal_below(reached)
        z = normal(passed + (1.0 - passed) * even)
    else:
        gone = normal_below_each((reached - common) / OWN)
        z = common + OWN * normal(gone + (1.0 - gone) * even)
    rest: Floats = np.maximum(_lengths(z, quantiles) - lasted, 0.0)
    return rest
