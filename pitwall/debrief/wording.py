"""How a debrief writes times, values and states: one way each, on every page."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

from pitwall.debrief.figures_laps import lap_clock
from pitwall.debrief.model import DataWindow, LapRow, RunRow, SwitchAt, Uncertain
from pitwall.model.laps_in_doubt import best_lap_doubts, switch_words
from pitwall.model.plan import Scalar
from pitwall.model.units import timed_laps

KMH = 3.6
NOTHING = "–"
UNITS = {"_mps": "m/s", "_kph": "km/h", "_s": "s", "_m": "m", "_kg": "kg"}

OUTCOMES = {"done": "● done", "probably_done": "◐ probably done", "done_badly": "▲ done badly",
            "not_done": "○ not done", "to_come": "· to come"}
RUN_STATES = {"planned": "○ not driven", "next": "○ not driven", "running": "◐ on track", "done": "● done",
              "cut": "▲ broken off", "skipped": "○ skipped", "dropped": "○ dropped"}
IN_PART = "◐ done in part"
CLEAN = {"clean": "clean", "traffic": "traffic", "yellow": "yellow", "mistake": "mistake", "told": "as told",
         "cool_down": "slowed down", "aborted": "given up", "not_complete": "not whole", "unknown": NOTHING}
STATUSES = {"waiting": "waiting", "green": "green", "yellow": "yellow", "slow": "slow period", "red": "red flag",
            "finished": "flag out", "closed": "closed"}
LOCAL_YELLOW = "yellow, locally"
"""Elsewhere the track is green: the session's status stays green."""
WAYS = {"full": "in full", "parts": "in parts", "short": "in short", "outside": "outside a window",
        "outside_short": "in short, outside"}
SWITCH_EVIDENCE = {"measured": "measured", "confirmed": "confirmed", "told": "told",
                   "unconfirmed": "called, unconfirmed", "assumed": "assumed"}
VALUE_EVIDENCE = {"positions": "positions", "crossings": "crossings", "reckoned": "reckoned from crossings",
                  "plan": "as planned, not measured"}


def session_clock(seconds: float, places: int = 0) -> str:
    """``0:12:03`` or ``0:12:03.4``: hours, minutes and seconds of session time; before green with a minus."""
    scale = 10**places
    units = round(abs(seconds) * scale)
    whole, part = divmod(units, scale)
    minutes, rest = divmod(whole, 60)
    sign = "−" if seconds < 0 and units else ""
    return f"{sign}{minutes // 60}:{minutes % 60:02d}:{rest:02d}" + (f".{part:0{places}d}" if places else "")


def maybe_clock(seconds: float | None) -> str:
    """The same, or a dash."""
    return NOTHING if seconds is None else session_clock(seconds)


def span_clock(start_s: float, end_s: float | None) -> str:
    """``0:12:03–0:14:20``; without an end it is open."""
    return f"{session_clock(start_s)}–{'' if end_s is None else session_clock(end_s)}"


def duration(seconds: float) -> str:
    """``45 s``, ``3 min 20 s``, ``1 h 05 min``."""
    whole = round(seconds)
    if whole < 60:
        return f"{whole} s"
    if whole < 3600:
        minutes, rest = divmod(whole, 60)
        return f"{minutes} min" + (f" {rest} s" if rest else "")
    hours, rest = divmod(round(seconds / 60), 60)
    return f"{hours} h {rest:02d} min"


def time_of_day(moment: datetime | None, places: int = 0, green: datetime | None = None) -> str:
    """``14:02:31``, rounded to so many places of a second.

    Where the green light was on another day, ``+1 d`` stands behind it; where the clocks changed since, the offset.
    """
    if moment is None:
        return NOTHING
    scale = 10**places
    units = round(moment.microsecond * scale / 1_000_000)
    if units == scale:
        moment, units = (moment.astimezone(UTC) + timedelta(seconds=1)).astimezone(moment.tzinfo), 0
    words = f"{moment:%H:%M:%S}" + (f".{units:0{places}d}" if places else "")
    days = 0 if green is None else (moment.date() - green.date()).days
    changed = green is not None and moment.utcoffset() != green.utcoffset()
    return words + (f" {days:+d} d".replace("-", "−") if days else "") + (f" {zone_words(moment)}" if changed else "")


def zone_words(moment: datetime | None) -> str:
    """``UTC+01:00``."""
    offset = moment.utcoffset() if moment is not None else None
    if offset is None:
        return ""
    minutes = round(offset.total_seconds() / 60)
    return f"UTC{'−' if minutes < 0 else '+'}{abs(minutes) // 60:02d}:{abs(minutes) % 60:02d}" if minutes else "UTC"


def lap_time(seconds: float | None) -> str:
    """``1:23.456``, or a dash."""
    return NOTHING if seconds is None else lap_clock(seconds)


def number(value: float | None, places: int = 1, unit: str = "") -> str:
    """With so many places and a unit, or a dash."""
    return NOTHING if value is None else f"{value:.{places}f}{f' {unit}' if unit else ''}".replace("-", "−")


def within(value: Uncertain, places: int, factor: float = 1.0) -> str:
    """``312 (−3 +4)``: the value, and how much less or more it may truly be."""
    inner = f"{value.value * factor:.{places}f}".replace("-", "−")
    return f"{inner} {_off(value, places, factor)}"


def clock_within(value: Uncertain) -> str:
    """``0:12:03.41 (−0.20 +0.30)``: session time and how much earlier or later it may have been."""
    return f"{session_clock(value.value, 2)} {_off(value, 2)}"


