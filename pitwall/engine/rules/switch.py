"""Switch calls: what the next lap needs that this lap has not, said in time before that lap begins.

A put-back is nothing else: the lap after the procedure wants the old position again. Comparing lap with lap, and not
procedure with procedure, means that a put-back cannot be forgotten when an item is dropped or moved. Where the
listening stretches are known each switch is a call of its own: a short one finds a place where a long one finds none.
Else what changes between the same two laps is said in one breath, at most ``GROUP`` switches a call.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Mapping
from functools import lru_cache

from pitwall.engine.call import CallSpec
from pitwall.engine.chances_to_say import SLOW_SPEECH
from pitwall.engine.situation import Leg, Situation
from pitwall.model.car import Position
from pitwall.model.outputs import Ask
from pitwall.model.plan import LapKind
from pitwall.model.record import altered
from pitwall.radio.placing import SayWindow, late_from_s, latest_start, place_call
from pitwall.radio.ways import Room
from pitwall.radio.wording import switch_words

EARLY_IN_LAP_S = 10.0
SETTLE_IN_S = 8.0
GAP_S = 2.5  # between two calls, for the read-back
GROUP = 2  # on track; more in one breath fits few straights and is not remembered (common practice, no source)
USEFUL_S = 70.0  # before the line; earlier it would be forgotten (common practice, no source)
EACH_S, MOST_EACH_S = 7.0, 20.0  # where there are many, the first come so much earlier for each beyond two
SETTLED_PART = 0.4  # of the lap before: until then it is told what this lap itself needs
HALF, THIRD = 0.5, 1.0 / 3.0
"""What a lap needs is told in its first half at the latest. Where the next lap is a timed one, which needs it back, in
its first third: told later it does little good, and takes the channel from its own put-back (a choice of ours)."""
NEXT_LAP = "Next lap: "  # opens the short form
PAGED_S = 3.0  # a setting behind a paged dial takes the driver longer (common practice, no source)


def calls(at: Situation) -> Iterable[CallSpec]:
    """One call, or a few, for what changes between two laps of the run."""
    run = at.run
    if run is None or at.stopped_by_flag or not at.track.on_track:
        return
    if at.legs and at.legs[0].running and at.legs[0].index > 0:
        yield from _just_begun(at, at.legs[0])
    needed = [at.switches.wanted(run, leg.index, leg.again) for leg in at.legs]
    for (before, was), (after, wanted) in itertools.pairwise(zip(at.legs, needed, strict=True)):
        names, in_place = at.switches.changes(was, wanted), set[str]()
        if before.running:
            names, in_place = _as_it_stands(at, before, names, wanted, after.kind)
        begin_by: float | None = None
        groups = _groups(at, names)
        for number, (label, group) in enumerate(groups.items()):
            # What is in place leaves its call, and moves no other switch into another call.
            positions = {name: names[name] for name in group if name not in in_place}
            if not positions:
                continue
            if _after_the_line(at, before.kind, after.kind):
                yield _spec(at, after, label, positions, was, _early(after, number), after.index)
                continue
            spec = _before_the_line(at, before, after, label, positions, was, begin_by, len(groups))
            # One after the other, the last nearest to the line: two calls cannot share the channel.
            begin_by = spec.say_from_s - GAP_S - spec.spoken_s
            yield spec


def _after_the_line(at: Situation, before: LapKind, after: LapKind) -> bool:
    """Guard: the lap before is a timed one, or nothing may be said on it, and the lap after is not timed: there it can
    wait for the line. A board is always for the lap that it begins, as far as it can be."""
    return after != "timed" and (at.plan.medium == "board" or at.plan.changes_wait(before))


def _just_begun(at: Situation, leg: Leg) -> Iterable[CallSpec]:
    """The lap that has just begun after a silent one: what it needs is said now."""
    run = at.run
    assert run is not None
    if not _after_the_line(at, run.laps[leg.index - 1], leg.kind):
        return
    wanted = at.switches.wanted(run, leg.index)
    names = at.switches.differs(wanted)
    for number, (label, group) in enumerate(_groups(at, names).items()):
        window = _early(leg, number)
        spec = _spec(at, leg, label, {name: names[name] for name in group}, wanted, window, leg.index)
        if at.switches.measured_off({name: names[name] for name in group}):
            # Enough of the lap is left: told and not done, it is worth saying once more.
            latest = _told_by(leg, _early_or_not(at, leg, group))
            if at.now <= latest:
                yield altered(spec, not_done=True, latest_s=latest)
        elif at.now <= _over_by(spec) + spec.spoken_s + at.timing.unconfirmed_after_s:
            yield spec


def _told_by(leg: Leg, early_or_not: bool) -> float:
    """When a change for this lap, told on it, must be over."""
    part = THIRD if early_or_not else HALF
    return leg.start_s + part * (leg.end_s - leg.start_s)


def _early_or_not(at: Situation, leg: Leg, names: Iterable[str]) -> bool:
    """Guard: the next lap, a timed one, needs it back, and no item of this lap asks for it."""
    run = at.run
    if run is None or leg.kind == "timed":
        return False
    behind = next((later for one, later in itertools.pairwise(at.legs) if one is leg), None)
    if behind is None or behind.kind != "timed":
        return False
    items = [item for item in run.items if item.leg == leg.index and item.state != "dropped"]
    return {name for item in items for name in at.switches.item_wants(run, item)}.isdisjoint(names)


def _over_by(spec: CallSpec) -> float:
    """Wanted as long as the channel plan may still place it; without stretches its own window is all there is."""
    known = spec.room is not None and spec.room.stretches is not None
    return max(spec.say_by_s, spec.room.end_by_s) if known and spec.room is not None else spec.say_by_s


def _early(leg: Leg, number: int) -> SayWindow:
    begin = leg.start_s + 1.0 + number * EARLY_IN_LAP_S
    return SayWindow(begin, begin + EARLY_IN_LAP_S, None)


def _groups(at: Situation, names: Iterable[str]) -> dict[str, list[str]]:
    """What is said in one call, under the name that the call keeps when the others are done."""
    ordered = sorted(names)
    if at.plan.medium != "board" and at.lap_map.listening is not None:
        return {name: [name] for name in ordered}
    starts = enumerate(range(0, len(ordered), GROUP))
    return {str(number): ordered[start : start + GROUP] for number, start in starts}


def _as_it_stands(
    at: Situation, leg: Leg, planned: dict[str, Position], wanted: dict[str, Position], after: LapKind
) -> tuple[dict[str, Position], set[str]]:
    """On the running lap what stands, or is taken to, decides: added is what is off (a call was left out, or a change
    was made for an item that is no more); and which of all that telemetry shows in place."""
    off = at.switches.differs(wanted)
    if after == "timed" and leg.kind != "timed" and at.switches.answers_entered:
        # Told on an earlier lap or in the garage, never answered, and not measured: nobody knows where it stands.
        watched = at.switches.watched(wanted)
        off |= {name: wanted[name] for name in at.switches.in_doubt() if name in watched}
    # Only a message of this very lap shows that a change of this lap was made: an older one may be of the lap before.
    fresh = {name for name, t in at.switches.measured_t.items() if t > leg.start_s}
    in_place = {name for name in planned if name in fresh and name not in off}
    return {**off, **planned}, in_place


def _before_the_line(
    at: Situation,
    before: Leg,
    after: Leg,
    label: str,
    positions: Mapping[str, Position],
    was: Mapping[str, Position],
    begin_by_s: float | None,
    together: int,
) -> CallSpec:
    for_next = _for_the_next_timed_lap(at, before, after)
    words = _words(at, positions, was, "Before the line: ", NEXT_LAP if for_next else "")
    text, short, reaction = words
    window = at.window(after.start_s, text, reaction, before, "switch", begin_by_s)
    if window.by_s < before.start_s:
        # The lap before the one of the change is too early: said on this one, quiet or not.
        window = place_call(
            after.start_s,
            at.spoken(text),
            reaction,
            at.stretches((before,)),
            before.start_s,
            at.timing.window_s,
            begin_by_s,
        )
    over_by = after.start_s - at.doubt(after.start_s, before) - reaction
    many_s = min(MOST_EACH_S, EACH_S * max(0, together - 2))
    settled = before.start_s + SETTLED_PART * (before.end_s - before.start_s)
    room = at.room((before,), min(over_by - USEFUL_S, max(over_by - USEFUL_S - many_s, settled)), over_by)
    if for_next and room.stretches is not None:
        late_s = late_from_s(room.stretches, SLOW_SPEECH * at.spoken(short), over_by, together)
        room = altered(room, from_s=max(room.from_s, late_s))
    # On a timed lap the change waits for its end; on any other it should have been made soon after the call.
    forgotten = before.running and before.kind != "timed" and any(name in at.switches.measured for name in positions)
    doubted = before.running and at.switches.answers_entered and not positions.keys().isdisjoint(at.switches.in_doubt())
    return _spec(at, after, label, positions, was, window, before.index, room, words,
                 not_done=forgotten and bool(at.switches.measured_off(positions)), unanswered=doubted)


def _for_the_next_timed_lap(at: Situation, before: Leg, after: Leg) -> bool:
    """Guard: both laps are timed ones. A driver who acts at once spoils the lap that he is on, so what the next one
    needs is told late, and in however short a form that it is for the next lap. A board hangs where it hangs."""
    assert at.run is not None
    return at.plan.medium != "board" and at.run.laps[before.index] == after.kind == "timed"


def _words(
    at: Situation, positions: Mapping[str, Position], was: Mapping[str, Position], opening: str, in_short: str = ""
) -> tuple[str, str, float]:
    """``(text, short, reaction in seconds)`` for these changes."""
    said, short, reaction = [], [], at.timing.switch_reaction_s
    for name, position in positions.items():
        switch = at.switches.known(name)
        assert switch is not None
        words, brief = switch_words(switch, position, was.get(name))
        said.append(words)
        short.append(brief)
        reaction += PAGED_S if switch.kind == "paged" else 0.5 * (len(said) > 1)
    text = f"{opening}{', '.join(said)}."
    brief = f"{in_short}{', '.join(short)}"
    return text[:1].upper() + text[1:], brief, reaction


def _spec(
    at: Situation,
    after: Leg,
    label: str,
    positions: Mapping[str, Position],
    was: Mapping[str, Position],
    window: SayWindow,
    leg: int,
    room: Room | None = None,
    words: tuple[str, str, float] | None = None,
    not_done: bool = False,
    unanswered: bool = False,
) -> CallSpec:
    run = at.run
    assert run is not None
    ahead = words is not None  # of the lap, with words of its own; a lap driven again has the number of the spoilt one
    text, short, reaction = words or _words(at, positions, was, "Now: ")
    # What was told before a lap is another call than what is told before it is driven once more.
    lap = f"{after.index}r{at.track.lap_number + 1}" if after.again else f"{after.index}"
    early_or_not = not ahead and _early_or_not(at, after, positions)
    if room is None:
        room = at.room((after,), window.from_s, _told_by(after, early_or_not))
    return CallSpec(
        key=f"{run.run.run}-{run.leavings}-{lap}-switch-{label}",
        kind="switch",
        text=text,
        short=short,
        place="line" if ahead else None,
        say_from_s=min(window.from_s, window.by_s),
        say_by_s=window.by_s,
        spoken_s=at.spoken(text),
        lead_s=at.timing.lead_s,
        act_at_s=after.start_s if ahead else window.by_s + SETTLE_IN_S,
        run=run.run.run,
        lap=run.lap_label(after.index),
        leg=leg,
        waits=not ahead and not after.running,
        latest_s=latest_start(after.start_s, at.spoken(text), reaction) if ahead else None,
        not_done=not_done,
        unanswered=unanswered,
        early_or_not=early_or_not,
        room=room,
        ask=_asked(*next(iter(positions.items()))) if len(positions) == 1
        else Ask(action="set_switch", positions=dict(positions)),
    )


@lru_cache(maxsize=512, typed=True)
def _asked(switch: str, position: Position) -> Ask:
    # Kept, as the same few changes are asked for with every fact; by type, since 1 and on are other positions.
    return Ask(action="set_switch", switch=switch, position=position)
