"""The rules: one file per family of call, one ordered tuple. A rule looks at a Situation and says what should be said.

Order matters only for calls of equal key (there are none) and for reading: from what can hurt to what can wait.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable

from pitwall.engine.call import CallSpec
from pitwall.engine.rules import (
    after_flag,
    back_in_the_garage,
    box,
    care,
    ending,
    first_line,
    lap_kind,
    owed,
    pace,
    procedure,
    questions,
    release,
    session,
    switch,
)
from pitwall.engine.situation import Situation

Rule = Callable[[Situation], Iterable[CallSpec]]

RULES: tuple[Rule, ...] = (
    session.calls,
    box.calls,
    release.calls,
    switch.calls,
    first_line.calls,
    procedure.calls,
    ending.calls,
    after_flag.calls,
    lap_kind.calls,
    owed.calls,
    care.calls,
    questions.calls,
    back_in_the_garage.calls,
    pace.calls,
)
