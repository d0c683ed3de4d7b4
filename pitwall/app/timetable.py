"""From the event file's day and the regulations to the entries of the timetable, in the time zone of the event.

A time of day is read as RFC 5545 (3.3.5) reads local times: one that the clock skips counts by the offset before the
gap, one that it shows twice is the first. A session belongs to the date on which it opens; a curfew or an export with a
time of day before the first opening belongs to the night after.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from functools import cache
from pathlib import Path
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError, available_timezones

from pitwall.app.filing import Files
from pitwall.errors import FileProblem, UserError
from pitwall.model.eventfile import EventFile
from pitwall.model.rules import Regulations, SessionWindow
from pitwall.model.timetable import Day, Reminder, TimetableEntry

OPENING_GRACE_S = 120.0
EXPORT_GRACE_S = 43_200.0
"""The export is better late than never."""


@cache
def zone_names() -> frozenset[str]:
    """The IANA names that this machine knows; none on a Windows without the package tzdata."""
    return frozenset(available_timezones())


def zone_of(name: str) -> tzinfo | None:
    """The time zone of that name, None when there is none. Spelled exactly, on every file system."""
    if name not in zone_names():
        return None
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return None


def local_moment(day: date, at: str, zone: tzinfo) -> datetime:
    """The moment of a time of day on that date, as a clock in that zone shows it then."""
    hours, minutes = at.split(":")
    wanted = datetime.combine(day, time(int(hours), int(minutes)), zone)
    return wanted.astimezone(UTC).astimezone(zone)


def opening(session: SessionWindow, zone: tzinfo) -> datetime | None:
    """When a session opens, on the clock of the event."""
    return None if session.opens_at is None else session.opens_at.astimezone(zone)


def dates_of(regulations: Regulations, zone: tzinfo) -> dict[date, list[SessionWindow]]:
    """The dates of the event, each with its sessions in order of time. Sessions without an opening time have none."""
    found: dict[date, list[SessionWindow]] = {}
    timed = [(opens, session) for session in regulations.sessions if (opens := opening(session, zone)) is not None]
    for opens, session in sorted(timed, key=lambda pair: (pair[0].timestamp(), pair[1].session)):
        found.setdefault(opens.date(), []).append(session)
    return found


def evening(at: str, on: date, sessions: list[SessionWindow], zone: tzinfo) -> datetime:
    """A time of day after the sessions of that date: before the first opening it means the night after."""
    moment = local_moment(on, at, zone)
    first = sessions[0].opens_at
    return local_moment(on + timedelta(days=1), at, zone) if first is not None and moment < first else moment


def entries_on(day: Day, on: date, sessions: list[SessionWindow], zone: tzinfo) -> tuple[TimetableEntry, ...]:
    """The timetable of one date, in order of time.

    Args:
        day: what the event file says.
        on: the date.
        sessions: those of that date, in order of time.
        zone: the event's.
    """
    found = [entry for session in sessions for entry in _session(day, session, zone)]
    for reminder in day.reminders:
        if reminder.at is not None and _concerns(reminder, sessions):
            found.append(TimetableEntry(
                name=f"{reminder.name}-{on}", kind="reminder", text=reminder.text,
                moment=local_moment(on, reminder.at, zone), grace_s=_grace(reminder, day),
            ))
    if day.curfew is not None:
        found += _curfew(day, day.curfew, on, sessions, zone)
    if day.export_at is not None:
        found.append(TimetableEntry(
            name=f"export-{on}", kind="export", text="End of the day: the journals are written out",
            moment=evening(day.export_at, on, sessions, zone), grace_s=EXPORT_GRACE_S,
        ))
    return tuple(sorted(found, key=lambda entry: (entry.unix_s, entry.name)))


def _session(day: Day, session: SessionWindow, zone: tzinfo) -> Iterator[TimetableEntry]:
    opens = opening(session, zone)
    if opens is None:
        return
    parts = [(session.session, session.session, opens)]
    for number, window in enumerate(session.windows[1:], start=2):
        begins = (opens.astimezone(UTC) + timedelta(seconds=window.from_s)).astimezone(zone)
        parts.append((f"{session.session}-{number}", f"{session.session}, window {window.window}", begins))
    for index, (name, words, begins) in enumerate(parts):
        yield TimetableEntry(name=f"opens-{name}", kind="window" if index else "session", text=f"{words} opens",
                             moment=begins, grace_s=OPENING_GRACE_S)
        for reminder in day.reminders:
            if reminder.before_s is None or not _concerns(reminder, [session]) or (index and reminder.of == "session"):
                continue
            moment = (begins.astimezone(UTC) - timedelta(seconds=reminder.before_s)).astimezone(zone)
            yield TimetableEntry(name=f"{reminder.name}-{name}", kind="reminder", text=f"{words}: {reminder.text}",
                                 moment=moment, grace_s=min(_grace(reminder, day), reminder.before_s))


def _curfew(day: Day, at: str, on: date, sessions: list[SessionWindow], zone: tzinfo) -> Iterator[TimetableEntry]:
    moment = evening(at, on, sessions, zone)
    ahead = timedelta(seconds=day.curfew_warning_s)
    if ahead:
        yield TimetableEntry(
            name=f"curfew-warning-{on}", kind="curfew", grace_s=day.curfew_warning_s,
            text=f"Curfew at {moment:%H:%M}, in {day.curfew_warning_s / 60:.0f} min: bring the work to an end",
            moment=(moment.astimezone(UTC) - ahead).astimezone(zone),
        )
    yield TimetableEntry(name=f"curfew-{on}", kind="curfew", text="Curfew: nobody works on the car from now on",
                         moment=moment, grace_s=day.grace_s)


def _concerns(reminder: Reminder, sessions: list[SessionWindow]) -> bool:
    return not reminder.sessions or any(session.session in reminder.sessions for session in sessions)


def _grace(reminder: Reminder, day: Day) -> float:
    return day.grace_s if reminder.grace_s is None else reminder.grace_s


def entries_for(event: EventFile, regulations: Regulations, session: str) -> tuple[TimetableEntry, ...]:
    """The timetable of the date on which a session is; empty when the event has no day, or the session no opening."""
    zone = None if event.day is None else zone_of(event.day.time_zone)
    if event.day is None or zone is None:
        return ()
    for on, sessions in dates_of(regulations, zone).items():
        if any(one.session == session for one in sessions):
            return entries_on(event.day, on, sessions, zone)
    return ()


def timetable_of(
    event: EventFile, regulations: Regulations, on: date | None = None
) -> dict[date, tuple[TimetableEntry, ...]]:
    """The timetable of every date of the event, or of one.

    Raises:
        UserError: when the event tells no day, its zone is unknown, no session has an opening time, or none is on that
            date.
    """
    zone = _zone(event)
    if event.day is None:
        raise UserError("the event file has no 'day': add one with a time_zone (see config/event.yaml)")
    dates = _dates(regulations, zone, on)
    return {one: entries_on(event.day, one, sessions, zone) for one, sessions in dates.items()}


def sessions_on(event: EventFile, regulations: Regulations, on: date | None) -> tuple[str, ...]:
    """The sessions of a date on the clock of the event; all of them when no date is given.

    Raises:
        UserError: when no session is on that date.
    """
    if on is None:
        return tuple(session.session for session in regulations.sessions)
    return tuple(one.session for sessions in _dates(regulations, _zone(event), on).values() for one in sessions)


def _dates(regulations: Regulations, zone: tzinfo, on: date | None) -> dict[date, list[SessionWindow]]:
    dates = dates_of(regulations, zone)
    if not dates:
        raise UserError("no session has an opening time: give 'opens_at' in the regulations file")
    if on is not None and on not in dates:
        raise UserError(f"no session on {on}: there are some on {', '.join(str(one) for one in dates)}")
    return dates if on is None else {on: dates[on]}


def _zone(event: EventFile) -> tzinfo:
    """The event's zone; without a day, that of UTC, so that dates can be told.

    Raises:
        UserError: when it is unknown.
    """
    if event.day is None:
        return UTC
    zone = zone_of(event.day.time_zone)
    if zone is None:
        raise UserError(f"unknown time zone {event.day.time_zone!r}: pitwall check tells more")
    return zone


def read_day(event_path: Path) -> tuple[EventFile, Regulations]:
    """The event file and its regulations, for whoever wants the day alone.

    Raises:
        FileProblem: with every error of the two files.
    """
    files = Files()
    event = files.read(event_path, EventFile).model
    regulations = None if event is None else files.read(event_path.parent / event.regulations, Regulations).model
    if event is None or regulations is None or files.has_errors:
        raise FileProblem(files.sorted_findings())
    return event, regulations
