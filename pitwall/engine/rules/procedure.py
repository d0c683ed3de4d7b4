"""Procedure calls: each step of each item, said so that it ends in time for the place where the driver acts.

Where a procedure needs room behind, the traffic there stands with its call. With a car too close the call is advised
against; if nobody says it then, it is held back for the next lap that allows it. A yellow in the marshal sector of the
place withdraws the call for this lap, and the item is tried again likewise (``engine/items.py``).
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from pitwall.engine.call import CallSpec
from pitwall.engine.gaps import HORIZON_S, Neighbour, doubt_s, gaps_at
from pitwall.engine.item_arguments import item_arguments
from pitwall.engine.progress import ItemState, RunState
from pitwall.engine.situation import Leg, Situation
from pitwall.model.outputs import Ask
from pitwall.model.plan import CallClass
from pitwall.model.procedure import Procedure, Step
from pitwall.radio.placing import latest_start
from pitwall.radio.ways import Room
from pitwall.radio.wording import fill

KNOWN_BY_S = 20.0  # a driver who hears later that a lap is a cool-down lap has pushed on (common practice, no source)
USEFUL_S = 40.0  # before the place; earlier it would be forgotten (common practice, no source)
STANDING = ("garage", "pit_exit", "pit_lane")
FORESEEN_S = 90.0  # further ahead nobody knows who will be where
HALVINGS = 12  # of a lap: to some 0.03 s of it


def calls(at: Situation) -> Iterable[CallSpec]:
    """The calls of every item that is still to be done on a lap ahead."""
    run = at.run
    if run is None or at.boxes_silent:
        return
    for item in run.items:
        procedure = at.procedures.get(item.item.do)
        if procedure is None or item.state not in ("planned", "called") or item.waits is not None:
            continue
        leg = at.leg(item.leg if not run.out_in else 0, counts=procedure.data_window == "lap")
        if leg is None:
            continue
        for number, step in enumerate(procedure.steps):
            if at.stopped_by_flag and step.kind != "question":
                continue  # after the flag the in-lap is for the driver's comment
            if step.repeat == "once" and not _first_time(run, item):
                continue
            spec = _step(at, item, procedure, step, number, leg)
            if spec is not None:
                yield spec


def _first_time(run: RunState, item: ItemState) -> bool:
    """Guard: on no lap before this one is the same item of the plan done."""
    return not any(
        other.number == item.number and other.leg < item.leg and other.state not in ("dropped", "not_done")
        for other in run.items
    )


def _step(at: Situation, item: ItemState, procedure: Procedure, step: Step, number: int, leg: Leg) -> CallSpec | None:
    run = at.run
    assert run is not None
    arguments = item_arguments(procedure, item)
    where = acts_at(at, step, item, leg)
    if where is None:
        return None
    act_at, phase, place = where
    if phase is not None and at.clock.status != "waiting" and yellow_at(at, phase):
        return None
    traffic = _traffic(at, procedure, step, leg, phase, act_at)
    measured = at.sharp and leg.running and procedure.hold is not None and step.say_measured is not None
    say = step.say_measured if measured and step.say_measured is not None else step.say
    if step.say_begun is not None and _silent_before(at, leg, step.kind):
        say = step.say_begun
    text = fill(say, arguments)
    short = text if measured else fill(step.short, arguments)  # the short form has the driver count
    cools = number == 0 and makes_it_a_cool_lap(procedure)
    begin, by, waits, room = _place_in_time(at, step, leg, act_at, text, cools)
    return CallSpec(
        key=f"{item.key}-{run.leavings + (0 if at.track.on_track else 1)}-{item.attempt}-{number}",
        kind=step.kind,
        text=text,
        short=short,
        place=place,
        say_from_s=begin,
        say_by_s=by,
        spoken_s=at.spoken(text),
        lead_s=at.timing.lead_s,
        act_at_s=act_at,
        run=run.run.run,
        lap=run.lap_label(item.leg) if run.laps else None,
        leg=leg.index,
        latest_s=latest_start(act_at, at.spoken(text), step.reaction_s) if at.track.on_track else None,
        waits=waits,
        soon_over=cools and room is not None,
        room=room,
        item=item.key,
        caution=_caution(traffic[0], procedure.caution),
        against=traffic[1],
        ask=Ask(
            action="procedure",
            procedure=procedure.name,
            item=item.key,
            arguments=arguments,
            lap_kind="cool" if cools else None,
        ),
    )


def _place_in_time(
    at: Situation, step: Step, leg: Leg, act_at: float, text: str, cools: bool
) -> tuple[float, float, bool, Room | None]:
    """``(from, by, waits for its lap to begin, room for the channel plan)`` of the call for a step. ``cools``: it says
    that its lap is a cool-down lap; spoken where the driver does not listen, the lap is driven at the pace."""
    if step.where in STANDING:
        return *_pit_window(at, step, act_at, text), False, None
    if step.where == "lap_start" and _silent_before(at, leg, step.kind):
        begin = leg.start_s + 1.0
        room = at.room((leg,), begin, begin + KNOWN_BY_S) if cools else None
        return begin, begin + max(step.offset_s, 0.0) + at.timing.window_s, not leg.running, room
    window = at.window(act_at, text, step.reaction_s, leg, step.kind)
    over_by = act_at - at.doubt(act_at, leg) - step.reaction_s
    return window.from_s, window.by_s, False, at.room(at.laps_for(step.kind, leg), over_by - USEFUL_S, over_by)


def _caution(traffic: str | None, written: str | None) -> str | None:
    """Who is there, and the caution of the procedure's file as a sentence of its own."""
    if traffic is None or not written:
        return traffic or (f"{written[:1].upper()}{written[1:]}" if written else None)
    return f"{traffic}. {written[:1].upper()}{written[1:]}"


