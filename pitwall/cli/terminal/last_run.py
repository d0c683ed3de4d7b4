"""What came of a car's last run, in words: one line for a person at the terminal, and what it leaves to do."""

from __future__ import annotations

from pitwall.model.outputs import RunDebrief
from pitwall.model.units import clock_text, items_done, timed_laps

LACKING = ("not_done", "done_badly")


def run_words(told: RunDebrief) -> str:
    """The run, how it ended, its laps and items: ``run holds done in part, 3 of 3 timed, 4 of 5 items``."""
    run = told.run
    if run is None:
        return f"came in from no run of the plan, {len(told.laps)} laps"
    state = "done in part" if run.in_part else run.state if run.counts else "cut"
    items = f", {items_done(run.items_done, run.items_probably, run.items, ' items')}" if run.items else ""
    reason = f" ({run.reason})" if run.reason else ""
    return f"run {run.run} {state}, {timed_laps(run.timed_done, run.timed_wanted)}{items}{reason}"


def run_lines(told: RunDebrief) -> tuple[str, ...]:
    """What was not done and why, where the data are, and what is still to be asked; nothing of what there is not."""
    found = [f"{one.outcome.replace('_', ' ')}: {one.do.replace('_', ' ')}, {one.lap}"
             + (f" ({one.reason})" if one.reason else "") for one in told.items if one.outcome in LACKING]
    data = [f"{one.do.replace('_', ' ')} {clock_text(one.from_s.value)} (lap {one.lap_number})"
            for one in told.data_windows]
    found += [f"data: {'; '.join(data)}"] if data else []
    unsaid = told.run.unsaid if told.run is not None else ()
    return (*found, *([f"to ask the driver: {', '.join(unsaid)}"] if unsaid else []))
