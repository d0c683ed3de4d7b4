"""What a daemon is to serve: the event's files, or, where only plan files have errors, the session in its journal.

A daemon that is started again in mid-session must not be kept from it by a plan that somebody is just editing: the
session goes on with the plan in use, and the file is told as an alert until it is mended.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from pitwall.app.filing import display_name
from pitwall.app.loading import Loaded, read_event
from pitwall.app.plan_files import PlanFiles
from pitwall.errors import FileProblem, Finding, JournalError
from pitwall.journal.sqlite import read_journal
from pitwall.model.events import SessionPrepared
from pitwall.model.setup import SessionSetup


@dataclass(frozen=True)
class ToServe:
    """The session, its journal file, and where its plan files lie."""

    setup: SessionSetup
    journal: Path
    plan_files: PlanFiles
    left_aside: tuple[Finding, ...] = ()
    """The errors of plan files in whose place the journal's plans are served."""


def to_serve(event_file: Path, session: str | None, journal_of: Callable[[str, str], Path], *, fresh: bool) -> ToServe:
    """Read what is to be served.

    Args:
        event_file: the event file.
        session: the session to serve instead of the event file's own.
        journal_of: event name and session to the journal file.
        fresh: a session that begins anew, so nothing can be taken from a journal.

    Raises:
        FileProblem: with every error of every file, unless a journal can be gone on with.
    """
    loaded = read_event(event_file, session=session)
    if not loaded.errors and loaded.setup is not None:
        setup = loaded.setup
        return ToServe(setup, journal_of(setup.event, setup.session), loaded.plan_files)
    stored = None if fresh else _stored(loaded, session, journal_of)
    if stored is None:
        raise FileProblem(loaded.errors)
    return ToServe(stored[0], stored[1], loaded.plan_files, tuple(loaded.errors))


def _stored(
    loaded: Loaded, session: str | None, journal_of: Callable[[str, str], Path]
) -> tuple[SessionSetup, Path] | None:
    """The session in the journal, where every error lies in a plan file; else None."""
    names = {display_name(path) for kinds in loaded.plan_files.values() for path in kinds.values()}
    if loaded.event is None or not {found.file for found in loaded.errors} <= names:
        return None
    path = journal_of(loaded.event.name, session or loaded.event.session)
    try:
        events = read_journal(path)
    except JournalError:
        return None
    first = events[0].event if events else None
    return (first.setup, path) if isinstance(first, SessionPrepared) else None
