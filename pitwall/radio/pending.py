"""What competes for one driver's channel, and what the channel plan answers.

A *pending call* can be made in several *ways*: as it stands, in parts, shortened, a lap later, or, where it must be
said, outside a listening stretch. Each way knows from when to when it may be begun. A call that is made in no way is
dropped, and the plan says why.

All times are session seconds. The search works on a grid of ``TICK_S``: what is too fine for it is rounded to the safe
side, a start later, a last start earlier, a length longer.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import ceil, floor
from typing import TYPE_CHECKING, Literal, NamedTuple

from pitwall.model.record import record

if TYPE_CHECKING:
    from pitwall.radio.reasons import Dropped, Placed

Spans = tuple[tuple[float, float], ...]
"""From when to when something may be begun, both ends included, session seconds."""

How = Literal["full", "parts", "short", "next_lap", "next_lap_short", "outside", "outside_short"]
Fate = How | Literal["dropped"]

TICK_S = 0.1  # nobody begins a sentence more exactly than this
GAP_S = 2.5  # between two calls, for the read-back (common practice, no source)
MOST_PAUSE_S = 12.0  # the rest of a sentence that comes later than this is a sentence of its own (common practice)
MOST_WEIGHT = 1000

LOSS_TENTHS: dict[Fate, int] = {
    "full": 0, "parts": 1, "short": 2, "next_lap": 4, "next_lap_short": 6, "outside": 8, "outside_short": 9,
    "dropped": 10,
}  # fmt: skip
"""Tenths of a call's weight that are lost when it is made in this way (common practice, no source)."""


class Cost(NamedTuple):
    """What a plan costs; a plan is better when its first differing figure is smaller.

    Attributes:
        lost: weight of the must-say calls that are not said before their deadline.
        delayed: weight times ticks by which pre-empting calls wait beyond their best moment.
        given_up: weight times tenths lost by dropping, shortening, moving or splitting.
        late: weight times ticks by which all other calls wait beyond their best moment.
    """

    lost: int
    delayed: int
    given_up: int
    late: int


@record
class Part:
    """One unbroken piece of speech and when it may be begun so that it ends where and when it must."""

    text: str
    spoken_s: float
    starts: Spans


@record
class Way:
    """One way to make a call.

    ``best_s``: begun no later than this, nothing is lost by waiting. ``least_s``: what the talk of others leaves of a
    window to begin in counts only if it is as long as this.
    """

    how: How
    parts: tuple[Part, ...]
    best_s: float
    least_s: float = 0.0

    @property
    def spoken_s(self) -> float:
        """Seconds of speech, pauses between the parts not counted."""
        return sum(part.spoken_s for part in self.parts)


@record
class PendingCall:
    """One call that waits for the channel.

    Attributes:
        key: names the call; plans are the same whatever the order in which calls are given.
        name: what the engineer reads in reasons, such as its short form.
        weight: consequence, 0 to ``MOST_WEIGHT``; ``engine.call.PRIORITY`` serves.
        must: losing it is worse than anything that happens to calls which are not.
        pre_empts: box and session calls: said before all that can wait, and even into the engineer's own sentence,
            never into the driver's.
        ways: at least the ones that have a start left; empty when nothing serves.
        gap_s: the channel is left free for so long after it.
        hit_s: nobody begins to the tick: it may be begun so much later than planned without pushing what follows.
        after: keys of calls that come before it if they are said at all.
        needs: keys of calls without which it makes no sense (the earlier steps of an item).
    """

    key: str
    name: str
    weight: int
    ways: tuple[Way, ...]
    must: bool = False
    pre_empts: bool = False
    gap_s: float = GAP_S
    hit_s: float = 0.0
    after: tuple[str, ...] = ()
    needs: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if not 0 <= self.weight <= MOST_WEIGHT:
            raise ValueError(f"call {self.key!r}: the weight is {self.weight}, it must be from 0 to {MOST_WEIGHT}")
        if self.pre_empts and not self.must:
            raise ValueError(f"call {self.key!r} pre-empts others, so it must be a must-say call")
        for what, seconds in (("gap after it", self.gap_s), ("time to hit its start", self.hit_s)):
            if seconds < 0 or not math.isfinite(seconds):
                raise ValueError(f"call {self.key!r}: the {what} is {seconds}, it must be zero or more seconds")
        if len(self.ways) > 1 and len({way.how for way in self.ways}) < len(self.ways):
            raise ValueError(f"call {self.key!r}: each way of making it may be given once")
        for way in self.ways:
            _check_way(self.key, way)


