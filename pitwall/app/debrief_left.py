"""Of the items that are left: how much they are still wanted, and which it is too late for.

The first page of a debrief and the next plan both go by this, so that they ask for the same.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from pitwall.app.next_rest import LEFT
from pitwall.app.next_runs import ready_for_nothing
from pitwall.engine.run_state import RunState
from pitwall.engine.team import TeamCar
from pitwall.model.debrief_rows import ItemRow
from pitwall.model.procedure import Procedure


def with_what_is_left(car: TeamCar, rows: Sequence[ItemRow]) -> tuple[ItemRow, ...]:
    """The same items: those that a must run was for and of which none was done are musts, and what makes the car ready
    for laps that were driven without it is too late."""
    late = ready_for_nothing(car, rows)
    for_nothing = {key for state in car.progress.runs if state.run.want == "must"
                   for key in was_for(state, rows, car.setup.procedures)}
    return tuple(row if row.item not in late | for_nothing else row.model_copy(update={
        "too_late": row.item in late, "next_want": "must" if row.item in for_nothing else None}) for row in rows)


def was_for(state: RunState, rows: Sequence[ItemRow], procedures: Mapping[str, Procedure]) -> frozenset[str]:
    """Keys of the items that a run was for, where none of them was done as wanted; none where one was, or somebody
    took all of them out.

    A run with comparisons is for those; one without timed laps for what yields data, any other for its laps as well.
    Could items, and what only makes the car ready for a lap, are beside it.
    """
    known = [(row, procedures[row.do]) for row in rows
             if row.run == state.run.run and row.want != "could" and row.do in procedures]
    wanted = [row for row, procedure in known if procedure.compares]
    if not wanted and not state.timed_wanted:
        wanted = [row for row, procedure in known if procedure.data_window != "none" and not procedure.readies]
    lost = all(row.outcome in LEFT for row in wanted) and not all(row.reason.startswith("dropped") for row in wanted)
    return frozenset(row.item for row in wanted) if lost else frozenset()
