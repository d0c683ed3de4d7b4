"""``pitwall export``: the journals of an event, a day or a session as text."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pitwall.app.export import Exported

HELP = "write the journals of an event or a session out as text"
EXAMPLE = "pitwall export event.yaml --date 2031-05-16 --to /media/stick"

ABOUT = """One folder with a file of JSON lines for each session, one stored fact a line, and a manifest with counts,
spans and SHA-256 sums. The daemon may run meanwhile. What is there is never overwritten: an export that differs gets
a folder of its own."""


def add_parser(subparsers: Any) -> None:
    """Add the command's options."""
    from pitwall.cli.arguments import calendar_date

    parser: argparse.ArgumentParser = subparsers.add_parser("export", help=HELP, description=f"{HELP}.\n{ABOUT}")
    parser.add_argument("source", metavar="EVENT|JOURNAL", help="an event file (its journals in the state folder), or "
                                                                "one journal")
    parser.add_argument("--date", type=calendar_date, metavar="YYYY-MM-DD", help="only the sessions of this date")
    parser.add_argument("--to", metavar="FOLDER", help="where the export's folder is made (default: a folder 'exports' "
                                                       "beside the journals)")
    parser.add_argument("--json", action="store_true", help="print the manifest and the folder as one JSON object")


def run(args: argparse.Namespace) -> int:
    """Export and say where."""
    done = _of_journal(args) if _is_journal(Path(args.source)) else _of_event(args)
    if args.json:
        print(json.dumps({"folder": str(done.folder), "already": done.already, **done.manifest}, indent=2,
                         ensure_ascii=False))
        return 0
    for entry in done.manifest["sessions"]:
        span = " to ".join(one or "?" for one in entry.get("wall", ()))
        print(f"  {entry['file']}  {entry['facts']} facts{f', {span}' if span else ''}")
    print(done.in_words())
    return 0


def _of_journal(args: argparse.Namespace) -> Exported:
    from pitwall.app.export import export
    from pitwall.app.settings import file_name
    from pitwall.errors import UserError

    if args.date is not None:
        raise UserError("--date goes with an event, not with one journal")
    journal = Path(args.source)
    folder = journal.absolute().parent
    return export([journal], Path(args.to) if args.to else folder / "exports",
                  f"{file_name(folder.name)}-{file_name(journal.stem)}")


def _of_event(args: argparse.Namespace) -> Exported:
    from pitwall.app.export import export, export_folder, export_name, journals_of
    from pitwall.app.scenarios import locate
    from pitwall.app.settings import event_folder, load_settings
    from pitwall.app.timetable import read_day, sessions_on
    from pitwall.errors import UserError

    settings = load_settings()
    event, regulations = read_day(locate(args.source, "config"))
    sessions = sessions_on(event, regulations, args.date)
    journals = journals_of(settings, event.name, sessions)
    if not journals:
        raise UserError(f"no journal of {', '.join(sessions)} in {event_folder(settings, event.name)}: pitwall serve "
                        "keeps them there; another journal is exported by its own name")
    return export(journals, Path(args.to) if args.to else export_folder(settings, event.name),
                  export_name(event.name, args.date))


def _is_journal(path: Path) -> bool:
    """True for a database file, by its first bytes as the SQLite file format gives them (section 1.3)."""
    try:
        with path.open("rb") as file:
            return file.read(16) == b"SQLite format 3\x00"
    except OSError:
        return path.suffix == ".sqlite"
