"""The end of what the driver is doing: a hold whose time is over, what must be broken off, a hold to be asked about.

The end of a hold is called only where positions of 5 Hz or better show when it began; its prompt stands there from the
beginning, so that a screen can count down to it. A procedure that was told is broken off when a yellow falls at its
place, or when a car is seen to come twice as close as it needs clear. A hold that nobody saw is asked about once, on
the next lap on which there is time for a question.
"""

from __future__ import annotations

from collections.abc import Iterable

from pitwall.engine.call import CallSpec
from pitwall.engine.gaps import gaps_at
from pitwall.engine.item_arguments import item_arguments
from pitwall.engine.progress import ItemState
from pitwall.engine.rules.procedure import acts_at, yellow_at
from pitwall.engine.situation import Leg, Situation
from pitwall.model.procedure import Ending, Procedure

END_WITHIN_S = 2.0
TOO_CLOSE = 0.5
LASTS_S = 8.0  # what gives no length of its own (common practice, no source)
SLACK_S = 3.0
ASKED_FROM_S, ASKED_BY_S = 25.0, 60.0  # past the first corners, when the comment has been asked for


def calls(at: Situation) -> Iterable[CallSpec]:
    """The end of the hold that is seen, and what must be broken off."""
    run = at.run
    if run is None or not at.track.on_track or not at.legs or not at.legs[0].running:
        return
    if at.plan.medium == "board":
        return  # nobody can be told anything between two passes
    leg = at.legs[0]
    for item in run.items:
        procedure = at.procedures.get(item.item.do)
        if procedure is not None and procedure.hold is not None and item.state == "probably_done":
            yield from _asked(at, item, leg)
        if procedure is None or item.leg != (leg.index if not run.out_in else item.leg):
            continue
        end, over_at = procedure.hold.end if procedure.hold is not None else None, at.over_at(item.key)
        if end is not None and over_at is not None:
            yield _call(at, item, leg, end, "end", over_at, over_at + END_WITHIN_S)
        if procedure.early_end is not None and item.state == "called":
            yield from _broken_off(at, item, procedure, procedure.early_end, leg)


def _asked(at: Situation, item: ItemState, leg: Leg) -> Iterable[CallSpec]:
    """Was it held? The driver's word, confirmed at the desk, makes it done."""
    if at.plan.medium != "two_way" or leg.kind not in ("cool", "in") or item.leg >= leg.index:
        return
    place = item.item.after or item.item.at
    run = at.run
    assert run is not None
    text = f"The hold after {place}: was it steady?"
    yield CallSpec(
        key=f"{item.key}-{run.leavings}-asked",
        kind="question",
        text=text,
        short="Was the hold steady?",
        say_from_s=leg.start_s + ASKED_FROM_S,
        say_by_s=leg.start_s + ASKED_BY_S,
        room=at.room((leg,), leg.start_s + ASKED_FROM_S, leg.start_s + ASKED_BY_S + at.spoken(text)),
        spoken_s=at.spoken(text),
        lead_s=at.timing.lead_s,
        run=run.run.run,
        lap=run.lap_label(leg.index),
        leg=leg.index,
        lap_number=at.track.lap_number,
        item=item.key,
    )


def _broken_off(
    at: Situation, item: ItemState, procedure: Procedure, ending: Ending, leg: Leg
) -> Iterable[CallSpec]:
    where = acts_at(at, procedure.steps[0], item, leg)
    if where is None:
        return
    begins, phase, _ = where
    if phase is None:
        return
    ends = _ends(procedure, item, begins, leg)
    if not begins - SLACK_S <= at.now <= ends:
        return
    why = None
    if yellow_at(at, phase):
        why = "yellow flag"
    elif procedure.clear_behind_s:
        behind = gaps_at(phase, leg.at(phase), at.others).behind
        if behind is not None and behind.gap_s < TOO_CLOSE * procedure.clear_behind_s:
            why = f"car {behind.car} is about {behind.gap_s:.0f} s behind"
    if why is not None:
        yield _call(at, item, leg, ending, "break", begins - SLACK_S, ends, why)


def _ends(procedure: Procedure, item: ItemState, begins: float, leg: Leg) -> float:
    """When the driver is through with it, at the latest."""
    if procedure.hold is None and procedure.data_window == "lap":
        return leg.end_s
    arguments = item_arguments(procedure, item)
    told = procedure.hold.seconds if procedure.hold is not None else "seconds"
    seconds = arguments.get(told, LASTS_S) if isinstance(told, str) else told
    length = float(seconds) if isinstance(seconds, int | float) else LASTS_S
    return begins + length + (procedure.hold.settle_s if procedure.hold is not None else 0.0) + SLACK_S


def _call(
    at: Situation, item: ItemState, leg: Leg, ending: Ending, what: str, begin: float, by: float, why: str | None = None
) -> CallSpec:
    run = at.run
    assert run is not None
    return CallSpec(
        key=f"{item.key}-{run.leavings}-{item.attempt}-{what}",
        kind="safety" if why is not None else "procedure",
        text=ending.say,
        short=ending.short,
        say_from_s=begin,
        say_by_s=by,
        spoken_s=at.spoken(ending.say),
        lead_s=0.0 if why is not None else max(at.timing.lead_s, begin - at.now),
        act_at_s=by if why is not None else begin,
        run=run.run.run,
        lap=run.lap_label(leg.index),
        leg=leg.index,
        lap_number=at.track.lap_number,
        item=item.key if why is not None else None,
        caution=None if why is None else f"Break off: {why}",
        breaks_off=why,
    )
