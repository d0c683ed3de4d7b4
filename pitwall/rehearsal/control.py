"""Race control: the session clock, the flags and the pit exit. The timetable of flags is drawn before the start."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from pitwall.model.events import ClockReported, PitExit, SessionStatus, StatusChanged
from pitwall.model.setup import SessionSetup
from pitwall.rehearsal.agenda import Agenda
from pitwall.rehearsal.draws import Streams, between, moments
from pitwall.rehearsal.feed import Feed
from pitwall.rehearsal.scenario import Scenario
from pitwall.rehearsal.truth import FlagShown

APART_S = 90.0          # random interruptions keep this distance from each other
ANNOUNCED_S = 45.0      # the pit exit's opening after a red flag is announced so long before
ENDING_S = 12.0         # a slow period's end is announced so long before
LATEST_CLOSE_S = 420.0  # the session is closed by then, whoever is still out


@dataclass(frozen=True)
class Notice:
    """What the marshal boards and the light at the pit exit show from now on."""

    status: SessionStatus
    sectors: tuple[str, ...] = ()
    over: bool = False


Watcher = Callable[[float, Notice], None]


def _overlaps(flag: FlagShown, others: list[FlagShown], apart: float) -> bool:
    return any(flag.start_s < other.end_s + apart and other.start_s < flag.end_s + apart for other in others)


def _random_flags(scenario: Scenario, setup: SessionSetup, streams: Streams, taken: list[FlagShown]) -> list[FlagShown]:
    habits = scenario.flags
    duration = setup.duration_s
    posts = sorted(sector.sector for sector in setup.circuit.marshal_sectors)
    kinds = (
        ("red", habits.red_per_hour, habits.red_length_s),
        ("slow", habits.slow_per_hour, habits.slow_length_s),
        ("yellow", habits.yellow_per_hour if posts else 0.0, habits.yellow_length_s),
    )
    found = list(taken)
    for status, rate, lengths in kinds:
        rng = streams.stream("flags", status)
        for start in moments(rng, rate, 30.0, duration):
            length = between(rng, lengths, low=3.0)
            post = posts[int(rng.integers(len(posts)))] if status == "yellow" else None
            flag = FlagShown(status=status, start_s=round(start, 3), end_s=round(start + length, 3),
                             sectors=(post,) if post else ())
            if not _overlaps(flag, found, APART_S if status != "yellow" else 5.0):
                found.append(flag)
    return found


def draw_flags(scenario: Scenario, setup: SessionSetup, streams: Streams) -> list[FlagShown]:
    """The scripted flags and the random ones that do not fall into them, in order of time."""
    posts = [sector.sector for sector in setup.circuit.marshal_sectors]
    scripted = [
        FlagShown(status=flag.status, start_s=flag.at, end_s=flag.at + flag.lasts,
                  sectors=(flag.sectors or tuple(posts[:1])) if flag.status == "yellow" else ())
        for flag in scenario.flags.scripted
    ]
    return sorted(_random_flags(scenario, setup, streams, scripted), key=lambda flag: (flag.start_s, flag.status))


class RaceControl:
    """Runs the session. Watchers (cars, garages) see its boards at once; the daemon hears of it through the feed."""

    def __init__(self, scenario: Scenario, setup: SessionSetup, agenda: Agenda, feed: Feed, streams: Streams,
                 prefix: str, rate: float) -> None:
        self._scenario, self._agenda, self._feed = scenario, agenda, feed
        self._prefix, self._rate = prefix, rate
        self._stops = setup.regulations.red_clock == "stops"
        self._duration = setup.duration_s
        self.finish_started_lap = setup.regulations.finish_started_lap
        drawn = draw_flags(scenario, setup, streams)
        self.flag_s = self._end(drawn)
        self.flags = [flag.model_copy(update={"end_s": min(flag.end_s, self.flag_s)})
                      for flag in drawn if flag.start_s < self.flag_s - 1.0]
        self.status: SessionStatus = "waiting"
        self.pit_exit: PitExit = "closed"
        self.yellow: set[str] = set()
        self.closed_s: float | None = None
        self._watchers: list[Watcher] = []
        self._messages = 0
        self._may_close: Callable[[], bool] = lambda: True

    def _end(self, flags: list[FlagShown]) -> float:
        end = self._duration
        if self._stops:
            for flag in flags:
                if flag.status == "red" and flag.start_s < end:
                    end += flag.end_s - flag.start_s
        return end

    def watch(self, watcher: Watcher) -> None:
        """Show the boards to this watcher from now on."""
        self._watchers.append(watcher)

    def close_when(self, may_close: Callable[[], bool]) -> None:
        """The session is closed once this is true, or at the latest so long after the flag."""
        self._may_close = may_close

    @property
    def running(self) -> bool:
        """Cars may leave the pits for laps."""
        return self.status in ("green", "yellow", "slow") and self.pit_exit == "open"

    @property
    def over(self) -> bool:
        """The chequered flag is out."""
        return self.status in ("finished", "closed")

    def remaining(self, t: float) -> float:
        """What the official clock shows, seconds."""
        left = self._duration - max(t, 0.0)
        if self._stops:
            left += sum(min(t, flag.end_s) - flag.start_s
                        for flag in self.flags if flag.status == "red" and flag.start_s < t)
        return min(max(left, 0.0), self._duration)

    def start(self) -> None:
        """Arm the timetable and the clock."""
        begin = self._scenario.starts_at_s
        self._agenda.at(begin, lambda t: self._show(t, Notice("waiting"), pit_exit="closed"))
        self._agenda.at(begin, self._tick)
        self._agenda.at(0.0, lambda t: self._show(t, Notice("green"), pit_exit="open"))
        for flag in self.flags:
            self._arm(flag)
        self._agenda.at(self.flag_s, lambda t: self._show(t, Notice("finished"), pit_exit="closed"))
        self._agenda.at(self.flag_s + self._scenario.close_after_s, self._close)

    def _arm(self, flag: FlagShown) -> None:
        if flag.status == "yellow":
            self._agenda.at(flag.start_s, lambda t: self._show(t, Notice("yellow", flag.sectors)))
            self._agenda.at(flag.end_s, lambda t: self._show(t, Notice("yellow", flag.sectors, over=True)))
            return
        status: Literal["red", "slow"] = "red" if flag.status == "red" else "slow"
        exit_now: PitExit | None = "closed" if status == "red" else None
        self._agenda.at(flag.start_s, lambda t: self._show(t, Notice(status), pit_exit=exit_now))
        if flag.end_s >= self.flag_s:
            return
        self._agenda.at(flag.end_s, lambda t: self._show(t, Notice("green"), pit_exit="open"))
        length = flag.end_s - flag.start_s
        if status == "red" and length > ANNOUNCED_S:
            self._agenda.at(flag.end_s - ANNOUNCED_S, lambda t: self._announce(t, flag.end_s))
        if status == "slow" and length > 2 * ENDING_S:
            self._agenda.at(flag.end_s - ENDING_S, self._ending)

    def _show(self, t: float, notice: Notice, pit_exit: PitExit | None = None) -> None:
        if notice.status == "yellow":
            change = self.yellow.difference_update if notice.over else self.yellow.update
            change(notice.sectors)
            if self.status in ("green", "yellow"):
                self.status = "yellow" if self.yellow else "green"
            said: SessionStatus = "green" if notice.over else "yellow"
            if self.status in ("green", "yellow"):
                self._tell(t, StatusChanged(id=self._id(), t=t, status=said, scope=notice.sectors))
        else:
            self.status = notice.status
            self.pit_exit = pit_exit or self.pit_exit
            self._tell(t, StatusChanged(id=self._id(), t=t, status=notice.status, pit_exit=pit_exit))
        for watcher in self._watchers:
            watcher(t, notice)

    def _announce(self, t: float, opens: float) -> None:
        self._tell(t, StatusChanged(id=self._id(), t=t, pit_exit="closed", opens_at_s=opens))

    def _ending(self, t: float) -> None:
        if self.status == "slow":
            self._tell(t, StatusChanged(id=self._id(), t=t, status="slow", ending=True))

    def _close(self, t: float) -> None:
        if self._may_close() or t >= self.flag_s + max(LATEST_CLOSE_S, self._scenario.close_after_s):
            self.closed_s = t
            self._show(t, Notice("closed"), pit_exit="closed")
        else:
            self._agenda.at(t + 5.0, self._close)

    def _tell(self, t: float, fact: StatusChanged) -> None:
        self._feed.message(fact, "control")

    def _id(self) -> str:
        self._messages += 1
        return f"{self._prefix}-status-{self._messages}"

    def _tick(self, t: float) -> None:
        running = not self.over and t >= 0 and not (self._stops and self.status == "red")
        remaining = self.remaining(t)
        self._feed.at_once(
            ClockReported(id=f"{self._prefix}-clock-{t:g}", t=t, remaining_s=round(remaining, 3), running=running,
                          rate=self._rate)
        )
        if self.closed_s is None or t < self.closed_s + self._scenario.wake_after_s:
            self._agenda.at(t + self._scenario.feed.clock_every_s, self._tick)
