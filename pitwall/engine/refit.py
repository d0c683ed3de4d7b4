"""One run of the session brought in line with a changed plan: what was driven stays, what is ahead follows.

A run that nobody has begun is laid out as the new plan says. One that is going on, or was broken off and waits to be
resumed, keeps the laps it has driven and takes changes to the laps ahead only; tyres, fuel, driver and switches are set
in the garage and stay while the car is out. A run that is over stays as it is. What cannot be taken is returned in
words. No item is lost: one that falls out is dropped with the reason, one whose lap is past is not done.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from pitwall.engine.differences import matched_items
from pitwall.engine.laps_taken import TAKEN_OUT
from pitwall.engine.run_state import ItemState, RunState, item_states
from pitwall.model.plan import Item, LapKind, Run, write_laps

NOT_RESUMED = "not resumed: "
SET_IN_THE_GARAGE = {"tyres": "tyres", "fuel_kg": "fuel", "driver": "driver", "switches": "switches"}


def as_it_stands(state: RunState) -> Run:
    """The run as it is meant now: with the laps that the desk gave it, and without the items that it dropped."""
    items = tuple(item for item, _ in _live(state))
    timed = state.laps.count("timed")
    fewest = min(state.run.shorten_to, timed) if state.run.shorten_to is not None and timed else None
    if (items, state.laps, fewest) == (state.run.items, state.run.laps, state.run.shorten_to):
        return state.run
    return state.run.model_copy(update={"laps": state.laps, "items": items, "shorten_to": fewest})


def _live(state: RunState) -> list[tuple[Item, int]]:
    """The items of the run with their numbers, but those that the desk dropped on all their laps."""
    found = []
    for item, number in zip(state.run.items, state.numbers, strict=True):
        ours = [one for one in state.items if one.number == number]
        if not ours or any(one.state != "dropped" for one in ours):
            found.append((item, number))
    return found


def driven(state: RunState) -> int:
    """How many laps of the run, counted from its first, can no longer be changed."""
    if state.start_t is None:
        return 0
    if state.state != "running":
        return state.resume_at
    if state.out_in or state.boxed_early or state.boxed_from is not None:
        return len(state.laps)
    last = len(state.laps) - 1
    begun = last if state.pointer == last else state.pointer + 1
    return max(begun, state.resume_at if state.pointer == 0 else 0)


def is_ahead(state: RunState, leg: int) -> bool:
    """Guard: the car has not begun this planned lap of the run, and will come to it."""
    if state.start_t is None:
        return True
    if state.state == "running":
        return leg > state.pointer and (state.pointer > 0 or leg >= state.resume_at) and state.boxed_from is None
    return leg == 0 or leg >= state.resume_at


def laps_fault(state: RunState | None, laps: Sequence[LapKind]) -> str | None:
    """Why the run cannot be given these laps, or None."""
    if state is None or tuple(laps) == state.laps:
        return None
    if state.state in ("done", "skipped", "dropped"):
        return f"run {state.run.run} is {state.state} already"
    fixed = driven(state)
    if fixed >= len(state.laps):
        why = "is an out-and-in lap" if state.out_in else "was called in"
        return f"run {state.run.run} is on track and {why}: its laps stay"
    if tuple(laps[:fixed]) != state.laps[:fixed] or len(laps) <= fixed:
        begun = write_laps(state.laps[:fixed])
        return f"run {state.run.run} is on lap {fixed}: '{begun}' is driven or begun and must stay"
    if state.state != "running" and state.start_t is not None and len(laps) == fixed + 1:
        return f"run {state.run.run} would have nothing left to be resumed for: drop it instead"
    return None


def refit(state: RunState, new: Run, t: float, why: str) -> list[str]:
    """Bring a run in line with a changed plan.

    Args:
        state: the run; changed in place.
        new: as the changed plan has it, under the same name.
        t: session second.
        why: the reason that items which fall out are given.

    Returns:
        What could not be taken, a sentence each.
    """
    if state.state == "running" and state.not_resumed is not None:
        _wanted_again(state)
    stands = as_it_stands(state)
    if new == stands:
        return []
    if state.state in ("done", "skipped", "dropped"):
        return [f"run {new.run} is {state.state}: it stays as it was"]
    left: list[str] = []
    kept: dict[str, Any] = {}
    if state.state == "running":
        for name, word in SET_IN_THE_GARAGE.items():
            if getattr(new, name) != getattr(stands, name):
                kept[name] = getattr(stands, name)
                left.append(f"run {new.run} is on track: its {word} stay{'s' if word in ('fuel', 'driver') else ''}")
    fault = laps_fault(state, new.laps)
    if fault is not None:
        kept["laps"], kept["shorten_to"] = stands.laps, stands.shorten_to
        left.append(fault)
    _take(state, new.model_copy(update=kept) if kept else new, t, why)
    return left


def _wanted_again(state: RunState) -> None:
    """A plan without this run was in use meanwhile: what fell out with it and still lies ahead is wanted as before."""
    fell_out = (state.not_resumed or "").removeprefix(NOT_RESUMED)
    state.not_resumed = None
    state.items = [
        replace(one, state="planned", reason=None, t=None)
        if one.state == "dropped" and one.reason == fell_out and is_ahead(state, one.leg) else one
        for one in state.items
    ]


def _take(state: RunState, new: Run, t: float, why: str) -> None:
    live = _live(state)
    numbers = []
    for item, index in zip(new.items, matched_items([one for one, _ in live], new.items), strict=True):
        if index is None:
            state.highest += 1
        numbers.append(state.highest if index is None else live[index][1])
        del item
    was_in = state.state == "running" and state.pointer == len(state.laps) - 1
    longer = len(new.laps) > len(state.laps)
    state.run, state.laps, state.numbers = new, new.laps, tuple(numbers)
    if state.laps and not (was_in and longer):
        state.pointer = min(state.pointer, len(state.laps) - 1)
    _lay_items_out(state, t, why)


def _lay_items_out(state: RunState, t: float, why: str) -> None:
    """Items on the changed laps: what is known keeps its state, what is new begins, what is gone has its reason."""
    out, before, found = list[ItemState](), list[ItemState](), list[ItemState]()
    for one in state.items:
        (before if one.taken_out is None else out).append(one)
    fresh = item_states(state.run, state.laps, state.numbers)
    keys = {one.key for one in fresh}
    known = {one.key: one for one in before}
    spare: dict[int, list[ItemState]] = {}
    for one in before:
        if one.key not in keys and one.number in state.numbers and one.state in ("planned", "dropped"):
            spare.setdefault(one.number, []).append(one)
    for one in fresh:
        old = known.pop(one.key, None)
        if old is not None:
            found.append(_kept(old, one, state, t))
            continue
        follows = spare.get(one.number)
        if follows:
            # The same item on a lap with another number: what was dropped from it stays dropped.
            moved = follows.pop(0)
            known.pop(moved.key)
            one = replace(one, state=moved.state, reason=moved.reason, t=moved.t)
        if not is_ahead(state, one.leg):
            one.signal("fail", t, "its lap was past when the plan changed")
        found.append(one)
    for old in known.values():
        old.signal("drop", t, why)
        old.leg = max(0, min(old.leg, len(state.laps) - 1))
        found.append(old)
    # What fell away with its lap stays told, unless the lap is there again.
    back = [(one.item, state.lap_label(one.leg)) for one in found if state.laps]
    state.items = found + [one for one in out if (one.item, one.taken_out) not in back]
    for one in out:
        one.leg = max(0, min(one.leg, len(state.laps) - 1))


def _kept(old: ItemState, fresh: ItemState, state: RunState, t: float) -> ItemState:
    """An item on a lap that it had before. What was to be said of it may be said otherwise now."""
    if old.state == "planned":
        old.item, old.may_be_on, old.waits = fresh.item, fresh.may_be_on, None
    if old.leg >= len(state.laps) and state.laps:
        old.signal("fail", t, TAKEN_OUT)
        old.leg = len(state.laps) - 1
    return old


def end_without_resuming(state: RunState, t: float, why: str) -> str | None:
    """A run that the changed plan has no more: dropped, or, once begun, not resumed. Returns what there is to know."""
    if state.state in ("done", "skipped", "dropped"):
        return None
    if state.state == "running":
        state.not_resumed = f"{NOT_RESUMED}{why}"
        for item in state.items:
            if is_ahead(state, item.leg):
                item.signal("drop", t, why)
        return f"run {state.run.run} is on track: it ends when the car comes in"
    if state.start_t is None:
        state.move("drop", t, why)
        for item in state.items:
            item.signal("drop", t, why)
        return None
    state.move("choose", t)
    state.move("give_up", t, f"{NOT_RESUMED}{why}")
    state.settle_items(t, f"its run was not resumed: {why}")
    return None
