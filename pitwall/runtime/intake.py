"""What the host lets in: one queue that knows what it has seen, thins positions and says what it turned away.

Facts fall into two tiers. *Chatter* (positions, telemetry, clock, weather, radio channel) is repeated by its source, so
it may be thinned and, when the queue is full, refused. Everything else (crossings, pit signals, status, commands and
what the host itself makes) is never dropped: a full queue grows for it, counted.
"""

from __future__ import annotations

from bisect import bisect_left, insort
from collections import OrderedDict, deque
from collections.abc import Iterable
from dataclasses import dataclass

from pitwall.model.events import CarPositioned, Event
from pitwall.model.outputs import Output, Prompt

CHATTER = frozenset(
    {"car_positioned", "car_sighted", "clock_reported", "weather_reported", "switch_reported", "tyre_reported",
     "channel_reported"}
)
CHATTER_REMEMBERED = 20_000
FEED_RESTART_S = 60.0
CLOSE_EVERY_S, CLOSE_BEFORE_S, CLOSE_AFTER_S = 0.075, 5.0, 30.0
"""About a procedure positions are kept as often as 10 Hz with jitter gives them: when it began and ended is seen by
them. It begins within seconds of the moment at which the driver is to act, and lasts less than half a minute. There a
position counts too that later ones overtook on their way: it decides nothing, but the debrief reads them in order."""
CLOSE_REMEMBERED = 1_000
OFF = ("withdrawn", "skipped", "missed")


@dataclass(slots=True)
class IntakeCounts:
    """What came and what was turned away."""

    accepted: int = 0
    duplicates: int = 0
    thinned: int = 0
    dropped: int = 0
    over_limit: int = 0


class SeenIds:
    """Ids taken so far. Chatter ids are forgotten after the newest ``chatter_limit``; all others are kept.

    A day has some ten thousand crossings and commands but millions of positions; a position that comes twice after
    twenty thousand others changes nothing, a command would.
    """

    def __init__(self, chatter_limit: int = CHATTER_REMEMBERED) -> None:
        self._kept: set[str] = set()
        self._chatter: OrderedDict[str, None] = OrderedDict()
        self._limit = chatter_limit

    def __contains__(self, event_id: str) -> bool:
        return event_id in self._kept or event_id in self._chatter

    def add(self, event: Event) -> None:
        """Remember this event's id."""
        if event.type not in CHATTER:
            self._kept.add(event.id)
            return
        self._chatter[event.id] = None
        if len(self._chatter) > self._limit:
            self._chatter.popitem(last=False)


class Intake:
    """The queue in front of the journal. Not safe across threads: call it on the host's loop."""

    def __init__(self, queue_limit: int = 10_000, position_every_s: float = 0.2) -> None:
        """Make an empty queue.

        Args:
            queue_limit: From this length on, chatter is refused.
            position_every_s: Fewest session seconds between two positions of one car that are let in.
        """
        self.counts = IntakeCounts()
        self._queue_limit, self._every_s = queue_limit, position_every_s
        self._seen = SeenIds()
        self._position_t: dict[str, float] = {}
        self._close: dict[str, tuple[float, float]] = {}
        self._close_t: dict[str, list[float]] = {}
        self._queue: deque[tuple[float, Event]] = deque()

    def __len__(self) -> int:
        return len(self._queue)

    @property
    def full(self) -> bool:
        """True while chatter is refused."""
        return len(self._queue) >= self._queue_limit

    @property
    def oldest_t(self) -> float | None:
        """The session second at which the first in line came in; None when nobody waits."""
        return self._queue[0][0] if self._queue else None

    def offer(self, event: Event, now: float) -> bool:
        """Queue the event unless it is known, too frequent, or chatter before a full queue. True when queued."""
        if event.id in self._seen:
            self.counts.duplicates += 1
            return False
        if isinstance(event, CarPositioned) and self._too_soon(event):
            self.counts.thinned += 1
            return False
        if self.full:
            if event.type in CHATTER:
                # Not remembered: the same message sent again later is welcome.
                self.counts.dropped += 1
                return False
            self.counts.over_limit += 1
        self.note(event)
        self._queue.append((now, event))
        self.counts.accepted += 1
        return True

    def knows(self, event_id: str) -> bool:
        """True when an event of this id was taken (of chatter only the newest are known)."""
        return event_id in self._seen

    def put_first(self, event: Event, now: float) -> None:
        """Queue an event of the host's own before all others."""
        self.note(event)
        self._queue.appendleft((now, event))
        self.counts.accepted += 1

    def note(self, event: Event) -> None:
        """Remember an event as taken, from the queue or (after a restart) from the journal."""
        self._seen.add(event)
        if isinstance(event, CarPositioned):
            self._note_position(event)

    def take(self, limit: int) -> list[tuple[float, Event]]:
        """Up to ``limit`` events in order, each with the session second at which it came in."""
        return [self._queue.popleft() for _ in range(min(limit, len(self._queue)))]

    def put_back(self, batch: list[tuple[float, Event]]) -> None:
        """The batch could not be stored: it stays first in line."""
        self._queue.extendleft(reversed(batch))

    def look_closely(self, outputs: Iterable[Output]) -> None:
        """A car is to do a procedure: let all its positions in about then."""
        for prompt in outputs:
            if not isinstance(prompt, Prompt) or prompt.ask.action != "procedure" or prompt.state in OFF:
                continue
            if prompt.act_at_s is not None:
                begin, end = prompt.act_at_s - CLOSE_BEFORE_S, prompt.act_at_s + CLOSE_AFTER_S
                known = self._close.get(prompt.car)
                if known is not None and begin <= known[1]:
                    begin, end = min(begin, known[0]), max(end, known[1])  # one behind the other, or one that moved
                self._close[prompt.car] = begin, end

    def _note_position(self, event: CarPositioned) -> None:
        last = self._position_t.get(event.car)
        if last is None or event.t > last or event.t - last <= -FEED_RESTART_S:
            self._position_t[event.car] = event.t
        known = self._close_t.setdefault(event.car, [])
        insort(known, event.t)
        if len(known) > CLOSE_REMEMBERED:
            del known[: CLOSE_REMEMBERED // 2]

    def _too_soon(self, event: CarPositioned) -> bool:
        last = self._position_t.get(event.car)
        begin, end = self._close.get(event.car, (0.0, 0.0))
        close = begin <= event.t <= end
        every_s = min(self._every_s, CLOSE_EVERY_S) if close else self._every_s
        if last is None or event.t - last <= -FEED_RESTART_S:
            return False
        if close and event.t < last:
            return self._known_about(event, every_s)
        # An older position is worth nothing, unless it is so much older that the feed started over.
        return event.t - last < every_s - 1e-9

    def _known_about(self, event: CarPositioned, every_s: float) -> bool:
        """One was taken that was as close to this one as two may be."""
        known = self._close_t.get(event.car, [])
        at = bisect_left(known, event.t)
        return any(abs(one - event.t) < every_s - 1e-9 for one in known[max(0, at - 1) : at + 1])
