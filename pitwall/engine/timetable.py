"""What the timetable of the day says, as alerts: raised when a moment comes, over by themselves. No call needs them.

That the running session opens is told by its green light, and asks nobody for anything: it is an alert only where the
light does not come at its time (ISA-18.2: what needs no response is none).
"""

from __future__ import annotations

from dataclasses import replace

from pitwall.engine.alerts.book import AlertBook, alert_key
from pitwall.engine.alerts.policy import Awaited
from pitwall.engine.session_clock import SessionClock
from pitwall.model.events import TimetableReached
from pitwall.model.outputs import Alert, HeldBack, Output

STANDS_S = 600.0
"""So long a moment of the day is shown when nobody acknowledges it."""
SAID_LATE_S = 60.0
LIGHT_LATE_S = 30.0  # so long after its time the green light, or word of it, may come (common practice, no source)
NO_LIGHT = "If cars may go, enter it by hand: status=green. Else the session is late: wait for the light."
OPEN = "its green light has told it"
KINDS = frozenset({"timetable", "curfew"})


def reached(event: TimetableReached, session: str, alerts: AlertBook, clock: SessionClock, now: float) -> list[Output]:
    """A moment of the day has come: show it, with how late it is, whatever the session's status. The opening of the
    ``session`` that runs here is left to its light for a while."""
    if event.entry == f"opens-{session}":
        alerts.awaited = Awaited(event.entry, f"{_words(event)}: no green light was seen", now + LIGHT_LATE_S)
        return _opening(alerts, clock, now)
    kind = "curfew" if event.kind == "curfew" else "timetable"
    return alerts.hold(kind, None, _words(event), now, clock.status, event.entry.removeprefix("curfew-"))


def _opening(alerts: AlertBook, clock: SessionClock, now: float) -> list[Output]:
    """A light that does not come is told once; one that came has told the opening, and ends what was told."""
    awaited = alerts.awaited
    if awaited is None:
        return []
    if clock.status != "waiting":
        alerts.awaited, key = None, alert_key("timetable", None, awaited.detail)
        if awaited.told:
            return alerts.over("timetable", None, now, awaited.detail)
        reason = OPEN if clock.ran else f"race control has spoken: {clock.status}, no green light yet"
        return [HeldBack(id=f"held-{key}-{now:.3f}", t=now, alert=key, reason=reason)]
    if awaited.told or now < awaited.by_s:
        return []
    alerts.awaited = replace(awaited, told=True)
    return alerts.hold("timetable", None, awaited.text, now, clock.status, awaited.detail, help_text=NO_LIGHT)


def fade(alerts: AlertBook, clock: SessionClock, now: float) -> list[Output]:
    """End what was acknowledged or has stood for long enough; look whether the session has opened."""
    opening = _opening(alerts, clock, now)
    if not alerts.active:
        return opening
    ended = [alert for alert in _standing(alerts) if alert.acknowledged or now >= alert.since_s + STANDS_S]
    return opening + [output for alert in ended for output in alerts.over(alert.kind, None, now, _detail(alert))]


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
