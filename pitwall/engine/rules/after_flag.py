"""Items after the flag: practice starts and the like, told on the in-lap where the regulations list them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from pitwall.engine.call import CallSpec
from pitwall.engine.item_arguments import item_arguments
from pitwall.engine.last_release import is_for_flag
from pitwall.engine.progress import ItemState, RunState
from pitwall.engine.situation import Leg, Situation
from pitwall.engine.talk_times import KEY_S
from pitwall.model.outputs import Ask
from pitwall.model.procedure import Procedure
from pitwall.radio.wording import count_word

SETTLES_S = 15.0  # the flag call and its read-back come first
TOLD_BY_PHASE = 0.7
PIT_EXIT = "pit exit"  # the car goes through the lane to it
TOLD = ("called", "done", "probably_done")


def calls(at: Situation) -> Iterable[CallSpec]:
    """One call for each item of a block that may be done after the flag."""
    leg = _in_lap(at)
    for run, item, procedure in _listed(at) if leg is not None else ():
        if leg is not None and item.state in ("planned", "called"):
            yield from _told(at, run, item, procedure, leg)


def goes_there_first(at: Situation) -> bool:
    """Guard: on this lap the driver is told, or was, to go to a place beyond the pit entry, and to come in after that:
    "box this lap" would contradict it."""
    leg = _in_lap(at)
    if leg is None or at.plan.medium == "board":
        return False
    for _, item, procedure in _listed(at):
        begin, by, last = _time_for(at, item, procedure, leg)
        # Its key may still come a moment later.
        to_come = item.state == "planned" and begin <= last and at.now <= by + at.timing.unconfirmed_after_s + KEY_S
        told_t = item.t if item.told_t is None else item.told_t
        told = item.state in TOLD and told_t is not None and told_t >= leg.start_s
        if _place(item) != PIT_EXIT and (to_come or told):
            return True
    return False


def _in_lap(at: Situation) -> Leg | None:
    leg = at.legs[0] if at.legs else None
    if at.clock.status != "finished" or leg is None or not leg.running or leg.kind not in ("in", "installation"):
        return None
    return leg


def _listed(at: Situation) -> Iterator[tuple[RunState, ItemState, Procedure]]:
    """Items of blocks for this flag that the regulations list."""
    allowed = at.clock.after_flag_items
    for run in at.progress.runs:
        for item in run.items if is_for_flag(run, at.clock) else ():
            procedure = at.procedures.get(item.item.do)
            if procedure is not None and item.item.do in allowed:
                yield run, item, procedure


def _place(item: ItemState) -> str:
    return item.item.at or PIT_EXIT


def _time_for(at: Situation, item: ItemState, procedure: Procedure, leg: Leg) -> tuple[float, float, float]:
    """``(from, by, latest)`` when it may be begun to be told, session seconds; nothing where it could be only after the
    latest."""
    begin = max(leg.start_s, at.clock.finished_t or leg.start_s) + SETTLES_S
    spoken = at.spoken(told_at(_place(item), what_of(item)))
    last = leg.at(at.lap_map.last_chance) - spoken - procedure.steps[0].reaction_s
    return begin, min(max(leg.at(TOLD_BY_PHASE), begin + at.timing.window_s), last), last


def what_of(item: ItemState) -> str:
    """``two practice starts``."""
    name, many = item.item.do.replace("_", " "), item.item.times
    return f"{count_word(many)} {name}{'s' if many > 1 else ''}"


def told_at(place: str, what: str) -> str:
    """What the driver hears of a block after the flag."""
    return f"{place[:1].upper()}{place[1:]}: {what}, where the marshals let you, then pits."


def _told(at: Situation, run: RunState, item: ItemState, procedure: Procedure, leg: Leg) -> Iterator[CallSpec]:
    """From the flag on, or from the beginning of a lap that began after it, until the car can still go there instead of
    into the pits; nothing where the flag fell too near to them."""
    place, what = _place(item), what_of(item)
    text = told_at(place, what)
    begin, by, last = _time_for(at, item, procedure, leg)
    if begin > last:
        return
    yield CallSpec(
        key=f"{item.key}-after-flag",
        kind="procedure",
        text=text,
        short=f"{place}: {what}",
        place=place,
        say_from_s=begin,
        say_by_s=by,
        spoken_s=at.spoken(text),
        lead_s=at.timing.lead_s,
        run=run.run.run,
        lap="after the flag",
        lap_number=at.track.lap_number,
        item=item.key,
        caution=procedure.caution,
        ask=Ask(action="procedure", procedure=procedure.name, item=item.key, arguments=item_arguments(procedure, item)),
    )