def _traffic(
    at: Situation, procedure: Procedure, step: Step, leg: Leg, phase: float | None, act_at: float
) -> tuple[str | None, str | None]:
    """``(who is behind there, why it is better left for now)``, as far as the procedure asks and it can be known.

    A lap that is driven anyway, such as a cool-down lap, is not left for traffic: who is there is told all the same.
    """
    if not procedure.clear_behind_s or phase is None or not at.track.on_track or act_at > at.now + FORESEEN_S:
        return None, None
    seen = max(at.track.seen_t, at.legs[0].start_s)
    there_s = leg.at(phase)  # not when the driver acts where that is off the lap: both are of one place
    around = gaps_at(phase, there_s, at.others, doubt_s(leg.kind, there_s - seen))
    needed, close = procedure.clear_behind_s, around.close_behind(procedure.clear_behind_s)
    if close is not None:
        where = f"about {close.gap_s:.0f} s behind" if close is around.behind else "alongside or just ahead"
        against = f"car {close.car} is {where} there, {needed:g} s are needed" if step.kind == "procedure" else None
        return f"Traffic: car {close.car} is {where}", against
    if around.behind is None:
        return f"Nobody within {HORIZON_S:g} s behind", None
    behind = around.behind
    if behind.gap_s - behind.doubt_s < needed:
        # It is more likely far enough than not, and whoever decides knows that it may not be.
        return f"Car {behind.car} is {from_to(behind)} behind, {needed:g} s are needed", None
    return f"Car {behind.car} is about {behind.gap_s:.0f} s behind", None


def from_to(near: Neighbour) -> str:
    """How far off it is at the least and at the most, rounded away from what it likely is: ``7 to 9 s``."""
    return f"{max(0, math.floor(near.gap_s - near.doubt_s))} to {math.ceil(near.gap_s + near.doubt_s)} s"


def _pit_window(at: Situation, step: Step, act_at: float, text: str) -> tuple[float, float]:
    """From when to when a call of the garage or the pit lane may be begun."""
    if step.where == "pit_exit":
        by = act_at - step.reaction_s - at.spoken(text)
        return by - at.timing.window_s, by
    if at.track.on_track:
        return act_at, act_at + 25.0
    # A short stop, or a session that is about to open, leaves less time than usual: say it now.
    begin = max(act_at, at.since_s + 5.0)
    return begin, max(act_at + 25.0, begin + 20.0)


