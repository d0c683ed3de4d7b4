"""The shorthand of comments is read once, as it comes in, and how it was read goes into the journal before it.

The rules of the shorthand grow. Comments are numbered as they are accepted, and a later command names one by its
number: were a journal read by newer rules, a line that was refused that day might count now, and every number behind it
would be another comment's. What was decided is a fact like any other, so a replay asks no rules.
"""

from __future__ import annotations

from collections.abc import Collection

import structlog

from pitwall.engine.comment_commands import as_read
from pitwall.model.events import CommandGiven, Event
from pitwall.runtime.ports import Submit

_log = structlog.get_logger(__name__)


def reading_first(submit: Submit, turns: Collection[int]) -> Submit:
    """The same way in; before a comment that is typed in shorthand goes the fact of how it reads.

    Args:
        submit: takes each fact.
        turns: those that the circuit has; none: not known.
    """
    def submitted(event: Event) -> None:
        if isinstance(event, CommandGiven) and event.command == "comment" and event.shorthand is not None:
            try:
                submit(as_read(event, turns))
            except Exception:  # the comment itself must not be lost: the engine reads it, and says what is wrong
                _log.exception("a comment could not be read before it was stored", id=event.id)
        submit(event)

    return submitted
