"""How long the calls of one car wait for their first word, as far as the radio desk reports who talks.

A wait counts from when the call may be begun and nobody talks. It ends with the engineer's first word, where no other
call could be meant, or with its window; what somebody else says ends it without a lesson.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from pitwall.engine.call import Call

TEACHES = frozenset({"stop", "session", "safety", "box", "switch", "run"})
"""Calls that nobody leaves unsaid by choice."""
LEAST_S = 0.3  # a window that was open for less than this tells nothing of who did not begin in it


@dataclass(frozen=True, slots=True)
class Wait:
    """A call may be begun: its window, and since when it is known, session seconds."""

    from_s: float
    by_s: float
    seen_s: float

    def since(self, free_s: float) -> float:
        """When the wait began, on a channel that is free since ``free_s``."""
        return max(self.from_s, self.seen_s, free_s)


@dataclass
class Waits:
    """Mutable: the calls of one car that may be begun now."""

    open: dict[str, Wait] = field(default_factory=dict)
    looked_s: float = float("-inf")
    """When this was looked at last: windows move only then, so what has come due since has its window since then."""

    def look(self, due: Iterable[Call], now: float, free_s: float | None) -> list[float]:
        """What is due now; for how long those were open that nobody began in their window.

        ``free_s``: since when nobody talks; None while somebody does.
        """
        calls = {call.id: call for call in due if call.spec.kind in TEACHES and call.spec.medium != "board"}
        over, still = list[float](), dict[str, Wait]()
        for name, wait in self.open.items():
            call = calls.get(name)
            if call is not None and call.spec.say_from_s <= wait.by_s:
                still[name] = Wait(wait.from_s, call.spec.say_by_s, wait.seen_s)
            elif free_s is not None and now >= wait.by_s:
                over.append(wait.by_s - wait.since(free_s))
        for name, call in calls.items():
            if name not in still:
                still[name] = Wait(call.spec.say_from_s, call.spec.say_by_s, self.looked_s)
        self.open, self.looked_s = still, now
        return [waited for waited in over if waited >= LEAST_S]

    def begun(self, call: str, t: float, free_s: float) -> float | None:
        """How long this call, the only one that could be begun, waited for its first word; None: it was not due."""
        wait = self.open.pop(call, None)
        return None if wait is None else max(t - wait.since(free_s), 0.0)
