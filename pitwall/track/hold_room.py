"""Does a constant-speed hold fit on the straight after a place?

The car can keep the speed wherever the reference lap is at least as fast, from where it gets there to where it brakes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pitwall.track.places import Bend
from pitwall.track.profile import SpeedProfile

STRAIGHT_MPS2 = 2.0
"""A bend with less lateral acceleration than this at the hold speed still counts as straight (common practice)."""


@dataclass(frozen=True, slots=True)
class HoldCheck:
    """Does a constant-speed hold fit after a place? ``fits`` is None where the circuit has no geometry.

    ``available_m`` runs from the place to where braking (or the next bend) ends the hold at the latest;
    ``needed_m`` from the same place over reaching the speed, settling and the hold itself (None: not reached at all).
    """

    fits: bool | None
    available_m: float | None
    needed_m: float | None
    reason: str


def hold_room(
    profile: SpeedProfile, bends: tuple[Bend, ...], place: str, begin: float, seconds: float, speed_mps: float,
    settle_s: float,
) -> HoldCheck:
    """The room for a hold on one reference lap.

    Args:
        profile: the lap.
        bends: its curved segments.
        place: after which the hold is to be, for the reason.
        begin: where that place ends, metres from the line.
        seconds: how long the speed is held, once it has settled.
        speed_mps: the speed.
        settle_s: how long it takes to settle.
    """
    end, next_bend = _straight_end(bends, begin, profile.length_m, speed_mps)
    hold_m = speed_mps * (settle_s + seconds)
    if end <= begin:
        return HoldCheck(False, 0.0, hold_m, f"{place} lies in {next_bend}: a hold needs a straight")
    at = np.concatenate((profile.s_m[:-1], profile.s_m + profile.length_m))
    inside = at[(at > begin) & (at < end)]
    road = np.concatenate(([begin], inside, [end]))
    speeds = np.interp(road % profile.length_m, profile.s_m, profile.v_mps)
    fast = np.flatnonzero(speeds >= speed_mps * (1 - 1e-6))
    if fast.size == 0:
        reason = (f"{speed_mps:g} m/s is not reached on the {end - begin:.0f} m between {place} and {next_bend} "
                  f"(at most {speeds.max():.1f} m/s)")
        return HoldCheck(False, end - begin, None, reason)
    reached, last = int(fast[0]), int(fast[0])
    while last + 1 < speeds.size and speeds[last + 1] >= speed_mps * (1 - 1e-6):
        last += 1
    available, needed = float(road[last] - begin), float(road[reached] - begin) + hold_m
    if needed <= available:
        reason = f"{needed:.0f} m needed, {available:.0f} m available before {next_bend}"
        return HoldCheck(True, available, needed, reason)
    longest = max(0.0, (available - (needed - hold_m)) / speed_mps - settle_s)
    reason = (f"{needed:.0f} m needed after {place}, but only {available:.0f} m available before {next_bend}: "
              f"at {speed_mps:g} m/s at most {longest:.1f} s fit")
    return HoldCheck(False, available, needed, reason)


def _straight_end(found: tuple[Bend, ...], begin_m: float, length_m: float, speed_mps: float) -> tuple[float, str]:
    """Where the straight from ``begin_m`` ends (unrolled metres) and what ends it, at this speed."""
    tight = [bend for bend in found if speed_mps**2 / bend.radius_m > STRAIGHT_MPS2]
    for lap_m in (0.0, length_m):
        for bend in tight:
            if bend.end_m + lap_m > begin_m + 1e-6:
                return max(begin_m, bend.start_m + lap_m), bend.name
    return begin_m + length_m, "the same place a lap later"
