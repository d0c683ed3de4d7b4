"""One writer per journal file, held by the operating system so that a killed daemon leaves nothing to clean up."""

from __future__ import annotations

import contextlib
import os
import sys
from pathlib import Path

from pitwall.errors import JournalError

if sys.platform == "win32":  # pragma: no cover
    import msvcrt

    def _take(handle: int) -> None:
        os.lseek(handle, 1 << 30, os.SEEK_SET)  # far beyond the text, which stays readable
        msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
else:
    import fcntl

    def _take(handle: int) -> None:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)


class WriterLock:
    """An exclusive lock on ``<journal>.lock``, which also says which process holds it."""

    def __init__(self, journal: Path) -> None:
        """Take the lock.

        Raises:
            JournalError: when another process (or another journal object of this one) holds it, or the folder cannot
                be written.
        """
        self.path = journal.with_name(journal.name + ".lock")
        try:
            self._handle: int | None = os.open(self.path, os.O_RDWR | os.O_CREAT, 0o644)
        except OSError as problem:
            raise JournalError(
                f"{journal}: cannot be opened for writing ({problem.strerror}); name a folder that you may write to"
            ) from problem
        try:
            _take(self._handle)
        except OSError as problem:
            os.lseek(self._handle, 0, os.SEEK_SET)
            holder = os.read(self._handle, 32).decode(errors="replace").strip()
            os.close(self._handle)
            self._handle = None
            who = f"process {holder}" if holder else "another process"
            raise JournalError(
                f"{journal}: in use by {who}. One daemon writes a journal: stop that one, or name another journal."
            ) from problem
        os.ftruncate(self._handle, 0)
        os.lseek(self._handle, 0, os.SEEK_SET)
        os.write(self._handle, f"{os.getpid()}\n".encode())

    def release(self) -> None:
        """Let go; harmless when already done. The lock file stays: removing it would race with the next holder."""
        if self._handle is not None:
            with contextlib.suppress(OSError):
                os.close(self._handle)
            self._handle = None
