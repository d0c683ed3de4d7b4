"""Race control: the session clock, the flags and the pit exit. The timetable of flags is drawn before the start."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from pitwall.model.events import ClockReported, PitExit, SessionStatus, StatusChanged
from pitwall.model.setup import SessionSetup
from pitwall.rehearsal.agenda import Agenda
from pitwall.rehearsal.draws import Streams, between, moments
from pitwall.rehearsal.feed import Feed
from pitwall.rehearsal.scenario import Scenario
from pitwall.rehearsal.truth import FlagShown

LATE_GREEN_S = 25.0     # a later window opens up to so long after its time
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


@dataclass
class Stretch:
    """One window of the day as it will be: from its green light to its flag, session seconds."""

    green_s: float
    flag_s: float


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


def _stretches(setup: SessionSetup, flags: list[FlagShown], streams: Streams) -> list[Stretch]:
    """The windows as they will be: later ones open a little late, and a clock that stops moves the flag."""
    planned = [(window.from_s, window.to_s) for window in setup.windows] or [(0.0, setup.duration_s)]
    late = streams.stream("control", "windows").uniform(0.0, LATE_GREEN_S, len(planned)) if setup.windows else [0.0]
    found = [Stretch(begin + (float(late[index]) if index else 0.0), end) for index, (begin, end) in enumerate(planned)]
    if setup.regulations.red_clock == "stops":
        for part in found:
            for flag in flags:
                if flag.status == "red" and part.green_s <= flag.start_s < part.flag_s:
                    part.flag_s += flag.end_s - flag.start_s
    for before, part in pairwise(found):
        part.green_s = max(part.green_s, before.flag_s + LATEST_CLOSE_S)
    return found


class RaceControl:
    """Runs the session. Watchers (cars, garages) see its boards at once; the daemon hears of it through the feed."""

    def __init__(self, scenario: Scenario, setup: SessionSetup, agenda: Agenda, feed: Feed, streams: Streams,
                 prefix: str, rate: float) -> None:
        self._scenario, self._agenda, self._feed = scenario, agenda, feed
        self._prefix, self._rate = prefix, rate
        self._stops = setup.regulations.red_clock == "stops"
        self.finish_started_lap = setup.regulations.finish_started_lap
        drawn = draw_flags(scenario, setup, streams)
        self.stretches = _stretches(setup, drawn, streams)
        self.flag_s = self.stretches[-1].flag_s
        self.flags = [flag.model_copy(update={"end_s": min(flag.end_s, part.flag_s)})
                      for flag in drawn for part in self.stretches if part.green_s <= flag.start_s < part.flag_s - 1.0]
        self._part = 0
        self.status: SessionStatus = "waiting"
        self.pit_exit: PitExit = "closed"
        self.yellow: set[str] = set()
        self.closed_s: float | None = None
        self._watchers: list[Watcher] = []
        self._messages = 0
        self._may_close: Callable[[], bool] = lambda: True

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
        """The chequered flag is out, and no further window has begun."""
        return self.status in ("finished", "closed") or (self.status == "waiting" and self._part > 0)

    def flag_after(self, t: float) -> float:
        """The next flag, as the timetable of the day has it."""
        return next((part.flag_s for part in self.stretches if t < part.flag_s), self.flag_s)

    def opens_after(self, t: float) -> float | None:
        """The green light of the next window; None when there is no other."""
        return next((part.green_s for part in self.stretches[1:] if t < part.green_s), None)

    def remaining(self, t: float) -> float:
        """What the official clock shows, seconds; while race control waits, the length of the window to come."""
        part = self.stretches[self._part]
        stops = [flag for flag in self.flags if flag.status == "red" and part.green_s <= flag.start_s < part.flag_s]
        # The flag lies later by every stop: what is still to come of them is not known to the clock.
        to_come = sum(flag.end_s - max(flag.start_s, min(t, flag.end_s)) for flag in stops) if self._stops else 0.0
        whole = part.flag_s - part.green_s - (sum(flag.end_s - flag.start_s for flag in stops) if self._stops else 0.0)
        return min(max(part.flag_s - max(t, part.green_s) - to_come, 0.0), whole)

    def start(self) -> None:
        """Arm the timetable and the clock."""
        begin = self._scenario.starts_at_s
        self._agenda.at(begin, lambda t: self._show(t, Notice("waiting"), pit_exit="closed"))
        self._agenda.at(begin, self._tick)
        self._agenda.at(0.0, lambda t: self._show(t, Notice("green"), pit_exit="open"))
        for flag in self.flags:
            self._arm(flag)
        for part in self.stretches:
            if part.green_s > 0:
                self._agenda.at(part.green_s, lambda t: self._show(t, Notice("green"), pit_exit="open"))
            self._agenda.at(part.flag_s, lambda t: self._show(t, Notice("finished"), pit_exit="closed"))
            self._agenda.at(part.flag_s + self._scenario.close_after_s, self._close)

    def _arm(self, flag: FlagShown) -> None:
        if flag.status == "yellow":
            self._agenda.at(flag.start_s, lambda t: self._show(t, Notice("yellow", flag.sectors)))
            self._agenda.at(flag.end_s, lambda t: self._show(t, Notice("yellow", flag.sectors, over=True)))
            return
        status: Literal["red", "slow"] = "red" if flag.status == "red" else "slow"
        exit_now: PitExit | None = "closed" if status == "red" else None
        self._agenda.at(flag.start_s, lambda t: self._show(t, Notice(status), pit_exit=exit_now))
        if flag.end_s >= self.flag_after(flag.start_s):
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
        """The window is over once everybody is in: race control waits for the next one, or closes the session."""
        flag_s = self.stretches[self._part].flag_s
        if not self._may_close() and t < flag_s + max(LATEST_CLOSE_S, self._scenario.close_after_s):
            self._agenda.at(t + 5.0, self._close)
        elif flag_s < self.flag_s:
            self._part += 1
            self._show(t, Notice("waiting"), pit_exit="closed")
        else:
            self.closed_s = t
            self._show(t, Notice("closed"), pit_exit="closed")

    def _tell(self, t: float, fact: StatusChanged) -> None:
        self._feed.message(fact, "control")

    def _id(self) -> str:
        self._messages += 1
        return f"{self._prefix}-status-{self._messages}"

    def _tick(self, t: float) -> None:
        running = not self.over and t >= 0.0 and not (self._stops and self.status == "red")
        remaining = self.remaining(t)
        self._feed.at_once(
            ClockReported(id=f"{self._prefix}-clock-{t:g}", t=t, remaining_s=round(remaining, 3), running=running,
                          rate=self._rate)
        )
        if self.closed_s is None or t < self.closed_s + self._scenario.wake_after_s:
            self._agenda.at(t + self._scenario.feed.clock_every_s, self._tick)
