"""The life cycle of alerts: raised once, kept while active, acknowledged by a hand, over when the condition is over.

The pipeline for a candidate is: already active (its words follow the evidence), inhibited (a cause makes it idle: under
red nobody wants to hear of a slow lap), raised. What is held back is recorded once for each reason.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from pitwall.model.outputs import Alert, AlertPriority, HeldBack, Output, Status

REFRESH_S = 30.0

KINDS: dict[str, tuple[AlertPriority, str]] = {
    "overrun": ("high", "See the forecast: shorten or drop a run, or send the car earlier."),
    "switch_wrong": ("high", "Tell the driver at the next listening stretch, or box."),
    "switch_unverified": ("low", "Ask the driver to read the position back."),
    "feed_stale": ("medium", "Check the timing feed; enter what you see by hand."),
    "car_silent": ("medium", "Look for the car: it may have stopped."),
    "clock_unknown": ("low", "No official clock: pitwall counts from the green light. Check the time left."),
    "fuel_short": ("high", "Box this lap, or save fuel."),
    "release_overdue": ("low", "Ask the garage how long the work still takes; keep the car in, or re-plan."),
    "timetable": ("low", "Acknowledge it; it goes by itself after ten minutes."),
    "curfew": ("medium", "See that nobody works on the car after the curfew; acknowledge it."),
    "driver_laps": ("medium", "Give this driver more laps, or tell the officials."),
    "driver_limit": ("medium", "Give the rest of the runs to another driver."),
    "car_limit": ("medium", "Shorten or drop runs: the car may not do more."),
    "plan_file": ("medium", "Mend the file and save it; the plan in use stays as it is."),
}
IDLE_UNDER: dict[str, tuple[Status, ...]] = {
    "overrun": ("red", "finished", "closed"),
    "switch_wrong": ("red", "finished", "closed"),
    "switch_unverified": ("red", "finished", "closed"),
    "feed_stale": ("waiting", "red", "closed", "finished"),  # under red cars send nothing before the pit entry
    "car_silent": ("waiting", "closed", "finished", "red"),
    "clock_unknown": ("waiting", "closed", "finished"),
    "fuel_short": ("closed", "finished"),
    "release_overdue": ("waiting", "red", "closed", "finished"),
    "driver_laps": ("waiting", "red", "closed", "finished"),
    "driver_limit": ("waiting", "closed", "finished"),
    "car_limit": ("waiting", "closed", "finished"),
    "plan_file": ("closed",),
    "timetable": (),
    "curfew": (),
}


@dataclass
class AlertBook:
    """Mutable set of alerts of a session."""

    active: dict[str, Alert] = field(default_factory=dict)
    held: set[tuple[str, str]] = field(default_factory=set)
    count: dict[str, int] = field(default_factory=dict)

    def hold(self, kind: str, car: str | None, text: str, now: float, status: Status, detail: str = "") -> list[Output]:
        """The condition holds: raise the alert, or say why not.

        Args:
            kind: a key of ``KINDS``.
            car: the car concerned, or None.
            text: one sentence with the evidence.
            now: session second.
            status: session status, which may inhibit it.
            detail: tells apart two alerts of one kind for one car.
        """
        key = "-".join(part for part in (kind.replace("_", "-"), car, detail) if part)
        if key in self.active:
            return self._refreshed(key, text, now)
        if status in IDLE_UNDER[kind]:
            return self._held_back(key, f"idle while the session is {status}", now)
        priority, remedy = KINDS[kind]
        alert = Alert(
            id=key, t=now, car=car, kind=kind, priority=priority, active=True, text=text, help=remedy, since_s=now
        )
        self.active[key] = alert
        self.count[kind] = self.count.get(kind, 0) + 1
        return [alert]

    def _refreshed(self, key: str, text: str, now: float) -> list[Output]:
        """The alert stands; its words follow the evidence, but not so often that they cannot be read."""
        alert = self.active[key]
        if alert.text == text or now < alert.t + REFRESH_S:
            return []
        self.active[key] = alert.model_copy(update={"t": now, "text": text, "because": None})
        return [self.active[key]]

    def over(self, kind: str, car: str | None, now: float, detail: str = "") -> list[Output]:
        """The condition is over."""
        key = "-".join(part for part in (kind.replace("_", "-"), car, detail) if part)
        alert = self.active.pop(key, None)
        if self.held:
            self.held = {item for item in self.held if item[0] != key}
        return [] if alert is None else [alert.model_copy(update={"t": now, "active": False})]

    def acknowledge(self, alert_id: str, now: float, because: str) -> list[Output]:
        """A hand took note; empty when there is no such alert."""
        alert = self.active.get(alert_id)
        if alert is None:
            return []
        self.active[alert_id] = alert.model_copy(update={"t": now, "acknowledged": True, "because": because})
        return [self.active[alert_id]]

    def all_over(self, now: float, keep: frozenset[str] = frozenset()) -> list[Output]:
        """The session closed: nothing stays active but alerts of the kinds in ``keep``."""
        closed = [key for key, alert in sorted(self.active.items()) if alert.kind not in keep]
        return [output for key in closed for output in self._close(key, now)]

    def _close(self, key: str, now: float) -> list[Output]:
        return [self.active.pop(key).model_copy(update={"t": now, "active": False})]

    def _held_back(self, key: str, reason: str, now: float) -> list[Output]:
        if (key, reason) in self.held:
            return []
        self.held.add((key, reason))
        return [HeldBack(id=f"held-{key}-{now:.3f}", t=now, alert=key, reason=reason)]
