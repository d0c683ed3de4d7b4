"""Asks of a lap on record whether it was clean: its facts put together for the judgement in ``pace/cleanliness.py``.

Made when somebody asks, never kept: crossings that come late, and those of the car ahead, count as well.
"""

from __future__ import annotations

import math

from pitwall.engine.field import Field
from pitwall.engine.laps import LapRecord
from pitwall.pace.cleanliness import Cleanliness, LapOver, judge_clean


def clean_lap(field: Field, car: str, lap: LapRecord) -> Cleanliness:
    """Whether a lap of this car was clean, and if not, why. A lap that still runs is unknown.

    Raises:
        KeyError: when nothing was ever heard of the car.
    """
    labels = field.tracks[car].pace.labels
    if lap.end_t is None or len(lap.usual) != len(labels) + 2:
        return Cleanliness("unknown")
    passed = [lap.crossings.get(label, math.nan) for label in labels]
    places, usual = labels, lap.usual[1:-1]
    if lap.ended_at == "line":
        places, passed, usual = (*labels, "line"), [*passed, lap.end_t], lap.usual[1:]
    behind = tuple(None if math.isnan(t) else field.passings.behind_s(place, t, car)
                   for place, t in zip(places, passed, strict=True))  # fmt: skip
    ends = [lap.start_t]
    yellow = []
    for t in passed:
        end = ends[-1] if math.isnan(t) else t
        yellow.append(field.yellows.touched(ends[-1], end))
        ends.append(end)
    return judge_clean(LapOver(
        lap.kind, not (lap.inferred_start or lap.inferred_end), lap.disturbed or bool(lap.slow_at), places,
        tuple(t - lap.start_t for t in passed), usual, behind, tuple(yellow),
    ))  # fmt: skip
