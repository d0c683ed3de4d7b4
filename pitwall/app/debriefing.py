"""From a journal to its debrief: the engine goes over the facts again, with somebody beside it who takes notes."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import structlog
from pydantic import ValidationError

from pitwall import __version__
from pitwall.app.debrief_cars import car_debrief
from pitwall.app.debrief_watch import NotedSession
from pitwall.app.journal_names import SQLITE_MAGIC, journal_head
from pitwall.debrief.model import CarDebrief, Debrief, RadioStatistics
from pitwall.debrief.session import alert_rows, alert_statistics, changes_of_all, session_summary, status_spans
from pitwall.errors import JournalError
from pitwall.journal.kept import keep, kept
from pitwall.journal.replay import Lines, decisions, read_lines_to_the_cut
from pitwall.journal.sqlite import read_journal
from pitwall.model.events import SessionPrepared, Stamped

__all__ = ["CarDebrief", "Debrief", "RadioStatistics", "debrief", "debrief_of", "keep_debrief", "made_of",
           "read_to_the_cut"]

log = structlog.get_logger(__name__)

REHEARSED = 1.5
"""A session whose clock is so much faster than the machine's was rehearsed; less is a clock that was set, or slept."""
KEPT_AS, MADE_BY = "debrief", f"pitwall {__version__}, debrief 13"


def read_to_the_cut(path: Path) -> Lines:
    """The facts of a journal, or of one that was written out as text: what is whole, and what the end lacks.

    Only text can be cut, for a database takes a fact whole or not at all; the cut is a warning, too.

    Raises:
        NoJournalError: when it is not there, or no journal.
        JournalError: when it is damaged, newer, or holds no session.
    """
    head = journal_head(path)
    found = Lines(read_journal(path)) if head.startswith(SQLITE_MAGIC) else read_lines_to_the_cut(path)
    events = found.events
    if not events or not isinstance(events[0].event, SessionPrepared):
        raise JournalError(f"{path}: holds no session{'' if events else ' (it is empty)'}: nothing was ever prepared "
                           "there. Name the journal of a session that was served or rehearsed")
    if found.cut:
        log.warning(found.cut, journal=str(path))
    return found


def debrief_of(path: Path, *, anew: bool = False) -> Debrief:
    """The debrief of a journal: as the daemon kept it when it ended, else made anew. Errors as ``read_to_the_cut``.

    Args:
        path: the journal.
        anew: go over all facts again, whatever was kept.
    """
    body = kept(path, KEPT_AS, MADE_BY) if path.is_file() and not anew else None
    if body is not None:
        try:
            made = Debrief.model_validate_json(body)
        except ValidationError:
            log.warning("a debrief that was kept cannot be read; it is made anew", journal=str(path))
        else:
            summary = made.session.model_copy(update={"journal": path.name})  # it may have been renamed since
            return made.model_copy(update={"session": summary})
    found = read_to_the_cut(path)
    made = debrief(found.events, path.name)
    return made.model_copy(update={"notes": (found.cut, *made.notes)}) if found.cut else made


def keep_debrief(noted: NotedSession, path: Path) -> None:
    """The daemon ended and its journal is closed: keep the debrief with it. What fails is logged and costs nothing."""
    try:
        made = made_of(noted, path.name)
        if not keep(path, KEPT_AS, made.session.facts, MADE_BY, made.model_dump_json().encode()):
            log.info("the debrief is not kept: the journal holds other facts, or cannot be written", journal=str(path))
    except Exception:
        log.exception("the debrief could not be made at the end of the session", journal=str(path))


def debrief(events: Iterable[Stamped], name: str) -> Debrief:
    """The debrief of these facts; ``name`` is what the journal is called in it."""
    return made_of(gone_over(events), name)


def gone_over(events: Iterable[Stamped]) -> NotedSession:
    """The engine after these facts, with what was noted on the way; nobody looks at desk, field and clock, and
    nobody is to be woken."""
    noted = NotedSession()
    noted.session.wakes = False
    with noted.unseen():
        for _ in decisions(events, noted):
            pass
    return noted


def made_of(noted: NotedSession, name: str) -> Debrief:
    """The debrief as it stands after the facts that were noted."""
    notes, session = noted.notes, noted.session
    spans = status_spans([(flag.t, flag.status, flag.sectors) for flag in noted.flags], notes.last_s)
    over = session.clock.status == "closed"
    return Debrief(
        session=session_summary(notes, spans, name),
        cars=tuple(car_debrief(noted, car, spans, over=over) for car in sorted(session.team)),
        alerts=alert_statistics(notes),
        alert_rows=alert_rows(notes),
        changes=changes_of_all(notes),
        notes=_doubts(noted),
    )


def _doubts(noted: NotedSession) -> tuple[str, ...]:
    found, speed = [], noted.notes.speed()
    if speed is not None and speed >= REHEARSED:
        found.append(f"A rehearsal: the session ran {speed:.3g} times as fast as the machine's clock. Times of day are "
                     f"that clock's: what lies 10 s apart there took {10 * speed:.0f} s.")
    if noted.notes.failed:
        found.append(f"The program failed on {noted.notes.failed} facts; they are left out, as they were live.")
    if noted.failures:
        found.append(f"{noted.failures} facts could not be noted for the debrief; figures may lack them.")
    if noted.session.clock.status != "closed":
        found.append("The journal ends before the session was closed.")
    return tuple(found)

