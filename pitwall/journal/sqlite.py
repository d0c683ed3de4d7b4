"""The journal on disk: SQLite in WAL mode with synchronous FULL, one writer thread, group commit.

``append`` hands its batch to the writer thread and waits. The thread takes everything that waits by then, writes it as
one transaction and answers all: under load many appends share one sync of the disk, alone each has its own. The event
loop never touches the disk.

A commit that returned survives SIGKILL and, as far as the disk keeps its word, a power cut. The lock lets one daemon
write; anybody may read meanwhile.
"""

from __future__ import annotations

import asyncio
import queue
import sqlite3
import threading
from collections.abc import Iterator, Sequence
from contextlib import closing, suppress
from dataclasses import dataclass
from pathlib import Path

from pitwall.errors import JournalError, NoJournalError
from pitwall.journal.codec import FORMAT, decode, encode
from pitwall.journal.kept import reading_uri
from pitwall.journal.lock import WriterLock
from pitwall.journal.sequence import check_follows, check_stored
from pitwall.model.events import Stamped

APPLICATION_ID = 0x70_77_6A_31
"""Marks the file as ours (``PRAGMA application_id``)."""


def _damaged(path: Path, problem: object) -> JournalError:
    # SQLite's verdict has several lines; an error is one.
    return JournalError(
        f"{path}: damaged ({' '.join(str(problem).split())}). Move it away to start a new journal;"
        f" `sqlite3 {path} .recover` may save what is left for the debrief."
    )


@dataclass(slots=True)
class _Request:
    batch: Sequence[Stamped]
    loop: asyncio.AbstractEventLoop
    done: asyncio.Future[None]

    def answer(self, failure: JournalError | None) -> None:
        with suppress(RuntimeError):  # the loop has closed: nobody waits any more
            self.loop.call_soon_threadsafe(self._set, failure)

    def _set(self, failure: JournalError | None) -> None:
        if self.done.done():
            return
        if failure is None:
            self.done.set_result(None)
        else:
            self.done.set_exception(failure)


class SqliteJournal:
    """Append-only store in one file. Make one with ``await SqliteJournal.open(path)``."""

    def __init__(self, path: Path, lock: WriterLock, connection: sqlite3.Connection, stored: int) -> None:
        """Take over an opened file; ``open`` is the way in."""
        self.path, self._lock, self._connection = path, lock, connection
        self._next = stored
        self._requests: queue.SimpleQueue[_Request | None] = queue.SimpleQueue()
        self._closing: asyncio.Future[None] | None = None
        self.commits = 0
        self._thread = threading.Thread(target=self._write_loop, name="pitwall-journal", daemon=True)
        self._thread.start()

    @classmethod
    async def open(cls, path: Path | str) -> SqliteJournal:
        """Open the journal, or make a new one (with its folder).

        Raises:
            JournalError: when another daemon holds it, it is damaged, newer, not ours, or cannot be written.
        """
        return await asyncio.to_thread(cls._open, Path(path))

    @classmethod
    def _open(cls, path: Path) -> SqliteJournal:
        if path.is_dir():
            raise JournalError(f"{path}: is a folder, give a file, for example {path / 'session.sqlite'}")
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as problem:
            raise JournalError(
                f"{path}: its folder cannot be made ({problem.strerror}); name another place"
            ) from problem
        lock = WriterLock(path)
        try:
            connection, stored = _open_for_writing(path)
        except BaseException:
            lock.release()
            raise
        return cls(path, lock, connection, stored)

    @property
    def stored(self) -> int:
        """How many events are committed."""
        return self._next

    async def append(self, batch: Sequence[Stamped]) -> None:
        """Store the batch as one commit, perhaps together with others; durable when this returns.

        Raises:
            JournalError: when the numbers do not follow on, the disk refuses, or the journal is closed.
        """
        if self._closing is not None:
            raise JournalError(f"{self.path}: closed; open it again to write")
        if not batch:
            return
        loop = asyncio.get_running_loop()
        request = _Request(tuple(batch), loop, loop.create_future())
        self._requests.put(request)
        await request.done

    async def read(self, start: int = 0) -> tuple[Stamped, ...]:
        """Every committed event from number ``start`` on, in order; read beside the writer, off the loop.

        Raises:
            JournalError: when the file is damaged.
        """
        return await asyncio.to_thread(read_journal, self.path, start)

    async def close(self) -> None:
        """Write what waits, then release file and lock. A second call waits for the first."""
        if self._closing is None:
            self._closing = asyncio.get_running_loop().create_future()
            self._requests.put(None)
            try:
                await asyncio.to_thread(self._thread.join)
            finally:
                self._closing.set_result(None)
        await asyncio.shield(self._closing)

    # --- the writer thread ------------------------------------------------------------------------------------

    def _write_loop(self) -> None:
        open_for_more = True
        while open_for_more:
            group, open_for_more = self._next_group()
            if group:
                self._write(group)
        with suppress(sqlite3.Error):
            self._connection.close()
        self._lock.release()

    def _next_group(self) -> tuple[list[_Request], bool]:
        first = self._requests.get()
        if first is None:
            return [], False
        group = [first]
        while True:
            try:
                request = self._requests.get_nowait()
            except queue.Empty:
                return group, True
            if request is None:
                return group, False
            group.append(request)

    def _write(self, group: list[_Request]) -> None:
        rows: list[tuple[int, bytes]] = []
        taken: list[_Request] = []
        for request in group:
            try:
                check_follows(request.batch, self._next + len(rows))
                rows += [(stamped.seq, encode(stamped)) for stamped in request.batch]
            except JournalError as out_of_order:
                request.answer(out_of_order)
            except Exception as problem:  # an event that cannot be encoded is ours to mend; the writer lives on
                request.answer(JournalError(f"{self.path}: an event could not be encoded ({problem!r})"))
            else:
                taken.append(request)
        failure = self._commit(rows) if rows else None
        for request in taken:
            request.answer(failure)

    def _commit(self, rows: list[tuple[int, bytes]]) -> JournalError | None:
        try:
            with self._connection:
                self._connection.execute("BEGIN IMMEDIATE")
                self._connection.executemany("INSERT INTO fact (seq, body) VALUES (?, ?)", rows)
        except sqlite3.Error as problem:
            if self._connection.in_transaction:
                with suppress(sqlite3.Error):
                    self._connection.rollback()
            return JournalError(
                f"{self.path}: could not be written ({problem}). Free disk space or check your rights;"
                " nothing was lost, it is tried again."
            )
        self._next += len(rows)
        self.commits += 1
        return None


