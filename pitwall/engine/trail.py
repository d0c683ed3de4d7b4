"""How fast a car goes of late: what it showed in the last seconds, not on the lap as a whole.

A lap as a whole says too little about the next corner. A car that stood for a start, or held a speed for a procedure,
took longer than it goes now; one whose driver has not heard yet that the lap is a cool-down lap still goes quickly.
"""

from __future__ import annotations

import itertools

from pitwall.engine.whereabouts import Whereabouts
from pitwall.pace.arrivals import Sighting

HEARS_S = 8.0  # after the line the driver has heard what lap this is, and goes as fast as that (common practice)
LEAST_S = 3.5  # over a shorter time a metre or two of a position is too large a part of the way


def least_slower(track: Whereabouts, now: float) -> float | None:
    """By how many times the reference lap time the car goes of late, rather too little than too much.

    From sightings the quicker of the older and the later part of the last ten seconds; without them from the last part
    between two loops, as long as the driver may still go as fast. None where the car was not seen twice since it left
    the pits.
    """
    seen = _sightings(track) or _crossings(track, now)
    if len(seen) < 2 or seen[-1].t - seen[0].t < LEAST_S:
        return None
    middle = min(seen, key=lambda one: abs(one.t - 0.5 * (seen[0].t + seen[-1].t)))
    pieces = [(before, after) for before, after in itertools.pairwise((seen[0], middle, seen[-1]))
              if after.t - before.t >= LEAST_S]
    lap_s = track.lap_map.lap_s
    return min(_slower(before, after, lap_s) for before, after in pieces or [(seen[0], seen[-1])])


def _sightings(track: Whereabouts) -> tuple[Sighting, ...]:
    """The last ones, if they are of now; phases count on over the line."""
    last = track.trail[-1] if track.trail else None
    return track.trail if last is not None and last.t >= track.seen_t - LEAST_S else ()


def _crossings(track: Whereabouts, now: float) -> tuple[Sighting, ...]:
    """The last part between two loops, that of the lap before where this one has just begun."""
    lap = track.lap
    if lap is None:
        return ()
    found = [Sighting(lap.start_t, lap.start_phase)]
    found += [Sighting(t, track.lap_map.loops[loop]) for loop, t in lap.crossings.items()]
    before = track.laps[-1] if track.laps and now < lap.start_t + HEARS_S else None
    if len(found) == 1 and lap.start_phase == 0.0 and before is not None and before.ended_at == "line":
        found += [Sighting(t, track.lap_map.loops[loop] - 1.0) for loop, t in before.crossings.items()]
    return tuple(sorted(found, key=lambda one: one.phase)[-2:])


def _slower(before: Sighting, after: Sighting, lap_s: float) -> float:
    return (after.t - before.t) / max((after.phase - before.phase) * lap_s, 1e-6)
