"""The recent inputs of one car, in the order in which they count, each with what was believed before it.

Belief is rebuilt, acts are not. To take an input out, put one in where it belongs, or give one its true time, the
belief from before it is taken up again and the inputs since then are fed once more through the code that they went
through the first time, with a book of calls that hears nothing: what was said stays said, and the next look at the
plan withdraws what no longer makes sense. What other cars taught about the pace of the field stays learned, and what
this car taught is taught anew (``lessons``).

The same facts in the same order make the same history, so a replayed journal mends in the same places.
"""

from __future__ import annotations

import copy
import math
from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass
from functools import partial

from pitwall.engine.belief import Belief, loose, put, take, unlearn
from pitwall.engine.call import Call
from pitwall.engine.calls import CallBook
from pitwall.engine.car import CarTrack, Happening
from pitwall.engine.field import judge
from pitwall.engine.lessons import Retaught, Taught, taught_until_now
from pitwall.engine.session_clock import SessionClock
from pitwall.engine.team import TeamCar
from pitwall.pace.laptimes import CarPace

KEPT = 400
"""Inputs that can be gone back over: some thirty laps with all their loops and calls."""
SEEN = ("cross", "pit", "set_car")


@dataclass
class Entry:
    """One input of a car. ``act`` does to a car what the input did; ``t`` is set for what was seen at a place."""

    id: str
    what: str
    now: float
    clock: SessionClock
    act: Callable[[TeamCar, Entry], None]
    t: float | None = None
    place: str = ""
    by: str | None = None
    lap_time_s: float | None = None
    compound: str | None = None
    guessed: bool = False
    before: Belief | None = None
    taught: Taught | None = None
    taken: bool = True

    @property
    def moment(self) -> float:
        """What the order goes by: when it happened, or for all else when it came."""
        return self.now if self.t is None else self.t


class _Deaf(CallBook):
    """A book of calls that can be read, and in which nothing changes."""

    def signal(
        self, call: Call, signal: str, now: float, reason: str | None = None, because: str | None = None
    ) -> bool:
        """Nothing: the acts of the first time stand."""
        return False


class History:
    """What one car's belief was made of."""

    def __init__(self, car: TeamCar) -> None:
        self._car = car
        self.entries: list[Entry] = []

    def note(self, entry: Entry, *, keep: bool = True) -> Entry:
        """Add an input that is about to be acted on. ``keep``: it may be taken back, or others put in before it."""
        entry.before = take(self._car) if keep else None
        entry.taught = self._taught(self._car, entry)
        self.entries.append(entry)
        del self.entries[: max(0, len(self.entries) - KEPT)]
        return entry

    def find(self, entry_id: str) -> Entry | None:
        """The input of that id."""
        return next((entry for entry in reversed(self.entries) if entry.id == entry_id), None)

    def near(self, what: str, place: str, t: float, within_s: float) -> Entry | None:
        """The nearest input that saw the car at that place at about ``t``."""
        there = [
            entry
            for entry in self.entries
            if entry.taken and entry.what == what and entry.place == place and entry.t is not None
            and abs(entry.t - t) <= within_s
        ]
        return min(there, key=lambda entry: abs((entry.t or 0.0) - t), default=None)

    def place_of(self, t: float) -> int | None:
        """Where something seen at ``t`` belongs, when something seen later is here already; None: at the end."""
        if not any(entry.t is not None and entry.taken and entry.t > t for entry in self.entries):
            return None
        return next(at for at, entry in enumerate(self.entries) if entry.moment > t)

    @property
    def pace(self) -> CarPace:
        """Of the car as it is known now."""
        return self._car.track.pace

    def by_hand(self) -> bool:
        """Guard: what was seen last was entered by hand."""
        for one in reversed(self.entries):
            if one.taken and one.what in SEEN:
                return one.by is not None
        return False

    def pace_before(self, entry: Entry) -> CarPace:
        """The pace as it was known before this input: what the input taught, which may be wrong, is left out."""
        now = self._car.track.pace
        if entry.before is None:
            return now
        pace = copy.copy(entry.before.track.pace)
        pace.field_pace = unlearn(now.field_pace, now, pace)
        return pace

    def take_out(self, entry: Entry) -> bool:
        """Believe as if this input had never come; False when that lies too far back."""
        at = self.entries.index(entry)
        return self._again(at, self.entries[:at] + self.entries[at + 1 :])

    def put_in(self, entry: Entry, at: int) -> bool:
        """Believe as if this input had come in its time; False when that lies too far back."""
        entry.before = take(self._car)  # made anew below: it only says that one is wanted
        return self._again(at, [*self.entries[:at], entry, *self.entries[at:]])

    def retime(self, entry: Entry, t: float) -> bool:
        """Believe as if this input had been seen at ``t``."""
        at = self.entries.index(entry)
        entry.t = t
        rest = self.entries[:at] + self.entries[at + 1 :]
        to = next((index for index, other in enumerate(rest) if other.t is not None and other.t > t), at)
        to = min(to, len(rest)) if to < at else at
        return self._again(min(at, to), [*rest[:to], entry, *rest[to:]])

    def without(self, gone: Collection[str], since: float) -> bool:
        """Feed the inputs since then once more, without those of these ids: what they went by has changed."""
        at = next((index for index, entry in enumerate(self.entries) if entry.now >= since), None)
        return at is None or self._again(at, [entry for entry in self.entries if entry.id not in gone])

    def _again(self, at: int, wanted: list[Entry]) -> bool:
        start = min(at, len(self.entries) - 1)
        while start >= 0 and self.entries[start].before is None:
            start -= 1
        base = self.entries[start].before if start >= 0 else None
        if base is None:
            return False
        car, taught = self._car, [entry.taught for entry in self.entries[: start + 1]]
        self.entries = wanted
        shadow = _shadow(car, base)
        retaught = Retaught(shadow.track.pace, taught)
        for entry in wanted[start:]:
            retaught.until(entry.moment)
            if entry.before is not None:
                entry.before = take(shadow)
            entry.taught = self._taught(shadow, entry) if retaught.done else None
            entry.act(shadow, entry)
        pace = car.track.pace.field_pace
        pace.quick, pace.ratios = shadow.track.pace.field_pace.quick, shadow.track.pace.field_pace.ratios
        retaught.give(pace)
        put(car, take(shadow))
        out = car.track.on_track and car.track.lap is not None and car.track.lap.start_phase > 0.0
        if pace.belief is not None and not out:
            pace.belief.queue.over(car.track.pace.car)  # nobody follows a car on an out-lap that it never drove
        return True

    @staticmethod
    def _taught(car: TeamCar, entry: Entry) -> Taught:
        return taught_until_now(car.track.pace, ends_lap=entry.place == "line" or entry.what == "pit")


