"""What became of each item, as the engine left it."""

from __future__ import annotations

from pitwall.engine.run_state import ItemState
from pitwall.engine.switches import item_arguments
from pitwall.engine.team import TeamCar
from pitwall.model.debrief_rows import ItemRow, Outcome

OUTCOMES: dict[str, Outcome] = {"done": "done", "probably_done": "probably_done", "not_done": "not_done",
                                "dropped": "not_done"}


def item_rows(car: TeamCar, *, over: bool) -> tuple[ItemRow, ...]:
    """Every item of every run, in plan order; ``over``: the session was closed, so nothing is to come."""
    found = []
    for run in car.progress.runs:
        for item in run.items:
            procedure = car.setup.procedures.get(item.item.do)
            found.append(ItemRow(
                item=item.key, do=item.item.do, run=run.run.run,
                lap=run.lap_label(item.leg) if run.laps else "block", want=item.item.want,
                place=item.item.after or item.item.at,
                arguments=item_arguments(procedure, item) if procedure is not None else dict(item.item.arguments),
                outcome=_outcome(item, over), reason=_reason(item, over),
                t=None if item.t is None else round(item.t, 3),
            ))
    return tuple(found)


def _outcome(item: ItemState, over: bool) -> Outcome:
    known = OUTCOMES.get(item.state)
    if known is not None:
        return known
    if item.state == "called":
        return "probably_done" if over else "to_come"
    return "not_done" if over else "to_come"


def _reason(item: ItemState, over: bool) -> str:
    if item.state == "dropped":
        return f"dropped: {item.reason}" if item.reason else "dropped"
    if item.reason or item.waits:
        return item.reason or item.waits or ""
    return "the session ended" if over and item.state == "planned" else ""
