"""Can each step of an item be said at all? A sentence and the reaction to it need time before the place.

A call is spoken on the lap before or on the lap itself. Where the lap before is silent for it, or there is none, all of
it must fit between the start of the lap and the place; else it would be missed every time, without anybody at fault.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from pitwall.checks.around import Around
from pitwall.checks.codes import finding
from pitwall.checks.items import Placed, placed_items
from pitwall.errors import FilePath, Finding, UserError
from pitwall.model.plan import LapKind, Plan
from pitwall.model.procedure import Step
from pitwall.radio.placing import COMFORT_S
from pitwall.radio.speech import spoken_s
from pitwall.radio.wording import fill
from pitwall.track.lapmap import LapMap
from pitwall.track.likely import LAP_FACTORS, lap_indices
from pitwall.track.places import plain

ON_THE_LAP = ("place", "lap_start", "lap_end", "pit_entry")


def check_saying(plan: Plan, around: Around) -> Iterator[Finding]:
    """Steps that lie so early in their lap that they cannot be said in time. A board is shown, not spoken."""
    if around.lap is None or plan.medium == "board":
        return
    for placed in placed_items(plan, around):
        steps = placed.procedure.steps if placed.procedure is not None else ()
        for number, step in enumerate(steps):
            spoken = step_spoken_s(placed, step, around)
            if step.where not in ON_THE_LAP or spoken is None:
                continue
            needed = spoken + step.reaction_s
            for index in lap_indices(placed.run, placed.item.on):
                found = _on_lap(plan, placed, number, index, needed, around.lap)
                if found is not None:
                    yield found
                    break


def step_spoken_s(placed: Placed, step: Step, around: Around) -> float | None:
    """Seconds to say a step at the engineer's rate; None when its text cannot be filled, which other checks tell."""
    assert placed.procedure is not None
    values = {name: value for name in placed.procedure.arguments if (value := placed.argument(name)) is not None}
    place = placed.item.after or placed.item.at
    if place is not None:
        values |= dict.fromkeys(("place", "after", "at"), place)
    try:
        return spoken_s(fill(step.say, values), around.calls.words_per_minute)
    except UserError:
        return None


def _on_lap(plan: Plan, placed: Placed, number: int, index: int, needed: float, lap: LapMap) -> Finding | None:
    assert placed.procedure is not None
    step, run = placed.procedure.steps[number], placed.run
    kind: LapKind = "installation" if run.out_in else run.laps[index]
    before = run.laps[index - 1] if index > 0 and not run.out_in else None
    if before is not None:
        # Nowhere to be said but on two silent laps, a call is made all the same; and one for the start of a lap is
        # made as the lap begins when the lap before is silent.
        silent = not plan.may_say(step.kind, before) and plan.may_say(step.kind, kind)
        if not silent or step.where == "lap_start":
            return None
    start = lap.pit_exit if before is None else 0.0
    where = _place_of(placed, step, start, lap)
    if where is None:
        return None
    phase, place = where
    path: FilePath = placed.path
    if step.where == "place":
        path = (*path, "after" if placed.item.after is not None else "at")
    if phase < start:
        return None  # not passed at all: reach.py tells it
    reached = LAP_FACTORS[kind] * lap.lap_s * (phase - start) / max(1.0 - start, 1e-6)
    if needed < reached + step.offset_s:
        return None
    least = math.ceil(needed + COMFORT_S - reached)
    return finding(
        "PW210", path=path, expected="a step later in the lap",
        found=f"{placed.item.do!r} on the {kind}-lap: {needed:.1f} s to say it and to react, {place} about "
              f"{max(0.0, reached + step.offset_s):.1f} s after the start of the lap",
        suggestion=f"set offset_s of step {number + 1} in the procedure to {least} or more"
        if step.where != "place" else "take a later place, or a lap after one on which it may be said")


def _place_of(placed: Placed, step: Step, start: float, lap: LapMap) -> tuple[float, str] | None:
    """Phase and name of where the driver acts, before the offset; None for a place that is not known."""
    if step.where == "pit_entry":
        return lap.pit_entry, "the pit entry"
    if step.where != "place":
        return (start, "its place") if step.where == "lap_start" else (1.0, "its place")
    named = placed.item.after or placed.item.at
    if named is None or plain(named) not in lap.places:
        return None
    return lap.phase_of(named), named
