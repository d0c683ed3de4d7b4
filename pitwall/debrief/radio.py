"""How the radio went: each call to its end, how many were in their window, and how much was spoken to the driver.

A call is *in its window* when it was said, or shown to be done, without ever having been late or unconfirmed;
*settled* when it was, and what happened showed that it was done all the same.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence

from pitwall.debrief.model import CallRow, MinuteLoad, RadioStatistics
from pitwall.debrief.notes import DOUBTFUL, CallNotes, CarNotes
from pitwall.model.debrief_rows import LapRow

TOLD = ("said", "done")
RESTING = ("said", "done", "unconfirmed", "late", "missed", "skipped", "withdrawn")
MINUTE_S = 60.0
GARAGE = "garage"


def call_rows(notes: CarNotes) -> tuple[CallRow, ...]:
    """Every call in the order in which it was shown first."""
    return tuple(_row(call) for call in sorted(notes.calls.values(), key=lambda one: (one.first_t, one.last.call)))


def _row(call: CallNotes) -> CallRow:
    last, worded = call.last, call.worded
    return CallRow(
        call=last.call, kind=last.kind, text=worded.text, run=last.run, lap=last.lap, say_from_s=last.say_from_s,
        say_by_s=last.say_by_s, spoken_s=worded.spoken_s,
        first_due_s=None if call.due_s is None else round(call.due_s, 3),
        said_s=None if call.said_s is None else round(call.said_s, 3),
        state=last.state, reason=last.reason or "", way=worded.way,
    )


def radio_statistics(notes: CarNotes, laps: Sequence[LapRow]) -> RadioStatistics:
    """Counts of a car's calls, and the load on its driver over the minutes on track."""
    ends = Counter(call.last.state for call in notes.calls.values())
    told = [call for call in notes.calls.values() if call.last.state in TOLD]
    settled = sum(call.doubted for call in told)
    spoken = notes.voices() if notes.channel else _reckoned(notes.calls.values())
    load = _load(spoken, laps)
    mean_s = sum(seconds for _, seconds, _ in load) / len(load) if load else 0.0
    reasons = Counter(call.last.reason or "no reason given" for call in notes.calls.values()
                      if call.last.state in DOUBTFUL)
    return RadioStatistics(
        calls=len(notes.calls), in_window=len(told) - settled, settled=settled,
        unconfirmed=ends["unconfirmed"], late=ends["late"], missed=ends["missed"], skipped=ends["skipped"],
        withdrawn=ends["withdrawn"], open=sum(count for state, count in ends.items() if state not in RESTING),
        by_kind=dict(sorted(Counter(call.last.kind for call in notes.calls.values()).items())),
        reasons=dict(sorted(reasons.items())),
        spoken_s=round(sum(end - begin for begin, end in spoken), 1),
        load=tuple(MinuteLoad(from_s=begin, spoken_s=round(seconds, 2), calls=many) for begin, seconds, many in load),
        mean_load_s=round(mean_s, 2), most_load_s=round(max((seconds for _, seconds, _ in load), default=0.0), 2),
        spoken_from="channel" if notes.channel else "calls",
    )


def _reckoned(calls: Iterable[CallNotes]) -> list[tuple[float, float]]:
    """When calls were spoken, as far as keys tell: up to the key, for as long as their words take."""
    return sorted((call.told_s - call.worded.spoken_s, call.told_s) for call in calls
                  if call.told_s is not None and call.last.state in TOLD)


def _load(spoken: Sequence[tuple[float, float]], laps: Sequence[LapRow]) -> list[tuple[float, float, int]]:
    """Minutes of the session (from zero) with the car on track: begin, seconds spoken, in how many calls."""
    minutes = sorted({minute for lap in laps
                      for minute in range(int(lap.start_s // MINUTE_S), int(lap.end_s // MINUTE_S) + 1)})
    found = []
    for minute in minutes:
        begin, end = minute * MINUTE_S, (minute + 1) * MINUTE_S
        within = [min(until, end) - max(since, begin) for since, until in spoken if since < end and until > begin]
        found.append((begin, sum(within), len(within)))
    return found
