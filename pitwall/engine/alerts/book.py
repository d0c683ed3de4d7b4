"""The life cycle of alerts: raised once, kept while active, noted by a hand, over when the condition is over.

A candidate goes through one ordered pipeline, and each stage that holds it back leaves its reason on record, once:
already active (its words follow the evidence; noted long ago, it asks again), idle under the session's status (under
red nobody wants to hear of a slow lap), explained by another alert, shelved by a hand, a flood in which only what is
urgent gets through, not held for long enough; then it is raised. The condition goes on being watched all the while:
once nothing holds it back it is raised, if it is still there. An alert that comes and goes three times in a minute is
kept until it has been quiet for one (``policy.py`` has the figures and their sources).
"""

from __future__ import annotations

import functools
from collections.abc import Mapping
from dataclasses import dataclass, field

from pitwall.engine.alerts.kinds import ASKS_AGAIN_S, EXPLAINED_BY, IDLE_UNDER, KINDS, ON_DELAY_S, TOLD_ONCE, URGENT
from pitwall.engine.alerts.policy import CHATTER_WINDOW_S, Awaited, Floods, Occurrences, Shelf
from pitwall.engine.alerts.together import Together, words_of
from pitwall.model.outputs import Alert, HeldBack, Output, Status
from pitwall.model.units import clock_text

__all__ = ["IDLE_UNDER", "KINDS", "AlertBook"]

REFRESH_S = 30.0
CHATTERS = " (comes and goes)"
FLOOD = "too many alerts at once: only urgent ones are shown"
MANY = "More than ten alerts in ten minutes: only urgent ones are shown"