def _check_way(key: str, way: Way) -> None:
    if not way.parts:
        raise ValueError(f"call {key!r}: the way {way.how!r} has no part to say")
    figures = [way.best_s]
    for part in way.parts:
        for span in part.starts:
            figures += span
        if not (part.spoken_s > 0 and math.isfinite(part.spoken_s)):
            raise ValueError(f"call {key!r}: each part of {way.how!r} must take time to say")
    if not all(map(math.isfinite, figures)):
        raise ValueError(f"call {key!r}: the way {way.how!r} has a time that is no number")


@record
class Busy:
    """A stretch of time in which the channel is taken. ``who`` decides whether a pre-empting call may cut in."""

    from_s: float
    to_s: float
    who: Literal["driver", "engineer"] = "driver"


@dataclass(frozen=True, slots=True)
class ChannelPlan:
    """The answer: what is said when, what is not, what that costs, and how sure it is that nothing cheaper exists.

    ``bound`` is a cost that no plan can fall below; it equals ``cost`` when ``proven``.
    """

    placed: tuple[Placed, ...]
    dropped: tuple[Dropped, ...]
    cost: Cost
    bound: Cost
    proven: bool
    nodes: int

    @property
    def at(self) -> dict[str, Placed]:
        """What has a place, by its key."""
        return {one.key: one for one in self.placed}

    @property
    def gap(self) -> tuple[int, int, int, int]:
        """Figure by figure, by how much the plan may be above the best one; only the first non-zero one counts."""
        lost, delayed, given_up, late = (mine - least for mine, least in zip(self.cost, self.bound, strict=True))
        return lost, delayed, given_up, late


def later_tick(seconds: float) -> int:
    """The first tick at or after this moment."""
    return ceil(seconds / TICK_S - 1e-6)


def earlier_tick(seconds: float) -> int:
    """The last tick at or before this moment."""
    return floor(seconds / TICK_S + 1e-6)


def seconds_of(tick: int) -> float:
    """The moment of a tick."""
    return round(tick * TICK_S, 1)


def check_together(calls: Sequence[PendingCall]) -> None:
    """Refuse a set of calls that cannot be meant.

    Raises:
        ValueError: a key used twice, or calls that wait for one another in a circle.
    """
    keys = [call.key for call in calls]
    if len(set(keys)) < len(keys):
        twice = sorted({key for key in keys if keys.count(key) > 1})
        raise ValueError(f"two pending calls have the key {', '.join(map(repr, twice))}")
    if not any(call.after or call.needs for call in calls):
        return
    waits = {call.key: [key for key in (*call.after, *call.needs) if key in keys] for call in calls}
    while waits:
        free = [key for key, before in waits.items() if not any(other in waits for other in before)]
        if not free:
            raise ValueError(f"these calls wait for one another in a circle: {', '.join(sorted(waits))}")
        for key in free:
            del waits[key]


def merged(spans: Iterable[tuple[int, int]]) -> tuple[tuple[int, int], ...]:
    """Spans in rising order, those that touch or overlap made one, empty ones left out."""
    found: list[tuple[int, int]] = []
    for begin, end in sorted([span for span in spans if span[0] <= span[1]]):
        if found and begin <= found[-1][1] + 1:
            found[-1] = (found[-1][0], max(found[-1][1], end))
        else:
            found.append((begin, end))
    return tuple(found)


def without(spans: Iterable[tuple[int, int]], taken: Iterable[tuple[int, int]]) -> tuple[tuple[int, int], ...]:
    """What is left of the spans when the taken ones are cut out; all ends included."""
    left = list(spans)
    for first, last in taken:
        if first > last or not any(begin <= last and first <= end for begin, end in left):
            continue
        left = list(itertools.chain.from_iterable(
            ((begin, min(end, first - 1)), (max(begin, last + 1), end)) for begin, end in left
        ))
        left = [span for span in left if span[0] <= span[1]]
    return merged(left)
