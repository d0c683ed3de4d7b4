"""The words that a terminal uses for states and times: the meaning is always in the word, never in a colour alone."""

from __future__ import annotations

import math

from pitwall.model.outputs import Alert, ClockState, Health, Prompt
from pitwall.model.units import clock_text

STATE_WORDS = {
    "planned": "planned",
    "shown": "coming",
    "due": "SAY NOW",
    "said": "said",
    "unconfirmed": "unconfirmed",
    "late": "LATE",
    "missed": "missed",
    "skipped": "skipped",
    "withdrawn": "withdrawn",
    "done": "done",
}

STATUS_WORDS = {
    "waiting": "WAITING",
    "green": "GREEN",
    "yellow": "YELLOW",
    "slow": "SLOW",
    "red": "RED",
    "finished": "CHEQUERED",
    "closed": "CLOSED",
}

BOARD_WORDS = {"due": "SHOW NOW", "said": "shown"}
"""On a pit board nothing is said."""

PAST_FROM_S = 1.0
"""So soon after a call's last moment a key may still be on its way."""

LAG_TOLD_FROM_S = 3.0
"""Real seconds that an event may wait to be decided before it is said."""


def state_word(prompt: Prompt, now: float = -math.inf) -> str:
    """What the call is at; one that is advised against is never told to be said, and one whose last moment is past
    is not coming."""
    if prompt.against is not None and prompt.state in ("shown", "due"):
        return "better not"
    if is_past(prompt, now):
        return "overdue"
    return (BOARD_WORDS if prompt.medium == "board" else {}).get(prompt.state) or STATE_WORDS[prompt.state]


def is_past(prompt: Prompt, now: float) -> bool:
    """Guard: it waits to be said, and can no longer be acted on."""
    return prompt.state in ("shown", "due") and now - of_use_until(prompt) >= PAST_FROM_S


def of_use_until(prompt: Prompt) -> float:
    """Said after its best moment a call is of use as long as it ends before the driver acts."""
    return max(prompt.say_by_s, -math.inf if prompt.act_at_s is None else prompt.act_at_s - prompt.spoken_s)


def by_words(prompt: Prompt) -> str:
    """Until when a call may be said, as it comes due: ``by 8:29``. Where that moment is there or past, what can still
    be done: until when it is of use, or how late it is."""
    now, by, left = prompt.t, clock_text(prompt.say_by_s), prompt.say_by_s - prompt.t
    if left >= PAST_FROM_S:
        return f"by {by}"
    ends = left > -PAST_FROM_S
    gone = f"at once, its moment ends at {by}" if ends else f"{span_text(-left)} late, it was due by {by}"
    if of_use_until(prompt) >= now + PAST_FROM_S:
        return f"{gone}; of use until {clock_text(of_use_until(prompt))}"
    return gone if ends else f"{gone}: skip it, or say that it comes late"


def span_text(seconds: float) -> str:
    """``7 s`` or ``1:05``."""
    return f"{seconds:.0f} s" if seconds < 59.5 else clock_text(seconds)


def time_left(prompt: Prompt, now: float) -> str:
    """How long until a prompt may be said (``in 0:12``), or how long it may still be said (``0:08 left``); past its
    best moment, how long it is of use (``of use 0:20``), then how late it is (``1:05 too late``)."""
    if prompt.state == "shown" and prompt.say_from_s > now:
        return f"in {clock_text(prompt.say_from_s - now)}"
    if is_past(prompt, now):
        return f"{clock_text(now - of_use_until(prompt))} too late"
    if prompt.state in ("shown", "due") and now - prompt.say_by_s >= PAST_FROM_S and of_use_until(prompt) > now:
        return f"of use {clock_text(of_use_until(prompt) - now)}"
    if prompt.state in ("shown", "due"):
        return f"{clock_text(max(prompt.say_by_s - now, 0))} left"
    if prompt.state in ("said", "late") and prompt.act_at_s is not None and prompt.act_at_s > now:
        return f"act in {clock_text(prompt.act_at_s - now)}"
    return ""


def clock_line(clock: ClockState | None, now: float) -> str:
    """Status and time left; a stopped clock says so, and so does a closed pit exit. Session time before zero is the
    time to the scheduled green light."""
    if clock is None:
        return "no clock yet"
    remaining = clock.remaining_s - (now - clock.t if clock.running else 0.0)
    parts = [STATUS_WORDS[clock.status], f"{clock_text(max(remaining, 0.0))} left"]
    if clock.window is not None:
        parts.insert(1, clock.window if clock.status != "waiting" else f"for the {clock.window}")
    if clock.status == "waiting" and now < 0:
        parts.insert(1, f"green due in {clock_text(-now)}")
    if not clock.running:
        parts.append("clock stopped")
    if clock.yellow_sectors:
        parts.append(f"yellow in {', '.join(clock.yellow_sectors)}")
    if clock.pit_exit == "closed":
        parts.append("pit exit closed")
    return "  ".join(parts)


def lag_words(health: Health, rate: float) -> str:
    """``LAG 37 s`` when events wait that long to be decided; nothing while it is no longer than seconds of real time.

    Args:
        health: the daemon's last word on itself.
        rate: session seconds in a real second.
    """
    lag = health.lag_s or 0.0
    return f"LAG {lag:.0f} s" if lag >= LAG_TOLD_FROM_S * max(1.0, rate) else ""


def store_words(health: Health) -> str:
    """Why nothing is decided, in a sentence; nothing while the journal takes what comes."""
    return f"STORE FAILS: nothing is decided. {health.store or 'no reason given'}" if health.store_fails else ""


def alert_line(alert: Alert) -> str:
    """One alert in a line: priority, car, text, and whether somebody took note."""
    named = alert.car is None or alert.text.lower().startswith(f"car {alert.car}")
    car = "" if named else f"car {alert.car}: "
    noted = " (acknowledged)" if alert.acknowledged else ""
    return f"{alert.priority.upper():<6} {car}{alert.text}{noted}"


def lap_text(seconds: float | None) -> str:
    """A lap time as the trade writes it: ``1:29.345``; a dash when there is none."""
    if seconds is None:
        return "-"
    minutes, rest = divmod(round(seconds, 3), 60)
    return f"{int(minutes)}:{rest:06.3f}"
