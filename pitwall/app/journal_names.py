"""Whether a name on the command line is that of a journal, and what to tell the person when it is not."""

from __future__ import annotations

import re
from itertools import islice
from pathlib import Path

from pitwall.errors import NoJournalError

SQLITE_MAGIC = b"SQLite format 3\x00"
"""How a database begins, by the SQLite file format, section 1.3."""
SHOWN = 8
_HEAD = 256
_FIRST_KEY = re.compile(rb'\s*\{\s*"v"\s*:')
_WHERE = "serve prints where it keeps its journal, rehearse keeps one with --journal FILE"


def journal_head(path: Path) -> bytes:
    """The first bytes of a journal, or of one that was written out as text; an empty file is left to its reader.

    Raises:
        NoJournalError: when nothing is there, it is a folder, cannot be read, or begins as no journal does.
    """
    if path.is_dir():
        raise NoJournalError(f"{path}: is a folder; name a journal in it, a file that ends in .sqlite")
    if not path.is_file():
        raise NoJournalError(f"{path}: no such journal; {_beside(path)} ({_WHERE})")
    try:
        with path.open("rb") as file:
            head = file.read(_HEAD)
    except OSError as problem:
        raise NoJournalError(f"{path}: cannot be read ({problem.strerror}); check your rights") from problem
    text = head.lstrip(b"\x00")
    first_line_is_cut = len(text) < _HEAD and text.startswith(b"{") and b"\n" not in text
    if text.strip() and not head.startswith(SQLITE_MAGIC) and not _FIRST_KEY.match(text) and not first_line_is_cut:
        raise NoJournalError(f"{path}: this is no journal{_what(path)}; name the journal of a session, such as "
                             f"practice-1.sqlite ({_WHERE})")
    return head


def _what(path: Path) -> str:
    from pitwall.app.scenarios import is_event  # only here: reading YAML is for the one who took the wrong file

    return " but an event file" if path.suffix.lower() in (".yaml", ".yml") and is_event(path) else ""


def _beside(path: Path) -> str:
    """The journals in its folder; those one folder beside it, where its folder is not there."""
    folder, pattern = (path.parent, "*.sqlite") if path.parent.is_dir() else (path.parent.parent, "*/*.sqlite")
    try:
        names = sorted(str(found) for found in islice(folder.glob(pattern), 1000))
    except OSError:
        names = []
    if not names:
        return "check the name"
    more = f" and {len(names) - SHOWN} more" if len(names) > SHOWN else ""
    return f"there {'is' if len(names) == 1 else 'are'} {', '.join(names[:SHOWN])}{more}"
