"""What became of each item, as the engine left it, and where its data are."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from pitwall.app.debrief_compared import nothing_left
from pitwall.app.debrief_watch import CarWatch
from pitwall.debrief.holds import HoldAsked
from pitwall.debrief.notes import CarNotes, Notes
from pitwall.debrief.session import time_of_day
from pitwall.debrief.told_slow import ToldSlow, as_told
from pitwall.debrief.windows import NO_SPEED, CarFacts, ItemDone, window_of
from pitwall.engine.hold_evidence import AGAINST_IT
from pitwall.engine.item_arguments import item_arguments
from pitwall.engine.item_evidence import SHOWN, word_suffices
from pitwall.engine.run_state import ItemState, RunState
from pitwall.engine.team import TeamCar
from pitwall.errors import UserError
from pitwall.model.debrief_rows import DataWindow, ItemRow, LapRow, Outcome, SwitchMove
from pitwall.model.plan import Scalar
from pitwall.model.procedure import Procedure

OUTCOMES: dict[str, Outcome] = {"done": "done", "probably_done": "probably_done", "not_done": "not_done",
                                "dropped": "not_done"}
TOLD = ("said", "done", "late", "unconfirmed")
UNSEEN = "nothing shows its switch"
NO_COMMENT = "asked; no comment of this run was noted after it"
USUALLY_S = 4.0
GRACE_S = 5.0
"""A call for the beginning of a lap may be for a moment so little before it."""


@dataclass(frozen=True)
class ItemsOfCar:
    """Items with what became of them, their data windows in order of time, and the laps: what one lost where something
    was done on it as told is no mistake."""

    rows: tuple[ItemRow, ...]
    windows: tuple[DataWindow, ...]
    laps: tuple[LapRow, ...]


def items_of(
    car: TeamCar, watch: CarWatch, session_notes: Notes, laps: Sequence[LapRow], moves: Sequence[SwitchMove], *,
    over: bool,
) -> ItemsOfCar:
    """Every item of every run, in plan order; ``over``: the session was closed, so nothing is to come."""
    notes = session_notes.cars[car.car]
    lane_s = car.lap_map.pit_lane_s(car.setup.regulations.pit_limit_kph)
    facts = CarFacts(notes, car.lap_map, moves, car.switches.car.switches, lane_times(laps), lane_s,
                     watch.measured_from)
    calls = _told(notes)
    found = [_done(car, run, item, watch, notes, laps, calls.get(item.key), over)
             for run in car.progress.runs for item in run.items]
    # What is done at a place does not hang on its lap, and tells what the lap is worth to the others.
    own = {done.row.item: window_of(done, facts) for _, done in found
           if done is not None and (done.hold is not None or done.place is not None)}
    laps = as_told(laps, _told_slow(car, [done for _, done in found if done is not None], own), car.lap_map.loops)
    now = {lap.number: lap for lap in laps}
    found = [(row, done if done is None or done.lap is None else replace(done, lap=now[done.lap.number]))
             for row, done in found]
    alone = nothing_left(car, [done for _, done in found if done is not None], laps, moves, over=over)
    rows, windows = [], []
    for row, done in found:
        window = None
        if done is not None:
            done = replace(done, alone=alone.get(row.item, ""))
            window = own[row.item] if row.item in own else window_of(done, facts)
        if window is not None:
            times = {"from_time": time_of_day(session_notes, window.from_s.value),
                     "to_time": time_of_day(session_notes, window.to_s.value)}
            windows.append(window.model_copy(update=times))
            row = _judged(row, window)
        rows.append(row)
    return ItemsOfCar(tuple(rows), tuple(sorted(windows, key=lambda one: (one.from_s.value, one.item))), laps)


def _done(
    car: TeamCar, run: RunState, item: ItemState, watch: CarWatch, notes: CarNotes, laps: Sequence[LapRow],
    told_s: float | None, over: bool,
) -> tuple[ItemRow, ItemDone | None]:
    """An item, and what its window is made from; None where its procedure is not known any more."""
    procedure = car.setup.procedures.get(item.item.do)
    row = _row(car, run, item, procedure, over)
    if procedure is None:
        return row, None
    if row.outcome == "probably_done" and not word_suffices(procedure):
        row = row.model_copy(update={"reason": "; ".join(filter(None, (row.reason, UNSEEN)))})
    if "comment" in procedure.done_when:
        row = _commented(car, row, notes)
    return row, ItemDone(row, procedure, lap_of(run, item, watch, laps, told_s), car.switches.item_wants(run, item),
                         _hold(car, procedure, row), _place(car, procedure, row),
                         _laps_at(laps, run, item, notes), AGAINST_IT in row.reason)


def _told_slow(
    car: TeamCar, items: Sequence[ItemDone], own: Mapping[str, DataWindow | None]
) -> tuple[ToldSlow, ...]:
    """What was done at a place, or probably; not a hold of which positions show that nobody drove it."""
    found = []
    for done in items:
        place = None if done.row.place is None else _phase(car, done.row.place)
        window = own.get(done.row.item)
        if place is None or done.lap is None or done.row.outcome not in ("done", "probably_done") or (
                window is not None and window.spoilt.startswith(NO_SPEED)):
            continue
        lap_number = done.lap.number if window is None else window.lap_number
        found.append(ToldSlow(done.row.do, lap_number, place, window))
    return tuple(found)


def _row(car: TeamCar, run: RunState, item: ItemState, procedure: Procedure | None, over: bool) -> ItemRow:
    return ItemRow(
        item=item.key, do=item.item.do, run=run.run.run, lap=run.item_label(item),
        want=item.item.want, place=item.item.after or item.item.at,
        arguments=item_arguments(procedure, item) if procedure is not None else dict(item.item.arguments),
        outcome=_outcome(item, over), reason=_reason(item, over), t=None if item.t is None else round(item.t, 3),
    )


def _judged(row: ItemRow, window: DataWindow) -> ItemRow:
    """Done, but its data are spoilt: the window says why. Or shown by telemetry all along, up to the moments before the
    line in which it was put back, of which the engine saw only the end."""
    if window.outcome == "done_badly":
        return row.model_copy(update={"outcome": "done_badly", "reason": window.spoilt})
    if window.outcome == "done" and row.outcome == "probably_done":
        return row.model_copy(update={"outcome": "done", "reason": SHOWN})
    return row


def _commented(car: TeamCar, row: ItemRow, notes: CarNotes) -> ItemRow:
    """What was asked for is a comment: one of that run, noted after it was asked, is what makes it done."""
    if row.outcome != "probably_done":
        return row
    asked = [call.said_s or call.told_s or call.last.say_from_s for call in notes.calls.values()
             if call.last.ask.item == row.item and call.last.state in TOLD]
    noted = [one for one in car.comments.comments if one.run == row.run and asked and one.t >= min(asked)]
    if not noted:
        return row.model_copy(update={"reason": NO_COMMENT})
    return row.model_copy(update={"outcome": "done", "reason": f"comment {noted[0].comment} was noted"})


def _outcome(item: ItemState, over: bool) -> Outcome:
    known = OUTCOMES.get(item.state)
    if known is not None:
        return known
    if item.state == "called":
        return "probably_done" if over else "to_come"
    return "not_done" if over else "to_come"


def _reason(item: ItemState, over: bool) -> str:
    if item.state == "dropped":
        return f"dropped: {item.reason}" if item.reason and not item.reason.startswith("dropped") else (
            item.reason or "dropped")
    if item.reason or item.waits:
        return item.reason or item.waits or ""
    return "the session ended" if over and item.state == "planned" else ""


def _told(notes: CarNotes) -> dict[str, float]:
    """When the driver was to act on the call of each item, as it was told last."""
    found = {}
    for call in notes.calls.values():
        item = call.last.ask.item
        if item is not None and call.last.state in TOLD and call.last.ask.action != "none":
            found[item] = call.last.act_at_s if call.last.act_at_s is not None else call.last.say_by_s
    return found


def lap_of(
    run: RunState, item: ItemState, watch: CarWatch, laps: Sequence[LapRow], told_s: float | None
) -> LapRow | None:
    """The lap on which the item was done: one that stood for its planned lap, and of those the one that was told.

    What was told for a lap that was spoilt tells nothing of the lap on which it was done; without a word for that one
    it is the last that stood for the planned lap. Where that was driven without the item, it is the first.
    """
    if told_s is not None and item.void_t is not None and told_s <= item.void_t:
        told_s = None
    own = [lap for lap in laps if lap.run == run.run.run]
    fit = [lap for lap in own if watch.legs.get(lap.number) == (run.run.run, item.leg)]
    if run.out_in:
        # One lap planned with two halves; a car that stayed out drove two or more, and each half has its own.
        half = ("in", "installation") if item.leg else ("out", "installation")
        fit = [lap for lap in own if lap.kind in half]
    if told_s is not None:
        at = [lap for lap in own if lap.start_s - GRACE_S <= told_s < lap.end_s]
        both = [lap for lap in at if lap in fit]
        if run.out_in and item.state == "done" and item.t is not None:
            # What somebody said to be done on the way out was done there, for whichever half it was planned.
            both = [lap for lap in at if item.t < lap.end_s] or both
        # Told for the line, it is done on the lap that begins there.
        fit = both or (fit if fit else at)
    return None if not fit else fit[0 if item.behind else -1]


def _laps_at(
    laps: Sequence[LapRow], run: RunState, item: ItemState, notes: CarNotes
) -> tuple[tuple[LapRow, float], ...]:
    """The laps on which the driver heard the call, and when: it may have come for the next lap, and been done at once.
    """
    heard = [call.said_s for call in notes.calls.values()
             if call.last.ask.item == item.key and call.last.state in TOLD and call.said_s is not None]
    return tuple((lap, t) for lap in laps if lap.run == run.run.run for t in heard if lap.start_s <= t < lap.end_s)


def _hold(car: TeamCar, procedure: Procedure, row: ItemRow) -> HoldAsked | None:
    """What is to be held; None for what is no hold at a place."""
    if procedure.hold is None or row.place is None:
        return None
    _, speed, to_mps = procedure.hold.speed()
    mps, seconds = _number(speed, row.arguments), _number(procedure.hold.seconds, row.arguments)
    if mps is None or seconds is None:
        return None
    place = _phase(car, row.place)
    return None if place is None else HoldAsked(place, mps * to_mps, seconds, procedure.hold.settle_s)


def _place(car: TeamCar, procedure: Procedure, row: ItemRow) -> tuple[float, float] | None:
    """Where something that is no hold begins, and for how many seconds it is done; None where it has no place."""
    if procedure.data_window != "hold" or procedure.hold is not None or row.place is None:
        return None
    place = _phase(car, row.place)
    seconds = _number("seconds", row.arguments) or max(procedure.extra_s, USUALLY_S)
    return None if place is None else (place, seconds)


def _phase(car: TeamCar, place: str) -> float | None:
    try:
        return car.lap_map.phase_of(place)
    except UserError:
        return None  # a changed plan may name a place that the circuit does not know


def _number(value: str | float, arguments: Mapping[str, Scalar]) -> float | None:
    given = arguments.get(value.strip("{}")) if isinstance(value, str) else value
    return float(given) if isinstance(given, int | float) and not isinstance(given, bool) else None


def lane_times(laps: Sequence[LapRow]) -> dict[int, tuple[float, float]]:
    """By number of an in-lap: from the pit entry to the pit exit of the next leaving."""
    found = {}
    for at, lap in enumerate(laps[:-1]):
        if lap.kind in ("in", "installation"):
            found[lap.number] = (lap.end_s, laps[at + 1].start_s)
    return found
