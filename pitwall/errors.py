"""The error tree. Every message says what was wrong and what to do next.

    PitwallError
    ├── UserError          the person can mend it: a file, an argument, a broker address
    │   ├── FileProblem    one or more findings in the user's files (carries them all)
    │   └── PayloadError   a message from the bus that could not be taken (counted, never raised through the host)
    ├── BrokerError        the broker refused us or is not there
    ├── JournalError       the store could not be opened, read or written
    └── InternalError      a state that the tables forbid: ours to mend, never the user's
        └── IllegalTransition   a signal that the state table has no row for
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

PathPart = str | int
"""One step into a file: the name of a key, or the index of a list entry (from 0)."""

FilePath = tuple[PathPart, ...]


def path_text(path: FilePath) -> str:
    """Write a path as people point at it: ``("runs", 2, "switches")`` is ``runs[2].switches``."""
    text = ""
    for part in path:
        if isinstance(part, int):
            text += f"[{part}]"
        else:
            text += f".{part}" if text else part
    return text


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that is wrong, or doubtful, in a file.

    Attributes:
        code: stable code such as ``PW101``; ``pitwall check --explain PW101`` tells more.
        found: what stands there, in words that follow "found".
        expected: what should stand there, in words that follow "expected".
        suggestion: the likeliest remedy, as a whole phrase.
        severity: an error stops the session from being prepared; a warning does not.
        file: the file as the user would name it; None until the reader of files has filled it in.
        line, column: counted from 1; None when the finding concerns the file as a whole.
        path: where in the file.
        why: why it matters, one sentence.
    """

    code: str
    found: str
    expected: str | None = None
    suggestion: str | None = None
    severity: Literal["error", "warning"] = "error"
    file: str | None = None
    line: int | None = None
    column: int | None = None
    path: FilePath = ()
    why: str | None = None

    def text(self) -> str:
        """One line: ``plan_41.yaml:14: runs[2].switches.brake_bais: found ..., expected ...: did you mean ...?``."""
        head = "" if self.file is None else f"{self.file}:{self.line}: " if self.line else f"{self.file}: "
        if self.path:
            head += f"{path_text(self.path)}: "
        body = self.found if self.expected is None else f"found {self.found}, expected {self.expected}"
        tail = f": {self.suggestion}" if self.suggestion else ""
        mark = "warning: " if self.severity == "warning" else ""
        return f"{head}{mark}{body}{tail}"

    def as_record(self) -> dict[str, object]:
        """The finding for machines: every field by name, the path both as a list and as text."""
        return {
            "code": self.code, "severity": self.severity, "file": self.file, "line": self.line, "column": self.column,
            "path": list(self.path), "path_text": path_text(self.path), "found": self.found, "expected": self.expected,
            "suggestion": self.suggestion, "why": self.why, "text": self.text(),
        }

    def __str__(self) -> str:
        return self.text()


class PitwallError(Exception):
    """Root of everything that pitwall raises on purpose."""


class UserError(PitwallError):
    """Something the person at the keyboard can put right."""


class FileProblem(UserError):
    """Findings in the user's files, all of them at once; plain sentences are taken as findings without a place."""

    def __init__(self, findings: Sequence[Finding | str]) -> None:
        self.findings = tuple(
            item if isinstance(item, Finding) else Finding(code="PW000", found=item) for item in findings
        )
        super().__init__("\n".join(item.text() for item in self.findings))


class PayloadError(UserError):
    """A message on the bus that is not what its topic promises."""

    def __init__(self, topic: str, reason: str, message_id: str | None = None) -> None:
        self.topic, self.reason, self.message_id = topic, reason, message_id
        super().__init__(f"{topic}: {reason}")


class BrokerError(PitwallError):
    """The broker refused the connection or could not be started."""


class JournalError(PitwallError):
    """The journal could not be opened, read or written."""


class NoJournalError(JournalError, UserError):
    """The name on the command line is that of no journal: nothing is there, a folder, or a file of another kind."""


class InternalError(PitwallError):
    """pitwall broke a rule of its own."""


class IllegalTransition(InternalError):
    """A signal arrived in a state for which the table has no row."""

    def __init__(self, table: str, state: str, signal: str) -> None:
        self.table, self.state, self.signal = table, state, signal
        super().__init__(f"{table}: no transition from {state!r} on {signal!r}")
