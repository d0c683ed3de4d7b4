"""What came of the run that a car has just driven, in a few lines: for the terminal, while the car is in the pits."""

from __future__ import annotations

from collections.abc import Iterator
from textwrap import wrap

from pitwall.model.debrief_rows import DataWindow, ItemRow, RunDebrief, RunRow, Uncertain
from pitwall.model.laps_in_doubt import best_lap_doubts, counted_in_doubt, laps_in_doubt, switch_words
from pitwall.model.units import clock_text, items_done, timed_laps

MOST_LINES = 6
LOST = ("not_done", "done_badly")


def run_words(told: RunDebrief) -> tuple[str, ...]:
    """The run, then timed laps that began with a switch out of place, what of it was not done or done badly and why,
    what the driver is still to be asked, then where its data are; nothing for laps of no run of the plan."""
    if told.run is None:
        return ()
    asks = [f"  to ask the driver: {', '.join(told.run.unsaid)}"] if told.run.unsaid else []
    doubts = [f"  {mark}: {words}" for mark, words in laps_in_doubt(told.laps)]
    data = [_data(one, told) for one in told.data_windows]
    return (_head(told, told.run), *doubts, *map(_lost, _of_note(told)), *asks, *data)


def run_lines(told: RunDebrief, width: int) -> list[str]:
    """The same for a picture of so many columns: as much as has room, and how much more there is."""
    words = run_words(told)
    lines = [line for text in words for line in wrap(text, width, subsequent_indent="    ")]
    if len(lines) > MOST_LINES:
        more = len(lines) - MOST_LINES + 1
        lines = [*lines[: MOST_LINES - 1], f"  and {more} more lines: pitwall debrief has them all"]
    return lines


def _head(told: RunDebrief, run: RunRow) -> str:
    came_to = "done in part" if run.in_part else run.state if run.counts else "broken off"
    doubt = best_lap_doubts(run.best_lap_s, told.laps)
    best = f", best {run.best_lap_s:.3f} s{doubt}" if run.best_lap_s is not None else ""
    items = f", {items_done(run.items_done, run.items_probably, run.items, ' items')}" if run.items else ""
    why = f" ({run.reason})" if run.reason else ""
    calls = f"; {told.calls_in_time} of {told.calls} calls in time" if told.calls else ""
    timed = timed_laps(run.timed_done, run.timed_wanted) + counted_in_doubt(told.laps)
    return f"run {run.run} {came_to}: {timed}{best}{items}{calls}{why}"


def _of_note(told: RunDebrief) -> Iterator[ItemRow]:
    return (item for item in told.items if item.outcome in LOST)


def _lost(item: ItemRow) -> str:
    return f"  {item.outcome.replace('_', ' ')}: {item.do.replace('_', ' ')} on {item.lap}: {item.reason}"


def _data(window: DataWindow, told: RunDebrief) -> str:
    where = ""
    if window.from_m is not None and window.to_m is not None:
        where = f", {window.from_m.value:.0f} to {window.to_m.value:.0f} m"
    doubt = ", probably done" if window.outcome == "probably_done" else ", done badly" if window.spoilt else ""
    lap = next((one for one in told.laps if one.number == window.lap_number), None)
    doubt += "".join(f", {word}" for word in switch_words(lap))
    return (f"  data: {window.do.replace('_', ' ')}, {window.lap}, {_clock(window.from_s)} to {_clock(window.to_s)}"
            f"{where} ({window.evidence}{doubt})")


def _clock(moment: Uncertain) -> str:
    """To the second, where it is not known better than that; else to the tenth."""
    sure = moment.high - moment.low < 1.0 and moment.value >= 0
    return clock_text(moment.value) + (f".{int(moment.value * 10) % 10}" if sure else "")
