"""How fast a car goes of late: what it showed in the last seconds, not on the lap as a whole.

A lap as a whole says too little about the next corner. A car that stood for a start, or held a speed for a procedure,
took longer than it goes now; one whose driver has not heard yet that the lap is a cool-down lap still goes quickly.
"""

from __future__ import annotations

import itertools

from pitwall.engine.whereabouts import Whereabouts
from pitwall.pace.arrivals import Sighting

LEAST_S = 3.5  # over a shorter time a metre or two of a position is too large a part of the way


def least_slower(track: Whereabouts) -> float | None:
    """By how many times the reference lap time the car goes of late, rather too little than too much.

    The quicker of the older and the later part of the last ten seconds of positions. None without them: two loops lie
    so far apart that the pace between them is the lap's own.
    """
    last = track.trail[-1] if track.trail else None
    seen = track.trail if last is not None and last.t >= track.seen_t - LEAST_S else ()
    if len(seen) < 2 or seen[-1].t - seen[0].t < LEAST_S:
        return None
    middle = min(seen, key=lambda one: abs(one.t - 0.5 * (seen[0].t + seen[-1].t)))
    pieces = [(before, after) for before, after in itertools.pairwise((seen[0], middle, seen[-1]))
              if after.t - before.t >= LEAST_S]
    lap_s = track.lap_map.lap_s
    return min(_slower(before, after, lap_s) for before, after in pieces or [(seen[0], seen[-1])])


def _slower(before: Sighting, after: Sighting, lap_s: float) -> float:
    return (after.t - before.t) / max((after.phase - before.phase) * lap_s, 1e-6)
