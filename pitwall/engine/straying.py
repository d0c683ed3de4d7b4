"""How well a moment ahead will be known when it comes: by how many seconds the car may be early or late there.

Between loops what is known of a car grows old; at each loop it is known anew. A call is planned long before it is
spoken, and its window follows the car: what counts is how sure its place is at the moment of speaking, and that is what
has come to be unknown since the last loop before it.

So it is reckoned on out-laps, whose outlook is good from the pit exit on, of cars without positions. On a lap that has
just begun at the line its kind is a guess until the first loop, and that doubt is no matter of seconds.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pitwall.engine.situation import Leg
    from pitwall.engine.whereabouts import Whereabouts

LEAST, LATER = 0.005, 0.01  # seconds a second: at least, and on laps that have not begun (choices of ours)


@dataclass(frozen=True)
class Straying:
    """In pieces: from ``from_s`` of each on it grows by ``rates`` seconds a second from ``begins_at``.

    ``unseen_s``: what was in doubt up to there; a car that is late by as much as a moment lies behind a loop has not
    been seen at the loop by then.
    """

    from_s: tuple[float, ...]
    rates: tuple[float, ...]
    begins_at: tuple[float, ...]
    unseen_s: tuple[float, ...]

    def at(self, t: float) -> float:
        """Seconds from the usual moment to the 10 or 90 % quantile."""
        piece = bisect_right(self.from_s, t) - 1
        if piece < 0:
            piece = 0
        since = t - self.from_s[piece]
        if since < 0.0:
            since = 0.0
        grown, unseen = self.begins_at[piece] + self.rates[piece] * since, self.unseen_s[piece] - since
        return grown if grown >= unseen else unseen


def from_loop_to_loop(track: Whereabouts, leg: Leg, doubt: Callable[[float, Leg], float]) -> Straying:
    """The way from where the car was seen to the line, anew from each loop on.

    Args:
        track: the car.
        leg: its running lap.
        doubt: seconds by which the car may come early at a moment, where the outlook says nothing of the place.
    """
    at = leg.at if leg.as_it_goes is None else leg.as_it_goes()
    loops = track.pace.loops
    from_s, rates, unseen, before = [max(track.seen_t, leg.start_s)], list[float](), [0.0], 0.0
    for phase in (*(loops[label] for label in track.pace.labels if loops[label] > track.seen_phase), 1.0):
        t = at(phase)
        known = track.spread(phase)
        spread = known if known is not None else doubt(t, leg)
        rates.append(max((spread - before) / max(t - from_s[-1], 1e-6), LEAST))
        from_s.append(t)
        unseen.append(spread)
        before = max(spread, before)
    return Straying(tuple(from_s), (*rates, LATER), (0.0,) * len(from_s), tuple(unseen))
