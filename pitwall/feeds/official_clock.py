"""The official clock of a recorded session, made from its status changes and its scheduled length.

Recordings carry no clock message, yet on the day everybody could read the clock. It is made again like this:

* A session in one part (practice, test) lasts ``scheduled_s`` from its green light. Its clock runs on under a red flag
  unless the caller says that it stopped.
* A session in several parts (each begins with ``started`` after waiting or after the flag): the parts' lengths are not
  recorded, the whole schedule includes the breaks. A part's length is the running time from its start to its own
  chequered flag, which the clock of the day knew beforehand. Under red the clock of such a session stops.
* Between the parts the clock shows 0 from the flag until the track waits for the next part, then that part's length,
  standing.
"""

from __future__ import annotations

import bisect
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from pitwall.feeds.recording import Meta
from pitwall.model.events import ClockReported, StatusChanged

RedClock = Literal["runs", "stops"]


@dataclass(frozen=True)
class Part:
    """One part: from its green light to its flag (infinity when none was recorded), and where the clock stood still."""

    start: float
    end: float
    length: float
    stops: tuple[tuple[float, float], ...]

    def remaining(self, t: float) -> float:
        """Seconds left at session second ``t``; the whole length before the start."""
        return max(0.0, self.length - _running(self.start, min(t, self.end), self.stops))

    def stands(self, t: float) -> bool:
        """True while the clock is stopped."""
        return any(start <= t < end for start, end in self.stops)


def _running(start: float, end: float, stops: Sequence[tuple[float, float]]) -> float:
    if end <= start:
        return 0.0
    return end - start - sum(max(0.0, min(end, till) - max(start, since)) for since, till in stops)


def find_parts(changes: Sequence[StatusChanged], meta: Meta, red_clock: RedClock | None = None) -> tuple[Part, ...]:
    """The parts of a session.

    Args:
        changes: Status changes in order, as ``status.tell_status`` makes them.
        meta: Scheduled length.
        red_clock: What the clock did under red; by default it stopped in a session of several parts and ran on else.
    """
    spans: list[tuple[float, float]] = []
    reds: list[tuple[float, float]] = []
    begun = red_since = None
    for change in changes:
        if change.scope != "all" or change.status is None:
            continue
        if red_since is not None and change.status != "red":
            reds.append((red_since, change.t))
            red_since = None
        if change.status == "green" and begun is None:
            begun = change.t
        elif change.status == "red" and begun is not None:
            red_since = change.t
        elif change.status in ("finished", "closed", "waiting") and begun is not None:
            spans.append((begun, change.t))
            begun = None
    if begun is not None:
        spans.append((begun, math.inf))
    if red_since is not None:
        reds.append((red_since, math.inf))
    stops = tuple(reds) if (red_clock or ("stops" if len(spans) > 1 else "runs")) == "stops" else ()
    if len(spans) == 1:
        return (Part(*spans[0], meta.scheduled_s, stops),)
    return tuple(Part(start, end, _length(start, end, stops, meta), stops) for start, end in spans)


def _length(start: float, end: float, stops: Sequence[tuple[float, float]], meta: Meta) -> float:
    # The recording broke off within the part: its flag is not known, the schedule is the best there is.
    return _running(start, end, stops) if math.isfinite(end) else max(0.0, meta.scheduled_s - start)


class OfficialClock:
    """The clock that everybody could read on the day."""

    def __init__(self, changes: Sequence[StatusChanged], meta: Meta, red_clock: RedClock | None = None) -> None:
        self.parts = find_parts(changes, meta, red_clock) or (Part(0.0, math.inf, meta.scheduled_s, ()),)
        self._starts = [part.start for part in self.parts]
        self._waits = [change.t for change in changes if change.status == "waiting" and change.scope == "all"]

    def read(self, t: float) -> tuple[float, bool]:
        """Seconds left at session second ``t``, and whether the clock runs."""
        at = bisect.bisect_right(self._starts, t) - 1
        if at < 0:
            return self.parts[0].length, False
        part = self.parts[at]
        if t < part.end:
            left = part.remaining(t)
            return left, left > 0 and not part.stands(t)
        waiting = any(part.end <= since <= t for since in self._waits)
        if waiting and at + 1 < len(self.parts):
            return self.parts[at + 1].length, False
        return 0.0, False

    def ticks(self, first: float, last: float, rate: float) -> Iterator[ClockReported]:
        """The clock once a session second, on the whole second, from ``first`` to ``last``."""
        for second in range(math.ceil(first), math.floor(last) + 1):
            left, running = self.read(float(second))
            yield ClockReported(
                id=f"clock-{second}", t=float(second), remaining_s=round(left, 3), running=running, rate=rate
            )
