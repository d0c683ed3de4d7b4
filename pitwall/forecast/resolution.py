"""Enough laps to tell? Which difference in lap time two runs can resolve, given the scatter from lap to lap.

The two-sample t test with one common deviation s, n laps against m: the difference that it finds with a chance (the
*power*) of 80 %, while it sees one where there is none in 5 % of all cases, is

    s * sqrt(1 / n + 1 / m) * lambda(n + m - 2)

where lambda is the noncentrality with which |t| passes its critical value with that power (Cohen, Statistical Power
Analysis for the Behavioral Sciences, 2nd ed. 1988, chapter 2; 5 % and 80 % are the usual choice there). With very many
laps lambda is 1.960 + 0.842, the normal approximation; with few it is larger. Laps of a run share what the run as a
whole is off by: that no number of laps in it can tell from the difference that is looked for, so runs are alternated.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import lru_cache

from pitwall.model.outlook import Comparison, ComparisonOutlook

ALPHA, POWER = 0.05, 0.8
MORE = 2
STEPS = 240


def resolves_s(laps: int, against_laps: int, scatter_s: float) -> float | None:
    """The smallest difference in lap time that so many laps against so many resolve, seconds.

    Args:
        laps: Timed laps of one run.
        against_laps: Of the other.
        scatter_s: Deviation from lap to lap within a run.

    Returns:
        None when there are too few laps to see any scatter: one of each, or none of one.
    """
    freedom = laps + against_laps - 2
    if min(laps, against_laps) < 1 or freedom < 1:
        return None
    return scatter_s * math.sqrt(1.0 / laps + 1.0 / against_laps) * noncentrality(freedom)


def outlook_of_comparison(pair: Comparison) -> ComparisonOutlook:
    """What the planned laps of two runs resolve, and what two laps more of each would."""
    now = resolves_s(pair.laps, pair.against_laps, pair.scatter_s)
    more = resolves_s(pair.laps + MORE, pair.against_laps + MORE, pair.scatter_s)
    return ComparisonOutlook(
        run=pair.run, against=pair.against, resolves_s=None if now is None else round(now, 3),
        with_two_more_s=None if more is None else round(more, 3), text=words(pair, now, more),
    )


def words(pair: Comparison, now: float | None, more: float | None) -> str:
    """The sentence for people."""
    laps = f"{pair.run} against {pair.against}: {pair.laps} against {pair.against_laps} laps"
    seen = f"scatter {pair.scatter_s:.2f} s a lap, " + (f"seen on {pair.seen} pairs" if pair.seen else "by experience")
    further = "" if more is None else f"; two more each {more:.2g} s"
    return f"{laps} resolve {'nothing' if now is None else f'{now:.2g} s'}{further} ({seen})"


@lru_cache(maxsize=256)
def noncentrality(freedom: int, alpha: float = ALPHA, power: float = POWER) -> float:
    """The noncentrality with which a two-sided t test of these degrees of freedom has this power."""
    weights = _chi_over_root(freedom)
    critical = _root(lambda limit: alpha - _passes(0.0, limit, weights), 0.0, 1000.0)
    return _root(lambda shift: _passes(shift, critical, weights) - power, 0.0, 2000.0)


def _passes(shift: float, limit: float, weights: tuple[tuple[float, float], ...]) -> float:
    """Chance that the noncentral |t| is beyond the limit: a normal one for each value of the deviation's estimate."""
    return sum(weight * (_below(shift - limit * w) + _below(-shift - limit * w)) for w, weight in weights)


def _below(z: float) -> float:
    return 0.5 * math.erfc(-z / math.sqrt(2.0))


@lru_cache(maxsize=256)
def _chi_over_root(freedom: int) -> tuple[tuple[float, float], ...]:
    """Values of sqrt(chi squared / freedom) with their weights, which add up to one: the midpoints of even steps."""
    top = 1.0 + 9.0 / math.sqrt(freedom)
    values = [(step + 0.5) * top / STEPS for step in range(STEPS)]
    logs = [(freedom - 1) * math.log(w) - 0.5 * freedom * w * w for w in values]
    most = max(logs)
    raw = [math.exp(log - most) for log in logs]
    total = sum(raw)
    return tuple((w, weight / total) for w, weight in zip(values, raw, strict=True) if weight > 0.0)


def _root(rises: Callable[[float], float], low: float, high: float) -> float:
    """Where a rising function of one number passes zero, by bisection."""
    for _ in range(48):
        middle = 0.5 * (low + high)
        if rises(middle) < 0.0:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)