def read_journal(path: Path, start: int = 0) -> tuple[Stamped, ...]:
    """Read a journal file without locking it: also while a daemon writes, also without one.

    Raises:
        JournalError: when it is not there, damaged, newer, or not a journal.
    """
    if not path.is_file():
        raise NoJournalError(f"{path}: no such journal; check the name")
    uri = reading_uri(path)
    try:
        with closing(sqlite3.connect(uri, uri=True, timeout=5)) as connection:
            _check_kind(connection, path)
            rows = connection.execute("SELECT seq, body FROM fact WHERE seq >= ? ORDER BY seq", (start,)).fetchall()
    except sqlite3.Error as problem:
        if reading_uri(path) == uri:
            raise _damaged(path, problem) from problem
        return read_journal(path, start)
    if reading_uri(path) != uri:
        return read_journal(path, start)  # a daemon opened it meanwhile: what was read may be from before and after
    events = tuple(decode(bytes(body), f"{path}, event {seq}") for seq, body in rows)
    check_stored(events, max(0, start), str(path))
    return events


def journal_lines(path: Path) -> Iterator[bytes]:
    """Every record as it is stored, in order, without a line end: one snapshot, also while a daemon writes.

    Raises:
        JournalError: when it is not there, damaged, newer, or not a journal.
    """
    if not path.is_file():
        raise NoJournalError(f"{path}: no such journal; check the name")
    try:
        with closing(sqlite3.connect(reading_uri(path), uri=True, timeout=5)) as connection:
            _check_kind(connection, path)
            for number, (seq, body) in enumerate(connection.execute("SELECT seq, body FROM fact ORDER BY seq")):
                if seq != number:
                    raise _damaged(path, f"event {number} is missing")
                yield bytes(body)
    except sqlite3.Error as problem:
        raise _damaged(path, problem) from problem


def _open_for_writing(path: Path) -> tuple[sqlite3.Connection, int]:
    connection: sqlite3.Connection | None = None
    try:
        # Autocommit: transactions are begun by hand. The writer thread is the only user after this function.
        connection = sqlite3.connect(path, isolation_level=None, check_same_thread=False, timeout=5)
        if connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0] == 0:
            connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
            connection.execute(f"PRAGMA user_version = {FORMAT}")
            connection.execute("CREATE TABLE fact (seq INTEGER PRIMARY KEY, body BLOB NOT NULL)")
        _check_kind(connection, path)
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("PRAGMA synchronous = FULL")
        connection.execute(f"PRAGMA user_version = {FORMAT}")  # an older journal goes on in the current format
        verdict = connection.execute("PRAGMA quick_check(1)").fetchone()[0]
        if verdict != "ok":
            raise _damaged(path, verdict)
        count, last = connection.execute("SELECT count(*), coalesce(max(seq), -1) FROM fact").fetchone()
        if count != last + 1:
            raise _damaged(path, f"{count} events, but the last has number {last}")
        return connection, count
    except sqlite3.Error as problem:
        if connection is not None:
            connection.close()
        raise _damaged(path, problem) from problem
    except JournalError:
        if connection is not None:
            connection.close()
        raise


def _check_kind(connection: sqlite3.Connection, path: Path) -> None:
    if connection.execute("PRAGMA application_id").fetchone()[0] != APPLICATION_ID:
        raise JournalError(f"{path}: a database, but not a pitwall journal; name another file")
    version = connection.execute("PRAGMA user_version").fetchone()[0]
    if version > FORMAT:
        raise JournalError(
            f"{path}: written in format {version} by a newer pitwall; this one reads up to format {FORMAT}."
            " Use the newer pitwall, or name another journal."
        )
