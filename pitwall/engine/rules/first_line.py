"""A pit board is first read at the first line: what must have changed by then is told in the garage, before leaving,
and so is that a car comes straight back in."""

from __future__ import annotations

from collections.abc import Iterable

from pitwall.engine.call import CallSpec
from pitwall.engine.rules.box import ASK
from pitwall.engine.run_state import RunState
from pitwall.engine.situation import Situation
from pitwall.model.outputs import Ask
from pitwall.model.plan import CallClass
from pitwall.radio.wording import switch_words

STRAIGHT_IN = "Straight back in: box at the end of the out-lap."
ON_THE_OUT_LAP = "On the out-lap, before the line: "
GROUP = 3  # more in one breath is not remembered (common practice, no source)
BEFORE_S, APART_S, OPEN_S, LEAST_S = 70.0, 15.0, 40.0, 10.0  # back from leaving; behind the switch check (as above)


def calls(at: Situation) -> Iterable[CallSpec]:
    """The changes between the out-lap and the lap after it, under the names that they would have on track; for a car
    that is to come straight back in, that."""
    run = at.run
    if run is None or at.track.on_track or at.plan.medium != "board" or at.release_s is None or not at.legs:
        return
    if at.stopped_by_flag or at.kept_in or not at.feed_speaks:
        return
    if run.out_in:
        key = f"{run.run.run}-{run.leavings + 1}-straight-in"
        yield _told(at, run, key, "box", STRAIGHT_IN, "Straight back in", 0, at.legs[0].end_s, ASK)
    if len(at.legs) < 2:
        return
    out, after = at.legs[0], at.legs[1]
    was = at.switches.wanted(run, out.index)
    names = at.switches.changes(was, at.switches.wanted(run, after.index))
    ordered = sorted(names)
    for number, start in enumerate(range(0, len(ordered), GROUP)):
        positions = {name: names[name] for name in ordered[start : start + GROUP]}
        said = [switch_words(switch, to, was.get(name)) for name, to in positions.items()
                if (switch := at.switches.known(name)) is not None]
        text = f"{ON_THE_OUT_LAP}{', '.join(words for words, _ in said)}."
        single = next(iter(positions)) if len(positions) == 1 else None
        ask = Ask(action="set_switch", switch=single, position=positions[single] if single else None,
                  positions={} if single else dict(positions))
        key, short = f"{run.run.run}-{run.leavings + 1}-{after.index}-switch-{number}", ", ".join(s for _, s in said)
        yield _told(at, run, key, "switch", text, short, number, after.start_s, ask)


def _told(at: Situation, run: RunState, key: str, kind: CallClass, text: str, short: str, number: int, act_at: float,
          ask: Ask) -> CallSpec:
    begin = max((at.release_s or 0.0) - BEFORE_S + number * APART_S, at.since_s + LEAST_S)
    return CallSpec(
        key=key,
        kind=kind,
        text=text,
        short=short,
        place="garage",
        say_from_s=begin,
        say_by_s=begin + OPEN_S,
        spoken_s=at.spoken(text),
        lead_s=at.timing.lead_s,
        act_at_s=act_at,
        run=run.run.run,
        lap="garage",
        ask=ask,
    )
