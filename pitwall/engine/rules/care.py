"""Car care: what telemetry shows of the tyres, as one sentence to a driver who can still do something about it.

Said on the laps on which tyres are looked after, out-laps and cool-down laps. The alert tells the engineer the corner
and the figure; the driver hears the axle and what to do. A pressure that is lost is no care but an alert: box.
"""

from __future__ import annotations

from collections.abc import Iterable

from pitwall.engine.call import CallSpec
from pitwall.engine.situation import Situation

BEGIN_S = 5.0  # after the lap began: the pit exit and the line have the driver's attention
OVER_S = 10.0  # before the lap ends: what is done later changes nothing
WINDOW_S = 25.0
ON_LAPS = ("out", "cool")
AXLES = {"front": "Fronts", "rear": "Rears"}
WORDS = {
    "tyre_cold": ("{axle} are cold, work them before the line.", "{axle} cold, work them"),
    "tyre_hot": ("{axle} are hot, look after them this lap.", "{axle} hot"),
    "tyre_pressure_high": ("{axle} are over pressure, let them breathe.", "{axle} over pressure"),
}  # fmt: skip


def calls(at: Situation) -> Iterable[CallSpec]:
    """One call for each axle and trouble, once a lap."""
    lap = at.track.lap
    if at.run is None or at.stopped_by_flag or lap is None or not at.legs or not at.legs[0].running:
        return
    leg = at.legs[0]
    if leg.kind not in ON_LAPS or not at.plan.may_say("care", leg.kind):
        return
    for (kind, axle), since_s in at.tyres.items():
        if kind not in WORDS or (kind == "tyre_cold" and not _timed_next(at)):
            continue
        text, short = (words.format(axle=AXLES[axle]) for words in WORDS[kind])
        begin, end = max(since_s, lap.start_t + BEGIN_S), leg.end_s - OVER_S
        if begin + at.spoken(text) > end:
            continue
        yield CallSpec(
            key=f"care-{lap.number}-{kind}-{axle}",
            kind="care",
            text=text,
            short=short,
            say_from_s=begin,
            say_by_s=min(begin + WINDOW_S, end - at.spoken(text)),
            spoken_s=at.spoken(text),
            lead_s=5.0,
            room=at.room((leg,), begin, end),
            run=at.run.run.run,
            lap_number=lap.number,
        )


def _timed_next(at: Situation) -> bool:
    """Guard: cold tyres matter where a timed lap follows."""
    return len(at.legs) > 1 and at.legs[1].kind == "timed"