def _off(value: Uncertain, places: int, factor: float = 1.0) -> str:
    # A bound that lies on the other side of the value, by rounding or as measured, has nothing to add on its own side.
    below, above = max(value.value - value.low, 0.0) * factor, max(value.high - value.value, 0.0) * factor
    return f"(−{below:.{places}f} +{above:.{places}f})"


def scalar(value: Scalar | None) -> str:
    """A position or an argument as the team writes it."""
    if value is None:
        return NOTHING
    if isinstance(value, bool):
        return "on" if value else "off"
    return f"{value:g}".replace("-", "−") if isinstance(value, float) else str(value)


def argument(name: str, value: Scalar) -> str:
    """``speed 55 m/s`` for an argument ``speed_mps`` of 55; names of switches without their underscores."""
    for ending, unit in UNITS.items():
        if name.endswith(ending) and not isinstance(value, str):
            return f"{plain(name.removesuffix(ending))} {scalar(value)} {unit}"
    return f"{plain(name)} {plain(str(value)) if name == 'switch' else scalar(value)}"


def switches_at(switches: Sequence[SwitchAt]) -> list[str]:
    """A line for each kind of evidence, the surest first: ``measured: brake bias 56, flap open (then moved)``."""
    found = []
    for evidence, word in SWITCH_EVIDENCE.items():
        told = [f"{one.word} {scalar(one.position)}{' (then moved)' if one.moved else ''}"
                for one in switches if one.evidence == evidence]
        found += [f"{word}: {', '.join(told)}"] if told else []
    return found


def window_evidence(window: DataWindow) -> list[str]:
    """The evidence of a window, then which of its values rest on another: ``place, speed: as planned, not measured``.
    That a whole lap begins and ends where the circuit file says goes without a word."""
    whole = window.evidence_text
    if window.evidence not in whole:
        whole = f"{window.evidence}: {whole}".rstrip(": ")
    both = window.from_evidence == window.to_evidence
    times = {"times": window.from_evidence} if both else {"from": window.from_evidence, "to": window.to_evidence}
    values = times | {"place": window.place_evidence, "speed": window.speed_evidence}
    values |= {} if window.lap_evidence == "crossings" else {"lap": window.lap_evidence}
    lines = [f"{', '.join(names)}: {word}" for evidence, word in VALUE_EVIDENCE.items() if evidence != window.evidence
             if (names := [name for name, one in values.items() if one == evidence])]
    return [whole, *lines]


def tyres_of(lap: LapRow) -> str:
    """``B1 medium, 4``: the set, its compound, its laps as the lap began."""
    named = " ".join(one for one in (lap.tyres, lap.compound if lap.compound != lap.tyres else None) if one)
    age = "" if lap.tyre_laps is None else f", {lap.tyre_laps}"
    return f"{named or '?'}{age}" if named or age else NOTHING


def clean_words(lap: LapRow) -> str:
    """``traffic at s2, 0.8 s``."""
    words = STATUSES[lap.spoilt_by] if lap.clean == "yellow" else CLEAN[lap.clean]
    words += f": {plain(lap.clean_for)}" if lap.clean_for else ""
    if lap.clean_at:
        words += f" before {lap.clean_at}"
    return words + (f", {lap.lost_s:.1f} s" if lap.lost_s is not None and lap.clean not in ("clean", "unknown") else "")


def lap_words(lap: LapRow) -> list[str]:
    """What spoilt a lap, one thing after the other; ``clean`` where nothing did."""
    wrong = switch_words(lap)
    return wrong if wrong and lap.clean == "clean" else [*wrong, clean_words(lap)]


def best_lap(best_s: float | None, laps: Sequence[LapRow]) -> str:
    """``1:23.456``, with what was wrong with the switches of that lap: ``1:23.456 (switch wrong)``."""
    return lap_time(best_s) + best_lap_doubts(best_s, laps)


def run_state(run: RunRow) -> str:
    """The run's state with the count of its timed laps, where it was driven at all."""
    laps = f", {timed_laps(run.timed_done, run.timed_wanted)}" if run.timed_wanted and run.stints else ""
    return f"{_state(run)}{laps}"


def _state(run: RunRow) -> str:
    return IN_PART if run.in_part else RUN_STATES[run.state if run.counts else "cut"]


def came_to(run: RunRow) -> str:
    """``done``, ``done in part``, ``broken off`` and so on, without a sign before it."""
    return _state(run).partition(" ")[2]


def why(run: RunRow) -> str:
    """Why a run is as it is: its reason, and that something that it had to bring is lacking."""
    laps = f"{plural(run.laps_left, 'timed lap')} left" if run.laps_left else ""
    items = f"{plural(run.musts_left, 'must item')} not done as wanted" if run.in_part and run.musts_left else ""
    return "; ".join(one for one in (run.reason, laps, items) if one)


def window_place(one: DataWindow) -> str:
    """From and to on the lap, in metres, each with its interval."""
    if one.from_m is None or one.to_m is None:
        return one.place or NOTHING
    return f"{within(one.from_m, 0)}\n{within(one.to_m, 0)}"


def plain(name: str) -> str:
    """``constant speed hold`` for ``constant_speed_hold``."""
    return name.replace("_", " ")


def plural(count: int, one: str, many: str = "") -> str:
    """``1 lap``, ``2 laps``."""
    return f"{count} {one if count == 1 else many or one + 's'}"
