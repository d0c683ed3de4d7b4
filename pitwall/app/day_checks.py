"""What is wrong, or doubtful, with the day of an event: its zone, its times, and how they stand to the sessions."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime, time, timedelta, tzinfo

from pitwall.app.filing import Filed, Files
from pitwall.app.timetable import dates_of, evening, local_moment, opening, zone_names, zone_of
from pitwall.checks.around import meant, near_only
from pitwall.checks.codes import finding
from pitwall.errors import Finding
from pitwall.model.eventfile import EventFile
from pitwall.model.rules import Regulations, SessionWindow
from pitwall.model.timetable import Day

Dates = dict[date, list[SessionWindow]]


def check_day(files: Files, event: EventFile, filed: Filed[EventFile], regulations: Filed[Regulations]) -> None:
    """Note what is wrong with the event's day; nothing when it has none."""
    day = event.day
    if day is None:
        return
    zone = zone_of(day.time_zone)
    if zone is None:
        files.note(filed, _unknown_zone(day.time_zone))
        return
    if regulations.model is None or regulations.with_whole("sessions") is None:
        return
    dates = dates_of(regulations.model, zone)
    for found in (*_reminders(day, regulations, dates, zone), *_evenings(day, dates, zone), *_times(day, dates, zone)):
        files.note(filed, found)
    for index, session in enumerate(regulations.model.sessions):
        for found in _opening(index, session, day, zone):
            files.note(regulations, found)


def _unknown_zone(name: str) -> Finding:
    known = zone_names()
    by_city = [zone for zone in known if zone.lower().rpartition("/")[2] == name.lower().rpartition("/")[2]]
    if not known:
        near: str | None = "this machine has no time zones: pip install tzdata"
    elif by_city:
        near = f"did you mean {min(by_city)!r}?"
    else:
        near = near_only(name, sorted(known))
    return finding("PW601", path=("day", "time_zone"), found=f"unknown time zone {name!r}",
                   expected="an IANA name such as Europe/Berlin", suggestion=near)


def _reminders(day: Day, regulations: Filed[Regulations], dates: Dates, zone: tzinfo) -> Iterator[Finding]:
    assert regulations.model is not None
    names = [session.session for session in regulations.model.sessions]
    for index, reminder in enumerate(day.reminders):
        for number, session in enumerate(reminder.sessions):
            if session not in names:
                yield finding("PW107", path=("day", "reminders", index, "sessions", number),
                              found=f"unknown session {session!r}",
                              expected=f"a session of {regulations.name}", suggestion=meant(session, names))
        if reminder.at is None:
            continue
        for on, sessions in dates.items():
            own = [one for one in sessions if not reminder.sessions or one.session in reminder.sessions]
            # With sessions named it belongs before the last of them opens; else anywhere in the day's running.
            limit = max((_end(one, zone) if not reminder.sessions else _opens(one, zone) for one in own), default=None)
            if limit is not None and local_moment(on, reminder.at, zone) > limit:
                what = "the end of the last session" if not reminder.sessions else f"{own[-1].session} opens"
                yield finding("PW602", path=("day", "reminders", index, "at"),
                              found=f"{reminder.name} at {reminder.at} on {on}",
                              expected=f"a time before {what}, {limit:%H:%M}")
                break


def _evenings(day: Day, dates: Dates, zone: tzinfo) -> Iterator[Finding]:
    for code, key, at in (("PW603", "curfew", day.curfew), ("PW604", "export_at", day.export_at)):
        for on, sessions in dates.items():
            last = max(_end(session, zone) for session in sessions)
            if at is not None and evening(at, on, sessions, zone) < last:
                yield finding(code, path=("day", key), found=f"{at} on {on}",
                              expected=f"{last:%H:%M} or later, when the last session of that day ends")
                break


def _times(day: Day, dates: Dates, zone: tzinfo) -> Iterator[Finding]:
    named: list[tuple[tuple[str | int, ...], str]] = [
        (("day", "reminders", index, "at"), reminder.at)
        for index, reminder in enumerate(day.reminders) if reminder.at is not None
    ]
    named += [(("day", key), at) for key, at in (("curfew", day.curfew), ("export_at", day.export_at)) if at]
    for path, at in named:
        for on, sessions in dates.items():
            then = evening(at, on, sessions, zone).date() if path[1] in ("curfew", "export_at") else on
            problem = _oddity(then, at, zone)
            if problem is not None:
                yield finding("PW606", path=path, found=f"{at} on {then}, {problem}", expected="a time that comes once")
                break


def _oddity(on: date, at: str, zone: tzinfo) -> str | None:
    """In words, when that time of day is skipped or shown twice on that date."""
    hours, minutes = (int(part) for part in at.split(":"))
    wanted = datetime.combine(on, time(hours, minutes), zone)
    shown = local_moment(on, at, zone)
    if shown.replace(tzinfo=None) != wanted.replace(tzinfo=None):
        return f"which the clock skips: taken as {shown:%H:%M}"
    if wanted.utcoffset() != wanted.replace(fold=1).utcoffset():
        return "which the clock shows twice: taken as the first"
    return None


def _opening(index: int, session: SessionWindow, day: Day, zone: tzinfo) -> Iterator[Finding]:
    opens = opening(session, zone)
    if opens is None or session.opens_at is None:
        yield finding("PW605", path=("sessions", index), found=f"no opens_at for {session.session!r}",
                      expected="its opening time, since the event has a day")
    elif opens.utcoffset() != session.opens_at.utcoffset():
        yield finding("PW607", path=("sessions", index, "opens_at"),
                      found=f"{session.opens_at.isoformat()}, which is {opens:%H:%M} in {day.time_zone}",
                      expected=f"the offset {opens.isoformat()[-6:]}")


def _opens(session: SessionWindow, zone: tzinfo) -> datetime:
    opens = opening(session, zone)
    assert opens is not None
    return opens


def _end(session: SessionWindow, zone: tzinfo) -> datetime:
    # Through UTC: sums of aware times are made on the clock's face, which changes at night.
    return (_opens(session, zone).astimezone(UTC) + timedelta(seconds=session.duration_s)).astimezone(zone)
