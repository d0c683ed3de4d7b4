"""The session regulations: only what changes what may be planned. The event's own regulations always come first."""

from __future__ import annotations

import re
from itertools import pairwise
from typing import Any, Literal, Self

from pydantic import AwareDatetime, Field, TypeAdapter, ValidationError, model_validator

from pitwall.model.base import Frozen, Name, Refused, Slug
from pitwall.model.units import Duration, Seconds, clock_text

DAY_S = 86_400.0
LONGEST_S = 36_000.0
_TIME_OF_DAY = re.compile(r"^\s*(\d{1,2}):(\d{2})\s*$", re.ASCII)
_OPENS: TypeAdapter[AwareDatetime] = TypeAdapter(AwareDatetime)


class Window(Frozen):
    """One part of a session with a green light, a chequered flag and an end of its own: the morning of a test day."""

    window: Slug = Field(description="its name: morning, afternoon")
    from_s: Seconds = Field(alias="from", ge=0, description="its green light: session time, or HH:MM of the day")
    to_s: Seconds = Field(alias="to", gt=0, description="its chequered flag, likewise")
    after_flag_items: tuple[Name, ...] | None = Field(
        default=None, description="procedures allowed after this flag; left out: those of the regulations"
    )

    @property
    def length_s(self) -> float:
        """From its green light to its flag, seconds."""
        return self.to_s - self.from_s


class SessionWindow(Frozen):
    """One session of the event: when it opens (RFC 3339 with offset) and how long it lasts.

    A session may be cut into ``windows``. Session time runs on between them; zero is the first green light, and the
    whole lasts until the last flag. ``from`` and ``to`` may be times of day (``"13:30"``) when ``opens_at`` is given.
    """

    session: Slug
    opens_at: AwareDatetime | None = None
    duration_s: float = Field(gt=0, le=LONGEST_S)
    windows: tuple[Window, ...] = Field(default=(), max_length=12)

    @model_validator(mode="before")
    @classmethod
    def _times_of_day(cls, data: Any) -> Any:
        """Times of day become session seconds, and the last flag gives the length where none is written."""
        if not isinstance(data, dict) or not isinstance(data.get("windows"), list | tuple):
            return data
        windows = [_in_session_time(entry, data.get("opens_at"), index) for index, entry in enumerate(data["windows"])]
        made = data | {"windows": windows}
        last = windows[-1] if windows else None
        end = last.to_s if isinstance(last, Window) else _end(last)
        if "duration_s" not in made and end is not None:
            made["duration_s"] = end
        return made

    @model_validator(mode="after")
    def _windows_in_order(self) -> Self:
        if not self.windows:
            return self
        if self.windows[0].from_s != 0:
            raise Refused(f"a first window from {clock_text(self.windows[0].from_s)}", "0, or the time of 'opens_at'",
                          at=("windows", 0, "from"), suggestion="session time begins with the first green light")
        for index, window in enumerate(self.windows):
            if window.length_s <= 0:
                raise Refused(f"a window that ends at {clock_text(window.to_s)}", f"after {clock_text(window.from_s)}",
                              at=("windows", index, "to"))
        names = [window.window for window in self.windows]
        for index, (before, window) in enumerate(pairwise(self.windows), start=1):
            if window.from_s < before.to_s:
                found = f"window {window.window!r} from {clock_text(window.from_s)}, which overlaps the one before"
                raise Refused(found, f"{clock_text(before.to_s)} or later", at=("windows", index, "from"),
                              first=("windows", index - 1, "to"), code="PW510")
            if window.window in names[:index]:
                raise Refused(f"window {window.window!r} again", "a name of its own for each window",
                              at=("windows", index, "window"), first=("windows", names.index(window.window), "window"))
        if self.duration_s != self.windows[-1].to_s:
            raise Refused(f"{self.duration_s:g} s", f"{self.windows[-1].to_s:g} s, the flag of the last window",
                          at=("duration_s",), suggestion="with windows it may be left out")
        return self

    def find(self, name: int | str) -> int | None:
        """Index of the window of that name or number (from 1); None when there is none."""
        text = str(name)
        named = next((index for index, window in enumerate(self.windows) if window.window == text), None)
        if named is None and text.isascii() and text.isdigit() and 1 <= int(text) <= len(self.windows):
            return int(text) - 1
        return named


def _in_session_time(entry: object, opens_at: object, index: int) -> object:
    if not isinstance(entry, dict):
        return entry
    return entry | {key: _seconds(entry[key], opens_at, ("windows", index, key)) for key in ("from", "to")
                    if key in entry}


def _seconds(value: object, opens_at: object, at: tuple[str | int, ...]) -> object:
    """Session seconds of a time of day; anything else as it is."""
    match = _TIME_OF_DAY.match(value) if isinstance(value, str) else None
    if match is None:
        return value
    if opens_at is None:
        raise Refused(f"the time of day {value!r}", "'opens_at' beside the windows, or session time", at=at,
                      needs=("opens_at",), suggestion="write session time as '+04:30:00'")
    try:
        opens = _OPENS.validate_python(opens_at)
    except ValidationError:
        return value  # opens_at is told as wrong for itself
    second = int(match[1]) * 3600 + int(match[2]) * 60 - (opens.hour * 3600 + opens.minute * 60 + opens.second)
    return float(second if second >= 0 else second + DAY_S)


def _end(last: object) -> float | None:
    end = last.get("to", last.get("to_s")) if isinstance(last, dict) else None
    try:
        return _SECONDS.validate_python(end)
    except ValidationError:
        return None


_SECONDS: TypeAdapter[Seconds] = TypeAdapter(Seconds)


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
