"""Places that the car does not pass on the lap of an item: before the pit exit on the way out, after the pit entry on
the way in. And holds on an in-lap that would run on into the pit entry.
"""

from __future__ import annotations

from collections.abc import Iterator

from pitwall.checks.around import Around
from pitwall.checks.codes import finding
from pitwall.checks.items import Placed, placed_items
from pitwall.errors import Finding
from pitwall.model.plan import Plan, Run
from pitwall.track.lapmap import LapMap
from pitwall.track.likely import lap_indices
from pitwall.track.places import plain


def check_reach(plan: Plan, around: Around) -> Iterator[Finding]:
    """Does the car pass the place on each lap of the item?"""
    lap = around.lap
    if lap is None:
        return
    for placed in placed_items(plan, around):
        named = placed.item.after or placed.item.at
        if placed.procedure is None or placed.procedure.place == "none" or named is None or not placed.run.laps:
            continue
        if plain(named) not in lap.places:
            continue
        found = next((one for index in lap_indices(placed.run, placed.item.on)
                      if (one := _on_lap(placed, named, index, lap)) is not None), None)
        if found is not None:
            yield found


def _drives(run: Run, index: int) -> tuple[bool, bool]:
    """Does the lap begin at the pit exit, does it end at the pit entry? Out and straight in does both."""
    return index == 0 or run.out_in, index == len(run.laps) - 1 or run.out_in


def _on_lap(placed: Placed, named: str, index: int, lap: LapMap) -> Finding | None:
    leaves, comes_in = _drives(placed.run, index)
    kind = "installation" if placed.run.out_in else placed.run.laps[index]
    phase, path = lap.phase_of(named), (*placed.path, "after" if placed.item.after is not None else "at")
    if leaves and phase < lap.pit_exit:
        return finding("PW211", path=path, expected="a place after the pit exit",
                       found=f"{placed.item.do!r} at {named}, which lies before the pit exit on the {kind}-lap")
    if comes_in and phase > lap.pit_entry:
        return finding("PW211", path=path, expected="a place before the pit entry",
                       found=f"{placed.item.do!r} at {named}, which lies after the pit entry on the {kind}-lap")
    return _into_the_pits(placed, named, lap) if comes_in else None


def _into_the_pits(placed: Placed, named: str, lap: LapMap) -> Finding | None:
    """A hold that fits on the straight, but not before the pit entry."""
    hold = placed.procedure.hold if placed.procedure is not None else None
    if hold is None:
        return None
    seconds, speed = placed.figure(hold.seconds), placed.hold_mps
    begin, entry = lap.distance_at_phase(lap.phase_of(named)), lap.distance_at_phase(lap.pit_entry)
    if seconds is None or speed is None or seconds <= 0 or speed <= 0 or begin is None or entry is None:
        return None
    checked = lap.hold_fits(named, seconds, speed, hold.settle_s)
    if not checked.fits or checked.needed_m is None or begin + checked.needed_m <= entry:
        return None
    return finding(
        "PW211", path=(*placed.path, "after" if placed.item.after is not None else "at"),
        found=f"a hold of {seconds:g} s at {speed:g} m/s after {named} on the in-lap, {checked.needed_m:.0f} m with "
              f"the pit entry after {entry - begin:.0f} m", expected="a hold that ends before the pit entry")
