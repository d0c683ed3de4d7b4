"""One contract for every timetable: APScheduler on a hand-cranked loop, and the twin on a virtual and a live clock.

In all of them real time passes by hand and the wall clock can be set; an hour takes no time.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, tzinfo

import apscheduler.executors.base
import apscheduler.schedulers.base
import pytest

from pitwall.model.timetable import EntryKind, Reached, TimetableEntry
from pitwall.runtime.clock import LiveClock
from pitwall.runtime.ports import Timetable
from pitwall.runtime.timetable import ClockTimetable
from pitwall.runtime.virtual_clock import VirtualClock
from pitwall.runtime.wall_timetable import WallTimetable

HOUR = 3600.0
NOON = datetime(2031, 5, 16, 10, 0, tzinfo=UTC).timestamp()


class Loop:
    """Timers of an event loop and a monotonic clock, moved by hand; the wall clock is beside it."""

    def __init__(self) -> None:
        self.m, self.wall_offset = 5000.0, NOON - 5000.0
        self.timers: list[Timer] = []

    def monotonic(self) -> float:
        """Seconds that no one sets."""
        return self.m

    def wall(self) -> float:
        """Unix seconds of the clock on the wall."""
        return self.m + self.wall_offset

    def call_later(self, delay: float, callback: Callable[[], None]) -> Timer:
        """As an event loop does: by the monotonic clock."""
        timer = Timer(self.m + delay, callback)
        self.timers.append(timer)
        return timer

    def call_soon_threadsafe(self, callback: Callable[[], None]) -> Timer:
        """In the next round."""
        return self.call_later(0.0, callback)

    def is_closed(self) -> bool:
        """Never."""
        return False

    def pass_s(self, seconds: float) -> None:
        """Let real time pass; timers ring in order."""
        end = self.m + seconds
        while live := [timer for timer in self.timers if timer.live and timer.at <= end]:
            timer = min(live, key=lambda timer: timer.at)
            self.m = max(self.m, timer.at) + 1e-9  # calling back takes time, or rounding could spin for ever
            timer.live = False
            timer.callback()
        self.m, self.timers = max(self.m, end), [timer for timer in self.timers if timer.live]


class Timer:
    """A timer of the hand-cranked loop."""

    def __init__(self, at: float, callback: Callable[[], None]) -> None:
        self.at, self.callback, self.live = at, callback, True

    def cancel(self) -> None:
        """Forget it."""
        self.live = False


class Rig:
    """A timetable, and the means to let time pass and to set the wall clock."""

    timetable: Timetable

    def __init__(self) -> None:
        self.told: list[tuple[str, float, bool]] = []

    def pass_s(self, seconds: float) -> None:
        """Let seconds pass."""
        raise NotImplementedError

    def step(self, seconds: float) -> None:
        """Set the wall clock; nobody tells the timetable."""
        raise NotImplementedError

    def start(self, *entries: TimetableEntry) -> None:
        """Start with these entries and note what is told, the lateness in whole seconds."""
        self.timetable.start(entries, self._note)

    def _note(self, found: Reached) -> None:
        self.told.append((found.entry.name, round(found.late_s), found.passed))


class SchedulerRig(Rig):
    """APScheduler, which reads the same wall clock as we do."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        super().__init__()
        loop = self.loop = Loop()

        class Reading(datetime):
            @classmethod
            def now(cls, tz: tzinfo | None = None) -> datetime:  # type: ignore[override]  # APScheduler wants a datetime
                return datetime.fromtimestamp(loop.wall(), tz)

        monkeypatch.setattr(apscheduler.schedulers.base, "datetime", Reading)
        monkeypatch.setattr(apscheduler.executors.base, "datetime", Reading)
        self.timetable = WallTimetable(loop.wall, loop=loop, scheduler_wall=loop.wall)

    def pass_s(self, seconds: float) -> None:
        """Crank."""
        self.loop.pass_s(seconds)

    def step(self, seconds: float) -> None:
        """Set it for both."""
        self.loop.wall_offset += seconds


class VirtualRig(Rig):
    """The twin on virtual time."""

    def __init__(self) -> None:
        super().__init__()
        self.clock, self.offset = VirtualClock(), NOON
        self.timetable = ClockTimetable(self.clock, lambda: self.offset + self.clock.now())

    def pass_s(self, seconds: float) -> None:
        """Run the clock."""
        self.clock.run_until(self.clock.now() + seconds)

    def step(self, seconds: float) -> None:
        """Set it."""
        self.offset += seconds


