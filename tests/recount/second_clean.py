"""Which kind a lap was and whether it was clean, reckoned again: from its times, who was ahead, what was out, and what
was done on it as told.

Taken from the engine are only what is usual on each stretch, and whether both ends of the lap were seen; from the
debrief, on which lap an item was done. When it lasted is reckoned beside.
"""

from __future__ import annotations

from itertools import pairwise
from statistics import median

from tests.recount.second_holds import Asked, nothing_held
from tests.recount.second_laps import (
    COUNTS_FROM,
    GIVEN_UP,
    IN_EARNEST,
    Lap,
    ahead_of,
    laps_of,
    loops_of,
    map_of,
    statuses_of,
    switches_off,
)
from tests.recount.sessions import Told

SLOWED_DOWN = 1.1
"""A lap that takes so many times the best of the car is no timed one."""
CLOSE_S = 2.0


def kind_of(lap: Lap, best_s: float | None) -> str:
    """What kind of lap it was; nothing for one without a time between its lines."""
    if lap.first:
        return "installation" if lap.home else "out"
    if lap.home:
        return "in"
    if lap.time_s is None or best_s is None:
        return ""
    return "timed" if lap.time_s <= SLOWED_DOWN * best_s else "cool"


def kinds(told: Told, car: str) -> dict[int, str]:
    """The kind of each lap, by its number."""
    laps = laps_of(told, car)
    best = min((lap.time_s for lap in laps if lap.time_s is not None), default=None)
    return {lap.number: kind_of(lap, best) for lap in laps}


def wanted_and_clean(told: Told, car: str) -> dict[int, bool]:
    """Which laps were clean, with no switch that was seen to be wrong."""
    spans = statuses_of(told)
    return {lap.number: verdict(told, car, lap, spans) == "clean" and not switches_off(told, car, lap, "switch_wrong")
            for lap in laps_of(told, car)}


def verdict(told: Told, car: str, lap: Lap, spans: list[tuple[str, float, float, tuple[str, ...]]]) -> str:
    """Why a lap was not clean, or that it was; ``told`` with the procedure for which the car was slow."""
    record = next(one for one in told.debrief.car(car).laps if one.number == lap.number)  # type: ignore[union-attr]
    sure = not record.inferred
    usual = told.usual.get((car, lap.number), ())
    loops = loops_of(told)
    if not sure or len(usual) != len(loops) + 1:
        return "unknown"
    if lap.first:
        return "not_complete"
    touched = [status for status, since, until, _ in spans if since < lap.end and until > lap.begin]
    slow = any(status in ("slow", "red") for status in touched)
    passed = {"": lap.begin} | lap.passed | ({} if lap.home else {"line": lap.end})
    known = [place for place in ["", *loops] if place in passed]
    took = [passed[after] - passed[before] for before, after in pairwise(known)]
    wont = dict(zip(["", *loops], usual, strict=True))
    shares = [wont[after] - wont[before] for before, after in pairwise(known)]
    if lap.kind in ("in", "cool"):
        if slow:
            return "yellow" if lap.kind == "cool" else "not_complete"
        pushed = [one / other for one, other in zip(took, shares, strict=True)]
        given_up = next((at for at, one in enumerate(pushed) if one >= GIVEN_UP), 0)
        if given_up and max(pushed[:given_up]) <= IN_EARNEST:
            what = done_between(told, car, lap, *known[given_up : given_up + 2])
            return f"told {what}" if what else "aborted"
        return "cool_down" if lap.kind == "cool" else "not_complete"
    if slow:
        return "yellow"
    ratios = [one / other for one, other in zip(took, shares, strict=True)]
    level = median(ratios) if len(ratios) > 2 else min(ratios)
    lost = [one - level * other for one, other in zip(took, shares, strict=True)]
    worst = lost.index(max(lost))
    if lost[worst] < COUNTS_FROM * sum(shares):
        return "clean"
    begin, end = passed[known[worst]], passed[known[worst + 1]]
    if any(sectors and since <= end and until >= begin for _, since, until, sectors in spans):
        return "yellow"
    what = done_between(told, car, lap, *known[worst : worst + 2])
    if what:
        return f"told {what}"
    gaps = [ahead_of(told, car, place, passed[place]) for place in known[worst : worst + 2] if place]
    return "traffic" if any(gap is not None and gap <= CLOSE_S for gap in gaps) else "mistake"


def done_between(told: Told, car: str, lap: Lap, after: str, before: str) -> str:
    """The procedure that was to be done at a place between two loops, or lasted there; nothing where none was.

    One of which positions show that no speed was held explains nothing.
    """
    track = map_of(told, car)
    begin, end = ({"": 0.0, "line": 1.0}.get(one, track.loops.get(one, 0.0)) for one in (after, before))
    ends = {"": lap.begin, "line": lap.end} | lap.passed
    reasons = {item["item"]: item["reason"] or "" for run in told.plans[car]["runs"] for item in run["items"]}
    items = {one.item: one for one in told.debrief.car(car).items}  # type: ignore[union-attr]
    for window in told.debrief.car(car).data_windows:  # type: ignore[union-attr]
        if window.lap_number != lap.number or window.place is None:
            continue
        here = begin <= track.phase_of(str(items[window.item].place)) < end
        if window.what == "hold":
            here |= ends[after] < window.to_s.value and ends[before] > window.from_s.value
            asked = Asked(told, car, window.item, lap)
            seen = window.evidence == "positions" or reasons[window.item].startswith("positions:")
            here &= seen or not (asked.at_a_speed and nothing_held(told, car, lap, asked))
        if here:
            return str(window.do)
    return ""
