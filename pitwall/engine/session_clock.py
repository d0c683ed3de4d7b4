"""The session clock: how much time is left, which status holds where, and whether the pit exit is open.

It runs on the official clock's last message; without one, from the green light and the scheduled length. Under red it
runs or stops as the regulations say, until the official clock says otherwise.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from pitwall.engine import transitions
from pitwall.engine.transitions import allowed, step
from pitwall.model.events import ClockReported, StatusChanged
from pitwall.model.outputs import Status
from pitwall.model.rules import Regulations

RUNNING = ("green", "yellow", "slow")
CLOSES_AFTER_FLAG_S = 1200.0


@dataclass
class SessionClock:
    """Mutable state of the session's clock and flags."""

    regulations: Regulations
    duration_s: float
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
    _anchor_t: float = 0.0
    _anchor_left: float = field(default=-1.0)
    _running: bool = False

    def __post_init__(self) -> None:
        self._anchor_left = self.duration_s

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
        drift = abs(self.remaining(event.t) - event.remaining_s)
        moved = drift > self.regulations.clock_uncertainty_s or event.running != self._running
        self._anchor_t, self._anchor_left, self._running = event.t, event.remaining_s, event.running
        self.rate, self.official = event.rate, True
        return moved

    def change(self, event: StatusChanged) -> tuple[str, ...]:
        """Take a status message; returns what changed: of ``status``, ``sectors``, ``pit_exit``, ``ending``."""
        changed: list[str] = []
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
        if event.status != self.status and allowed(transitions.SESSION, self.status, event.status):
            self._enter(event.status, event.t, pit_exit_said=event.pit_exit is not None)
            changed.append("status")
        return tuple(dict.fromkeys(changed))

    def _change_sectors(self, status: Status, sectors: tuple[str, ...]) -> tuple[str, ...]:
        before = self.yellow_sectors
        if status in ("yellow", "slow", "red"):
            self.yellow_sectors = tuple(dict.fromkeys([*before, *sectors]))
        else:
            self.yellow_sectors = tuple(sector for sector in before if sector not in sectors)
        return ("sectors",) if self.yellow_sectors != before else ()

    def _enter(self, status: Status, t: float, pit_exit_said: bool) -> None:
        left = self.remaining(t)
        self.status = step("session", self.status, status)  # type: ignore[assignment]  # the table holds statuses only
        self.changes, self.since_s, self.slow_ending = self.changes + 1, t, False
        if not self.official:
            runs = status in RUNNING or (status == "red" and self.regulations.red_clock == "runs" and self._running)
            self._anchor_t, self._anchor_left, self._running = t, left, runs
        if status in ("finished", "closed"):
            self.finished_t = t if self.finished_t is None or status == "finished" else self.finished_t
            self.closed_t = t if status == "closed" else None
        if status in RUNNING:
            self.finished_t = None
        if not pit_exit_said:
            # Without a word about the pit exit it follows the status; a message about it always wins.
            self.pit_exit = "open" if status in RUNNING else "closed"

    def flag_is_due(self, now: float) -> bool:
        """Guard: time is up, nobody has said so, and the official clock's uncertainty is used up."""
        return (
            self.status in (*RUNNING, "red")  # a red period whose clock runs may outlast the session
            and self._running
            and self.remaining(now) <= 0.0
            and now - (self._anchor_t + self._anchor_left) >= self.regulations.clock_uncertainty_s + 1.5
        )

    def closing_is_due(self, now: float) -> bool:
        """Guard: the flag fell long ago and nobody closed the session."""
        return (
            self.status == "finished" and self.finished_t is not None and now >= self.finished_t + CLOSES_AFTER_FLAG_S
        )
