"""Two items that want one and the same stretch of one lap: the car can drive only one of them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

from pitwall.checks.around import Around
from pitwall.checks.codes import finding
from pitwall.checks.flow.story import lap_name
from pitwall.checks.items import Placed, placed_items
from pitwall.checks.waiting import may_be_on
from pitwall.errors import FilePath, Finding
from pitwall.model.plan import Plan
from pitwall.model.procedure import Procedure
from pitwall.track.lapmap import LapMap
from pitwall.track.places import plain

TOUCH_M = 1.0
"""Holds that meet within this do not overlap: no place of a circuit file is surveyed better (common practice)."""


@dataclass(frozen=True)
class Wish:
    """An item and the stretch that it wants, on each of its laps.

    ``begin`` is the phase of its place, ``offset_s`` how long after it the driver acts. ``from_m`` and ``to_m`` are
    known of a hold that fits on a circuit with geometry, else nobody can say how far it goes. ``laps`` are indices of
    the run's laps; out and straight in is one lap, whatever it is called.
    """

    placed: Placed
    named: str
    begin: float
    offset_s: float
    laps: tuple[int, ...]
    from_m: float | None = None
    to_m: float | None = None


def check_overlap(plan: Plan, around: Around) -> Iterator[Finding]:
    """Holds at one place of one lap, and holds of which one is still going on where the other begins."""
    if around.lap is None:
        return
    wishes = [wish for placed in placed_items(plan, around) if (wish := _wish(placed, around.lap)) is not None]
    told: set[tuple[str | int, ...]] = set()
    for wish in wishes:
        if wish.placed.run.out_in and len(wish.laps) > 1:
            told.add(wish.placed.path)
            yield _finding(wish, wish, 0)
    for first, second in combinations(wishes, 2):
        if first.placed.index != second.placed.index or second.placed.path in told:
            continue
        laps = _together(first, second)
        if laps and _one_stretch(first, second):
            told.add(second.placed.path)
            yield _finding(first, second, laps[0])


def _wish(placed: Placed, lap: LapMap) -> Wish | None:
    procedure, named = placed.procedure, placed.item.after or placed.item.at
    if procedure is None or procedure.place == "none" or named is None or plain(named) not in lap.places:
        return None
    laps = may_be_on(placed.run, placed.item, procedure)
    if not laps:
        return None
    offset_s = next((step.offset_s for step in procedure.steps if step.where == "place"), 0.0)
    wish = Wish(placed, named, lap.phase_of(named), offset_s, laps)
    seconds, speed = placed.figure(procedure.hold.seconds) if procedure.hold else None, placed.hold_mps
    begin = lap.distance_at_phase(wish.begin)
    if procedure.hold is None or begin is None or not seconds or not speed or seconds <= 0 or speed <= 0:
        return wish
    room = lap.hold_fits(named, seconds, speed, procedure.hold.settle_s)
    if not room.fits or room.needed_m is None:
        return wish
    return Wish(placed, named, wish.begin, offset_s, laps, begin, begin + room.needed_m)


def check_twice(plan: Plan, around: Around) -> Iterator[Finding]:
    """The same item, with the same figures, on the same lap: it is called twice. At a place ``check_overlap`` tells."""
    items = [placed for placed in placed_items(plan, around) if placed.procedure is not None and placed.run.laps]
    told: set[FilePath] = set()
    for first, second in combinations(items, 2):
        if first.index != second.index or second.path in told or not _alike(first, second):
            continue
        laps = _on_both(first, second, *(set(may_be_on(one.run, one.item, one.procedure)) for one in (first, second)))
        if laps:
            told.add(second.path)
            on = lap_name(second.run, laps[0])
            yield finding("PW224", path=second.path, expected="it once on a lap",
                          found=f"{second.item.do!r} on the {on} of {second.run.run!r} twice")


def _alike(first: Placed, second: Placed) -> bool:
    """Guard: the same procedure with the same figures, at no place."""
    named = (*first.procedure.arguments,) if first.procedure is not None else ()
    places = (first.item.after, first.item.at, second.item.after, second.item.at)
    return first.item.do == second.item.do and not any(places) and all(
        first.argument(name) == second.argument(name) for name in named)


def _together(first: Wish, second: Wish) -> list[int]:
    """Laps on which both are done; out and straight in is one, whatever it is called."""
    mine, other = ({0} if wish.placed.run.out_in else set(wish.laps) for wish in (first, second))
    return _on_both(first.placed, second.placed, mine, other)


def _on_both(first: Placed, second: Placed, mine: set[int], other: set[int]) -> list[int]:
    """Laps on which both are done, as the plan has it; none where one of them may wait for another lap."""
    waits = [placed.item.when is not None for placed in (first, second)]
    if all(waits):
        return sorted(mine) if mine == other and len(mine) == 1 else []
    if any(waits):
        waiting, fixed = (mine, other) if waits[0] else (other, mine)
        return sorted(waiting) if waiting <= fixed else []
    return sorted(mine & other)


def _one_stretch(first: Wish, second: Wish) -> bool:
    """Guard: they begin at one place, or one begins while the other is still going on."""
    alike = first.placed.item.do == second.placed.item.do
    if first.offset_s != second.offset_s or not (alike or (_holds(first) and _holds(second))):
        return False
    return abs(first.begin - second.begin) < 1e-9 or _within(first, second) or _within(second, first)


def _within(first: Wish, second: Wish) -> bool:
    """Guard: the second begins on the stretch on which the first is held, both as far as it is known."""
    begin = second.from_m
    if begin is None or first.from_m is None or first.to_m is None:
        return False
    return first.from_m < begin < first.to_m - TOUCH_M


def _holds(wish: Wish) -> bool:
    """Guard: it takes data over a stretch, so nothing else can be done there meanwhile."""
    procedure: Procedure | None = wish.placed.procedure
    return procedure is not None and (procedure.hold is not None or procedure.data_window == "hold")


def _finding(first: Wish, second: Wish, lap: int) -> Finding:
    item, run = second.placed.item, second.placed.run
    key = "after" if item.after is not None else "at"
    on = "installation lap" if run.out_in else lap_name(run, lap)
    what = f"{item.do!r} {key} {second.named} on the {on} of {run.run!r}"
    if first is second:
        found, expected = f"{what} twice: out and straight in is one lap", "one lap in 'on'"
    elif abs(first.begin - second.begin) < 1e-9:
        found, expected = f"{what}, where {first.placed.item.do!r} is done", "one of them there on a lap"
    else:
        early, late = sorted((first, second), key=lambda one: one.begin)
        assert early.to_m is not None
        assert late.from_m is not None
        found = (f"{what}: {early.placed.item.do!r} from {early.named} goes on for {early.to_m - late.from_m:.0f} m "
                 f"beyond {late.named}, where {late.placed.item.do!r} begins")
        expected = "one that is over before the other begins"
    return finding("PW223", path=(*second.placed.path, key), found=found, expected=expected,
                   suggestion=_in_one(first, second))


def _in_one(first: Wish, second: Wish) -> str | None:
    """What is done at a standstill may be done several times at one place: that is one item."""
    one, other, procedure = first.placed.item, second.placed.item, first.placed.procedure
    if first is second or one.do != other.do or procedure is None or not procedure.stationary:
        return None
    return f"for {one.do!r} more than once there, one item with 'times: {one.times + other.times}'"
