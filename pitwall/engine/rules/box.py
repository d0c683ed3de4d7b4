"""Box calls: at the start of the in-lap, and again before the last place from which the pit entry can be taken.

Past that place a box call is dangerous: the prompt then says to keep silent until past the entry, and the box moves one
lap. Opposite calls never share the action word: a car that was called in and is to go on is told to stay out, at once.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from pitwall.engine.call import CallSpec
from pitwall.engine.rules.after_flag import goes_there_first
from pitwall.engine.run_state import RunState
from pitwall.engine.session_clock import RUNNING
from pitwall.engine.situation import Leg, Situation
from pitwall.model.outputs import Ask
from pitwall.radio.placing import latest_start
from pitwall.radio.ways import Room

TOO_LATE = "Too late for the pit entry: say nothing until the car is past it. The box moves one lap."
REMINDER_WINDOW_S = 10.0
BEFORE_AGAIN_S = 8.0  # before the last place: from there on the reminder is the call (common practice, no source)
REMIND_FROM_S = 45.0  # before the last chance: on an in-lap the driver talks through many a stretch (common practice)
FROM_LINE_S = 0.3  # the straight behind the line is short: the engineer is ready as the car crosses it
BOX = "Box this lap, box this lap."
BOX_AGAIN = "Box, box. Pit entry this lap."
BOX_AGAIN_SHORT = "Box, box"
AGAIN = "-again"
PAST = "-past"
STAY_OUT = "Stay out, stay out."
STAY_OUT_WITHIN_S = 8.0  # as news: until he hears it the driver slows down
ASK = Ask(action="box")


def calls(at: Situation) -> Iterable[CallSpec]:
    """The two box calls of the in-lap, also when it still lies ahead; and that a driver who was called in goes on."""
    yield from _stay_out(at)
    run = at.run
    if run is None or at.boxes_silent or not at.legs or (not at.track.on_track and not run.out_in):
        return
    leg = at.legs[-1] if at.legs[-1].kind in ("in", "installation") else None
    if leg is None or not at.track.on_track or (leg.running and (goes_there_first(at) or _stays_for_the_flag(at, run))):
        return
    text = BOX if run.out_in or run.stayed_out == 0 else "Box now, box this lap."
    # Called in past the entry: on this lap it is too late, and the calls of the next one are others.
    key = f"{run.run.run}-box-{run.leavings}-{run.stayed_out}{PAST if run.boxed_past else ''}"
    act_at = leg.at(at.lap_map.last_chance)
    if leg.running:
        # The deadline is not where the car should be, but where it can be.
        act_at = min(act_at, at.track.earliest(at.lap_map.last_chance) or act_at)
    reaction = at.timing.box_reaction_s
    first_from = leg.start_s + (10.0 if leg.start_phase > 0 else FROM_LINE_S)
    first_by = min(first_from + at.timing.window_s, act_at - reaction - at.spoken(text))
    again = BOX_AGAIN
    by = last = latest_start(act_at, at.spoken(again), reaction)
    placed = at.window(act_at, again, reaction, leg, "box")
    by = min(by, placed.by_s) if placed.in_listening and placed.by_s > act_at - 20.0 else by
    window_from = min(max(first_by + 6.0, by - REMINDER_WINDOW_S), by)
    lead = max(0.0, window_from - (act_at - at.timing.box_shown_before_s))
    # Called in from the middle of the lap, the first call is made at once, as long as the second is not due anyway.
    yield _call(
        at,
        leg,
        key,
        text,
        "Box this lap",
        first_from,
        first_by,
        0.0,
        act_at,
        window_from - 6.0,
        at.room((leg,), first_from, act_at - reaction - BEFORE_AGAIN_S),
    )
    room = at.room((leg,), max(act_at - REMIND_FROM_S, first_from), act_at - reaction)
    yield _call(
        at, leg, f"{key}{AGAIN}", again, BOX_AGAIN_SHORT, window_from, by, lead, act_at, last, room
    )


def _stays_for_the_flag(at: Situation, run: RunState) -> bool:
    """Guard: what comes after the flag needs the car on track as it falls, and the flag is all for which it would be
    called in before. On a run of the plan it is called all the same where a person wants it in; on a lap for the block
    alone nobody can ask pitwall for that, and who wants it in tells the driver (``commands.py`` says so)."""
    alone = run.for_flag or (run.called_for_flag and math.isfinite(run.flag_was_s))
    return at.block is not None and alone and at.clock.status in RUNNING and at.plan.medium != "board"


def _stay_out(at: Situation) -> Iterable[CallSpec]:
    run = at.run
    if run is None or at.called_in is None or at.boxes_silent or not at.legs:
        return
    number, since = at.called_in
    leg, short = at.legs[0], "Stay out"
    act_at = leg.at(at.lap_map.last_chance)
    over_by = min(act_at, at.track.earliest(at.lap_map.last_chance) or act_at) - at.timing.box_reaction_s
    latest = over_by - at.spoken(short)
    if latest < since:
        return  # it would be heard in the pit entry
    yield CallSpec(
        key=f"{run.run.run}-stay-out-{run.leavings}-{number}",
        kind="box",
        text=STAY_OUT,
        short=short,
        say_from_s=since,
        say_by_s=min(since + STAY_OUT_WITHIN_S, latest),
        spoken_s=at.spoken(STAY_OUT),
        lead_s=0.0,
        act_at_s=act_at,
        run=run.run.run,
        lap=run.lap_label(leg.index),
        leg=leg.index,
        latest_s=latest,
        room=at.room((leg,), since, min(over_by, since + STAY_OUT_WITHIN_S + at.spoken(STAY_OUT))),
        ask=Ask(action="stay_out"),
        lap_number=at.track.lap_number,
        soon_over=True,
    )


def next_lap_key(run: RunState) -> str:
    """Key that the second call has once the car has stayed out for one more lap."""
    return f"{run.run.run}-box-{run.leavings}-{run.stayed_out + 1}{AGAIN}"


def _call(
    at: Situation,
    leg: Leg,
    key: str,
    text: str,
    short: str,
    say_from: float,
    say_by: float,
    lead: float,
    act_at: float,
    latest: float | None = None,
    room: Room | None = None,
) -> CallSpec:
    run = at.run
    assert run is not None
    return CallSpec(
        key=key,
        kind="box",
        text=text,
        short=short,
        place="pit entry",
        say_from_s=min(say_from, say_by),
        say_by_s=say_by,
        spoken_s=at.spoken(text),
        lead_s=lead,
        act_at_s=act_at,
        run=run.run.run,
        lap="in-lap" if leg.kind == "in" else "installation lap",
        leg=leg.index,
        latest_s=latest,
        room=room,
        ask=ASK,
        lap_number=at.track.lap_number if leg.running else None,
        waits=not leg.running,
        late_text=TOO_LATE if key.endswith(AGAIN) else None,
    )
