"""When a car reaches a place of its running lap: the outlook of its last crossing, read at any phase.

Between two crossings a car may be seen: positions of a feed that has them, or passages of short stretches. Such a
sighting shifts the outlook without making it anew: the car is there now, and the way from there takes what the outlook
says, longer or shorter by half of what the way to there took more or less than expected (half, as for the parts of a
lap that were timed: see ``shapes``). Measured on recordings, passages within a sector say nothing more about the rest of
a slow lap than the sector as a whole; so they teach nothing either.

What a feed's delay does. Every time here is the time of a crossing as the feed stamps it, never the time of the
message. A message that comes late by d was about a moment d ago: the arrival stays where it was, and only the warning
is shorter. What the arrival of messages identifies is how the delays differ: the smallest difference between receipt
and stamp is the best guess of no delay, and a message is late by what it exceeds that. What it cannot identify is the
part that all messages share: a constant delay and a clock of the feed that is ahead by as much look the same from one
end of a wire. The engineer's own clock of the session comes from that feed, too, so calls are right by the feed's
clock; against the eye they are off by that constant.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from pitwall.model.plan import LapKind
from pitwall.pace.laptimes import CarPace
from pitwall.pace.outlook import Outlook
from pitwall.pace.shapes import BACK_TO_USUAL
from pitwall.pace.weighing import MIDDLE, Array

TOO_SHORT_S = 3.0
"""Over a way that takes less, a pace is mostly the error of the two times that it is made of."""
SLOWEST = 3.0


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
    if usual >= TOO_SHORT_S:
        way *= min(max(took / usual, 1.0 / SLOWEST), SLOWEST) ** BACK_TO_USUAL
    sighted: Array = here.t + way
    return sighted


def _at(pace: CarPace, made: Outlook, phase: float, seen_phase: float, kind: LapKind) -> Array:
    if made.knot == 0 and kind == "timed":
        timed: Array = made.seen_t + np.maximum(made.timed_line - made.seen_t, 0.0) * pace.bend(phase)
        return timed
    ahead = (pace.loops[loop] for loop in pace.labels[made.knot :])
    return made.at(phase, coming_in=False, places=(seen_phase, *ahead, 1.0))


def lateness(pairs: Iterable[tuple[float, float]]) -> list[float]:
    """By how much each message of a feed was later than the quickest of them, seconds.

    Args:
        pairs: (stamp, receipt) of each message, seconds, each by its own clock.

    A constant that is added to all receipts changes nothing: delay and clock offset cannot be told apart from here.
    """
    differences = [received - stamp for stamp, received in pairs]
    quickest = min(differences, default=0.0)
    return [difference - quickest for difference in differences]
