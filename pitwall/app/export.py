"""The journals of a day as text: one folder with a file of JSON lines for each session, and a manifest.

    <folder>/saltmarsh-park-spring-test-2031-05-16/practice-1.jsonl     one stamped fact a line, UTF-8, as it is stored
                                                   manifest.json        counts, spans and SHA-256 of each file

A folder appears whole or not at all: it is written under another name and renamed. What is there is never touched; an
export that differs gets the next free number, one with the same content is not written again. The daemon may write
meanwhile: each file is one snapshot.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import sys
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from pitwall import __version__
from pitwall.app.settings import Settings, event_folder, file_name, journal_file
from pitwall.app.timetable import dates_of, entries_for, read_day, zone_of
from pitwall.errors import JournalError, UserError
from pitwall.journal.codec import decode
from pitwall.journal.sqlite import journal_lines
from pitwall.model.events import SessionPrepared
from pitwall.model.setup import SessionSetup
from pitwall.model.timetable import TimetableEntry
from pitwall.runtime.clock import wall_text

MANIFEST = "manifest.json"


@dataclass(frozen=True)
class Exported:
    """Where the export is, what it holds, and whether that very content was there already."""

    folder: Path
    manifest: dict[str, Any]
    already: bool

    def in_words(self) -> str:
        """One sentence."""
        sessions = self.manifest["sessions"]
        facts = sum(entry["facts"] for entry in sessions)
        what = f"{len(sessions)} journal{'' if len(sessions) == 1 else 's'} with {facts} facts"
        return f"{what} {'are written out already' if self.already else 'written out'} in {self.folder}"


def journals_of(settings: Settings, event: str, sessions: Iterable[str]) -> list[Path]:
    """The journals there are of these sessions, with those that were put aside by a fresh start."""
    found: list[Path] = []
    for session in sessions:
        path = journal_file(settings, event, session)
        aside = {one: one.stem.rpartition(".")[2] for one in path.parent.glob(f"{path.stem}.*{path.suffix}")}
        found += [path] if path.is_file() else []
        found += sorted((one for one in aside if aside[one].isdecimal()), key=lambda one: int(aside[one]))
    return found


def export_folder(settings: Settings, event: str) -> Path:
    """Where exports go when nobody says otherwise."""
    return event_folder(settings, event) / "exports"


def export_name(event: str, on: date | None) -> str:
    """The folder of one day's export, or of a whole event's."""
    return file_name(event) if on is None else f"{file_name(event)}-{on.isoformat()}"


def day_of(
    event_file: Path, setup: SessionSetup, journal: Path, settings: Settings
) -> tuple[tuple[TimetableEntry, ...], Callable[[], str]]:
    """The timetable of the date on which a session is, and what writes the journals of that date out.

    Args:
        event_file: it may have been changed since the journal began: the day is not part of what a journal depends on.
        setup: the session.
        journal: where its journal is kept, wherever that is.
        settings: of the machine.
    """
    event, regulations = read_day(event_file)
    timetable = entries_for(event, regulations, setup.session)
    zone = zone_of(event.day.time_zone) if event.day is not None else None
    dates = {} if zone is None else dates_of(regulations, zone)
    today = next((on for on, sessions in dates.items() if any(one.session == setup.session for one in sessions)), None)
    others = [one.session for one in dates.get(today, ())] if today is not None else [setup.session]

    def write_out() -> str:
        found = [one for one in journals_of(settings, event.name, others) if one.absolute() != journal.absolute()]
        return export([journal, *found], export_folder(settings, event.name), export_name(event.name, today)).in_words()

    return timetable, write_out


def export(journals: Sequence[Path], to: Path, name: str) -> Exported:
    """Write these journals out.

    Args:
        journals: at least one.
        to: the folder in which the export's own folder is made.
        name: of that folder.

    Raises:
        UserError: when there is nothing to export or the folder cannot be written.
        JournalError: when a journal is damaged, newer or not a journal.
    """
    if not journals:
        raise UserError("no journal to export yet: pitwall serve keeps one for each session")
    part = to / f".{name}.{os.getpid()}.part"
    try:
        to.mkdir(parents=True, exist_ok=True)
        shutil.rmtree(part, ignore_errors=True)  # of a process of that number that was killed
        part.mkdir()
        try:
            sessions = [_write(journal, part, number) for number, journal in enumerate(journals)]
            return _place(part, to, name, sessions)
        finally:
            shutil.rmtree(part, ignore_errors=True)
    except OSError as problem:
        raise UserError(f"{to}: cannot be written ({problem.strerror or problem}); give another folder") from problem


def _write(journal: Path, part: Path, number: int) -> dict[str, Any]:
    """One journal as one file; returns its entry in the manifest."""
    name = f"{_plain(journal.stem)}.jsonl"
    if (part / name).exists():
        name = f"{_plain(journal.stem)}-{number}.jsonl"
    total, facts = hashlib.sha256(), 0
    first = last = b""
    with (part / name).open("wb") as file:
        for line in journal_lines(journal):
            file.write(line + b"\n")
            total.update(line + b"\n")
            first, last, facts = first or line, line, facts + 1
        file.flush()
        os.fsync(file.fileno())
    entry: dict[str, Any] = {"file": name, "journal": str(journal), "facts": facts, "sha256": total.hexdigest()}
    return entry | (_span(journal, first, last) if facts else {})


def _plain(stem: str) -> str:
    return ".".join(file_name(one) for one in stem.split(".") if one) or "journal"


def _span(journal: Path, first: bytes, last: bytes) -> dict[str, Any]:
    begun, ended = decode(first, f"{journal}, event 0"), decode(last, f"{journal}, the last event")
    if not isinstance(begun.event, SessionPrepared):
        raise JournalError(f"{journal}: does not begin with a session; it is damaged")
    setup = begun.event.setup
    return {
        "event": setup.event, "session": setup.session, "team": setup.team, "cars": sorted(setup.plans),
        "session_s": [round(begun.received_t, 3), round(ended.received_t, 3)],
        "wall": [None if one.wall_s is None else wall_text(one.wall_s) for one in (begun, ended)],
    }


def _place(part: Path, to: Path, name: str, sessions: list[dict[str, Any]]) -> Exported:
    manifest = {"export": 1, "pitwall": __version__, "written_at": wall_text(), "sessions": sessions}
    with (part / MANIFEST).open("w", encoding="utf-8", newline="\n") as file:
        file.write(json.dumps(manifest, indent=2, ensure_ascii=False) + "\n")
        file.flush()
        os.fsync(file.fileno())
    number = 1
    while True:
        target = to / (name if number == 1 else f"{name}.{number}")
        if target.exists():
            if _same(target, sessions):
                return Exported(target, manifest, already=True)
            number += 1
            continue
        try:
            part.rename(target)
        except OSError:
            if target.exists():  # somebody was faster: look at theirs
                continue
            raise
        _settle(to)
        return Exported(target, manifest, already=False)


def _same(target: Path, sessions: list[dict[str, Any]]) -> bool:
    try:
        there = json.loads((target / MANIFEST).read_text(encoding="utf-8"))["sessions"]
        return [(one["file"], one["sha256"]) for one in there] == [(one["file"], one["sha256"]) for one in sessions]
    except (OSError, ValueError, KeyError, TypeError):
        return False


def _settle(folder: Path) -> None:
    """Have the new name on disk; Windows opens no folders and does it by itself."""
    if sys.platform == "win32":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
