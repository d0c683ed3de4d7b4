"""The forecast in lines: what still fits, what it advises, and the ladder under a red flag."""

from __future__ import annotations

from pitwall.model.outputs import AdviceState, CarOutlook, LadderState
from pitwall.model.units import clock_text

LIKELY = 0.5
"""From this chance on a limit of fuel, tyres or laps is shown."""


def outlook_line(outlook: CarOutlook) -> str:
    """The chance of each run that is left, limits that are run into, and what comparisons can resolve; empty when
    nothing is left."""
    if outlook.problem is not None:
        return f"fits: {outlook.problem}"
    chances = ", ".join(f"{run.run} {run.chance:.0%}" for run in outlook.runs)
    likely = [limit.text for limit in outlook.limits if limit.chance >= LIKELY]
    more = [*likely, *(one.text for one in outlook.comparisons)]
    return "; ".join([f"fits: {chances}", *more]) if chances else ""


def advice_line(state: AdviceState) -> str:
    """One line that says what the forecast advises first, or why it advises nothing."""
    if not state.proposals:
        return f"advice ({state.asked}): {state.problem or 'nothing'}"
    best, more = state.proposals[0], len(state.proposals) - 1
    others = f", and {more} more" if more else ""
    cars = ", ".join(best.cars) or best.car
    return f"advice, car {cars} ({state.asked}), p shows it: {best.sentence or best.lines[0]}{others}"


def ladder_lines(ladder: LadderState) -> list[str]:
    """A line for each restart, and one for the work that is worth doing meanwhile."""
    lines = [
        f"restart after {clock_text(rung.restart_s)}, at {clock_text(rung.at_s)}: {rung.sentence}"
        f" (musts fit in {rung.musts_chance:.0%})"
        for rung in ladder.rungs
    ]
    return [*lines, *([f"meanwhile: {'; '.join(ladder.work)}"] if ladder.work else [])]
