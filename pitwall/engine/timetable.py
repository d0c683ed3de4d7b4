"""What the timetable of the day says, as alerts: raised when a moment comes, over by themselves. No call needs them."""

from __future__ import annotations

from pitwall.engine.alerts.book import AlertBook
from pitwall.model.events import TimetableReached
from pitwall.model.outputs import Alert, Output, Status

STANDS_S = 600.0
"""So long a moment of the day is shown when nobody acknowledges it."""
SAID_LATE_S = 60.0
KINDS = frozenset({"timetable", "curfew"})


def reached(event: TimetableReached, alerts: AlertBook, status: Status, now: float) -> list[Output]:
    """A moment of the day has come: show it, with how late it is, whatever the session's status."""
    kind = "curfew" if event.kind == "curfew" else "timetable"
    return alerts.hold(kind, None, _words(event), now, status, event.entry.removeprefix("curfew-"))


def fade(alerts: AlertBook, now: float) -> list[Output]:
    """End what was acknowledged or has stood for long enough."""
    if not alerts.active:
        return []
    ended = [alert for alert in _standing(alerts) if alert.acknowledged or now >= alert.since_s + STANDS_S]
    return [output for alert in ended for output in alerts.over(alert.kind, None, now, _detail(alert))]


def next_end(alerts: AlertBook) -> float | None:
    """The session second at which the first of them is over by itself."""
    return min((alert.since_s + STANDS_S for alert in _standing(alerts)), default=None)


def _standing(alerts: AlertBook) -> list[Alert]:
    found = [alert for alert in alerts.active.values() if alert.kind in KINDS]
    return sorted(found, key=lambda alert: alert.id)


def _detail(alert: Alert) -> str:
    return alert.id.removeprefix(f"{alert.kind}-")


def _words(event: TimetableReached) -> str:
    clock = event.due.strftime("%H:%M")
    if event.passed:
        return f"Passed, not told in time: {event.text} (was at {clock}, {_ago(event.late_s)} ago)"
    if event.late_s >= SAID_LATE_S:
        return f"{event.text} (was at {clock}, told {_ago(event.late_s)} late)"
    return f"{event.text} ({clock})"


def _ago(seconds: float) -> str:
    minutes = int(seconds // 60)
    return f"{minutes} min" if minutes < 120 else f"{minutes // 60} h {minutes % 60:02d} min"
