"""``pitwall day``: the timetable of an event's days."""

from __future__ import annotations

import argparse
import json
from collections.abc import Mapping
from datetime import date
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pathlib import Path

    from pitwall.model.eventfile import EventFile
    from pitwall.model.rules import Regulations
    from pitwall.model.timetable import TimetableEntry

HELP = "show the timetable of an event, day by day"
EXAMPLE = "pitwall day event.yaml --date 2031-05-16"

ABOUT = """Sessions and windows, reminders, curfew and export, on the clock of the event; where this machine is set to
another time zone, its own time stands beside it. The timetable informs: no call and no session time moves by it."""


def add_parser(subparsers: Any) -> None:
    """Add the command's options."""
    from pitwall.cli.arguments import calendar_date

    parser: argparse.ArgumentParser = subparsers.add_parser("day", help=HELP, description=f"{HELP}.\n{ABOUT}")
    parser.add_argument("event", metavar="EVENT", help="the event file, or the name of a shipped one")
    parser.add_argument("--date", type=calendar_date, metavar="YYYY-MM-DD", help="only this date (default: all)")
    parser.add_argument("--ics", metavar="FILE", help="write it as an iCalendar file for the crew's calendars")
    parser.add_argument("--force", action="store_true", help="write over an iCalendar file that is there")
    parser.add_argument("--json", action="store_true", help="print one JSON object instead of text")


def run(args: argparse.Namespace) -> int:
    """Print it; 1 when the event tells no day."""
    from pitwall.app.scenarios import locate
    from pitwall.app.timetable import read_day, timetable_of

    path = locate(args.event, "config")
    event, regulations = read_day(path)
    days = timetable_of(event, regulations, args.date)
    if args.ics is not None:
        return _write_calendar(args, event, regulations, days, path)
    zone = event.day.time_zone if event.day is not None else None
    if args.json:
        print(json.dumps({"event": event.name, "time_zone": zone, "days": {
            on.isoformat(): [_record(entry) for entry in entries] for on, entries in days.items()
        }}, indent=2, ensure_ascii=False))
        return 0
    print(f"{event.name}, times of {zone}")
    for on, entries in days.items():
        print("\n".join(_lines(on, entries)))
    return 0


def _write_calendar(
    args: argparse.Namespace, event: EventFile, regulations: Regulations,
    days: Mapping[date, tuple[TimetableEntry, ...]], path: Path,
) -> int:
    from pathlib import Path

    from pitwall.app.calendar_text import calendar_text, last_changed
    from pitwall.errors import UserError

    target = Path(args.ics)
    if target.exists() and not args.force:
        raise UserError(f"{target} is there already: give another name, or --force to write over it")
    text = calendar_text(event, regulations, days, last_changed(path, path.parent / event.regulations))
    try:
        target.write_bytes(text.encode())
    except OSError as problem:
        raise UserError(f"{target}: cannot be written ({problem.strerror})") from None
    count = text.count("BEGIN:VEVENT")
    if args.json:
        print(json.dumps({"written": str(target), "entries": count, "days": [on.isoformat() for on in days]}, indent=2))
    else:
        print(f"{target}: {count} entries on {len(days)} day{'' if len(days) == 1 else 's'} of {event.name}")
    return 0


def _record(entry: TimetableEntry) -> dict[str, Any]:
    return {"name": entry.name, "kind": entry.kind, "text": entry.text, "at": entry.moment.isoformat(),
            "here": entry.moment.astimezone().isoformat(), "grace_s": entry.grace_s}


def _lines(on: date, entries: tuple[TimetableEntry, ...]) -> list[str]:
    here = [entry.moment.astimezone() for entry in entries]
    differs = any(one.utcoffset() != entry.moment.utcoffset() for one, entry in zip(here, entries, strict=True))
    lines = [f"\n{on:%A} {on.isoformat()}"]
    for entry, local in zip(entries, here, strict=True):
        other_day = f" {local:%A}" if local.date() != entry.moment.date() else ""
        beside = f"  ({local:%H:%M}{other_day} on this machine)" if differs else ""
        night = "  (the night after)" if entry.moment.date() > on else ""
        lines.append(f"  {entry.moment:%H:%M}{beside}  {entry.text}{night}")
    return lines
