"""The session as a whole: its summary, its statuses, and its alerts against what one person can attend to."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import Counter
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta, tzinfo
from functools import cache
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pitwall.debrief.model import AlertRow, AlertStatistics, ChangeRow, SessionSummary, StatusSpan, TenMinutes
from pitwall.debrief.notes import Notes
from pitwall.model.facts import SessionStatus
from pitwall.model.setup import SessionSetup

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
PERIOD_S = 600.0
"""EEMUA 191 counts alarms in periods of ten minutes."""
FLOOD = 10
"""More than so many in ten minutes are a flood (EEMUA 191, from memory)."""


def setup_of(notes: Notes) -> SessionSetup:
    """The session's setup.

    Raises:
        ValueError: before a session was prepared.
    """
    if notes.setup is None:
        raise ValueError("no session was prepared")
    return notes.setup.setup


def time_of_day(notes: Notes, t: float) -> datetime | None:
    """The time of day of a session second: by the stamps of the daemon's machine, else as the session was scheduled;
    None where neither is known. On the clock of the event's place, which may be put forward or back meanwhile; where
    the setup names no place, by the offset of the schedule, else UTC."""
    window = setup_of(notes).regulations.window(setup_of(notes).session)
    opens = window.opens_at if window is not None else None
    wall_s = notes.wall_at(t)
    if wall_s is None and opens is None:
        return None
    unix_s = wall_s if wall_s is not None else opens.timestamp() + t if opens is not None else 0.0
    moment = EPOCH + timedelta(milliseconds=round(1000 * unix_s))
    return moment.astimezone(_zone(setup_of(notes).time_zone) or (opens.tzinfo if opens is not None else None) or UTC)


@cache
def _zone(name: str | None) -> tzinfo | None:
    """None for a name that this machine does not know: a journal may come from one that knows more."""
    try:
        return ZoneInfo(name) if name is not None else None
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return None


def status_spans(
    changes: Sequence[tuple[float, SessionStatus, tuple[str, ...]]], end_s: float
) -> tuple[StatusSpan, ...]:
    """Statuses with their beginnings and ends, from changes ``(t, status, sectors)`` in order."""
    ends = [t for t, _, _ in changes[1:]] + [max(end_s, changes[-1][0])] if changes else []
    return tuple(
        StatusSpan(status=status, from_s=round(t, 3), to_s=round(end, 3), sectors=sectors)
        for (t, status, sectors), end in zip(changes, ends, strict=True)
    )


def changes_of_all(notes: Notes) -> tuple[ChangeRow, ...]:
    """What a hand entered of the whole session, and what was corrected of it, in order of time."""
    found = [ChangeRow(t=round(one.t, 3), what=one.text, about="correction") for one in notes.corrections]
    found += [ChangeRow(t=round(one.t, 3), what=one.what, by=one.by, why=one.why, about="correction")
              for one in notes.entered]
    return tuple(sorted(found, key=lambda one: one.t))


def session_summary(notes: Notes, spans: tuple[StatusSpan, ...], journal: str) -> SessionSummary:
    """The session in a few lines; ``journal`` is the file's name."""
    setup = setup_of(notes)
    green = time_of_day(notes, 0.0)
    by_journal = notes.wall_at(0.0) is not None
    return SessionSummary(
        event=setup.event, session=setup.session, team=setup.team, circuit=setup.circuit.name,
        circuit_length_m=setup.circuit.length_m, wet=setup.wet, scheduled_s=setup.duration_s,
        began_s=round(notes.first_s, 3), ended_s=round(notes.last_s, 3), green_time=green,
        ended_time=time_of_day(notes, notes.last_s),
        time_of_day_from="journal" if by_journal else "none" if green is None else "schedule",
        state=_state(spans), journal=journal, facts=notes.facts, restarts=notes.restarts,
        gaps_s=tuple((round(t, 3), round(gap, 3)) for t, gap in notes.gaps), failed_facts=notes.failed,
        statuses=spans, windows=tuple((one.window, one.from_s, one.to_s) for one in setup.windows),
    )


def _state(spans: tuple[StatusSpan, ...]) -> str:
    last = spans[-1].status if spans else "waiting"
    if last == "closed":
        return "closed"
    if last == "finished":
        return "flag_out"
    return "running" if any(span.status in ("green", "yellow", "slow", "red") for span in spans) else "not_begun"


def alert_rows(notes: Notes) -> tuple[AlertRow, ...]:
    """Every alert from its beginning to its end, in the order in which they were raised."""
    return tuple(
        AlertRow(
            alert=one.raised.id, car=one.raised.car, kind=one.raised.kind, priority=one.raised.priority,
            from_s=round(one.raised.t, 3), to_s=None if one.over_s is None else round(one.over_s, 3),
            acknowledged_s=None if one.acknowledged_s is None else round(one.acknowledged_s, 3), text=one.text,
        )
        for one in notes.alerts
    )


def alert_statistics(notes: Notes) -> AlertStatistics:
    """Counts, and rates for each ten minutes as EEMUA 191 has them, from the first fact to the last."""
    raised = [one.raised for one in notes.alerts]
    times = sorted(one.t for one in raised)
    periods = _periods(notes.first_s, notes.last_s, times)
    whole_s = notes.last_s - notes.first_s
    return AlertStatistics(
        raised=len(raised),
        by_kind=dict(sorted(Counter(one.kind for one in raised).items())),
        by_priority=dict(sorted(Counter(one.priority for one in raised).items())),
        held_back=len(notes.held),
        held_reasons=dict(sorted(Counter(one.reason for one in notes.held).items())),
        acknowledged=sum(one.acknowledged_s is not None for one in notes.alerts),
        rates=periods,
        mean_rate=round(len(raised) * PERIOD_S / whole_s, 3) if whole_s > 0 else 0.0,
        most_in_ten=max((bisect_left(times, t + PERIOD_S) - at for at, t in enumerate(times)), default=0),
        share_over_ten=round(sum(one.raised > FLOOD for one in periods) / len(periods), 3) if periods else 0.0,
    )


def _periods(first_s: float, last_s: float, times: list[float]) -> tuple[TenMinutes, ...]:
    found, begin = [], first_s
    while begin < last_s:
        end = begin + PERIOD_S
        upto = bisect_left(times, end) if end < last_s else bisect_right(times, last_s)
        found.append(TenMinutes(from_s=round(begin, 3), raised=upto - bisect_left(times, begin)))
        begin = end
    return tuple(found)
