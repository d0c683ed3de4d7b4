"""Run calls: how many timed laps, and the change between timed and cool-down laps."""

from __future__ import annotations

from collections.abc import Iterable

from pitwall.engine.calls import CallSpec
from pitwall.engine.situation import Leg, Situation
from pitwall.model.outputs import Ask
from pitwall.radio.wording import laps_phrase

SAY_AFTER_LINE_S = 8.0


def calls(at: Situation) -> Iterable[CallSpec]:
    """The run read out on the out-lap, and each cool-down lap and the lap after it announced."""
    run = at.run
    if run is None or at.stopped_by_flag or not at.track.on_track or run.out_in:
        return
    yield from _on_the_out_lap(at)
    for before, leg in zip(at.legs, at.legs[1:], strict=False):
        if leg.kind == "cool" and before.kind != "cool":
            yield _say(
                at,
                leg,
                "Cool-down lap now, cool the car.",
                "Cool-down lap",
                "cool",
                at.begins(leg) + 1.0,
                at.begins(leg) + 1.0 + SAY_AFTER_LINE_S,
                act_at=leg.start_s,
            )
        if leg.kind == "timed" and before.kind == "cool":
            text = "Next lap is timed, push from the line."
            window = at.window(leg.start_s, text, at.timing.switch_reaction_s, before, "run")
            yield _say(at, leg, text, "Push next lap", "timed", window.from_s, window.by_s, act_at=leg.start_s)
    yield from _cool_lap_running(at)


def _cool_lap_running(at: Situation) -> Iterable[CallSpec]:
    """The cool-down lap that has just begun: its call is still to be said when the line is behind."""
    leg, run = at.legs[0] if at.legs else None, at.run
    if leg is None or run is None or leg.index == 0 or run.expected_kind != "cool" or not leg.running:
        return
    if run.pointer > 0 and run.laps[run.pointer - 1] == "cool":
        return
    yield _say(
        at,
        leg,
        "Cool-down lap now, cool the car.",
        "Cool-down lap",
        "cool",
        leg.start_s + 1.0,
        leg.start_s + 1.0 + SAY_AFTER_LINE_S,
        act_at=leg.start_s,
    )


def _on_the_out_lap(at: Situation) -> Iterable[CallSpec]:
    leg = at.legs[0] if at.legs else None
    if leg is None or leg.kind != "out" or len(at.legs) < 2:
        return
    timed = sum(1 for later in at.legs[1:] if later.kind == "timed")
    text = f"{laps_phrase(timed).capitalize()} in this run, then we bring it in."
    window = at.window(leg.end_s, text, 3.0, leg, "run")
    yield _say(
        at, leg, text, laps_phrase(timed), None, min(window.from_s, leg.start_s + 20.0), window.by_s, act_at=None
    )


def _say(
    at: Situation, leg: Leg, text: str, short: str, kind: str | None, begin: float, by: float, act_at: float | None
) -> CallSpec:
    run = at.run
    assert run is not None
    ask = Ask(action="lap_kind", lap_kind=kind) if kind else Ask(action="none")
    return CallSpec(
        key=f"{run.run.run}-{run.leavings}-{leg.index}-run-{kind or 'laps'}",
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
        leg=leg.index,
        ask=ask,
    )
