"""What becomes of items: from their calls, their laps and the evidence. A repeatable item that lost its call or its
place is tried again on the next lap of the run that allows it."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping

from pitwall.engine import driven_again
from pitwall.engine.call import Call
from pitwall.engine.calls import CALLED_IN, HELD_BACK, SETTLED, UNNEEDED, YELLOW, CallBook
from pitwall.engine.item_evidence import word_suffices
from pitwall.engine.progress import ItemState, RunState
from pitwall.engine.switches import SwitchBoard
from pitwall.model.car import Position, same_position
from pitwall.model.plan import LapKind, lent
from pitwall.model.procedure import Procedure

KEEPS_ITS_LAP = ("red flag", "chequered flag", "session closed", "kept in", "quiet", CALLED_IN)
"""Reasons for which a call is taken back without its item being tried on another lap."""
COMMENTED = "a comment of its run was noted"
NO_CALL = "its lap was driven without a call for it"
UNTOLD = (HELD_BACK, NO_CALL)
"""Reasons that nobody was told of an item for its lap: it is told when such a lap is driven once more."""
NO_WORD = "no word that its call was said"
NO_COOL_LAP = "a timed lap was driven in place of its cool-down lap"


def find_item(runs: list[RunState], key: str | None) -> tuple[RunState, ItemState] | None:
    """The item of that key and its run."""
    for run in runs:
        for item in run.items:
            if item.key == key:
                return run, item
    return None


def next_leg(run: RunState, item: ItemState, procedure: Procedure, after: int) -> int | None:
    """The next planned lap beyond ``after`` on which this item may be tried, or None.

    The lap must be of a kind that the item itself names (or, if it names none, that the procedure allows), and must
    not hold the same procedure already.
    """
    named: set[LapKind] = {choice.kind for choice in item.item.on}
    allowed = (named or set(procedure.laps)) & (set(procedure.laps) or named) or named
    taken = {other.leg for other in run.items if other is not item and other.item.do == item.item.do}
    for leg in item.may_be_on or range(len(run.laps)):
        if leg <= after:
            continue
        if (not allowed or run.laps[leg] in allowed) and leg not in taken:
            return leg
    return None


ToCome = Callable[[RunState, ItemState], bool]


def nothing_to_come(_run: RunState, _item: ItemState) -> bool:
    """Guard of a car of which no switch is to be told."""
    return False


def call_moved(
    runs: list[RunState], call: Call, procedures: Mapping[str, Procedure], leg_now: int, t: float,
    to_come: ToCome = nothing_to_come, keyed: bool = False,
) -> None:
    """A call that belongs to an item changed state: the item follows. ``to_come`` tells whether the change of its
    switch is still to be told (``change_to_come``). ``keyed``: who says it presses keys."""
    found = find_item(runs, call.spec.item)
    if found is None:
        for run, item in _held_for(runs, call):
            item.held = False
            _try_again(run, item, procedures, leg_now, t, item.reason or call.reason or call.state)
        return
    run, item = found
    if driven_again.void(item, call.said_t):
        return
    if item.state == "not_done" and item.reason == NO_CALL and call.state in ("said", "late", "done"):
        item.signal("retry", t)  # its lap was driven without a call, and in the garage it was asked
    if call.spec.breaks_off is not None:
        if call.state in ("said", "late", "done"):
            item.signal("fail", t, f"broken off: {call.spec.breaks_off}")
    elif call.state in ("said", "late", "unconfirmed"):
        _called(run, item, call.state, keyed, t)
    elif call.state == "done":
        item.signal("call", t)
        _acted_on(run, item, procedures.get(item.item.do), call, t)
    elif call.state == "skipped":
        item.signal("fail", t, call.reason or "skipped")
    elif call.state in ("missed", "withdrawn") and call.reason not in KEEPS_ITS_LAP:
        if item.state == "planned" and to_come(run, item):
            item.held, item.reason = True, call.reason or call.state  # the change alone does what they ask for
        else:
            _try_again(run, item, procedures, leg_now, t, call.reason or call.state)


def _called(run: RunState, item: ItemState, state: str, keyed: bool, t: float) -> None:
    """Its call was said, or is over without a word: of who presses keys it was hardly said then, and after the flag
    nothing else shows that it was done."""
    if state == "unconfirmed" and keyed and not run.laps:
        item.reason = NO_WORD if item.state == "planned" else item.reason
    else:
        item.signal("call", t, state)


def said_all_the_same(runs: list[RunState], call: Call, t: float) -> None:
    """A key tells that a call was on the air as it was taken back, for a car behind, a yellow, or as no longer needed:
    the driver does it now, on this lap. So its item is no more to come on another, and is broken off where that must be
    (``rules/ending.py``).
    """
    found, why = find_item(runs, call.spec.item), call.reason or ""
    if found is None or call.state != "withdrawn" or not why.startswith((HELD_BACK, YELLOW, UNNEEDED)):
        return
    run, item = found
    if run.state != "running" or item.state != "planned" or call.spec.breaks_off is not None:
        return
    if call.spec.leg is not None and (call.spec.leg == run.pointer or run.out_in):
        item.leg, item.reason = call.spec.leg, None
        item.signal("call", t, "said")


def _acted_on(run: RunState, item: ItemState, procedure: Procedure | None, call: Call, t: float) -> None:
    """Its call is done: so is the item, where the word for that suffices and its lap was begun."""
    if not word_suffices(procedure):
        item.reason = call.reason if item.state == "called" else item.reason
    elif _not_left_for(run, item, procedure):
        item.ahead = call.reason or call.state
    elif not _only_told(procedure, call):
        item.signal("confirm", t, call.reason)
    elif run.state == "done":
        item.lap_over(t, item.reason)  # asked in the garage: no lap of its run is still to end


def _not_left_for(run: RunState, item: ItemState, procedure: Procedure | None) -> bool:
    """Guard: it is driven, and the car has not left the garage for its run: nobody can have done it yet, whoever read
    back what was told for the out-lap, and however long ago that was."""
    driven = procedure is not None and procedure.data_window != "none" and bool(run.laps) and any(
        step.where != "garage" for step in procedure.steps)  # what is done there is done there
    return driven and run.state in ("planned", "next") and item.state == "called"


def _only_told(procedure: Procedure | None, call: Call) -> bool:
    """Guard: a hold, or a question for a comment, that was told, and nobody says or shows that it was done: probably
    done, once its lap is over. Whether a comment that was noted stands, the debrief sees."""
    asks = procedure is not None and (procedure.hold is not None or "comment" in procedure.done_when)
    return asks and call.reason in (SETTLED, COMMENTED)


def _try_again(
    run: RunState, item: ItemState, procedures: Mapping[str, Procedure], leg_now: int, t: float, why: str
) -> None:
    procedure = procedures.get(item.item.do)
    if item.state != "planned" or procedure is None or run.state != "running":
        return
    if run.spoilt and item.leg == run.pointer:
        item.attempt += 1  # its lap is driven again: so is what was to be done on it
        return
    leg = next_leg(run, item, procedure, max(item.leg, leg_now))
    if leg is None:
        # No other lap of this run allows it: why it was not done is known, should it come to that.
        item.reason = why if why.startswith(HELD_BACK) else item.reason
        return
    item.leg, item.attempt = leg, item.attempt + 1
    item.may_be_on = tuple(other for other in item.may_be_on if other >= leg)
    item.reason, item.t = f"moved to {run.lap_label(leg)}: {why}", t


def change_to_come(board: SwitchBoard, book: CallBook, run: RunState, item: ItemState) -> bool:
    """Guard: a call that is not over yet asks for all that the item wants set on its lap."""
    wanted = board.item_wants(run, item)
    return bool(wanted) and any(
        call.open and call.spec.run == run.run.run and call.spec.lap == run.lap_label(item.leg)
        and _asks_for(call, wanted) for call in book.asking("set_switch"))


def _asks_for(call: Call, wanted: Mapping[str, Position]) -> bool:
    asked = call.spec.asked
    return all(name in asked and same_position(asked[name], to) for name, to in wanted.items())


def _held_for(runs: list[RunState], call: Call) -> list[tuple[RunState, ItemState]]:
    """Items that waited for this change, which ended and was not told."""
    untold = call.state in ("missed", "withdrawn", "unconfirmed", "skipped") and call.reason not in KEEPS_ITS_LAP
    if call.spec.ask.action != "set_switch" or not untold:
        return []
    return [(run, item) for run in runs for item in run.items
            if item.held and item.state == "planned" and (run.run.run, run.lap_label(item.leg)) == (
                call.spec.run, call.spec.lap)]


def switched(run: RunState, call: Call, board: SwitchBoard, t: float) -> None:
    """The driver was told to set all that an item of that lap wants, or did so before a key was pressed and telemetry
    shows it: the lap is driven so, whether or not the item's own words are said, and it is not tried again on
    another."""
    asked = call.spec.asked
    if call.spec.ask.action != "set_switch" or call.spec.run != run.run.run:
        return
    in_place = all(same_position(board.measured.get(name), to) for name, to in asked.items())
    if call.state not in ("said", "done") and not (call.reason == UNNEEDED and in_place):
        return
    for item in run.items:
        # A board shows it as the lap before begins, and a cool-down lap there is asked for nothing of its own.
        leg = item.leg - lent(board.plan.medium, run.laps, item.leg - 1)
        if item.state == "planned" and call.spec.lap in (run.lap_label(item.leg), run.lap_label(leg)):
            wanted = board.item_wants(run, item)
            if wanted and _asks_for(call, wanted):
                item.signal("call", t, "its switch was changed for it")


def lap_over(
    run: RunState, leg: int, procedures: Mapping[str, Procedure], t: float, driven: LapKind | None = None
) -> None:
    """A planned lap is behind the car: items on it were probably done if they were called, else not.

    Args:
        run: the run that the car is on; its pointer is on the lap that begins.
        leg: the planned lap that is over.
        procedures: by name.
        t: now.
        driven: as what it was driven, where that is known.
    """
    if run.laps[leg] == "cool" and driven == "timed":
        _no_cool_lap(run, leg, procedures, t)
    for item in run.items:
        if item.leg == leg:
            item.lap_over(t, item.reason or item.waits or (NO_CALL if item.state == "planned" else None))
    if run.laps[leg] == "cool" and run.pointer == leg + 2:
        _passed_over(run, leg + 1, procedures, t)


def _no_cool_lap(run: RunState, leg: int, procedures: Mapping[str, Procedure], t: float) -> None:
    """What has a whole cool-down lap as its data was not done on a timed one, whoever said so: it is told anew for the
    next lap that allows it, where there is one."""
    for item in run.items:
        procedure = procedures.get(item.item.do)
        if item.leg != leg or item.behind or procedure is None or procedure.data_window != "lap":
            continue
        if not procedure.laps or "timed" in procedure.laps:
            continue
        item.signal("spoilt", t, NO_COOL_LAP)
        if item.state != "called":
            continue
        to = next_leg(run, item, procedure, max(leg, run.pointer - 1))
        if to is None:
            item.signal("fail", t, NO_COOL_LAP)
        else:
            item.signal("call_lost", t, NO_COOL_LAP)
            item.leg, item.attempt, item.void_t = to, item.attempt + 1, t


def _passed_over(run: RunState, leg: int, procedures: Mapping[str, Procedure], t: float) -> None:
    """A timed lap was driven in place of a cool-down lap, and counts as the one planned after it (``leg``).

    Nobody knew so as it began: what was told for that lap was told for the line at its end. It is done on the lap that
    begins there, where that is a lap that allows it.
    """
    for item in run.items:
        procedure = procedures.get(item.item.do)
        if item.leg != leg or item.behind or procedure is None:
            continue
        if procedure.data_window == "lap":
            item.signal("spoilt", t, item.reason)
        if item.state not in ("planned", "called"):
            continue
        to = next_leg(run, item, procedure, leg)
        if to is None:
            item.signal("fail", t, "its timed lap was driven in place of the cool-down lap, before it was told")
        else:
            item.leg = to


def lap_put_in(run: RunState, t: float, still_to_do: Collection[str] = ()) -> None:
    """A lap was driven that the plan has not, and the planned one is still to come: what was called for it is done.

    ``still_to_do``: keys of items of which that is not so, for a slow or red period spoilt the lap.
    """
    for item in run.items:
        if item.key in still_to_do:
            continue
        if item.leg == run.pointer and item.state not in ("planned", "dropped", "not_done"):
            item.lap_over(t, item.reason)
            item.behind = True


def run_over(run: RunState, procedures: Mapping[str, Procedure], t: float) -> None:
    """The car is in. A run that is over settles its items; a cut one keeps those that a resumed run can still do."""
    last = len(run.laps) - 1
    for item in run.items:
        reached = run.pointer if run.boxed_from is None else run.boxed_from
        in_lap = item.leg == last and run.boxed_from is not None  # it was called in, and had an in-lap all the same
        if item.state == "called" and item.leg > reached and not run.out_in and not in_lap:
            item.signal("call_lost", t)  # told for a lap that was not begun: how it was told is no reason for that
        if run.state == "done":
            driven = item.leg < reached or item.leg == reached == last or run.out_in
            ended = NO_CALL if driven else "the run ended before its lap"
            item.lap_over(t, item.reason or item.waits or (ended if item.state == "planned" else None))
        elif item.leg == run.pointer < last:
            # This lap was broken off and is driven again when the run is resumed: so is what was to be done on it.
            item.signal("call_lost", t, "its lap was broken off")
        elif item.leg == last and item.state == "called":
            # A resumed run has its in-lap, too: what was not called on this one is still to be done.
            item.lap_over(t, item.reason)
    if run.state not in ("cut", "next"):
        return
    for item in run.items:
        if item.leg == 0 and item.state == "not_done" and (item.reason or "").startswith(UNTOLD):
            item.signal("retry", t, item.reason)  # the run begins with an out-lap again
            item.attempt += 1
        if item.state == "planned" and 0 < item.leg < run.resume_at:
            procedure = procedures.get(item.item.do)
            leg = next_leg(run, item, procedure, run.resume_at - 1) if procedure else None
            if leg is None:
                item.signal("fail", t, "no such lap is left for it")
            else:
                item.leg, item.attempt = leg, item.attempt + 1
