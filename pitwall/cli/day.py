"""``pitwall day``: the timetable of an event's days."""

from __future__ import annotations

import argparse
import json
from datetime import date
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
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
    parser.add_argument("--json", action="store_true", help="print one JSON object instead of text")


def run(args: argparse.Namespace) -> int:
    """Print it; 1 when the event tells no day."""
    from pitwall.app.scenarios import locate
    from pitwall.app.timetable import read_day, timetable_of

    event, regulations = read_day(locate(args.event, "config"))
    days = timetable_of(event, regulations, args.date)
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
