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


class PitwallError(Exception):
    """Root of everything that pitwall raises on purpose."""


class UserError(PitwallError):
    """Something the person at the keyboard can put right."""


class FileProblem(UserError):
    """Findings in the user's files; ``findings`` holds one line of text for each."""

    def __init__(self, findings: Sequence[str]) -> None:
        self.findings = tuple(findings)
        super().__init__("\n".join(self.findings))


class PayloadError(UserError):
    """A message on the bus that is not what its topic promises."""

    def __init__(self, topic: str, reason: str, message_id: str | None = None) -> None:
        self.topic, self.reason, self.message_id = topic, reason, message_id
        super().__init__(f"{topic}: {reason}")


class BrokerError(PitwallError):
    """The broker refused the connection or could not be started."""


class JournalError(PitwallError):
    """The journal could not be opened, read or written."""


class InternalError(PitwallError):
    """pitwall broke a rule of its own."""


class IllegalTransition(InternalError):
    """A signal arrived in a state for which the table has no row."""

    def __init__(self, table: str, state: str, signal: str) -> None:
        self.table, self.state, self.signal = table, state, signal
        super().__init__(f"{table}: no transition from {state!r} on {signal!r}")
