"""Run calls: how many timed laps, and the change between timed and cool-down laps."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence

from pitwall.engine.call import CallSpec
from pitwall.engine.rules.procedure import KNOWN_BY_S, makes_it_a_cool_lap
from pitwall.engine.situation import Leg, Situation
from pitwall.model.outputs import Ask
from pitwall.model.plan import LapKind
from pitwall.radio.board import MOST_LINES
from pitwall.radio.ways import Room
from pitwall.radio.wording import count_word, laps_phrase, run_phrase

PUSH_AGAIN = "Next lap is timed, push from the line."
COOL_NOW = "Cool-down lap now, cool the car."
SAY_AFTER_LINE_S = 8.0
SETTLED_S = 20.0  # after the pit exit (common practice, no source)
CLOCK_S = 2.0  # the official clock is known to a second or two (common practice, no source)
USEFUL_S = 60.0  # before the line (common practice, no source)


def calls(at: Situation) -> Iterable[CallSpec]:
    """The run read out on the out-lap, and each cool-down lap and the lap after it announced."""
    run = at.run
    if run is None or at.stopped_by_flag or not at.track.on_track or run.out_in or not at.legs:
        return
    yield from _on_the_out_lap(at)
    if at.legs[0].running and at.legs[0].index > 0 and run.laps[at.legs[0].index - 1] != "cool":
        yield from _cool(at, at.legs[0])
    for before, leg in itertools.pairwise(at.legs):
        if before.kind != "cool":
            yield from _cool(at, leg)
        # Under a slow period nobody knows yet whether the next lap is one to push on.
        unknown = leg.again and at.clock.status == "slow"
        if leg.kind == "timed" and before.kind == "cool" and not unknown and not _flag_comes_first(at, before, leg):
            text = PUSH_AGAIN
            window = at.window(leg.start_s, text, at.timing.switch_reaction_s, before, "run")
            over_by = leg.start_s - at.doubt(leg.start_s, before) - at.timing.switch_reaction_s
            room = at.room((before,), over_by - USEFUL_S, over_by)
            yield _say(at, leg, text, "Next lap: push", "timed", window.from_s, window.by_s, leg.start_s, room)


def _flag_comes_first(at: Situation, before: Leg, leg: Leg) -> bool:
    """Guard: the flag falls on the lap before it, so it will not be driven at the pace."""
    return at.clock.running and at.clock.end_s(at.now) + CLOCK_S < leg.start_s - at.doubt(leg.start_s, before)


def laps_told(timed: int, cool: int) -> str:
    """What the driver hears on the out-lap of so many timed laps, with cool-down laps between them or none."""
    return f"{run_phrase(timed, cool).capitalize()}, then the in-lap."


def _cool(at: Situation, leg: Leg) -> Iterable[CallSpec]:
    """The cool-down lap announced as it begins, unless an item of that lap does it in its own words."""
    run = at.run
    assert run is not None
    if (run.laps[leg.index] if leg.running else leg.kind) != "cool":
        return
    own = (at.procedures.get(item.item.do) for item in run.items if item.leg == leg.index and item.state != "dropped")
    if any(procedure is not None and makes_it_a_cool_lap(procedure) for procedure in own):
        return
    begin = leg.start_s + 1.0
    yield _say(at, leg, COOL_NOW, "Cool-down lap", "cool", begin, begin + SAY_AFTER_LINE_S, leg.start_s,
               at.room((leg,), begin, begin + KNOWN_BY_S))


def _on_the_out_lap(at: Situation) -> Iterable[CallSpec]:
    leg = at.legs[0] if at.legs else None
    if leg is None or leg.kind != "out" or len(at.legs) < 2:
        return
    timed = sum(1 for later in at.legs[1:] if later.kind == "timed")
    text = laps_told(timed, sum(1 for later in at.legs[1:] if later.kind == "cool"))
    window = at.window(leg.end_s, text, 3.0, leg, "run")
    room = at.room((leg,), leg.start_s + SETTLED_S, leg.end_s - 3.0)
    begin = min(window.from_s, leg.start_s + SETTLED_S)
    short = laps_in_turn([later.kind for later in at.legs[1:]])
    yield _say(at, leg, text, short.capitalize(), None, begin, window.by_s, None, room)


def laps_in_turn(kinds: Sequence[LapKind]) -> str:
    """The run in short, with its cool-down laps where they come, for "two timed laps" would be driven as two in a row:
    ``two timed, cool, two timed``; in more parts than a board has lines, how many of each: ``three timed, two cool``.
    ``kinds``: the laps that are still to come."""
    together = [(kind, len([*group])) for kind, group in itertools.groupby(kinds) if kind in ("timed", "cool")]
    if not any(kind == "cool" for kind, _ in together):
        return laps_phrase(kinds.count("timed"))
    if len(together) > MOST_LINES:
        together = [("timed", kinds.count("timed")), ("cool", kinds.count("cool"))]
    return ", ".join(kind if (kind, number) == ("cool", 1) else f"{count_word(number)} {kind}"
                     for kind, number in together)


def _say(
    at: Situation, leg: Leg, text: str, short: str, kind: str | None, begin: float, by: float, act_at: float | None,
    room: Room,
) -> CallSpec:
    run = at.run
    assert run is not None
    ask = Ask(action="lap_kind", lap_kind=kind) if kind else Ask(action="none")
    # What was told before a lap is another call than what is told before it is driven once more.
    lap = f"{leg.index}r{at.track.lap_number + 1}" if leg.again else f"{leg.index}"
    return CallSpec(
        key=f"{run.run.run}-{run.leavings}-{lap}-run-{kind or 'laps'}",
        kind="run",
        text=text,
        short=short,
        say_from_s=begin,
        say_by_s=by,
        spoken_s=at.spoken(text),
        lead_s=at.timing.lead_s,
        act_at_s=act_at,
        run=run.run.run,
        lap=run.lap_label(leg.index),
        waits=kind == "cool" and not leg.running,
        soon_over=kind == "cool",
        leg=leg.index,
        room=room,
        ask=ask,
    )
