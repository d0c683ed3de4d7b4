"""What the first lap is like on a track that turned from dry to wet, or back, since the car's last timed lap.

The tyres that a car goes out on tell it, or those that it comes in on without having driven a timed lap on them. Of the
lap times before only little holds then: what other cars lost or gained that went through the same today, and before any
did, common practice (no source): in the wet a lap takes 8 to 25 per cent more. Who is first to take tyres for a dry
track again gains less than that, for then the track is about as quick on either.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field
from statistics import median

import numpy as np

from pitwall.pace.weighing import Array, sample_quantiles

FOR_A_WET_TRACK = ("intermediate", "wet")
"""The usual words for tyres for a wet track (common practice)."""
UNTOLD = ("", "unknown")
USUALLY = {True: (0.05, 0.10, 0.15, 0.20, 0.27), False: (-0.16, -0.10, -0.06, -0.02, 0.01)}
"""Logs of a lap over those before, when it turned wet, and dry."""
EACH_WORTH, FADES, MOST = 0.2, 0.8, 12
AFTER_ALL, AFTER_ALL_LOGS = 0.15, (-0.01, -0.003, 0.003, 0.01)
"""How likely who comes in on such tyres goes out on those of before (common practice, no source), and what is lost."""


@dataclass
class TurnedTrack:
    """What the cars lost that went from dry to wet, and gained that went back: logs over their laps before."""

    _seen: dict[bool, deque[float]] = field(default_factory=lambda: {wet: deque(maxlen=MOST) for wet in (True, False)})

    @staticmethod
    def turned(before: str, now: str) -> bool:
        """Whether these compounds say that the track turned; False where either is not known."""
        known = before not in UNTOLD and now not in UNTOLD
        return known and (before in FOR_A_WET_TRACK) != (now in FOR_A_WET_TRACK)

    def learn(self, wet: bool, laps: Sequence[float], seconds: float) -> None:
        """Take the first timed lap on the other kind of tyres.

        Args:
            wet: they are for a wet track.
            laps: the car's timed laps before, in order, seconds.
            seconds: what it took.
        """
        self._seen[wet].append(float(np.log(seconds / median(laps[-3:]))))

    def told(self, wet: bool, laps: Sequence[float], sure: bool) -> Array:
        """Quantiles (``weighing.LEVELS``) of such a lap, seconds.

        Args:
            wet: the tyres are for a wet track.
            laps: the car's timed laps before, in order, seconds; one at least.
            sure: the car is out on them; else it came in on them, and may leave on others.
        """
        seen, usual = self._seen[wet], USUALLY[wet]
        values, weights = [*usual, *seen], [EACH_WORTH] * len(usual)
        weights += [FADES**at for at in reversed(range(len(seen)))]
        if not sure:
            share = AFTER_ALL / (1.0 - AFTER_ALL) * sum(weights) / len(AFTER_ALL_LOGS)
            values, weights = [*values, *AFTER_ALL_LOGS], [*weights, *[share] * len(AFTER_ALL_LOGS)]
        made: Array = median(laps[-3:]) * np.exp(sample_quantiles(np.array(values), np.array(weights)))
        return made