@dataclass
class AlertBook:
    """Mutable set of alerts of a session."""

    active: dict[str, Alert] = field(default_factory=dict)
    held: set[tuple[str, str]] = field(default_factory=set)
    count: dict[str, int] = field(default_factory=dict)
    shelf: Shelf = field(default_factory=Shelf)
    floods: Floods = field(default_factory=Floods)
    noted_s: dict[str, float] = field(default_factory=dict)
    seen: dict[str, Occurrences] = field(default_factory=dict)
    ever: set[tuple[str, str | None]] = field(default_factory=set)
    """Kind and car of every condition that was ever seen."""
    gone: dict[str, Alert] = field(default_factory=dict)
    together: Together = field(default_factory=Together)
    awaited: Awaited | None = None

    def hold(
        self, kind: str, car: str | None, text: str, now: float, status: Status, detail: str = "", *,
        explained_by: tuple[str, ...] = (), help_text: str | None = None, switches: Mapping[str, str] | None = None,
    ) -> list[Output]:
        """The condition holds: raise the alert, or say why not.

        Args:
            kind: a key of ``KINDS``.
            car: the car concerned, or None.
            text: one sentence with the evidence.
            now: session second.
            status: session status, which may inhibit it.
            detail: tells apart two alerts of one kind for one car.
            explained_by: kinds that say it already, besides those that always do.
            help_text: what to do, where it is not what the kind says.
            switches: the switches that it is about, each with its own words.
        """
        key = alert_key(kind, car, detail)
        if key in self.active:
            return self._suppressed(key, kind, now, status) or self._goes_on(key, text, now, switches)
        seen = self.seen.setdefault(key, Occurrences())
        self.ever.add((kind, car))
        held_s = seen.held_for(now)
        conditions = conditions_of(key, kind, car, switches)
        reason = self._held_by(conditions, kind, car, now, status, (*EXPLAINED_BY.get(kind, ()), *explained_by))
        if reason is not None:
            many = self.hold("many_alerts", car, MANY, now, status) if reason == FLOOD else []
            return [*self._held_back(key, reason, now), *many]
        if held_s < ON_DELAY_S.get(kind, 0.0):
            return []
        priority, remedy = KINDS[kind]
        alert = Alert(
            id=key, t=now, car=car, kind=kind, priority=priority, active=True, text=text,
            help=help_text or remedy, since_s=now, switches=dict(switches or {}),
        )
        self.active[key], seen.cleared_s = alert, None
        self.gone.pop(key, None)
        self.count[kind] = self.count.get(kind, 0) + 1
        if kind not in TOLD_ONCE | URGENT:
            self.floods.note(car, now)
        return [alert]

    def _held_by(
        self, conditions: tuple[str, ...], kind: str, car: str | None, now: float, status: Status,
        explained_by: tuple[str, ...],
    ) -> str | None:
        """What keeps this alert from being raised now, in words; None when nothing does."""
        if status in IDLE_UNDER[kind]:
            return f"idle while the session is {status}"
        for alert in self.active.values():
            if alert.kind in explained_by and alert.car in (None, car):
                return f"explained by {alert.id}"
        if all(self.shelf.holds(name, now) for name in conditions):
            return f"shelved until {clock_text(min(self.shelf.until_s[name] for name in conditions))}"
        if self.floods.on(car, now) and KINDS[kind][0] != "high" and kind not in TOLD_ONCE | URGENT:
            return FLOOD
        return None

    def _suppressed(self, key: str, kind: str, now: float, status: Status) -> list[Output]:
        """One that stands, and that nobody needs under the session's status: off the screens, working underneath."""
        if status not in IDLE_UNDER[kind]:
            return []
        return [*self._close(key, now), *self._held_back(key, f"idle while the session is {status}", now)]

    def calm(self, now: float) -> list[Output]:
        """Asked every few seconds: is a flood over that was told?"""
        told = [alert.car for alert in self.active.values() if alert.kind == "many_alerts"]
        return [one for car in told if not self.floods.on(car, now) for one in self.over("many_alerts", car, now)]

    def _goes_on(self, key: str, text: str, now: float, switches: Mapping[str, str] | None) -> list[Output]:
        """The alert stands: its words follow the evidence, but not so often that they cannot be read. That a switch of
        several is in place again is told at once."""
        alert, seen = self.active[key], self.seen.setdefault(key, Occurrences())
        seen.cleared_s = None
        if seen.chatters(now):
            text = text.removesuffix(CHATTERS) + CHATTERS
        noted_s, again_s = self.noted_s.get(key), ASKS_AGAIN_S.get(alert.priority)
        asks_again = alert.acknowledged and noted_s is not None and again_s is not None and now >= noted_s + again_s
        others = set(switches or ()) != set(alert.switches)
        asks_again |= not set(switches or ()) <= set(alert.switches)  # one more is news
        if not (asks_again or others) and (alert.text == text or now < alert.t + REFRESH_S):
            return []
        update = {"t": now, "text": text, "because": None, "acknowledged": alert.acknowledged and not asks_again}
        self.active[key] = alert.model_copy(update={**update, "switches": dict(switches or {})})
        return [self.active[key]]

    def reword(self, kind: str, car: str | None, text: str, now: float, detail: str = "") -> list[Output]:
        """An alert that stands is told in other words at once: there is more to say of it."""
        alert = self.active.get(alert_key(kind, car, detail))
        if alert is None or alert.text == text:
            return []
        self.active[alert.id] = alert.model_copy(update={"t": now, "text": text, "because": None})
        return [self.active[alert.id]]

    def found(
        self, kind: str, car: str, texts: Mapping[str, str], now: float, status: Status, help_text: str | None = None
    ) -> list[Output]:
        """All switches of which such a condition holds now, each with its words: what was found at one moment is one
        alert. Empty ``texts``: none holds."""
        if not texts and (kind, car) not in self.ever:
            return []
        outputs: list[Output] = []
        standing, shelved = functools.partial(self._says, kind, car), functools.partial(self._shelved, kind, car, now)
        for detail, holding in list(self.together.sort(kind, car, texts, standing, shelved)):
            if holding:
                outputs += self.hold(kind, car, words_of(holding), now, status, detail, help_text=help_text,
                                     switches=holding)
            else:
                outputs += self.over(kind, car, now, detail)
        return outputs

    def _says(self, kind: str, car: str, detail: str) -> Mapping[str, str]:
        alert = self.active.get(alert_key(kind, car, detail))
        return {} if alert is None else alert.switches

    def _shelved(self, kind: str, car: str, now: float, switch: str) -> float | None:
        name = alert_key(kind, car, switch)
        return self.shelf.until_s[name] if self.shelf.holds(name, now) else None

    def switch_words(self, kind: str, car: str, switch: str) -> str | None:
        """What an alert that stands says of this switch; None where none does."""
        detail = self.together.of(kind, car, switch)
        alert = None if detail is None else self.active.get(alert_key(kind, car, detail))
        return None if alert is None else alert.switches.get(switch)

    def over(self, kind: str, car: str | None, now: float, detail: str = "") -> list[Output]:
        """The condition is over."""
        key = alert_key(kind, car, detail)
        seen = self.seen.get(key)
        if seen is None:
            return []
        seen.broke()
        if self.held:
            self.held = {item for item in self.held if item[0] != key}
        if key not in self.active:
            return []
        if seen.cleared_s is None:
            seen.cleared(now)
        assert seen.cleared_s is not None
        if seen.chatters(seen.cleared_s) and now - seen.cleared_s < CHATTER_WINDOW_S:
            return []  # kept until it has been quiet for a minute
        return self._close(key, now)

    def acknowledge(self, alert_id: str, now: float, because: str) -> list[Output]:
        """A hand took note, of one that is over already as well; empty when there is no such alert."""
        alert = self.active.get(alert_id)
        if alert is None:
            gone = self.gone.pop(alert_id, None)
            noted = {"t": now, "acknowledged": True, "because": because}
            return [] if gone is None else [gone.model_copy(update=noted)]
        self.noted_s[alert_id] = now
        self.active[alert_id] = alert.model_copy(update={"t": now, "acknowledged": True, "because": because})
        return [self.active[alert_id]]

    def shelve(self, alert_id: str, now: float, for_s: float, because: str) -> list[Output]:
        """Lay an active alert aside for a while; it comes back if its condition still holds then. Of one about switches
        each that it lists is shelved, and no other that goes by its id later.

        Raises:
            ValueError: when it is for longer than may be.
            KeyError: when there is no such alert.
        """
        alert = self.active[alert_id]
        for name in conditions_of(alert_id, alert.kind, alert.car, alert.switches):
            self.shelf.put(name, now, for_s)
        del self.active[alert_id]
        return [alert.model_copy(update={"t": now, "active": False, "because": because})]

    def all_over(self, now: float, keep: frozenset[str] = frozenset()) -> list[Output]:
        """The session closed: nothing stays active but alerts of the kinds in ``keep``."""
        closed = [key for key, alert in sorted(self.active.items()) if alert.kind not in keep]
        return [output for key in closed for output in self._close(key, now)]

    def _close(self, key: str, now: float) -> list[Output]:
        self.noted_s.pop(key, None)
        over = self.active.pop(key).model_copy(update={"t": now, "active": False})
        if not over.acknowledged:
            self.gone[key] = over  # so that who presses the key as it goes is not refused
        return [over]

    def _held_back(self, key: str, reason: str, now: float) -> list[Output]:
        if (key, reason) in self.held:
            return []
        self.held.add((key, reason))
        return [HeldBack(id=f"held-{key}-{now:.3f}", t=now, alert=key, reason=reason)]


@functools.lru_cache(maxsize=1024)  # every switch of a car is asked for after nearly every fact
def alert_key(kind: str, car: str | None, detail: str = "") -> str:
    """The id of an alert: ``switch-wrong-41-flap``."""
    return "-".join(part for part in (kind.replace("_", "-"), car, detail) if part)


def conditions_of(key: str, kind: str, car: str | None, switches: Mapping[str, str] | None) -> tuple[str, ...]:
    """What an alert is shelved by: each of its switches by its name; the alert's id where it is about none."""
    return tuple(alert_key(kind, car, name) for name in switches or ()) or (key,)