def acts_at(at: Situation, step: Step, item: ItemState, leg: Leg) -> tuple[float, float | None, str] | None:
    """When, at which phase and at which place the driver acts; None where that lies behind or does not apply."""
    if step.where in STANDING:
        # Before the run only what belongs to its beginning: what is for the in-lap comes on it.
        return _in_the_pits(at, step, leg) if at.track.on_track or item.leg == 0 else None
    first = leg.index == 1 and at.plan.medium == "board" and as_it_begins(step)  # no board comes before that lap
    return on_the_lap(at, step, item, leg) if at.track.on_track or leg.index == 0 or first else None


def as_it_begins(step: Step) -> bool:
    """Guard: the driver acts on it as its lap begins, and it neither asks nor says what lap that is."""
    return step.where == "lap_start" and step.offset_s <= 0 and step.kind not in ("run", "question")


def on_the_lap(at: Situation, step: Step, item: ItemState, leg: Leg) -> tuple[float, float | None, str] | None:
    """The same for a step on the lap itself, also of a lap far ahead."""
    named = item.item.after or item.item.at
    if step.where == "place":
        if named is None:
            return None
        phase, place = at.lap_map.phase_of(named), named
    elif step.where == "pit_entry":
        phase, place = at.lap_map.pit_entry, "pit entry"
    else:
        phase, place = (leg.start_phase, "lap start") if step.where == "lap_start" else (1.0, "line")
    if phase < leg.start_phase:
        return None
    act_at = leg.at(phase) + step.offset_s
    return act_at, phase if step.offset_s == 0.0 else _where_it_is(leg, act_at), place


def _where_it_is(leg: Leg, t: float) -> float:
    """The phase of the lap at which the car is at that moment; of its ends the nearer one where that is not on the lap.

    Who is around, and whether a yellow holds, is asked of the place where the driver acts: a step 25 s before the line
    is no step at the line. Bisection, for a lap in time only ever goes on.
    """
    at = leg.as_it_goes() if leg.as_it_goes is not None else leg.at
    low, high = leg.start_phase, 1.0
    if t <= at(low):
        return low
    if t >= at(high):
        return high
    for _ in range(HALVINGS):
        middle = (low + high) / 2.0
        low, high = (middle, high) if at(middle) <= t else (low, middle)
    return low


def _in_the_pits(at: Situation, step: Step, leg: Leg) -> tuple[float, float | None, str] | None:
    if step.where == "pit_exit":
        if at.track.on_track or at.release_s is None:
            return None
        return at.release_s + step.offset_s, None, "pit exit"
    if at.track.on_track:
        if step.where == "garage":
            return None  # nobody reads it out to a car that still rolls: ``back_in_the_garage`` tells it
        entry = leg.at(at.lap_map.pit_entry) if leg.kind in ("in", "installation") else None
        return None if entry is None else (entry + 5.0 + step.offset_s, None, step.where.replace("_", " "))
    if at.release_s is None:
        return None
    return at.release_s - 90.0 + step.offset_s, None, step.where.replace("_", " ")


def yellow_at(at: Situation, phase: float) -> bool:
    """Guard: a yellow holds in the marshal sector of this place, everywhere, or nobody knows where."""
    yellow = at.clock.yellow_sectors
    if at.clock.status == "slow" or (at.clock.status == "yellow" and not yellow):
        return True
    known = {label for label, _ in at.lap_map.sectors}
    if any(sector not in known for sector in yellow):
        return True  # nobody can say where that is
    return any(sector in yellow for sector in at.lap_map.marshal_sectors_at(phase % 1.0))


def _silent_before(at: Situation, leg: Leg, kind: CallClass) -> bool:
    """Guard: the lap before is one on which this may not be said, so it is said as the lap itself begins."""
    run = at.run
    if run is None or leg.index == 0 or not run.laps:
        return False
    # A lap driven again comes after itself.
    again = leg.again or (run.again and leg.running)
    return not at.plan.may_say(kind, run.laps[leg.index if again else leg.index - 1])


def makes_it_a_cool_lap(procedure: Procedure) -> bool:
    """Guard: a procedure for cool-down laps alone, told as the lap begins, says itself that this lap is one."""
    return procedure.laps == ("cool",) and procedure.steps[0].where == "lap_start"
