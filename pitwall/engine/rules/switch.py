"""Switch calls: what the next lap needs that this lap has not, said in time before that lap begins.

A put-back is nothing else: the lap after the procedure wants the old position again. Comparing lap with lap, and not
procedure with procedure, means that a put-back cannot be forgotten when an item is dropped or moved.
"""

from __future__ import annotations

from collections.abc import Iterable

from pitwall.engine.calls import CallSpec
from pitwall.engine.situation import Leg, Situation
from pitwall.model.car import Position
from pitwall.model.outputs import Ask
from pitwall.radio.wording import switch_words

EARLY_IN_LAP_S = 10.0
GAP_S = 1.5  # between two calls, for the read-back


def calls(at: Situation) -> Iterable[CallSpec]:
    """One call for each switch that changes between two laps of the run."""
    run = at.run
    if run is None or at.stopped_by_flag or not at.track.on_track:
        return
    for before, after in zip(at.legs, at.legs[1:], strict=False):
        was, wanted = at.switches.wanted(run, before.index), at.switches.wanted(run, after.index)
        names = at.switches.changes(was, wanted)
        if before.running:
            names = _as_it_stands(at, before, names, wanted)
        begin_by: float | None = None
        for name, position in sorted(names.items()):
            base = at.switches.wanted(run, 0).get(name)
            spec = _change(at, before, after, name, position, was.get(name), base == position, begin_by)
            # One after the other, the last nearest to the line: two calls cannot share the channel.
            begin_by = spec.say_from_s - GAP_S - spec.spoken_s
            yield spec


def _as_it_stands(
    at: Situation, leg: Leg, planned: dict[str, Position], wanted: dict[str, Position]
) -> dict[str, Position]:
    """On the running lap what really stands decides: add what is off, leave out what telemetry shows in place."""
    off = {name: to for name, to in at.switches.differs(wanted).items() if name in at.switches.measured}
    settled = at.now > leg.start_s + EARLY_IN_LAP_S
    in_place = {name for name in planned if settled and name in at.switches.measured and name not in off}
    return {name: position for name, position in {**off, **planned}.items() if name not in in_place}


def _change(
    at: Situation,
    before: Leg,
    after: Leg,
    name: str,
    position: Position,
    was: Position | None,
    put_back: bool,
    begin_by_s: float | None,
) -> CallSpec:
    run, switch = at.run, at.switches.known(name)
    assert run is not None
    assert switch is not None
    words, short = switch_words(switch, position, was)
    label = run.lap_label(after.index)
    text = f"Before the line: {words}." if not put_back else f"Before the line: {words}, that is back to normal."
    reaction = at.timing.switch_reaction_s + (3.0 if switch.kind == "paged" else 0.0)
    window = at.window(after.start_s, text, reaction, before, "switch", begin_by_s)
    return CallSpec(
        key=f"{run.run.run}-{run.leavings}-{after.index}-switch-{name}",
        kind="switch",
        text=text,
        short=short,
        place="line",
        say_from_s=max(window.from_s, before.start_s),
        say_by_s=window.by_s,
        spoken_s=at.spoken(text),
        lead_s=at.timing.lead_s,
        act_at_s=after.start_s,
        run=run.run.run,
        lap=label,
        leg=before.index,
        ask=Ask(action="set_switch", switch=name, position=position),
    )
