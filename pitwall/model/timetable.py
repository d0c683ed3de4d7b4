"""The day: what the event file says of it, and the entries of the timetable that come of it.

The day is told by the wall clock of the event's own time zone; sessions and prompts run on session time and are never
moved by it. Its entries only inform.
"""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import AwareDatetime, BeforeValidator, Field, StringConstraints, model_validator

from pitwall.model.base import Frozen, Name, Refused, Slug
from pitwall.model.units import Duration

TIME_OF_DAY_PATTERN = r"^([01]\d|2[0-3]):[0-5]\d$"


def time_of_day(value: object) -> object:
    """Read ``8:30`` as ``08:30``; leave everything else to the pattern."""
    return value.strip().rjust(len("08:30"), "0") if isinstance(value, str) else value


TimeOfDay = Annotated[str, StringConstraints(pattern=TIME_OF_DAY_PATTERN), BeforeValidator(time_of_day)]
"""Hours and minutes on the clock on the wall, ``08:30``, 24 hours."""

EntryKind = Literal["reminder", "session", "window", "curfew", "export"]


class Reminder(Frozen):
    """One reminder: so long before each session or window, or at a time of day."""

    name: Name
    text: str = Field(min_length=1, max_length=160, description="what is told; the session's name is put before it")
    before_s: Duration | None = Field(default=None, le=43_200, description="so long before a session or window opens")
    at: TimeOfDay | None = Field(default=None, description="time of day, on each day that has sessions")
    of: Literal["session", "window"] = Field(default="session", description="what before_s counts from")
    sessions: tuple[Slug, ...] = Field(default=(), description="only for these sessions; empty: for all")
    grace_s: Duration | None = Field(default=None, description="how late it may still be told; default: the day's")

    @model_validator(mode="after")
    def _one_moment(self) -> Self:
        if (self.before_s is None) == (self.at is None):
            found = "neither before_s nor at" if self.at is None else "both before_s and at"
            raise Refused(found, "exactly one of them", suggestion="before_s: 2700, or at: \"09:45\"")
        return self


class Day(Frozen):
    """``day`` of the event file. Times of day are those of ``time_zone``, whatever the machine is set to."""

    time_zone: str = Field(min_length=1, max_length=64, description="IANA name, for example Europe/Berlin")
    reminders: tuple[Reminder, ...] = Field(default=(), max_length=40)
    grace_s: Duration = Field(default=600, description="how late a reminder may still be told")
    curfew: TimeOfDay | None = Field(default=None, description="nobody may work on the car after it")
    curfew_warning_s: Duration = Field(default=1800, description="warned so long before the curfew")
    export_at: TimeOfDay | None = Field(default=None, description="the journals of the day are written out then")

    @model_validator(mode="after")
    def _names_once(self) -> Self:
        names = [reminder.name for reminder in self.reminders]
        for index, name in enumerate(names):
            if name in names[:index]:
                raise Refused(f"reminder {name!r} again", "a name of its own for each reminder",
                              at=("reminders", index, "name"), first=("reminders", names.index(name), "name"))
        return self


class TimetableEntry(Frozen):
    """One moment of the day by the wall clock: told once when it is reached, at most ``grace_s`` late."""

    name: str = Field(min_length=1, max_length=96, description="unique within the day, without blanks")
    kind: EntryKind
    text: str = Field(min_length=1, max_length=240)
    moment: AwareDatetime
    grace_s: float = Field(ge=0)

    @property
    def unix_s(self) -> float:
        """The moment in Unix seconds."""
        return self.moment.timestamp()


class Reached(Frozen):
    """An entry whose moment has come: ``late_s`` after it; ``passed`` when that is beyond its grace."""

    entry: TimetableEntry
    late_s: float = Field(ge=0)
    passed: bool = False
