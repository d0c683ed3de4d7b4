"""When a car reaches a place of its running lap: the outlook of its last crossing, read at any phase."""

from __future__ import annotations

import numpy as np

from pitwall.model.plan import LapKind
from pitwall.pace.laptimes import CarPace
from pitwall.pace.outlook import Outlook
from pitwall.pace.weighing import Array


def arrival_quantiles(
    pace: CarPace, made: Outlook, phase: float, seen_phase: float, kind: LapKind
) -> Array | None:
    """Quantiles (at ``LEVELS``) of the second at which the car is at a phase; None where the outlook says nothing.

    Where the lap has just begun its kind is a guess: then the outlook speaks for laps out of the pits and timed laps.

    Args:
        pace: the car's.
        made: its outlook.
        phase: of the lap map; not before ``seen_phase``, 1 for the line.
        seen_phase: where it was at the last crossing.
        kind: what the lap is believed to be.
    """
    if made.knot == 0 and kind not in ("out", "timed"):
        return None
    if made.knot == 0 and kind == "timed":
        timed: Array = made.seen_t + np.maximum(made.timed_line - made.seen_t, 0.0) * pace.bend(phase)
        return timed
    ahead = (pace.loops[loop] for loop in pace.labels[made.knot :])
    return made.at(phase, coming_in=False, places=(seen_phase, *ahead, 1.0))
