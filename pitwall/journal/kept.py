"""What was made of a journal's facts, kept beside them in the same file: who asks for it need not go over them again.

It is no fact: it may be thrown away and made anew. It counts for the facts that it was made of and for the program
that made it, and is not there for anybody else.
"""

from __future__ import annotations

import sqlite3
from contextlib import closing, suppress
from pathlib import Path

TABLE = (
    "CREATE TABLE IF NOT EXISTS kept"
    " (name TEXT PRIMARY KEY, facts INTEGER NOT NULL, made_by TEXT NOT NULL, body BLOB NOT NULL)"
)


def reading_uri(path: Path) -> str:
    """How to open a journal that is only read. One that nobody has open, which has no log beside it, is read as a file
    that does not change: else its reader leaves two files beside it, and cannot read it where it may not write."""
    still = not path.with_name(f"{path.name}-wal").exists()
    return f"{path.absolute().as_uri()}?mode=ro{'&immutable=1' if still else ''}"


def keep(path: Path, name: str, facts: int, made_by: str, body: bytes) -> bool:
    """Keep it in a journal that nobody writes any more; True when it is kept.

    Args:
        path: the journal.
        name: what it is.
        facts: of how many facts it was made; the journal must hold as many.
        made_by: which program made it, with its version.
        body: it.
    """
    with suppress(sqlite3.Error), closing(sqlite3.connect(path, timeout=1)) as connection:
        with connection:
            if connection.execute("SELECT count(*) FROM fact").fetchone()[0] != facts:
                return False
            connection.execute(TABLE)
            connection.execute("INSERT OR REPLACE INTO kept VALUES (?, ?, ?, ?)", (name, facts, made_by, body))
        return True
    return False


def kept(path: Path, name: str, made_by: str) -> bytes | None:
    """What was kept under this name by this program of all facts that are there; None when there is nothing such."""
    with (
        suppress(sqlite3.Error),
        closing(sqlite3.connect(reading_uri(path), uri=True, timeout=5)) as connection,
    ):
        row = connection.execute(
            "SELECT body FROM kept WHERE name = ? AND made_by = ?"
            " AND facts = (SELECT count(*) FROM fact) AND facts = (SELECT max(seq) + 1 FROM fact)", (name, made_by),
        ).fetchone()
        return None if row is None else bytes(row[0])
    return None
