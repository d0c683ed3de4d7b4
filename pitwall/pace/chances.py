"""Which kind a running lap is, with probabilities: what the laps that were like it so far turned out to be."""

from __future__ import annotations

from pitwall.pace.planned import Chances
from pitwall.pace.shapes import COOL, IN, TIMED, Alike

UNKNOWN: Chances = (0.7, 0.15, 0.15)
LEAST = 0.002
SLOW_WORTH, SLOW_IN = 2.0, 0.4
"""So many laps' worth of doubt whether a slow lap comes in, and how many do (common practice, no source): laps that
came in are over sooner than those that went on, so the first few that were seen say too much."""
STILL_TIMED = 0.02
"""What is left of the chance of a timed lap once a slow or red period touched it."""


def chances(
    alike: Alike | None, last: int, so_far_s: float, at_most: float, odds: Chances, disturbed: bool
) -> Chances:
    """Probabilities of timed, cool-down and in, without the plan's word.

    Args:
        alike: the laps that were like it; None where nothing is known.
        last: the knot of the line.
        so_far_s: seconds since the lap began; at zero old laps are taken by what they were, not by their rest.
        at_most: ratio to the reference up to which the rest of the lap still makes a timed lap.
        odds: how much likelier than usual the session makes each kind.
        disturbed: a slow or red period touched the lap.
    """
    timed, cool, coming_in = UNKNOWN if alike is None else _of(alike, last, so_far_s, at_most)
    raw = [max(p, LEAST) * factor for p, factor in zip((timed, cool, coming_in), odds, strict=True)]
    if disturbed:
        raw[TIMED], raw[COOL] = STILL_TIMED * raw[TIMED], raw[COOL] + (1.0 - STILL_TIMED) * raw[TIMED]
    return shifted((raw[TIMED], raw[COOL], raw[IN]), (1.0, 1.0, 1.0))


def shifted(kinds: Chances, odds: Chances) -> Chances:
    """Probabilities with odds put on them, adding up to one."""
    timed, cool, coming_in = (p * factor for p, factor in zip(kinds, odds, strict=True))
    total = timed + cool + coming_in
    return timed / total, cool / total, coming_in / total


def _of(alike: Alike, last: int, so_far_s: float, at_most: float) -> Chances:
    quick = alike.kinds == TIMED if so_far_s == 0.0 else (alike.rests[:, last] <= at_most) > alike.inside
    total = float(alike.weights.sum())
    timed, came_in = float(alike.weights.dot(quick)) / total, float(alike.weights.dot(alike.inside))
    slow = max(total * (1.0 - timed), 0.0)
    coming_in = (1.0 - timed) * (came_in + SLOW_WORTH * SLOW_IN) / (slow + SLOW_WORTH)
    return timed, 1.0 - timed - coming_in, coming_in
