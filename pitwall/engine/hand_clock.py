"""What moved the session clock: each input with the clock before it, so that one can be taken back or retimed.

Who is believed:

* A status by hand stands until the feed says something newer. The feed's word on the same change gives it its true
  time; a word of the feed on an earlier moment, that arrives later, changes nothing and is answered so.
* A clock by hand is refused while the official one is fresh: an engineer who reads a clock reads that one. Where the
  official clock is silent the hand's runs, and it yields to the next official report, whatever that says: two clocks
  that take turns would be worse than one that is a second off.
"""

from __future__ import annotations

import copy
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import zip_longest

from pitwall.engine.session_clock import SessionClock
from pitwall.model.events import ClockReported, StatusChanged

FRESH_S = 30.0
"""An official clock that spoke within this is fresh (it commonly speaks once a second; common practice, no source)."""
SAME_CHANGE_S = 60.0
"""The hand and the feed mean one change of status when they are no further apart."""
KEPT = 200


@dataclass
class ClockInput:
    """One input of the session clock. ``by``: whose hand, None for the feed and for time itself."""

    event: StatusChanged | ClockReported
    now: float
    before: SessionClock
    by: str | None = None


class ClockHistory:
    """The recent inputs of the session clock, in the order in which they came.

    ``mended``: how many were taken out; ``mended_s``: from when on another status was believed since the last of them.
    """

    def __init__(self, clock: SessionClock) -> None:
        self._clock = clock
        self.inputs: list[ClockInput] = []
        self.official_t: float | None = None
        self.mended = 0
        self.mended_s = 0.0

    def note(self, event: StatusChanged | ClockReported, now: float, by: str | None = None) -> ClockInput:
        """Add an input that is about to be acted on."""
        made = ClockInput(event, now, copy.copy(self._clock), by)
        if isinstance(event, ClockReported) and by is None:
            self.official_t = now
            if self.inputs and isinstance(self.inputs[-1].event, ClockReported) and self.inputs[-1].by is None:
                self.inputs.pop()  # once a second: the last one is enough
        self.inputs.append(made)
        del self.inputs[: max(0, len(self.inputs) - KEPT)]
        return made

    def fresh(self, now: float) -> bool:
        """Guard: the official clock spoke a moment ago."""
        return self.official_t is not None and now - self.official_t <= FRESH_S

    def last_status(self) -> ClockInput | None:
        """The last status for the whole track."""
        return next((one for one in reversed(self.inputs) if _whole(one.event)), None)

    def last_clock(self) -> ClockInput | None:
        """The last clock, whoever gave it."""
        return next((one for one in reversed(self.inputs) if isinstance(one.event, ClockReported)), None)

    def find(self, event_id: str) -> ClockInput | None:
        """The input of that id."""
        return next((one for one in reversed(self.inputs) if one.event.id == event_id), None)

    def take_out(self, gone: ClockInput) -> tuple[str, ...]:
        """The clock as if this input had never come; with it goes what time alone made of it. Their ids."""
        at = self.inputs.index(gone)
        self.mended, self.mended_s = self.mended + 1, gone.now
        out = [one for one in self.inputs[at:] if one is gone or one.event.id.startswith("by-time-")]
        self._again(at, [one for one in self.inputs if one not in out])
        return tuple(one.event.id for one in out)

    def replace(self, old: ClockInput, event: StatusChanged) -> None:
        """The clock as if this had been said in the place of the old input."""
        old.event, old.by = event, None
        self._again(self.inputs.index(old), list(self.inputs))

    def at(self, now: float) -> SessionClock:
        """The clock as it stood after the inputs up to ``now``."""
        later = next((one for one in self.inputs if one.now > now), None)
        return copy.copy(self._clock if later is None else later.before)

    def since(self, t: float) -> Iterator[tuple[float, SessionClock]]:
        """When each input since ``t`` came, and the clock after it."""
        for one, after in zip_longest(self.inputs, self.inputs[1:]):
            if one.now >= t:
                yield one.now, self._clock if after is None else after.before

    def _again(self, at: int, wanted: list[ClockInput]) -> None:
        clock = self._clock
        if at < len(self.inputs):
            clock.__dict__.update(copy.copy(self.inputs[at].before).__dict__)
        self.inputs = wanted
        for one in wanted[at:]:
            one.before = copy.copy(clock)
            act(clock, one)


def act(clock: SessionClock, one: ClockInput) -> bool:
    """Do to the clock what this input does; True when something of note changed."""
    if isinstance(one.event, StatusChanged):
        return bool(clock.change(one.event))
    if one.by is None:
        return clock.report(one.event)
    clock.set_by_hand(one.event)
    return True


def _whole(event: StatusChanged | ClockReported) -> bool:
    return isinstance(event, StatusChanged) and event.status is not None and event.scope == "all"
