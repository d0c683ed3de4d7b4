"""What an alert must pass before anybody sees it, and after: delays, shelves, chatter, floods. Pure figures and rules.

The words are those of the process industry's alarm standards (IEC 62682, ISA-18.2, OPC 10000-9): an *on-delay* wants
the condition to hold without a break; a *deadband* lets it end only well inside the limit; a *shelf* hides it for a
while that has a most; one that comes and goes too often is *chattering* and is held until it has been quiet; in a
*flood* only what is urgent gets through; one that was noted and still stands after the *re-alarm* time asks again.
Whatever is hidden keeps working underneath, and each hiding has its reason.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field

MOST_SHELVED_S = 1800.0
CHATTER_CYCLES, CHATTER_WINDOW_S = 3, 60.0  # three or more occur-and-clear cycles a minute (EEMUA 191, secondary)
FLOOD_ABOVE, FLOOD_BELOW, FLOOD_WINDOW_S = 10, 5, 600.0  # above 10 in 10 min until below 5 (EEMUA 191, from memory)


@dataclass(frozen=True)
class Limit:
    """A limit with a deadband: crossed beyond ``at``, and only back inside once ``deadband`` away from it.

    ``rising`` True watches for values above ``at``, False for values below it. Both in the value's own unit.
    """

    at: float
    deadband: float
    rising: bool = True

    def holds(self, value: float, held: bool) -> bool:
        """Is the condition there, given whether it was (OPC 10000-9, 5.8.17: it clears at the limit less deadband)?"""
        beyond = value - self.at if self.rising else self.at - value
        return beyond > (-self.deadband if held else 0.0)


@dataclass
class Occurrences:
    """When one alert occurred and cleared, for delays and chatter. Session seconds."""

    since_s: float | None = None
    cycles: deque[float] = field(default_factory=lambda: deque(maxlen=CHATTER_CYCLES))
    cleared_s: float | None = None

    def held_for(self, now: float) -> float:
        """How long the condition has held without a break; counts from the first call after a break."""
        if self.since_s is None:
            self.since_s = now
        return now - self.since_s

    def broke(self) -> None:
        """The condition was seen not to hold."""
        self.since_s = None

    def cleared(self, now: float) -> None:
        """A raised alert's condition ended: one more cycle."""
        self.cycles.append(now)
        self.cleared_s = now

    def chatters(self, now: float) -> bool:
        """Three or more cycles within the last minute."""
        return len(self.cycles) == CHATTER_CYCLES and now - self.cycles[0] <= CHATTER_WINDOW_S


@dataclass(frozen=True)
class Awaited:
    """What is to happen by itself, and is an alert where it has not by ``by_s``, a session second; told once."""

    detail: str
    text: str
    by_s: float
    told: bool = False


@dataclass
class Flood:
    """Counts what was raised; true between more than ten in ten minutes and fewer than five."""

    raised: deque[float] = field(default_factory=deque)
    on: bool = False

    def note(self, now: float) -> None:
        """One more was raised."""
        self.raised.append(now)
        self.look(now)

    def look(self, now: float) -> bool:
        """Is there a flood at this moment?"""
        while self.raised and now - self.raised[0] > FLOOD_WINDOW_S:
            self.raised.popleft()
        self.on = len(self.raised) > FLOOD_ABOVE or (self.on and len(self.raised) >= FLOOD_BELOW)
        return self.on


@dataclass
class Floods:
    """A flood is one engineer's: a car's own alerts and those that are everybody's. EEMUA 191 counts for one person."""

    everybody: deque[float] = field(default_factory=lambda: deque(maxlen=FLOOD_ABOVE + 1))
    of: dict[str, Flood] = field(default_factory=dict)

    def note(self, car: str | None, now: float) -> None:
        """One more was raised, of this car or, None, for everybody."""
        if car is not None:
            self._of(car).note(now)
            return
        self.everybody.append(now)
        for flood in self.of.values():
            flood.note(now)

    def on(self, car: str | None, now: float) -> bool:
        """Is this car's engineer in a flood; for what is everybody's: is anybody?"""
        if car is not None:
            return self._of(car).look(now)
        alone = Flood(deque(self.everybody)).look(now)
        return any([alone, *(flood.look(now) for flood in self.of.values())])

    def _of(self, car: str) -> Flood:
        if car not in self.of:
            self.of[car] = Flood(deque(self.everybody))
        return self.of[car]


@dataclass
class Shelf:
    """Alerts that a hand laid aside, each until a session second."""

    until_s: dict[str, float] = field(default_factory=dict)

    def put(self, alert: str, now: float, for_s: float) -> float:
        """Lay one aside; returns until when.

        Raises:
            ValueError: when it is for longer than may be (OPC 10000-9, 5.8.17: refused, not shortened).
        """
        if not 0 < for_s <= MOST_SHELVED_S:
            raise ValueError(f"an alert is shelved for at most {MOST_SHELVED_S / 60:.0f} min, asked for {for_s:.0f} s")
        self.until_s[alert] = now + for_s
        return now + for_s

    def holds(self, alert: str, now: float) -> bool:
        """Does it lie there still? One whose time is up is taken off."""
        until = self.until_s.get(alert)
        if until is not None and now >= until:
            del self.until_s[alert]
            return False
        return until is not None
