"""Items that wait: for a moment of the session, or for another item. On which of its laps is such an item done?

An item with ``when`` is done once, on the first of its laps on which the driver acts late enough. Which lap that is
follows the car: as long as the item is only planned it is looked at anew with every look at the laps ahead, so it moves
on when the car is early or the other item was held back, and comes back when the car is late. While no lap suits, it
stands on its last one and says what it waits for; if the run ends so, that is why it was not done.
"""

from __future__ import annotations

from pitwall.engine.rules.procedure import STANDING, acts_at, on_the_lap
from pitwall.engine.run_state import ItemState, RunState
from pitwall.engine.situation import Situation
from pitwall.model.plan import ItemWhen
from pitwall.model.procedure import Procedure
from pitwall.model.units import clock_text

SLACK_S = 6.0  # an item that stands on its lap already does not leave it for an arrival that wavers
GONE = ("dropped", "not_done")


def follow(at: Situation) -> None:
    """Put each waiting item of the run at hand on its lap, and note what it waits for."""
    run = at.run
    for item in run.items if run is not None else ():
        procedure = at.procedures.get(item.item.do)
        if run is None or item.item.when is None or item.state != "planned" or procedure is None:
            continue
        first = at.legs[0].index if at.legs else 0
        laps = [lap for lap in item.may_be_on if lap >= first and _allowed(run, procedure, lap)]
        if not laps:
            item.waits = item.waits or _reason(run, item, item.item.when)
            continue
        suits = next((lap for lap in laps if _suits(at, run, item, procedure, lap)), None)
        item.waits = None if suits is not None else _reason(run, item, item.item.when)
        item.leg = laps[-1] if suits is None else suits


def _allowed(run: RunState, procedure: Procedure, lap: int) -> bool:
    """Guard: the item names its laps itself, or the procedure allows this kind of lap."""
    return not procedure.laps or run.laps[lap] in procedure.laps


def _suits(at: Situation, run: RunState, item: ItemState, procedure: Procedure, lap: int) -> bool:
    when = item.item.when
    assert when is not None
    moment = _acts(at, item, procedure, lap)
    if moment is None:
        return False
    if item.leg != lap and moment < at.now:
        return False
    slack = SLACK_S if item.leg == lap and item.waits is None else 0.0
    if when.not_before is not None and moment < when.not_before - slack:
        return False
    return when.after_item is None or _follows(at, run, item, when.after_item, lap, moment)


def _follows(at: Situation, run: RunState, item: ItemState, name: str, lap: int, moment: float) -> bool:
    """Guard: the other item was done, or will have been, before this one on that lap."""
    for other in run.items:
        procedure = at.procedures.get(other.item.do)
        if other is item or other.item.do != name or other.state in GONE or procedure is None or other.waits:
            continue
        if other.leg < lap or other.state in ("probably_done", "done"):
            return True
        if other.leg == lap:
            then = _acts(at, other, procedure, lap)
            told = other.state != "planned" or (then is not None and then > at.now)
            if told and then is not None and then < moment:
                return True
    return False


def _acts(at: Situation, item: ItemState, procedure: Procedure, lap: int) -> float | None:
    """When the driver acts on the first step of this item on that lap; None where the lap has no such place."""
    leg = at.leg(lap)
    step = procedure.steps[0]
    moment = acts_at if step.where in STANDING else on_the_lap
    found = None if leg is None else moment(at, step, item, leg)
    return None if found is None else found[0]


def _reason(run: RunState, item: ItemState, when: ItemWhen) -> str:
    if when.after_item is not None:
        others = [other for other in run.items if other is not item and other.item.do == when.after_item]
        if not others or all(other.state in GONE for other in others):
            return f"waits for {when.after_item}, which was not done"
        if when.not_before is None:
            return f"waits for {when.after_item}"
    return f"waits for {clock_text(when.not_before or 0.0)}"