def others_misjudged(
    histories: Mapping[str, History], car: str, quick: Collection[tuple[float, float]], since: float
) -> Iterator[tuple[str, Callable[[], bool]]]:
    """The other cars where a quick lap of this one is gone by which theirs were judged: each with what thinks it over.

    Args:
        histories: of all own cars.
        car: whose input was taken out.
        quick: laps of the field before that: when each ended, and seconds.
        since: when that input came.
    """
    left = histories[car].pace.field_pace.quick
    best = min((lap for _, lap in left), default=math.inf)
    if any(lap < best for end_t, lap in quick if (end_t, lap) not in left):
        yield from ((name, partial(one.without, (), since)) for name, one in histories.items() if name != car)


def _shadow(car: TeamCar, base: Belief) -> TeamCar:
    """A car that believes what was believed then, and whose acts come to nothing."""
    shadow, book = copy.copy(car), car.book
    shadow.track, shadow.progress = copy.copy(car.track), copy.copy(car.progress)
    shadow.carried, shadow.news = copy.copy(car.carried), list(car.news)
    shadow.switches, shadow.desk = copy.copy(car.switches), loose(car.desk)
    shadow.switches.owed = dict(car.switches.owed)
    shadow.book = _Deaf(book.car, book.unconfirmed_after_s, book.calls, book.latest, book.by_action)
    shadow.track.pace = copy.copy(car.track.pace)
    shadow.track.pace.field_pace = unlearn(car.track.pace.field_pace, car.track.pace, base.track.pace)
    put(shadow, base)
    return shadow


def follow(car: TeamCar, happenings: list[Happening], clock: SessionClock, now: float) -> None:
    """What a happening means for the car and its plan: what the session does with it, without a word to anybody."""
    for happening in happenings:
        if happening.what != "ignored":
            car.happened(happening, clock, now)
        judge(car.track, happening, car.progress.current, now)


def seen(car: TeamCar, entry: Entry) -> list[Happening]:
    """The car was seen at a loop, the pit entry or the pit exit: what that means for where it is."""
    track, t = car.track, entry.t
    assert t is not None
    if entry.what == "pit":
        happenings = track.leave(t) if entry.place == "exit" else track.come_in(t)
        track.compound = None
    else:
        track.compound = entry.compound or track.compound
        happenings = _guessed(track, entry) if entry.guessed else _crossed(track, entry)
    entry.taken = any(happening.what != "ignored" for happening in happenings)
    return happenings


def _crossed(track: CarTrack, entry: Entry) -> list[Happening]:
    return track.cross(entry.place, entry.t or 0.0, entry.clock.disturbed, entry.lap_time_s)


def _guessed(track: CarTrack, entry: Entry) -> list[Happening]:
    """A line that nobody timed: the laps on both sides of it teach nothing about pace."""
    lap, was = track.lap, track.lap.inferred_end if track.lap is not None else False
    if lap is not None:
        lap.inferred_end = True
    happenings = _crossed(track, entry)
    if lap is not None and track.lap is lap:
        lap.inferred_end = was
    elif track.lap is not None:
        track.lap.inferred_start = True
    return happenings


def see(car: TeamCar, entry: Entry) -> None:
    """The same, and what follows for the plan."""
    follow(car, seen(car, entry), entry.clock, entry.now)
