"""Somebody says that a hold was done, and positions or loops say that it was not.

*Positions* with speeds that came all the way past its place, and show no one speed near it, had no hold in them
(``track/hold_passing.py``). *Loops*: a hold costs time. The sector in which it lies can be no quicker than the car's
best there and what the hold costs at least (``track/hold_cost.py``; where the circuit has no geometry, or the file no
speed, a share of what the procedure's file says that it adds). A sector that took hardly more than the best one had no
hold in it. Whoever confirmed it: the item is *not done*, the reason says what was seen, and it is told anew on the
next lap of the run that allows it.

Nothing is said where evidence is thin: no timed lap of this car to compare with since it went over to wet or dry, or a
single one that may have been slow, loops that were not seen, a cost that is lost in how laps scatter, positions that
showed the hold, or words that the driver may have followed on the lap before. Who confirms it once more, knowing what
speaks against it, has the last word: it is done, and the reason says what contradicts it.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING

from pitwall.engine import items
from pitwall.engine.alerts.book import AlertBook
from pitwall.engine.call import Call
from pitwall.engine.holds import figures
from pitwall.engine.item_arguments import item_arguments
from pitwall.engine.laps import LapRecord
from pitwall.engine.run_state import ItemState, RunState
from pitwall.model.outputs import Output, Status
from pitwall.model.procedure import Procedure
from pitwall.model.units import KPH_PER_MPS
from pitwall.track.hold_cost import hold_cost

if TYPE_CHECKING:
    from pitwall.engine.team import TeamCar

TOLD = ("called", "done", "probably_done")
HALF = 0.5
"""A sector that took less than its best and so much of what the hold costs had none: a driver who counts short still
holds for more than half of it (common practice, no source)."""
FILE_SHARE = 0.25
"""So much of what a file says that an item adds is beyond doubt: it is what a planner puts aside, no measurement."""
LEAST_S = 0.6
"""Laps at the pace scatter by 0.2 to 0.4 s (common practice): what costs less tells nothing."""
USUAL_S = 5.0
AT_PACE = 1.02
"""A single timed lap is a measure where it took hardly longer than the reference lap of the circuit (ours)."""
TOLD_FOR_S = 600.0
KIND = "not_as_told"
AGAINST_IT = "; against it: "
"""Behind these words the reason of an item has what speaks against it, where somebody confirmed it all the same."""


@dataclass(frozen=True)
class _Cost:
    """Between which phases of the lap it lies, from its place on, what it costs at least, and in words where that is
    from."""

    place: float
    from_phase: float
    to_phase: float
    least_s: float
    words: str


def judge(car: TeamCar, run: RunState, leg: int, lap: LapRecord, now: float) -> None:
    """A lap of the run is behind the car: what was told for it, against the loops.

    Args:
        car: the car, after its items followed the lap.
        run: the run that it was on.
        leg: the planned lap that was driven, or that is still to come where the car stayed out.
        lap: the lap as it was followed.
        now: session second.
    """
    for item in run.items:
        if item.leg != leg or item.judged or item.state not in TOLD or item.key in car.holds.proven:
            continue
        if lap.disturbed or _may_be_before(car, item, lap):
            continue
        item.judged = True
        against = _against(car, item, lap)
        if against is not None:
            _not_done(car, run, item, f"{'confirmed' if item.state == 'done' else 'told'}, but {against}", now)


def _not_done(car: TeamCar, run: RunState, item: ItemState, reason: str, now: float) -> None:
    item.signal("contradicted", now, reason)
    item.against, item.against_t, item.void_t, item.against_leg = reason, now, now, item.leg
    procedure = car.setup.procedures[item.item.do]
    stays_out = run.state == "running" and run.expected_kind == "in" and item.leg == run.pointer
    to = item.leg if stays_out else items.next_leg(run, item, procedure, max(item.leg, run.pointer - 1))
    if to is not None and run.state == "running":
        item.signal("retry", now, f"to be done again on {run.lap_label(to)}: {reason}")
        item.leg, item.attempt, item.judged = to, item.attempt + 1, False


def insisted(item: ItemState, call: Call, by: str, now: float) -> bool:
    """Somebody confirms it though it was contradicted: it was done, on the lap on which that was said. False where the
    call is of no such item, or is the one that was made since."""
    if item.against is None or item.state not in ("not_done", "planned") or item.void_t != item.against_t:
        return False
    told_t = call.said_t if call.said_t is not None else call.ended_t
    if told_t is None or told_t > item.against_t:
        return False
    seen = item.against.partition(", but ")[2]
    item.signal("retry", now)
    item.signal("confirm", now, f"confirmed, {by}{AGAINST_IT}{seen}")
    item.leg, item.void_t, item.judged = item.against_leg, None, True
    return True


def _against(car: TeamCar, item: ItemState, lap: LapRecord) -> str | None:
    """What the loops say against it, in words; None where they say nothing."""
    procedure = car.setup.procedures.get(item.item.do)
    passing = car.holds.passings.get((item.key, lap.number))
    if passing is not None and passing.none_held:
        return (f"positions show no constant speed near {passing.wanted_mps:.0f} m/s behind "
                f"{item.item.after or item.item.at}")
    cost = _cost(car, item, procedure) if procedure is not None else None
    if cost is None or cost.least_s < LEAST_S:
        return None
    # Who begins at the place itself may lose time before a loop that lies between it and where the speed is reached.
    found = [_no_time_lost(car, lap, _loops_about(car, begin, cost.to_phase), cost.least_s)
             for begin in (cost.from_phase, cost.place)]
    return None if None in found else f"{found[0]}: {cost.words}"


def _no_time_lost(car: TeamCar, lap: LapRecord, between: tuple[str, str] | None, least_s: float) -> str | None:
    """How long the car took from loop to loop, in words; None where it may have lost so much, or nobody knows."""
    took = _between(lap, *between) if between is not None else None
    best = _best(car, lap, *between) if between is not None else None
    if between is None or took is None or best is None or took > best + least_s:
        return None
    return f"{_sector(car, *between)} took {took:.1f} s, and {best:.1f} s on a timed lap"


def _may_be_before(car: TeamCar, item: ItemState, lap: LapRecord) -> bool:
    """Guard: the driver heard it on the lap before, with its place still ahead: he may have done it there at once."""
    named, before = item.item.after or item.item.at, car.track.laps[-2] if len(car.track.laps) > 1 else None
    if named is None or before is None or before.end_t != lap.start_t:
        return False
    ahead_s = (1.0 - car.lap_map.phase_of(named)) * (lap.start_t - before.start_t)
    said = [call.said_t for call in car.book.calls.values() if call.spec.item == item.key and call.said_t is not None]
    return any(before.start_t <= t < lap.start_t - ahead_s for t in said)


def _cost(car: TeamCar, item: ItemState, procedure: Procedure) -> _Cost | None:
    named = item.item.after or item.item.at
    # A pass at a declared pace has no data window there, and may cost nothing in a slow corner.
    if procedure.data_window != "hold" or "speed" not in procedure.done_when or named is None:
        return None
    place, profile = car.lap_map.phase_of(named), car.lap_map.profile
    hold = figures(car, item, procedure, named) if procedure.hold is not None else None
    begin_m = car.lap_map.distance_at_phase(place)
    if hold is not None and profile is not None and begin_m is not None:
        found = hold_cost(profile, begin_m, hold.seconds, hold.speed_mps)
        if found is None:
            return None
        ends = [car.lap_map.phase_at_distance(metres) or 0.0 for metres in (found.from_m, found.to_m)]
        assert procedure.hold is not None
        kph = procedure.hold.speed_kph is not None
        speed = f"{hold.speed_mps * KPH_PER_MPS:.0f} km/h" if kph else f"{hold.speed_mps:.0f} m/s"
        words = f"{hold.seconds:g} s at {speed} cost {found.extra_s:.1f} s there at least"
        return _Cost(place, ends[0], ends[1], HALF * found.extra_s, words)
    seconds = item_arguments(procedure, item).get("seconds", USUAL_S)
    lasts = (float(seconds) if isinstance(seconds, int | float) else USUAL_S) + procedure.extra_s
    words = f"by its file {item.item.do} adds {procedure.extra_s:g} s"
    return _Cost(place, place, place + lasts / car.lap_map.lap_s, FILE_SHARE * procedure.extra_s, words)


def _loops_about(car: TeamCar, begin: float, end: float) -> tuple[str, str] | None:
    """The last loop before it and the first one behind it; the line is both ends of the lap."""
    phases = [("line", 0.0), *((loop, car.lap_map.loops[loop]) for loop in car.lap_map.loop_order[:-1]), ("line", 1.0)]
    before = [loop for loop, phase in phases if phase <= begin]
    behind = [loop for loop, phase in phases if phase >= end]
    return (before[-1], behind[0]) if before and behind else None


def _between(lap: LapRecord, first: str, last: str) -> float | None:
    """Seconds from loop to loop; None where one was not seen on this lap."""
    begin = lap.crossings.get(first)
    if first == "line" and lap.start_phase == 0.0 and not lap.inferred_start:
        begin = lap.start_t
    end = lap.crossings.get(last)
    if last == "line" and lap.ended_at == "line" and not lap.inferred_end:
        end = lap.end_t
    return None if begin is None or end is None else end - begin


def _best(car: TeamCar, judged: LapRecord, first: str, last: str) -> float | None:
    """The quickest from loop to loop on another timed lap, or by the shape of the lap on its quickest one: a single lap
    may have been spoilt just there. Where this lap was quicker elsewhere than all others, it would have been here, too.
    """
    laps = [lap for lap in car.track.laps if lap.kind == "timed" and lap.complete and not lap.disturbed
            and lap.number != judged.number and lap.lap_time_s is not None and lap.start_t >= car.holds.comparable_t]
    there = [took for lap in laps if (took := _between(lap, first, last)) is not None]
    quickest = min((lap.lap_time_s or 0.0 for lap in laps), default=0.0)
    if not there or (len(there) == 1 and quickest > AT_PACE * car.lap_map.lap_s):
        return None
    share = (1.0 if last == "line" else car.lap_map.loops[last]) - car.lap_map.loops[first]
    return min(*there, share * quickest) * _quicker(car, judged, laps, (first, last))


def _quicker(car: TeamCar, judged: LapRecord, laps: list[LapRecord], without: tuple[str, str]) -> float:
    """By which factor the lap was quicker than the best of all others, in the sector in which it was that most; 1 where
    it was in none. ``without``: the loops between which it is not looked at."""
    order = ("line", *car.lap_map.loop_order)
    begin, end = order.index(without[0]), order.index(without[1], 1)
    found = [1.0]
    for at, (first, last) in enumerate(itertools.pairwise(order)):
        took = _between(judged, first, last) if not begin <= at < end else None
        others = [one for lap in laps if (one := _between(lap, first, last)) is not None]
        if took is not None and others:
            found.append(took / min(others))
    return min(found)


def _sector(car: TeamCar, first: str, last: str) -> str:
    order = ("line", *car.lap_map.loop_order)
    at = order.index(first)
    return f"sector {at + 1}" if order[at + 1] == last else f"the way from {first} to {last}"


def look(car: TeamCar, alerts: AlertBook, status: Status, now: float) -> list[Output]:
    """Every few seconds: a must that was not done as somebody said, until it is told again or done."""
    found: list[Output] = []
    for run in car.progress.runs:
        for item in run.items:
            if item.against is None or item.item.want != "must":
                continue
            stands = item.state in ("planned", "not_done") and now < item.against_t + TOLD_FOR_S
            if stands:
                again = f"; it is told again on {run.item_label(item)}" if item.state == "planned" else ""
                what = item.item.do.replace("_", " ")
                text = f"Car {car.car}: {what} of {run.run.run} was {item.against}{again}"
                found += alerts.hold(KIND, car.car, text, now, status, item.key)
            else:
                found += alerts.over(KIND, car.car, now, item.key)
    return found