class LiveRig(Rig):
    """The twin on a live clock at thirty times life, whose day runs with session time."""

    def __init__(self) -> None:
        super().__init__()
        self.loop, self.offset = Loop(), NOON
        self.clock = LiveClock(0.0, 30.0, monotonic=self.loop.monotonic, wall=self.loop.wall, loop=self.loop)
        self.timetable = ClockTimetable(self.clock, lambda: self.offset + self.clock.now())

    def pass_s(self, seconds: float) -> None:
        """Crank a thirtieth."""
        self.loop.pass_s(seconds / 30.0)

    def step(self, seconds: float) -> None:
        """Set it."""
        self.offset += seconds


@pytest.fixture(params=["apscheduler", "virtual", "live-30"])
def rig(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> Rig:
    """Each timetable at noon."""
    if request.param == "apscheduler":
        return SchedulerRig(monkeypatch)
    return VirtualRig() if request.param == "virtual" else LiveRig()


def entry(name: str, after_s: float, grace_s: float = 600.0, kind: EntryKind = "reminder") -> TimetableEntry:
    """An entry so many seconds after noon."""
    return TimetableEntry(name=name, kind=kind, text=f"{name} now", grace_s=grace_s,
                          moment=datetime.fromtimestamp(NOON + after_s, UTC))


def test_told_in_order_at_their_moments(rig: Rig) -> None:
    """Each entry is told at its moment, not before, in order of time, once."""
    rig.start(entry("warm_up", 2400), entry("briefing", 900), entry("fire_up", 3300))
    assert [found.name for found in rig.timetable.ahead()] == ["briefing", "warm_up", "fire_up"]
    rig.pass_s(899)
    assert rig.told == []
    rig.pass_s(2)
    assert rig.told == [("briefing", 0, False)]
    rig.pass_s(2 * HOUR)
    assert rig.told == [("briefing", 0, False), ("warm_up", 0, False), ("fire_up", 0, False)]
    assert rig.timetable.ahead() == ()


def test_started_late_tells_within_grace_and_reports_what_is_beyond(rig: Rig) -> None:
    """At the start an entry that is due within its grace is told with how late it is, an older one as passed."""
    rig.start(entry("old", -700), entry("late", -500), entry("exactly", -600), entry("new", 60))
    assert sorted(rig.told) == [("exactly", 600, False), ("late", 500, False), ("old", 700, True)]
    rig.pass_s(61)
    assert rig.told[-1] == ("new", 0, False)


def test_hour_forward_tells_late_reports_passed_and_keeps_the_rest(rig: Rig) -> None:
    """Set one hour ahead: due within grace is told at the review, older reported, later comes an hour sooner."""
    rig.start(entry("briefing", 1200), entry("warm_up", 3500), entry("fire_up", 5400))
    rig.pass_s(60)
    rig.step(HOUR)
    rig.timetable.review()
    assert rig.told == [("briefing", 2460, True), ("warm_up", 160, False)]
    rig.pass_s(5400 - 3660 - 1)
    assert len(rig.told) == 2
    rig.pass_s(2)
    assert rig.told[2:] == [("fire_up", 0, False)]


def test_hour_back_waits_an_hour_longer_and_tells_nothing_twice(rig: Rig) -> None:
    """Set one hour back: what was told is not told again when its moment comes again, the rest comes at its moment."""
    rig.start(entry("briefing", 900), entry("warm_up", 2400))
    rig.pass_s(1000)
    assert rig.told == [("briefing", 0, False)]
    rig.step(-HOUR)
    rig.timetable.review()
    rig.pass_s(HOUR)
    assert rig.told == [("briefing", 0, False)]
    rig.pass_s(1399)
    assert len(rig.told) == 1
    rig.pass_s(2)
    assert rig.told[1:] == [("warm_up", 0, False)]


def test_step_that_nobody_noticed_drops_and_repeats_nothing(rig: Rig) -> None:
    """Without a review an alarm may ring at the wrong time: it is judged by the wall clock as it reads then."""
    rig.start(entry("briefing", 900), entry("warm_up", 2400))
    rig.step(-HOUR)
    rig.pass_s(901)  # the alarm rings an hour early and is set again
    assert rig.told == []
    rig.pass_s(HOUR)
    assert rig.told == [("briefing", 0, False)]
    rig.step(HOUR)
    rig.pass_s(1500)
    assert rig.told == [("briefing", 0, False), ("warm_up", 3600, True)]


def test_wrong_clock_put_right_brings_the_reminder_in_its_time(rig: Rig) -> None:
    """An entry that a wrong clock only reported as passed is told when its moment comes; a told one is not."""
    rig.start(entry("briefing", 1200), entry("warm_up", 3500))
    rig.step(HOUR)
    rig.timetable.review()
    assert rig.told == [("briefing", 2400, True), ("warm_up", 100, False)]
    rig.step(-HOUR)
    rig.timetable.review()
    rig.pass_s(4000)
    assert rig.told[2:] == [("briefing", 0, False)]


def test_wrong_clock_put_right_late_tells_what_is_within_its_grace(rig: Rig) -> None:
    """Put right only after the moment: told with how late it is, as long as it is within its grace."""
    rig.start(entry("briefing", 1200), entry("warm_up", 1300, grace_s=60))
    rig.step(HOUR)
    rig.timetable.review()
    rig.pass_s(1500)
    rig.step(-HOUR)
    rig.timetable.review()
    assert rig.told == [("briefing", 2400, True), ("warm_up", 2300, True), ("briefing", 300, False)]


def test_slept_through_is_judged_at_the_resume(rig: Rig) -> None:
    """A sleep of 40 minutes (the wall clock went on, timers did not): one told late, one passed, one still to come."""
    rig.start(entry("briefing", 600), entry("warm_up", 2000), entry("fire_up", 3000))
    rig.pass_s(10)
    rig.step(2400)
    rig.timetable.review()
    assert rig.told == [("briefing", 1810, True), ("warm_up", 410, False)]
    rig.pass_s(591)
    assert rig.told[2:] == [("fire_up", 0, False)]


def test_reviews_without_a_step_change_nothing(rig: Rig) -> None:
    """Judging again at any moment tells nothing early and nothing twice."""
    rig.start(entry("briefing", 100), entry("warm_up", 200))
    for _ in range(300):
        rig.timetable.review()
        rig.pass_s(1)
    rig.timetable.review()
    assert rig.told == [("briefing", 0, False), ("warm_up", 0, False)]


def test_same_moment_is_told_by_name(rig: Rig) -> None:
    """Entries of one moment are told in the order of their names, each once."""
    rig.start(entry("b", 50), entry("a", 50), entry("c", 50))
    rig.pass_s(60)
    assert [name for name, _, _ in rig.told] == ["a", "b", "c"]


def test_stopped_tells_nothing(rig: Rig) -> None:
    """After stop no alarm rings; stopping again is harmless."""
    rig.start(entry("briefing", 100))
    rig.timetable.stop()
    rig.timetable.stop()
    rig.pass_s(HOUR)
    assert rig.told == []


def test_no_entries(rig: Rig) -> None:
    """An empty day is a day."""
    rig.start()
    rig.timetable.review()
    rig.pass_s(HOUR)
    assert (rig.told, rig.timetable.ahead()) == ([], ())


def test_names_are_unique(rig: Rig) -> None:
    """Two entries of one name could not be told apart in the journal: refused."""
    with pytest.raises(ValueError, match="same name"):
        rig.start(entry("briefing", 1), entry("briefing", 2))


async def test_apscheduler_rings_on_a_running_loop() -> None:
    """On a real event loop with real clocks an entry some milliseconds ahead is told."""
    import asyncio

    from pitwall.runtime.clock import wall_seconds

    told: asyncio.Queue[Reached] = asyncio.Queue()
    timetable = WallTimetable()
    soon = TimetableEntry(name="soon", kind="reminder", text="now", grace_s=60,
                          moment=datetime.fromtimestamp(wall_seconds() + 0.05, UTC))
    timetable.start([soon], told.put_nowait)
    found = await asyncio.wait_for(told.get(), 60)
    timetable.stop()
    assert (found.entry, found.passed) == (soon, False)
    assert 0 <= found.late_s < 10
