"""What a constant-speed hold costs at least, wherever the rest of the lap is driven at its limit.

The car goes as the reference lap does to where the hold begins, keeps the speed, and speeds up again as it would have
done from that speed: it is behind its reference by the length of the hold, until braking for what follows joins both.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pitwall.track.profile import SpeedProfile

STEP_M = 1.0
REACH_S = 8.0
"""The speed must be reached within so long after the place; what is reached later is another straight (ours)."""


@dataclass(frozen=True, slots=True)
class HoldCost:
    """``extra_s``: by how much the lap is longer; ``from_m``, ``to_m``: between which distances from the line."""

    from_m: float
    to_m: float
    extra_s: float


def hold_cost(profile: SpeedProfile, begin_m: float, seconds: float, speed_mps: float) -> HoldCost | None:
    """The least that a hold costs on the reference lap; None where the speed is not reached, or it spans the line.

    Args:
        profile: the lap.
        begin_m: the place behind which it is held, metres from the line.
        seconds: for how long.
        speed_mps: how fast.
    """
    road = np.arange(begin_m, profile.length_m, STEP_M)
    limit = np.interp(road, profile.s_m, profile.v_mps)
    fast = np.flatnonzero(limit >= speed_mps)
    if fast.size == 0 or profile.time_at(road[fast[0]]) - profile.time_at(begin_m) > REACH_S:
        return None
    held = round(seconds * speed_mps / STEP_M)
    first = int(fast[0])
    after = first + held
    if after >= road.size:
        return None
    driven = limit.copy()
    driven[first:after] = np.minimum(limit[first:after], speed_mps)
    behind = limit[first : limit.size - held]
    joined = np.flatnonzero(behind >= limit[after:])
    if joined.size == 0:
        return None
    last = after + int(joined[0])
    driven[after:last] = behind[: last - after]
    extra = float(np.sum(STEP_M / driven[first:last] - STEP_M / limit[first:last]))
    return HoldCost(float(road[first]), float(road[last]), extra)
