"""Where the data of an item are: when, where on the lap, how fast, with which switches, and how sure each of it is.

Three kinds of evidence, best first. *Positions* (5 Hz or better) show a hold itself: ``holds.py``. *Crossings* give
the lap, and the place between two loops by the pace of the lap so far. Where a lap's end was not seen, only the *plan's
word* is left, with the interval of what a lap can take. Figures without a source are common practice; what they are
worth is measured by ``simulations/score_debrief.py``.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

from pitwall.debrief.holds import HoldAsked, Rests, Stretch, at_place, by_crossings, by_positions, shows_none
from pitwall.debrief.model import (
    DataWindow,
    Evidence,
    ItemRow,
    LapRow,
    SwitchAt,
    SwitchMove,
    Uncertain,
    ValueEvidence,
)
from pitwall.debrief.notes import CarNotes
from pitwall.debrief.wording import plain
from pitwall.model.car import Switch
from pitwall.model.plan import Scalar
from pitwall.model.procedure import Procedure
from pitwall.track.lapmap import LapMap

SEEN_S = 0.02
"""A loop tells a crossing to a few thousandths; feeds round to hundredths."""
INFERRED_S = 6.0
"""A line that nobody saw was placed by the shares of the lap."""
AT_LOOP_M = 2.0
SPOILT = {"traffic": "traffic", "mistake": "a mistake", "aborted": "the lap was given up"}
FLAGS = {"yellow": "a yellow", "slow": "a slow period", "red": "a red flag"}
SET_WITHIN_S = 8.0
LONGEST_LANE_S, USUAL_LANE_S = 180.0, 30.0
SHORT_SHARE = 0.85
OFF_SPEED_MPS = 3.0
OUT_OF_PLACE = "began with a switch out of place"
NO_SPEED = "positions show no constant speed"
SHOWN_BY = "positions:"
"""So the reason begins of an item whose hold the session saw in them, as it was driven (``engine/holds.py``)."""


@dataclass(frozen=True)
class ItemDone:
    """An item that was done, or probably, with what its window is made from.

    Attributes:
        row: the item.
        procedure: of the library.
        lap: on which it was done; None where nobody knows, or in the garage.
        wants: positions that it asks for while it lasts.
        hold: what is to be held, for a hold at a place.
        place: for what is done at a place and is no hold: its phase, and for how many seconds.
        heard_on: laps on which the driver heard the call, and when; where positions show a hold there after it, he did
            it at once.
        alone: of a comparison, why it has nothing left to be compared with.
        insisted: somebody confirmed it knowing what speaks against it; its reason has both, and that is settled.
    """

    row: ItemRow
    procedure: Procedure
    lap: LapRow | None
    wants: Mapping[str, Scalar]
    hold: HoldAsked | None = None
    place: tuple[float, float] | None = None
    heard_on: tuple[tuple[LapRow, float], ...] = ()
    insisted: bool = False
    alone: str = ""


@dataclass(frozen=True)
class CarFacts:
    """What windows of one car are made from. ``measured_from``: when telemetry first spoke of each switch."""

    notes: CarNotes
    lap_map: LapMap
    moves: Sequence[SwitchMove]
    switches: Sequence[Switch]
    lane: Mapping[int, tuple[float, float]]
    lane_s: float | None = None
    measured_from: Mapping[str, float] = field(default_factory=dict)


def window_of(item: ItemDone, car: CarFacts) -> DataWindow | None:
    """The data window of an item; None where it yields no data, or nobody knows the lap.

    ``outcome`` of the window is the item's, or ``done_badly`` where the evidence shows that its data are spoilt; the
    reason then stands in ``spoilt``, and first in ``evidence_text``.
    """
    what = item.procedure.data_window
    if what == "none" or item.lap is None or item.row.outcome not in ("done", "probably_done"):
        return None
    found: Stretch | None
    lap = item.lap
    if what == "hold" and item.hold is not None:
        lap, found = _hold(item.hold, lap, item.heard_on, car)
        item = replace(item, lap=lap)
    elif what == "hold" and item.place is not None:
        found = at_place(*item.place, lap, car.lap_map)
    elif what == "lane":
        found = _lane(lap, car)
    else:
        found = _lap(lap, car)
    if found is None:
        return None
    at_a_place = what == "hold" and (item.hold is not None or item.place is not None)
    switches = _switches(found, car, SET_WITHIN_S if what == "lap" else 0.0)
    faults = _faults(item, found, switches)
    seen = found.evidence == "positions" or item.row.reason.startswith(SHOWN_BY)
    unseen = what == "hold" and item.hold is not None and not seen and not item.insisted
    if unseen and item.hold is not None and shows_none(item.hold, lap, car.notes, car.lap_map):
        near = f"near {item.hold.speed_mps:.0f} m/s behind {item.row.place}"
        faults = [f"{NO_SPEED} {near}", *faults]
    outcome = "done_badly" if faults else "done" if _shown(item, switches) else item.row.outcome
    # The times are as sure as the loops are, whether or not anything was done between them.
    text = f"if it was done: {found.text}" if outcome == "probably_done" else found.text
    return DataWindow(
        item=item.row.item, do=item.row.do, run=item.row.run, lap_number=lap.number, lap=_driven_as(item.row.lap, lap),
        lap_evidence="reckoned" if len(lap.inferred) == 2 else "crossings",
        what="hold" if at_a_place else "lane" if what == "lane" else "lap", place=item.row.place,
        from_s=found.from_s, to_s=found.to_s, from_evidence=found.rests.begin, to_evidence=found.rests.end,
        from_m=found.from_m, to_m=found.to_m, place_evidence=None if found.from_m is None else found.rests.place,
        speed_mps=found.speed_mps, speed_evidence=None if found.speed_mps is None else found.rests.speed,
        switches=switches, evidence=found.evidence,
        evidence_text="; ".join([*faults, text]), outcome=outcome, spoilt="; ".join(faults),
    )


def _driven_as(planned: str, lap: LapRow) -> str:
    """The lap as the plan has it; one that was driven at another pace than its kind says so."""
    slow = planned.startswith(("cool-down lap", "in-lap"))
    if lap.kind == "timed" and slow:
        return f"{planned}, driven as a timed lap"
    if lap.kind == "out" and planned == "in-lap":
        return f"{planned}, done on the out-lap"
    if lap.kind in ("cool", "in") and planned.startswith("timed lap"):
        return f"{planned}, driven as {'a cool-down lap' if lap.kind == 'cool' else 'an in-lap'}"
    return planned


def _hold(
    hold: HoldAsked, planned: LapRow, heard_on: Sequence[tuple[LapRow, float]], car: CarFacts
) -> tuple[LapRow, Stretch]:
    """The hold and its lap: the first on which positions show it as it was asked, else the one it was planned for."""
    seen = by_positions(hold, planned, car.notes, car.lap_map)
    if seen is not None and not _unlike(seen, hold):
        return planned, seen
    for lap, heard_s in heard_on:
        at_once = by_positions(hold, lap, car.notes, car.lap_map) if lap.number != planned.number else None
        # One that was driven before is of another call.
        if at_once is not None and not _unlike(at_once, hold) and at_once.from_s.value >= heard_s:
            return lap, replace(at_once, text=f"{at_once.text}; it was done at once, on the lap on which it was said")
    return planned, seen or by_crossings(hold, planned, car.lap_map)


def _lap(lap: LapRow, car: CarFacts) -> Stretch:
    """From the beginning of the lap to its end."""
    begins, ends = _end(lap.start_s, "start" in lap.inferred), _end(lap.end_s, "end" in lap.inferred)
    whole_m = car.lap_map.profile.length_m if car.lap_map.profile is not None else None
    from_m = to_m = speed = None
    if whole_m is not None:
        from_pits = lap.kind in ("out", "installation")
        to_pits = lap.kind in ("in", "installation")
        begin_m = car.lap_map.distance_at_phase(car.lap_map.pit_exit) if from_pits else 0.0
        end_m = car.lap_map.distance_at_phase(car.lap_map.pit_entry) if to_pits else whole_m
        from_m, to_m = _metres(begin_m or 0.0, AT_LOOP_M), _metres(end_m or whole_m, AT_LOOP_M)
        took = max(lap.end_s - lap.start_s, 1e-3)
        mean = max((to_m.value - from_m.value) / took, 0.0)
        off = (AT_LOOP_M * 2) / took + mean * (ends.high - ends.low + begins.high - begins.low) / took / 2
        speed = Uncertain(value=round(mean, 2), low=round(max(0.0, mean - off), 2), high=round(mean + off, 2))
    seen = [one.loop for one in lap.sectors if one.t is not None]
    evidence: Evidence = "plan" if len(lap.inferred) == 2 else "crossings"
    text = f"crossings of {', '.join(seen)}" if seen else "pit signals"
    if lap.inferred:
        text += f"; its {' and '.join(lap.inferred)} {'was' if len(lap.inferred) == 1 else 'were'} not seen"
    rests = Rests(_line(lap, "start"), _line(lap, "end"), "circuit", _line(lap, "start", "end"))
    return Stretch(begins, ends, from_m, to_m, speed, evidence, rests, text)


def _line(lap: LapRow, *ends: Literal["start", "end"]) -> ValueEvidence:
    """What the ends of a lap rest on, and what follows from them."""
    return "reckoned" if any(one in lap.inferred for one in ends) else "crossings"


def _lane(lap: LapRow, car: CarFacts) -> Stretch | None:
    """From the pit entry at the end of this lap to the next pit exit, or as long as it takes to be in the garage."""
    span = car.lane.get(lap.number)
    if span is None:
        return None
    begin, end = span
    if end - begin > LONGEST_LANE_S:
        # It stood in its garage: how long it was in the lane before is only known from the length of the lane.
        took = car.lane_s if car.lane_s is not None else USUAL_LANE_S
        value, low, high = (round(begin + share * took, 3) for share in (1.0, 0.4, 2.0))
        ends = Uncertain(value=value, low=low, high=high)
        return Stretch(_end(begin, "end" in lap.inferred), ends, None, None, None, "plan",
                       Rests(_line(lap, "end"), "circuit" if car.lane_s is not None else "plan", "circuit", "circuit"),
                       "the signal of the pit entry; its end by the length of the pit lane, for the car then stood")
    length_m = car.lap_map.lane_length_m
    speed = None
    if length_m is not None and end > begin:
        mean = length_m / (end - begin)
        speed = Uncertain(value=round(mean, 2), low=round(mean * 0.9, 2), high=round(mean * 1.1, 2))
    return Stretch(_end(begin, "end" in lap.inferred), _end(end, False), None, None, speed, "crossings",
                   Rests(_line(lap, "end"), "crossings", "circuit", _line(lap, "end")),
                   "signals of pit entry and pit exit")


def _end(t: float, inferred: bool) -> Uncertain:
    off = INFERRED_S if inferred else SEEN_S
    return Uncertain(value=round(t, 3), low=round(t - off, 3), high=round(t + off, 3))


def _metres(value: float, off: float) -> Uncertain:
    return Uncertain(value=round(value, 1), low=round(value - off, 1), high=round(value + off, 1))


def _switches(found: Stretch, car: CarFacts, within_s: float) -> tuple[SwitchAt, ...]:
    """Where each switch stood, and whether it was moved inside. Moves within so long of either end belong to the end: a
    driver sets a switch for a lap about the line, and telemetry tells it a little later."""
    rows = []
    begin, end = found.from_s.value + within_s, found.to_s.value - within_s
    for switch in car.switches:
        moves = [move for move in car.moves if move.switch == switch.switch]
        before = [move for move in moves if move.t <= begin]
        last = before[-1] if before else moves[0] if moves else None
        if last is None:
            continue
        inside = any(begin < move.t < end for move in moves)
        shown_s = car.measured_from.get(switch.switch)
        # Telemetry that shows a switch where it was taken to stand is no move, and yet a measurement.
        seen = shown_s is not None and (shown_s <= begin or (shown_s < end and not inside))
        rows.append(SwitchAt(switch=switch.switch, word=switch.word, position=last.position,
                             evidence="measured" if seen else last.evidence,
                             since_s=None if last.before is None else last.t, moved=inside))
    return tuple(rows)


def _shown(item: ItemDone, switches: Sequence[SwitchAt]) -> bool:
    """Guard: what was only probably done is a position of switches, and telemetry showed it over the whole window."""
    measured = {one.switch: one.position for one in switches if one.evidence == "measured" and not one.moved}
    counts = item.row.outcome == "probably_done" and "switch" in item.procedure.done_when and bool(item.wants)
    return counts and all(name in measured and _same(measured[name], wanted) for name, wanted in item.wants.items())


def _faults(item: ItemDone, found: Stretch, switches: Sequence[SwitchAt]) -> list[str]:
    """What spoils the data, in words; empty where nothing is known to.

    Data that are a whole timed lap are worth what the lap is: one that began with a switch out of place, whichever, is
    in no median, and what was to be compared on it is not known either.
    """
    faults = []
    lap = item.lap
    assert lap is not None
    if found.held and item.hold is not None and found.evidence == "positions":
        faults += _unlike(found, item.hold)
    if item.hold is None and item.place is None and lap.kind == "timed":
        faults += [f"the lap {fault}" for fault in lap_spoilt(lap, item.row.do)]
    off = lap.switches_wrong if item.procedure.data_window == "lap" and lap.kind == "timed" else ()
    if off:
        faults.append(f"the lap {OUT_OF_PLACE}: {'; '.join(off)}")
    for switch in switches:
        wanted = item.wants.get(switch.switch)
        if any(text.startswith(f"{switch.word} st") for text in off):
            continue  # told with the lap
        if wanted is not None and switch.evidence == "measured" and not _same(switch.position, wanted):
            faults.append(f"{switch.word} stood at {switch.position}, {wanted} was wanted")
        elif wanted is not None and switch.moved:
            faults.append(f"{switch.word} was moved in the middle of it")
    return [*faults, item.alone] if item.alone else faults


def lap_spoilt(lap: LapRow, do: str = "") -> list[str]:
    """What spoilt a timed lap for what was to be learned of all of it, in words behind the lap; not the procedure
    ``do``, which was to be done on it."""
    if lap.clean == "yellow":
        what = FLAGS[lap.spoilt_by]
    elif lap.clean == "told" and lap.clean_for != do:
        what = plain(lap.clean_for)
    elif lap.clean in SPOILT:
        what = SPOILT[lap.clean]
    else:
        return []
    where = f" before {lap.clean_at}" if lap.clean_at else ""
    lost = f", {lap.lost_s:.1f} s lost{where}" if lap.lost_s else ""
    return [f"was spoilt: {what}{lost}"]


def _unlike(found: Stretch, hold: HoldAsked) -> list[str]:
    """In what a hold differs from the one that was asked for, in words."""
    faults = []
    took = found.to_s.value - found.from_s.value
    if took < SHORT_SHARE * hold.seconds:
        faults.append(f"held for {took:.1f} s, {hold.seconds:g} s were wanted")
    speed = found.speed_mps.value if found.speed_mps is not None else hold.speed_mps
    if abs(speed - hold.speed_mps) > OFF_SPEED_MPS:
        faults.append(f"held {speed:.1f} m/s, {hold.speed_mps:.1f} m/s were wanted")
    return faults


def _same(one: Scalar, other: Scalar) -> bool:
    if isinstance(one, int | float) and isinstance(other, int | float):
        return abs(float(one) - float(other)) < 1e-6
    return one == other
