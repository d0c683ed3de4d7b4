"""When a car reaches a place of its running lap: the outlook of its last crossing, read at any phase.

Between two crossings a car may be seen: positions of a feed that has them, or passages of short stretches. Such a
sighting shifts the outlook without making it anew: the car is there now, and the way from there takes what the outlook
says, longer or shorter by a part of what the way to there took more or less than expected: half of it over a sector (as
for the parts of a lap that are timed: see ``shapes``), less over less. Measured on recordings, passages within a sector
say nothing more about the rest of a slow lap than the sector as a whole; so they teach nothing either.

What a feed's delay does: every time here is that of a crossing as the feed stamps it, never that of the message. A
message that is late by d tells of a moment d ago; the arrival stays where it was, and only the warning is shorter.
From one end of a wire the delays can be told apart only from one another: the message with the smallest difference
between receipt and stamp was the quickest, and others are late by what they exceed it (``runtime/following.py`` sets
the session's clock by that one). What all messages share cannot be known: a constant delay looks like a feed whose
clock is behind by as much. Calls are then right by the feed's clock, and late by that constant against the eye.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from pitwall.model.plan import LapKind
from pitwall.pace.laptimes import SECTORS, CarPace
from pitwall.pace.outlook import Outlook
from pitwall.pace.shapes import BACK_TO_USUAL
from pitwall.pace.weighing import HIGH, LOW, MIDDLE, Array

SLOWEST = 3.0
"""What a sector lost, the rest of the lap is expected to lose by half; the shorter a way, the more its pace scatters
(with one over its length), and the less of it is kept."""
HALVINGS = 14
"""A place is found to within a sixteen-thousandth of the lap: a third of a metre."""
COMING_IN: tuple[LapKind, ...] = ("in", "installation")
"""On these a car goes as the laps did that came in: on recordings that halves the usual error at the pit entry."""


@dataclass(frozen=True, slots=True)
class Sighting:
    """The car was at this phase of its running lap then, seconds of the session: seen between two loops."""

    t: float
    phase: float


def arrival_quantiles(
    pace: CarPace, made: Outlook, phase: float, seen_phase: float, kind: LapKind, here: Sighting | None = None
) -> Array | None:
    """Quantiles (at ``LEVELS``) of the second at which the car is at a phase; None where the outlook says nothing.

    Where the lap has just begun its kind is a guess: then the outlook speaks for laps out of the pits and timed laps.

    Args:
        pace: the car's.
        made: its outlook.
        phase: of the lap map; not before ``seen_phase``, 1 for the line.
        seen_phase: where it was at the last crossing.
        kind: what the lap is believed to be.
        here: where it was seen since; None when it was not, or when ``phase`` lies before that.
    """
    if made.knot == 0 and kind not in ("out", "timed"):
        return None
    there = _at(pace, made, phase, seen_phase, kind)
    if here is None or phase < here.phase:
        return there
    expected = _at(pace, made, here.phase, seen_phase, kind)
    way = np.maximum.accumulate(np.maximum(there - expected, 0.0))
    usual = float(expected[MIDDLE]) - made.seen_t
    took = max(here.t - made.seen_t, 0.0)
    if usual > 0.0:
        sector_s = pace.quick_s() / SECTORS
        kept = BACK_TO_USUAL * 2.0 * usual / (usual + sector_s)
        way *= min(max(took / usual, 1.0 / SLOWEST), SLOWEST) ** min(kept, 1.0)
    sighted: Array = here.t + way
    return sighted


@dataclass(frozen=True, slots=True)
class Here:
    """Where a car is on its running lap: phases of the lap map, 0 to 1. In four cases of five it is between ``low`` and
    ``high``. At 1 it is expected at the line by now, and was not seen there yet."""

    phase: float
    low: float
    high: float


def here_at(arrival: Callable[[float], Array | None], seen_phase: float, now: float) -> Here | None:
    """Where the car is at ``now``: the phases at which its arrival is just then, for a late, usual and early car.

    Args:
        arrival: quantiles (at ``LEVELS``) of the second at which it is at a phase; None where nothing is known.
        seen_phase: where it was seen last.
        now: second of the session.
    """
    found = []
    for level in (MIDDLE, HIGH, LOW):
        low, high = seen_phase, 1.0
        for _ in range(HALVINGS):
            phase = 0.5 * (low + high)
            told = arrival(phase)
            if told is None:
                return None
            low, high = (phase, high) if told[level] <= now else (low, phase)
        found.append(high if high == 1.0 else low)
    middle, late, early = found
    return Here(middle, min(late, middle), max(early, middle))


def _at(pace: CarPace, made: Outlook, phase: float, seen_phase: float, kind: LapKind) -> Array:
    if made.knot == 0 and kind == "timed":
        timed: Array = made.seen_t + np.maximum(made.timed_line - made.seen_t, 0.0) * pace.bend(phase)
        return timed
    ahead = (pace.loops[loop] for loop in pace.labels[made.knot :])
    return made.at(phase, coming_in=kind in COMING_IN, places=(seen_phase, *ahead, 1.0))
