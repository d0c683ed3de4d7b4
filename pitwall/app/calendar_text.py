"""The day as an iCalendar file (RFC 5545), for the phones of the crew: sessions and windows with their length,
reminders and curfew with an alarm.

Times are written in UTC (form #2 of 3.3.5): the moment is the same whatever a phone knows of time zones, also on nights
when clocks change. The time of day at the place stands in the description. The same entry keeps its UID as long as
event, date and name stay; DTSTAMP and SEQUENCE grow with the files, so an import anew changes it where it stands.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator, Mapping
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from pitwall.model.eventfile import EventFile
from pitwall.model.rules import Regulations
from pitwall.model.timetable import TimetableEntry

MOST_OCTETS = 75
"""Of a line, its end not counted (3.1)."""
PRODUCT = "-//pitwall//timetable of an event//EN"
_ESCAPES = {"\\": "\\\\", ";": "\\;", ",": "\\,", "\n": "\\n"}


def calendar_text(
    event: EventFile, regulations: Regulations, days: Mapping[date, Iterable[TimetableEntry]], changed: datetime
) -> str:
    """The calendar of these dates; lines end with CR LF, as the format wants it.

    Args:
        event: for its name and zone.
        regulations: how long sessions and windows are.
        days: the timetable, date by date. The export, which is the machine's affair, is left out.
        changed: when the files were last changed, with an offset.
    """
    lengths = _lengths(regulations)
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0", f"PRODID:{PRODUCT}", "CALSCALE:GREGORIAN", f"NAME:{escaped(event.name)}"]
    for on, entries in days.items():
        for entry in entries:
            if entry.kind != "export":
                lines += _event(event, on, entry, lengths.get(entry.name), changed)
    return "".join(f"{folded(line)}\r\n" for line in [*lines, "END:VCALENDAR"])


def last_changed(*files: Path) -> datetime:
    """When the youngest of these files was written: a stamp that needs no clock, and is the same for the same files."""
    return datetime.fromtimestamp(max(file.stat().st_mtime for file in files), UTC)


def _lengths(regulations: Regulations) -> dict[str, float]:
    """Name of an opening in the timetable -> seconds until its flag."""
    found = {}
    for session in regulations.sessions:
        parts = [window.length_s for window in session.windows] or [session.duration_s]
        for number, length_s in enumerate(parts, start=1):
            name = session.session if number == 1 else f"{session.session}-{number}"
            found[f"opens-{name}"] = length_s
    return found


def _event(
    event: EventFile, on: date, entry: TimetableEntry, length_s: float | None, changed: datetime
) -> Iterator[str]:
    zone = event.day.time_zone if event.day is not None else "UTC"
    text = entry.text.removesuffix(" opens") if length_s is not None else entry.text
    yield "BEGIN:VEVENT"
    yield f"UID:{_uid(event.name, on, entry.name)}"
    yield f"DTSTAMP:{utc(changed)}"
    yield f"SEQUENCE:{int(changed.timestamp()) // 60}"
    yield f"DTSTART:{utc(entry.moment)}"
    if length_s is not None:
        # In UTC: added to a local time the hours would be those of the clock on the wall.
        yield f"DTEND:{utc(entry.moment.astimezone(UTC) + timedelta(seconds=length_s))}"
    yield f"SUMMARY:{escaped(text)}"
    yield f"DESCRIPTION:{escaped(f'{event.name}: {entry.moment:%H:%M} in {zone}')}"
    yield f"CATEGORIES:{escaped(entry.kind)}"
    yield f"TRANSP:{'TRANSPARENT' if length_s is None else 'OPAQUE'}"
    if length_s is None:
        yield from ("BEGIN:VALARM", "ACTION:DISPLAY", f"DESCRIPTION:{escaped(text)}", "TRIGGER:PT0S", "END:VALARM")
    yield "END:VEVENT"


def _uid(event: str, on: date, entry: str) -> str:
    told = "\n".join((event, on.isoformat(), entry))
    return f"{hashlib.sha256(told.encode()).hexdigest()[:32]}@pitwall"


def utc(moment: datetime) -> str:
    """``20310516T083000Z``; whole seconds, as the format has no others."""
    return f"{moment.astimezone(UTC):%Y%m%dT%H%M%SZ}"


def escaped(text: str) -> str:
    """A TEXT value (3.3.11): backslash, semicolon, comma and line ends are written out; control characters have no
    place in one."""
    plain = text.replace("\r\n", "\n").replace("\r", "\n")
    kept = (sign if sign in "\n\t" or (sign >= " " and sign != "\x7f") else " " for sign in plain)
    return "".join(_ESCAPES.get(sign, sign) for sign in kept)


def folded(line: str) -> str:
    """A content line in lines of at most 75 octets (3.1): each further one begins with a blank, no character is cut."""
    parts, part, room = [], bytearray(), MOST_OCTETS
    for sign in line:
        octets = sign.encode()
        if len(part) + len(octets) > room:
            parts.append(part.decode())
            part, room = bytearray(), MOST_OCTETS - 1
        part += octets
    return "\r\n ".join([*parts, part.decode()])
