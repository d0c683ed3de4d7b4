"""Pace calls: the lap time just done, where the quiet rule lets it be said and nothing else is."""

from __future__ import annotations

from collections.abc import Iterable

from pitwall.engine.call import CallSpec
from pitwall.engine.situation import Situation
from pitwall.radio.wording import lap_time_words

BEGIN_S, BY_S = 12.0, 30.0


def calls(at: Situation) -> Iterable[CallSpec]:
    """The last timed lap's time, early on the lap after it."""
    run, track = at.run, at.track
    if run is None or at.stopped_by_flag or track.lap is None or not track.laps or track.lap.start_phase > 0:
        return
    last = track.laps[-1]
    kind = run.expected_kind if run.expected_kind in ("in", "cool") else track.lap_kind
    if last.kind != "timed" or last.lap_time_s is None or not at.plan.may_say("pace", kind):
        return
    text = f"Lap time {lap_time_words(last.lap_time_s)}."
    start = track.lap.start_t
    yield CallSpec(
        key=f"pace-{last.number}",
        kind="pace",
        text=text,
        short=lap_time_words(last.lap_time_s),
        say_from_s=start + BEGIN_S,
        say_by_s=start + BY_S,
        spoken_s=at.spoken(text),
        lead_s=5.0,
        room=at.room(at.legs[:1], start + BEGIN_S, start + BY_S + at.spoken(text)) if at.legs else None,
        run=run.run.run,
        lap_number=track.lap.number,
    )
