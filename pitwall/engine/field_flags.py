"""The laps of the other cars after a flag by hand was taken back: those of our own are thought over whole."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator

from pitwall.engine.car import CarTrack
from pitwall.engine.field import Field, lap_judged
from pitwall.engine.hand_clock import ClockHistory
from pitwall.engine.laps import LapRecord
from pitwall.model.outputs import LapJudged
from pitwall.pace.kinds import judge_complete

Spans = tuple[tuple[float, float], ...]


def taken_back(
    field: Field, ours: Collection[str], clocks: ClockHistory, since: float, now: float
) -> Iterator[LapJudged]:
    """Take from every lap of the others what no flag did to it; each that turns out to be of another kind is told.

    What the pace model was told of such a lap when it ended stays: it counted for little there. As a quick lap it
    counts from now on.

    Args:
        field: of all cars.
        ours: cars whose history was gone over already.
        clocks: as they are believed now.
        since: when the flag was entered that is taken back.
        now: session second.
    """
    shown = [(since, clocks.at(since)), *clocks.since(since)]
    field.yellows.again(since, [(t, one.status == "yellow" or bool(one.yellow_sectors)) for t, one in shown], now)
    disturbed = _disturbed(clocks)
    for name, track in field.tracks.items():
        if name in ours:
            continue
        ended = [lap for lap in track.laps if lap.end_t is not None and lap.end_t >= since]
        for lap in (*ended, *([track.lap] if track.lap is not None else [])):
            kind = lap.kind
            _clear(lap, disturbed)
            if lap in ended and not lap.disturbed and _judged_anew(track, lap) != kind:
                yield lap_judged(track, lap, "line", None, lap.kind, now)


def _disturbed(clocks: ClockHistory) -> Spans:
    """From when to when a slow or red period held, by what is believed now."""
    first = clocks.inputs[0].before.disturbed if clocks.inputs else False
    changes = [(-math.inf, first), *((t, clock.disturbed) for t, clock in clocks.since(-math.inf))]
    ends = [*(t for t, _ in changes[1:]), math.inf]
    return tuple((t, end) for (t, held), end in zip(changes, ends, strict=True) if held and t <= end)


def _clear(lap: LapRecord, spans: Spans) -> None:
    """Only ever less: a crossing that came late was judged by the flag that held as it came."""
    end = math.inf if lap.end_t is None else lap.end_t
    lap.disturbed &= any(since <= end and until >= lap.start_t for since, until in spans)
    passed = {"line": lap.start_t} | lap.crossings
    lap.slow_at = tuple(place for place in lap.slow_at
                        if any(since <= passed.get(place, end) <= until for since, until in spans))


def _judged_anew(track: CarTrack, lap: LapRecord) -> str:
    """A whole lap that no flag touched is judged by its time, and teaches how quick the field is."""
    if not lap.complete or lap.lap_time_s is None or lap.end_t is None or lap.inferred_end or lap.kind == "timed":
        return lap.kind
    lap.kind = judge_complete(track.pace, lap.lap_time_s, lap.end_t, False, track.on, lap.word)
    if lap.kind == "timed":
        at_loops = {loop: t - lap.start_t for loop, t in lap.crossings.items()}
        track.pace.learn_lap("timed", lap.lap_time_s, lap.end_t, at_loops)
    return lap.kind
