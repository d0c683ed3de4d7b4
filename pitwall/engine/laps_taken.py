"""Items whose lap the desk took out of a run: dropped with that reason, and back where the lap comes back."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from pitwall.engine.run_state import ItemState, RunState
from pitwall.model.plan import LapKind

TAKEN_OUT = "its lap was taken out of the run"


def fall_away(state: RunState, before: Sequence[LapKind], fresh: Sequence[ItemState], t: float) -> list[ItemState]:
    """The planned items that have no lap in the changed run, dropped; each says on which lap it stood.

    What is wanted on every lap of a kind loses nothing as long as one such lap is left.

    Args:
        state: the run, with its changed laps and with its items as they were.
        before: its laps before the change.
        fresh: its items as the changed laps lay them out.
        t: session second.
    """
    keys, found = {one.key for one in fresh}, []
    was = RunState(state.run, tuple(before))
    for number in dict.fromkeys(one.number for one in state.items):
        ours = [one for one in state.items if one.number == number and one.taken_out is None]
        left = Counter(_kind(one, state.laps) for one in fresh if one.number == number)
        for kind, many in Counter(_kind(one, before) for one in ours).items():
            lost = max(many - left[kind], 0) if left[kind] == 0 or _counted(ours[0], kind) else 0
            planned = [one for one in ours if one.state == "planned" and _kind(one, before) == kind]
            for one in [one for one in planned if one.key not in keys][-lost:] if lost else ():
                one.taken_out = was.lap_label(one.leg)
                one.signal("drop", t, TAKEN_OUT)
                found.append(one)
    return found


def _kind(item: ItemState, laps: Sequence[LapKind]) -> LapKind | None:
    """The kind of its lap; None for what is done once, on whichever of its laps suits."""
    return laps[min(item.leg, len(laps) - 1)] if item.item.when is None else None


def _counted(item: ItemState, kind: LapKind | None) -> bool:
    return any(choice.kind == kind and choice.numbers for choice in item.item.on)
