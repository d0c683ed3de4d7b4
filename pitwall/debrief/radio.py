"""How the radio went: each call to its end, how many were in their window, and how much was spoken to the driver.

A call is *in time* when it was said, or shown to be done, without ever having been late or unconfirmed; *settled* when
it was, and what happened showed that it was done all the same. Late is what nobody could act on any more (the engine's
``in_time``), which may be seconds after the window that the prompt named: so those in time are told apart by when they
were *begun*, in their window, beside it, or shown to be done without a word that they were said. News that nobody
confirmed, and over which the radio desk heard nobody, was *missed*: that the car came in tells only that its driver may
have seen the flags.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from typing import Literal

from pitwall.debrief.model import CallCount, CallRow, MinuteLoad, RadioStatistics
from pitwall.debrief.notes import DOUBTFUL, CallNotes, CarNotes
from pitwall.model.debrief_rows import LapRow
from pitwall.model.plan import Medium

TOLD = ("said", "done")
IN_TIME: tuple[CallCount, ...] = ("in_window", "beside_window", "shown")
MINUTE_S = 60.0
GARAGE = "garage"
GIVE_S = 1.0
"""So long before and after its window a call may be begun and counts as in it: nobody presses a key to the tick."""
KEY_WITHIN_S = 5.0
"""A key, or the radio desk's word, that comes so long after talk is about that talk."""
Span = tuple[float, float]


def call_rows(notes: CarNotes) -> tuple[CallRow, ...]:
    """Every call in the order in which it was shown first."""
    voices = notes.voices()
    calls = sorted(notes.calls.values(), key=lambda one: (one.first_t, one.last.call))
    return tuple(_row(call, voices, bool(notes.channel)) for call in calls)


def _row(call: CallNotes, voices: Sequence[Span], reported: bool) -> CallRow:
    last, worded, begun_s = call.last, call.worded, _begun_s(call, voices)
    begun, (say_from_s, say_by_s) = call.begun, call.window
    return CallRow(
        call=last.call, kind=last.kind, text=" ".join([*(one.text for one in begun), worded.text]), run=last.run,
        lap=last.lap, say_from_s=say_from_s, say_by_s=say_by_s,
        spoken_s=worded.spoken_s if not begun else round(sum(one.spoken_s for one in begun) + worded.spoken_s, 3),
        first_due_s=None if call.due_s is None else round(call.due_s, 3),
        begun_s=None if begun_s is None else round(begun_s, 3),
        said_s=None if call.said_s is None else round(call.said_s, 3),
        state=last.state, counted_as=_counted_as(call, begun_s, voices if reported else None), reason=last.reason or "",
        way="parts" if begun else worded.way,
    )


def _begun_s(call: CallNotes, voices: Sequence[Span]) -> float | None:
    """When it was begun: with the talk that the radio desk heard last before it was told, else by its length."""
    if call.said_s is None:
        return None
    heard = [begin for begin, end in voices if begin < call.said_s <= end + KEY_WITHIN_S]
    return heard[-1] if heard else call.said_s - call.worded.spoken_s


def _counted_as(call: CallNotes, begun_s: float | None, voices: Sequence[Span] | None) -> CallCount:
    """``voices``: None where the radio desk reports no talk."""
    state = call.last.state
    if state == "planned" or state == "shown" or state == "due":
        return "open"
    if state == "unconfirmed" and call.last.kind == "session" and voices is not None and not _heard(call, voices):
        return "missed"
    if state != "said" and state != "done":
        return state
    if call.doubted:
        return "settled"
    if begun_s is None:
        return "shown"
    within = call.last.say_from_s - GIVE_S <= begun_s <= call.last.say_by_s + GIVE_S
    return "in_window" if within else "beside_window"


def _heard(call: CallNotes, voices: Sequence[Span]) -> bool:
    """Guard: the engineer talked while the call was to be said, or in the moment of a key after that: the radio desk,
    which reports, cannot tell that it was not said. On a board nothing is spoken."""
    if call.last.medium == "board" or call.due_s is None:
        return True
    due_s, by_s = call.due_s, max(call.window[1], call.last.say_by_s) + KEY_WITHIN_S
    return any(begin < by_s and end > due_s for begin, end in voices)


def radio_statistics(notes: CarNotes, laps: Sequence[LapRow], medium: Medium = "two_way") -> RadioStatistics:
    """Counts of a car's calls, and the load on its driver over the minutes on track.

    With a pit board nothing is spoken to a driver on track: what was said to him was said in the garage.
    """
    spoken = notes.voices() if notes.channel else _reckoned(notes.calls.values())
    load = _load(spoken, laps) if medium != "board" else []
    mean_s, most_s = _mean([seconds for _, seconds, _ in load]), max((seconds for _, seconds, _ in load), default=0.0)
    made = statistics_of(
        call_rows(notes), [MinuteLoad(from_s=at, spoken_s=round(seconds, 2), calls=many) for at, seconds, many in load],
        medium=medium, spoken_s=round(sum(end - begin for begin, end in spoken), 1),
        spoken_from="channel" if notes.channel else "calls",
    )
    # From what was not rounded yet.
    return made.model_copy(update={"mean_load_s": round(mean_s, 2), "most_load_s": round(most_s, 2)})


def statistics_of(
    calls: Sequence[CallRow], load: Sequence[MinuteLoad], *, medium: Medium, spoken_s: float | None,
    spoken_from: Literal["channel", "calls"],
) -> RadioStatistics:
    """Counts of these calls, and the mean and the most of these minutes."""
    ends = Counter(row.counted_as for row in calls)
    reasons = Counter(row.reason or "no reason given" for row in calls if row.state in DOUBTFUL)
    seconds = [one.spoken_s for one in load]
    return RadioStatistics(
        calls=len(calls), in_time=sum(ends[one] for one in IN_TIME), in_window=ends["in_window"],
        beside_window=ends["beside_window"], shown=ends["shown"], settled=ends["settled"],
        unconfirmed=ends["unconfirmed"], late=ends["late"], missed=ends["missed"], skipped=ends["skipped"],
        withdrawn=ends["withdrawn"], open=ends["open"],
        by_kind=dict(sorted(Counter(row.kind for row in calls).items())), reasons=dict(sorted(reasons.items())),
        medium=medium, spoken_s=spoken_s, load=tuple(load), mean_load_s=round(_mean(seconds), 2),
        most_load_s=round(max(seconds, default=0.0), 2), spoken_from=spoken_from,
    )


def _mean(values: Sequence[float]) -> float:
    return sum(values) / len(values) if values else 0.0


def _reckoned(calls: Iterable[CallNotes]) -> list[tuple[float, float]]:
    """When calls were spoken, as far as keys tell: up to the key, for as long as their words take."""
    found = []
    for call in calls:
        found += [(one.told_s - one.spoken_s, one.told_s) for one in call.pieces]
        if call.told_s is not None and call.last.state in TOLD:
            found.append((call.told_s - call.worded.spoken_s, call.told_s))
    return sorted(found)


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
