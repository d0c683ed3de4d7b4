"""What a daemon is to serve: the event's files, or, where only plan files have errors, the session in its journal.

A daemon that is started again in mid-session must not be kept from it by a plan that somebody is just editing: the
session goes on with the plan in use, and the file is told as an alert until it is mended.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from pitwall.app.brokers import BrokerChoice, RunningBroker, start_broker
from pitwall.app.daemon import Daemon, offline_message
from pitwall.app.day_watch import DayWatch, WriteOut
from pitwall.app.debrief_live import noted_until_the_end
from pitwall.app.filing import display_name
from pitwall.app.journals import open_journal
from pitwall.app.lifecycle import Lifecycle
from pitwall.app.loading import Loaded, read_event
from pitwall.app.plan_files import PlanFiles, PlanWatch
from pitwall.app.screen import ScreenStart
from pitwall.app.slow_work import Beside
from pitwall.app.starting import start_daemon, starting_second
from pitwall.app.watching import linked
from pitwall.bus.connection import Unanswered
from pitwall.bus.mqtt import MqttBus
from pitwall.engine.session import Session
from pitwall.errors import FileProblem, Finding, JournalError
from pitwall.journal.sqlite import read_journal
from pitwall.model.events import SessionPrepared
from pitwall.model.setup import SessionSetup
from pitwall.model.timetable import TimetableEntry
from pitwall.runtime.clock import LiveClock, wall_seconds
from pitwall.runtime.steps import StepWatch


@dataclass(frozen=True)
class ToServe:
    """The session, its journal file, and where its plan files lie."""

    setup: SessionSetup
    journal: Path
    plan_files: PlanFiles
    left_aside: tuple[Finding, ...] = ()
    """The errors of plan files in whose place the journal's plans are served."""
    other_sessions: tuple[Finding, ...] = ()
    """Plans that were made for another session than the one that is served."""


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
        others = tuple(found for found in loaded.findings if found.code == "PW117")
        return ToServe(setup, journal_of(setup.event, setup.session), loaded.plan_files, other_sessions=others)
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


@dataclass(frozen=True)
class Served:
    """What a daemon that has started says of itself."""

    address: str
    resumed: bool
    session_s: float
    kind: str = "elsewhere"
    websocket: str | None = None
    notes: tuple[str, ...] = ()
    asks: bool = False
    screen: str | None = None


async def serve(
    setup: SessionSetup, journal_file: Path, *, broker: BrokerChoice, fresh: bool = False,
    started: Callable[[Served], None] | None = None, timetable: Sequence[TimetableEntry] = (),
    write_out: WriteOut | None = None, plan_files: PlanFiles | None = None, waits: Callable[[str], None] | None = None,
    screen: ScreenStart | None = None,
) -> None:
    """Run the daemon until somebody stops it.

    Args:
        setup: the session.
        journal_file: gone on with when it holds this very session.
        broker, fresh: which one; put an existing journal aside first.
        started: called once it runs.
        timetable, write_out: the day's, by the wall clock, and what carries out its export.
        plan_files: where the plans lie; they are watched, and a change becomes a proposal.
        waits: told why a broker elsewhere is waited for.
        screen: started once the broker runs.

    Raises:
        BrokerError: when the broker refuses us or the port is taken.
        UserError: when the journal was begun with other files than plans.
        JournalError: when the journal cannot be used.
    """
    async with Lifecycle() as life:
        life.stop_on_signals()
        session = await noted_until_the_end(life, journal_file)
        try:
            journal = await open_journal(journal_file, setup, fresh=fresh)
        except JournalError as refused:
            raise JournalError(f"{refused} (another file: --journal FILE; this one put aside: --fresh)") from refused
        await life.start("journal", None, journal.close)
        running = await start_broker(life, broker)
        if not await _answers(life, running, waits or (lambda reason: None)):
            return
        start_s = starting_second(setup)
        clock, workers = LiveClock(start_s), Beside()
        daemon = Daemon(
            setup, session, clock=clock, journal=journal, unseen=session.unseen,
            bus=MqttBus(running.address, f"pitwall-{setup.session}", offline_message(setup.session)), watch=StepWatch(),
            forecaster=workers.forecaster, adviser=workers.adviser, broker=running.name, store=str(journal_file),
        )
        daemon.host.on_step(lambda step: clock.retime())
        resumed = await start_daemon(life, daemon, workers, start_s)
        await _begin_day(life, daemon, timetable, write_out)
        _watch_plans(life, daemon, session.session, plan_files)
        page = await screen(life, running, setup) if screen else None
        if started is not None:
            started(Served(str(running.address), resumed, clock.now(), running.kind, running.websocket, running.notes,
                           running.asks, page))
        await life.wait()


async def _answers(life: Lifecycle, running: RunningBroker, waits: Callable[[str], None]) -> bool:
    """Wait for a broker elsewhere before anything is prepared; False when somebody wishes to stop before."""
    if running.kind != "elsewhere":
        return True
    probe = MqttBus(running.address)
    answered = await linked(probe, life.stopping, waits, Unanswered)
    await probe.stop()
    return answered


def _watch_plans(life: Lifecycle, daemon: Daemon, session: Session, files: PlanFiles | None) -> None:
    if files:
        host = daemon.host
        watch = PlanWatch(files, session, host.submit, daemon.clock.now, lambda: host.health().journaled)
        life.spawn("plan files", watch.run())


async def _begin_day(
    life: Lifecycle, daemon: Daemon, entries: Sequence[TimetableEntry], write_out: WriteOut | None
) -> None:
    if not entries:
        return
    from pitwall.runtime.wall_timetable import WallTimetable  # only here: a rehearsal starts without its scheduler

    day = DayWatch(daemon.host, daemon.clock, WallTimetable(), write_out)
    day.begin(entries, daemon.host.begun_wall_s or wall_seconds())
    await life.start("timetable", None, day.end)
