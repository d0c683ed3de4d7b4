"""A recorded session played again: its rows become facts, in the order in which the source said them.

Loop and lap time of one passage over the finish line are two rows of a recording and one crossing of ``line`` here.
Ids are made from what happened (car, place, millisecond), so playing the same recording twice gives the same ids and a
row that stands twice is one fact.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import replace

from pitwall.feeds.official_clock import OfficialClock, RedClock
from pitwall.feeds.passages import sightings
from pitwall.feeds.ports import Armed, FeedClock, Send, TimingFact
from pitwall.feeds.recording import Recording, TimingRow
from pitwall.feeds.status import tell_status
from pitwall.model.events import CarCrossed, CarPitted, WeatherReported


class Replay:
    """The facts of a recording. Iterate it for ``(session second at which it is said, fact)``, in that order.

    Attributes:
        facts: All of it.
        unknown_words: Status words that nobody knows, with how often they came; they were left out.
        doubled: How many rows told what another had told.
    """

    def __init__(
        self,
        recording: Recording,
        *,
        rate: float = 1.0,
        begin_s: float | None = None,
        red_clock: RedClock | None = None,
        passages: bool = False,
    ) -> None:
        """Prepare a replay.

        Args:
            recording: What to play.
            rate: Session seconds in one real second, written into the clock messages.
            begin_s: Session second at which the replay begins; what was said before is said then, at once, except
                old clock messages.
            red_clock: What the clock did under red, when that is known (see ``official_clock``).
            passages: Play the passages of short stretches, too, where the recording has them.
        """
        self.recording = recording
        story = tell_status(recording.status)
        self.unknown_words = story.unknown_words
        self.clock = OfficialClock(story.changes, recording.meta, red_clock)
        said: list[tuple[float, TimingFact]] = [(change.t, change) for change in story.changes]
        timing, self.doubled = _timing(recording)
        said += timing
        said += ((row.t, _weather(row.t, row.air_c, row.track_c, row.rain)) for row in recording.weather)
        said += sightings(recording) if passages else []
        seconds = [moment for moment, _ in said] or [0.0]
        first, last = min(seconds), max(seconds)
        said.sort(key=lambda pair: pair[0])
        if begin_s is not None:
            said = [(max(moment, begin_s), fact) for moment, fact in said]
            first, last = begin_s, max(last, begin_s)
        ticks: list[tuple[float, TimingFact]] = [(tick.t, tick) for tick in self.clock.ticks(first, last, rate)]
        once: dict[str, tuple[float, TimingFact]] = {}
        for moment, fact in sorted([*ticks, *said], key=lambda pair: pair[0]):
            once.setdefault(fact.id, (moment, fact))
        self.doubled += len(ticks) + len(said) - len(once)
        self.facts: tuple[tuple[float, TimingFact], ...] = tuple(once.values())

    def __iter__(self) -> Iterator[tuple[float, TimingFact]]:
        return iter(self.facts)

    @property
    def first_s(self) -> float:
        """Session second of the first message."""
        return self.facts[0][0] if self.facts else 0.0

    @property
    def last_s(self) -> float:
        """Session second of the last message."""
        return self.facts[-1][0] if self.facts else 0.0

    def counts(self) -> dict[str, int]:
        """How many facts of each kind, for a report."""
        found = Counter(fact.type for _, fact in self.facts)
        return {**dict(sorted(found.items())), "doubled": self.doubled, "unknown_words": self.unknown_words.total()}


def _timing(recording: Recording) -> tuple[list[tuple[float, TimingFact]], int]:
    """The facts of the timing rows, and how many rows told what an earlier one had told."""
    finish = recording.finish_loop
    seen: set[tuple[object, ...]] = set()
    merged: dict[tuple[str, str, int], TimingRow] = {}
    for row in recording.timing:
        place = row.kind if row.loop is None or row.kind.startswith("pit") else _loop_name(row.loop, finish)
        key = (row.car, place, round((row.t + recording.meta.start_t_s) * 1000))
        if (*key, row.kind) in seen:
            continue
        seen.add((*key, row.kind))
        merged[key] = _one(merged[key], row) if key in merged else row
    return [(row.said_t, _fact(row, key)) for key, row in merged.items()], len(recording.timing) - len(seen)


def _loop_name(loop: int, finish: int) -> str:
    return "line" if loop == finish else str(loop)


def _one(first: TimingRow, second: TimingRow) -> TimingRow:
    """Two rows of one passage over the line: what either knows, said when the later one was."""
    return replace(
        first,
        said_t=max(first.said_t, second.said_t),
        lap=second.lap if first.lap is None else first.lap,
        lap_time_s=first.lap_time_s or second.lap_time_s,
        sector_time_s=first.sector_time_s or second.sector_time_s,
        compound=first.compound or second.compound,
        tyre_age=second.tyre_age if first.tyre_age is None else first.tyre_age,
    )


def _fact(row: TimingRow, key: tuple[str, str, int]) -> TimingFact:
    car, place, stamp = key
    if row.kind == "pit_in":
        return CarPitted(id=f"pit-{car}-entry-{stamp}", t=row.t, car=car, where="entry")
    if row.kind == "pit_out":
        return CarPitted(id=f"pit-{car}-exit-{stamp}", t=row.t, car=car, where="exit")
    return CarCrossed(
        id=f"cross-{car}-{place}-{stamp}", t=row.t, car=car, loop=place, lap=row.lap, lap_time_s=row.lap_time_s,
        sector_time_s=row.sector_time_s, compound=row.compound, tyre_age=row.tyre_age,
    )


def _weather(t: float, air_c: float | None, track_c: float | None, rain: bool | None) -> WeatherReported:
    return WeatherReported(id=f"weather-{round(t * 1000)}", t=t, air_c=air_c, track_c=track_c, rain=rain)


class ReplayPlayer:
    """Plays a feed at its clock: each message is handed to ``send`` when its second has come, never before."""

    def __init__(self, feed: Iterable[tuple[float, TimingFact]], clock: FeedClock, send: Send) -> None:
        self._feed = iter(feed)
        self._clock, self._send = clock, send
        self._next: tuple[float, TimingFact] | None = None
        self._armed: Armed | None = None
        self.sent = 0
        self.done = False

    def start(self) -> None:
        """Send what is due and arm the clock for the rest; a second call changes nothing."""
        if self._next is None and not self.done:
            self._next = next(self._feed, None)
            self._play()

    def stop(self) -> None:
        """Send nothing more."""
        if self._armed is not None:
            self._armed.cancel()
        self._armed, self.done = None, True

    def _play(self) -> None:
        self._armed = None
        while self._next is not None and not self.done:
            moment, fact = self._next
            if moment > self._clock.now():
                self._armed = self._clock.call_at(moment, self._play)
                return
            self._next = next(self._feed, None)
            self.sent += 1
            self._send(fact)
        self.done = True
