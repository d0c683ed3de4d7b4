"""The session clock: how much time is left, which status holds where, and whether the pit exit is open.

It runs on the official clock's last message; without one, from the green light and the scheduled length. Under red it
runs or stops as the regulations say, until the official clock says otherwise.

A session in *windows* (a test day) has a green light and a flag for each. Time left is that of the window that runs,
or, while race control waits, of the one that comes next. The next window's turn comes when race control waits again
after the flag (by itself some time after it), or goes on when that window is due. Its green is never assumed.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import pairwise

from pitwall.engine import transitions
from pitwall.engine.transitions import allowed, step
from pitwall.model.events import ClockReported, StatusChanged
from pitwall.model.outputs import Status
from pitwall.model.rules import Regulations, Window

RUNNING = ("green", "yellow", "slow")
CLOSES_AFTER_FLAG_S = 1200.0
LENGTHS_KEPT = 8


@dataclass
class SessionClock:
    """Mutable state of the session's clock and flags."""

    regulations: Regulations
    duration_s: float
    windows: tuple[Window, ...] = ()
    window: int = 0
    status: Status = "waiting"
    yellow_sectors: tuple[str, ...] = ()
    pit_exit: str = "closed"
    pit_exit_opens_s: float | None = None
    slow_ending: bool = False
    rate: float = 1.0
    changes: int = 0
    since_s: float = 0.0
    finished_t: float | None = None
    closed_t: float | None = None
    official: bool = False
    reds: int = 0
    slows: int = 0
    ran: bool = False
    """Cars could go at some time: a green light was given, or a yellow in its place."""
    lengths: Mapping[str, tuple[float, ...]] = field(default_factory=lambda: {"red": (), "slow": ()})
    """Of the latest ones that are over, seconds; replaced, never changed: clocks are copied."""
    _anchor_t: float = 0.0
    _anchor_left: float = field(default=-1.0)
    _running: bool = False

    def __post_init__(self) -> None:
        self._anchor_left = self.windows[0].length_s if self.windows else self.duration_s

    # -- windows ------------------------------------------------------------------------------------------------------

    @property
    def window_now(self) -> Window | None:
        """The window that runs, or that comes next while race control waits; None for a session in one piece."""
        return self.windows[self.window] if self.windows else None

    @property
    def more_windows(self) -> bool:
        """Another window follows the one that runs."""
        return self.window + 1 < len(self.windows)

    @property
    def between_windows(self) -> bool:
        """After the flag of a window, before the green light of the next: nobody runs, nothing is amiss."""
        return (self.status == "finished" and self.more_windows) or (self.status == "waiting" and self.window > 0)

    @property
    def alert_status(self) -> Status:
        """The status as far as alerts are concerned: in a break the session is as good as over."""
        return "finished" if self.between_windows else self.status

    def windows_ahead(self, now: float) -> dict[int, tuple[float, float]]:
        """By index: from when to when cars may still run in each window; a running one from ``now``."""
        found: dict[int, tuple[float, float]] = {}
        first = max(self.window, self._due_at(now)) if self.status == "waiting" else self.window
        for index, window in enumerate(self.windows):
            if index < first or (index == self.window and self.status in ("finished", "closed")):
                continue
            begin, end = window.from_s, window.to_s
            if index == self.window and self.status != "waiting":
                begin, end = min(begin, now), self.end_s(now)
            elif begin < now:
                begin, end = now, end if end > now else now + window.length_s
            found[index] = (begin, end)
        return found

    @property
    def after_flag_items(self) -> tuple[str, ...]:
        """Procedures that may be done after this flag."""
        window = self.window_now
        own = window.after_flag_items if window is not None else None
        return self.regulations.after_flag_items if own is None else own

    def _due_at(self, t: float) -> int:
        """Index of the window that is meant at ``t``: the next one from the middle of the break before it."""
        breaks = [(before.to_s + after.from_s) / 2 for before, after in pairwise(self.windows)]
        return sum(t >= middle for middle in breaks)

    def _turn_to(self, status: Status, t: float) -> None:
        """Race control waits again after a flag, or goes on when a later window is due: that one's turn has come."""
        before = self.window
        if self.status not in ("waiting", "finished") or status in ("finished", "closed"):
            return
        if status == "waiting" and self.status == "finished" and self.more_windows:
            self.window += 1
        self.window = max(self.window, self._due_at(t))
        if self.window != before:
            self.official, self._running, self.finished_t = False, False, None
            self._anchor_t, self._anchor_left = t, self.windows[self.window].length_s

    def _length_from(self, t: float, left: float) -> float:
        """Time left at the green light of a window: its flag falls when it is scheduled, as long as that lies ahead."""
        window = self.window_now
        return window.to_s - t if window is not None and self.window > 0 and window.to_s > t else left

    # -- time ---------------------------------------------------------------------------------------------------------

    @property
    def running(self) -> bool:
        """True while the session time counts down."""
        return self._running

    def remaining(self, now: float) -> float:
        """Seconds to the flag at session second ``now``, never below zero."""
        spent = max(0.0, now - self._anchor_t) if self._running else 0.0
        return max(0.0, self._anchor_left - spent)

    def end_s(self, now: float) -> float:
        """Session second at which the flag is expected if nothing stops the clock."""
        return now + self.remaining(now)

    @property
    def disturbed(self) -> bool:
        """True while no lap can count as timed, wherever it is."""
        return self.status in ("slow", "red")

    def report(self, event: ClockReported) -> bool:
        """Take the official clock; True when it corrected ours by more than its own uncertainty.

        A message older than the last is not taken: clocks do not go back for a late packet.
        """
        if self.official and event.t < self._anchor_t - 1e-9:
            return False
        if self.window > 0 and self.status == "waiting" and event.remaining_s <= 0.0:
            return False  # a clock that stands at zero in the break says nothing of the window to come
        drift = abs(self.remaining(event.t) - event.remaining_s)
        moved = drift > self.regulations.clock_uncertainty_s or event.running != self._running
        self._anchor_t, self._anchor_left, self._running = event.t, event.remaining_s, event.running
        self.rate, self.official = event.rate, True
        return moved

    def set_by_hand(self, event: ClockReported) -> None:
        """Take the clock that somebody read off. It is no official one: the status starts and stops it from here on."""
        self._anchor_t, self._anchor_left, self._running = event.t, event.remaining_s, event.running
        self.official = False

    def change(self, event: StatusChanged) -> tuple[str, ...]:
        """Take a status message; returns what changed: of ``status``, ``sectors``, ``pit_exit``, ``ending``."""
        changed: list[str] = []
        if self.status == "waiting":
            self._turn_to("waiting", event.t)
        if event.pit_exit is not None and event.pit_exit != self.pit_exit:
            self.pit_exit = event.pit_exit
            changed.append("pit_exit")
        if event.opens_at_s is not None:
            self.pit_exit_opens_s = event.opens_at_s
        if event.status is None:
            return tuple(changed)
        if event.scope != "all":
            return (*changed, *self._change_sectors(event.status, event.scope))
        if event.ending and not self.slow_ending:
            self.slow_ending = True
            changed.append("ending")
        if event.status == "green" and self.yellow_sectors:
            self.yellow_sectors = ()
            changed.append("sectors")
        status = self._meant(event.status, event.t)
        if status != self.status and allowed(transitions.SESSION, self.status, status):
            self._enter(status, event.t, pit_exit_said=event.pit_exit is not None)
            changed.append("status")
        return tuple(dict.fromkeys(changed))

    def _meant(self, status: Status, t: float) -> Status:
        """Closed before the last window: this one is over, and race control waits for the next."""
        if status != "closed" or not self.more_windows or t >= self.windows[-1].to_s:
            return status
        return "waiting" if self.status in ("waiting", "finished") else "finished"

    def _change_sectors(self, status: Status, sectors: tuple[str, ...]) -> tuple[str, ...]:
        before = self.yellow_sectors
        if status in ("yellow", "slow", "red"):
            self.yellow_sectors = tuple(dict.fromkeys([*before, *sectors]))
        else:
            self.yellow_sectors = tuple(sector for sector in before if sector not in sectors)
        return ("sectors",) if self.yellow_sectors != before else ()

    def _enter(self, status: Status, t: float, pit_exit_said: bool) -> None:
        self._turn_to(status, t)
        before, left = self.status, self.remaining(t)
        if self.status == "waiting" and status in RUNNING:
            left = self._length_from(t, left)
        self.status = step("session", self.status, status)  # type: ignore[assignment]  # the table holds statuses only
        if before in self.lengths and self.status != before:
            lasted = max(0.0, t - self.since_s)
            self.lengths = {**self.lengths, before: (*self.lengths[before][1 - LENGTHS_KEPT :], lasted)}
        self.changes, self.since_s, self.slow_ending = self.changes + 1, t, False
        self.reds, self.slows = self.reds + (status == "red"), self.slows + (status == "slow")
        if not self.official:
            runs = status in RUNNING or (status == "red" and self.regulations.red_clock == "runs" and self._running)
            self._anchor_t, self._anchor_left, self._running = t, left, runs
        if status in ("finished", "closed"):
            self.finished_t = t if self.finished_t is None or status == "finished" else self.finished_t
            self.closed_t = t if status == "closed" else None
        if status in RUNNING:
            self.finished_t, self.ran = None, True
        if not pit_exit_said:
            # Without a word about the pit exit it follows the status; a message about it always wins.
            self.pit_exit = "open" if status in RUNNING else "closed"

    def flag_is_due(self, now: float) -> bool:
        """Guard: time is up, nobody has said so, and the official clock's uncertainty is used up."""
        return (
            self._running
            and now >= self._anchor_t + self._anchor_left  # asked with every fact: what hardly ever holds comes first
            and self.status in (*RUNNING, "red")  # a red period whose clock runs may outlast the session
            and self.remaining(now) <= 0.0
            and now - (self._anchor_t + self._anchor_left) >= self.regulations.clock_uncertainty_s + 1.5
        )

    def closing_is_due(self, now: float) -> bool:
        """Guard: the flag fell long ago and nobody closed the session (or its window), or no window is to come."""
        if self.windows and self.status == "waiting":
            return now >= self.windows[-1].to_s + CLOSES_AFTER_FLAG_S
        after = CLOSES_AFTER_FLAG_S
        if self.more_windows:
            after = min(after, (self.windows[self.window + 1].from_s - self.windows[self.window].to_s) / 2)
        return self.status == "finished" and self.finished_t is not None and now >= self.finished_t + after
