"""The forecast in lines: what still fits, what it advises, and the ladder under a red flag."""

from __future__ import annotations

from collections.abc import Sequence

from pitwall.model.outputs import AdviceState, CarOutlook, LadderState, Rung
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


def musts_words(lost: bool) -> str:
    """Whose chance is told; ``lost``: a must of any car is over, and the chance is that of the others."""
    return f"the {'other ' if lost else ''}musts of all cars fit in"


def ladder_lines(ladder: LadderState, now: float, lost: bool = False) -> list[str]:
    """A line for each restart that may still come, and one for each work that is worth doing before it.

    A restart is named by the session clock: how long the flag has been out then would read as a time from now.
    The same change and the same work are told once, with the first restart that they are for.
    ``lost``: a must is over (``musts_words``).
    """
    ahead, lines = [rung for rung in ladder.rungs if rung.at_s >= now or rung.too_late], list[str]()
    told: dict[tuple[str, ...], Rung] = {}
    for rung in ahead:
        same = told.setdefault(rung.lines, rung)
        what = rung.sentence if same is rung else f"the same as at {clock_text(same.at_s)}"
        later = " or later" if rung.too_late else ""
        lines.append(f"restart at {clock_text(rung.at_s)}{later}: {what}"
                     f" ({musts_words(lost)} {rung.musts_chance:.0%})")
    return [*lines, *(f"meanwhile, for a restart at {clock_text(rung.at_s)}: {rung.work}"
                      for rung in work_ahead(ahead))]


def work_ahead(ahead: Sequence[Rung]) -> list[Rung]:
    """The first of these rungs for each work: what it brings differs from rung to rung, the work does not."""
    found: dict[str, Rung] = {}
    for rung in ahead:
        if rung.work is not None:
            found.setdefault(rung.work.partition(":")[0], rung)
    return list(found.values())
