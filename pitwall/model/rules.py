"""The session regulations: only what changes what may be planned. The event's own regulations always come first."""

from __future__ import annotations

from typing import Literal

from pydantic import AwareDatetime, Field

from pitwall.model.base import Frozen, Name, Slug
from pitwall.model.units import Duration


class SessionWindow(Frozen):
    """One session of the event: when it opens (RFC 3339 with offset) and how long it lasts."""

    session: Slug
    opens_at: AwareDatetime | None = None
    duration_s: float = Field(gt=0, le=36_000)


class Interruptions(Frozen):
    """How often sessions like this are stopped: rates per hour, and p10/p50/p90 lengths in seconds."""

    red_per_hour: float = Field(default=0.6, ge=0, le=20)
    red_length_s: tuple[float, float, float] = (220.0, 370.0, 610.0)
    slow_per_hour: float = Field(default=0.3, ge=0, le=20)
    slow_length_s: tuple[float, float, float] = (60.0, 120.0, 300.0)


class Regulations(Frozen):
    """The regulations file."""

    regulations: Literal[1]
    sessions: tuple[SessionWindow, ...] = Field(min_length=1)
    red_clock: Literal["runs", "stops"] = "runs"
    finish_started_lap: bool = Field(default=True, description="a timed lap begun before the end may be completed")
    after_flag_items: tuple[Name, ...] = Field(default=(), description="procedures allowed after the flag")
    pit_limit_kph: float = Field(default=80, gt=10, le=120)
    slowest_in_lap_s: Duration | None = None
    clock_uncertainty_s: Duration = 1.5
    interruptions: Interruptions = Interruptions()

    def window(self, session: str) -> SessionWindow | None:
        """The window of that session, or None."""
        return next((window for window in self.sessions if window.session == session), None)
