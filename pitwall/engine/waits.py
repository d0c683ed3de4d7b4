"""How long the calls of one car wait for their first word, and what that teaches of the engineer who makes them.

A wait counts from when the call may be begun and nobody talks. It ends with the engineer's first word, where no other
call could be meant, or with its window, where the call ended there without a word or was given another one; what
somebody else says ends it without a lesson. Where nobody reports talk, the key tells when a call was begun.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

from pitwall.engine.call import Call
from pitwall.radio.begins import Begins

TEACHES = frozenset({"stop", "session", "safety", "box", "switch", "run"})
"""Calls that nobody leaves unsaid by choice."""
WITHOUT_A_WORD = frozenset({"planned", "shown", "due", "unconfirmed", "missed"})
LEAST_S = 0.3  # a window that was open for less than this tells nothing of who did not begin in it
KEYED_S = 0.8  # from the end of a sentence to its key, commonly (common practice, no source)


@dataclass
class BeginsOf:
    """How soon each engineer begins, by name; one for all cars, for one person may have the radio of two."""

    of: dict[str, Begins] = field(default_factory=dict)
    talked: dict[str, tuple[float, float]] = field(default_factory=dict)
    """The last transmission of each engineer on whichever car, session seconds; one that goes on has no end yet."""

    def talking(self, engineer: str | None, since_s: float, by_s: float) -> bool:
        """Guard: this engineer talked at any moment of that time, on whichever car."""
        begin, end = self.talked.get(engineer or "", (float("inf"), float("inf")))
        return begin < by_s and end > since_s


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
    """Mutable: the calls of one car that may be begun now, and the engineer who has its radio.

    ``unknown``: what was learned of whoever has it, as long as no key has told who that is.
    """

    begins: BeginsOf = field(default_factory=BeginsOf)
    engineer: str | None = None
    unknown: Begins = field(default_factory=Begins)
    open: dict[str, Wait] = field(default_factory=dict)
    looked_s: float = float("-inf")
    """When this was looked at last: windows move only then, so what has come due since has its window since then."""

    @property
    def within_s(self) -> float:
        """Within what time this engineer begins nine calls in ten, in whole tenths of a second."""
        known = self.unknown if self.engineer is None else self.begins.of.get(self.engineer, Begins())
        return round(known.within_s, 1)

    def is_with(self, engineer: str) -> None:
        """This hand has the radio now. What was learned before anybody's first key was learned of it."""
        if self.engineer is None:
            self.begins.of.setdefault(engineer, self.unknown)
        self.engineer = engineer

    def look(self, due: Iterable[Call], now: float, free_s: float | None, find: Callable[[str], Call | None]) -> None:
        """What is due now, and what is it no more though nobody began it in its window.

        ``free_s``: since when nobody talks on this car's channel; None while somebody does. ``find``: a call by its id.
        """
        calls = {call.id: call for call in due if _teaches(call)}
        still = dict[str, Wait]()
        for name, wait in self.open.items():
            call = calls.get(name)
            if call is not None and call.spec.say_from_s <= wait.by_s:
                still[name] = Wait(wait.from_s, call.spec.say_by_s, wait.seen_s)
            elif free_s is not None and now >= wait.by_s:
                self._over(find(name), wait, free_s)
        for name, call in calls.items():
            if name not in still:
                still[name] = Wait(call.spec.say_from_s, call.spec.say_by_s, self.looked_s)
        self.open, self.looked_s = still, now

    def forget(self) -> None:
        """The car is not on track any more: nothing waits for a word on the lap."""
        self.open = {}

    def begun(self, call: Call | None, t: float, free_s: float) -> None:
        """The engineer begins to talk; ``call``: the only one that could be begun, None when none or more."""
        if call is not None:
            since = self._since(call, free_s)
            if since is not None and not self.begins.talking(self.engineer, since, t):
                self._learn(max(t - since, 0.0), begun=True)
        self.begins.talked[self.engineer or ""] = (t, float("inf"))

    def ended(self, t: float) -> None:
        """The engineer's transmission is over."""
        begin, _ = self.begins.talked.get(self.engineer or "", (t, t))
        self.begins.talked[self.engineer or ""] = (begin, t)

    def keyed(self, call: Call, t: float) -> None:
        """A key, where nobody reports talk: the call was begun as long before it as it takes, and the hand needs."""
        since = self._since(call, float("-inf"))
        if since is not None:
            self._learn(max(t - KEYED_S - call.spec.spoken_s - since, 0.0), begun=True)

    def _since(self, call: Call, free_s: float) -> float | None:
        """Since when it could be begun; None: it teaches nothing, or was not due."""
        wait = self.open.pop(call.id, None)
        if wait is None and call.due_t is not None and _teaches(call):
            wait = Wait(call.spec.say_from_s, call.spec.say_by_s, self.looked_s)  # it has come due since the last look
        return None if wait is None else wait.since(free_s)

    def _over(self, call: Call | None, wait: Wait, free_s: float) -> None:
        since = wait.since(free_s)
        silent = call is not None and call.said_t is None and call.state in WITHOUT_A_WORD
        if silent and wait.by_s - since >= LEAST_S and not self.begins.talking(self.engineer, since, wait.by_s):
            self._learn(wait.by_s - since, begun=False)

    def _learn(self, waited_s: float, *, begun: bool) -> None:
        if self.engineer is None:
            self.unknown = self.unknown.after(waited_s, begun=begun)
        else:
            known = self.begins.of.get(self.engineer, Begins())
            self.begins.of[self.engineer] = known.after(waited_s, begun=begun)


def _teaches(call: Call) -> bool:
    """Guard: it is said on track, and nobody leaves it unsaid by choice. In the garage a check list is read when there
    is time for it."""
    return call.spec.kind in TEACHES and call.spec.medium != "board" and call.spec.lap != "garage"
