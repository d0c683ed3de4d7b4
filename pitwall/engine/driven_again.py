"""A timed lap that a slow or red period spoilt is driven again, and with it what was to be done on it.

What the driver was told for that lap, and even what was read back, is somebody's word about a lap that does not count:
its item is told anew for the lap to come. What was measured before stays done: a hold that positions showed has its
data. So does what has its data elsewhere than on the lap: a question, or something in the pit lane.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from pitwall.engine.run_state import ItemState

if TYPE_CHECKING:
    from pitwall.engine.team import TeamCar

AGAIN = "driven again: a slow or red period spoilt its lap"
BROKEN_OFF = "broken off"
TOLD = ("called", "done", "probably_done")


def look(car: TeamCar, now: float) -> None:
    """A lap began, or a status changed: is the timed lap that the car is on one that will be driven again?

    What is done with a whole lap is told anew as soon as that is known: its words may belong before the line. A hold
    may be going on at this moment; it is looked at when the lap is over.
    """
    run, lap = car.progress.current, car.track.lap
    if run is None or lap is None:
        return
    if car.track.lap_number != run.lap_seen:
        run.lap_seen, run.again, run.spoilt = car.track.lap_number, run.spoilt, False
    if run.spoilt or not lap.disturbed or run.expected_kind != "timed" or run.out_in:
        return
    run.spoilt = True
    for item in run.items:
        if item.leg == run.pointer and not item.behind and _window(car, item) == "lap":
            _told_anew(item, now)


def still_to_do(car: TeamCar, now: float) -> tuple[str, ...]:
    """The spoilt lap is over: keys of its items that are to be done on it when it is driven again."""
    run, found = car.progress.current, list[str]()
    for item in run.items if run is not None else ():
        window = _window(car, item)
        if run is None or item.leg != run.pointer or item.behind or window not in ("lap", "hold"):
            continue
        if item.key in car.holds.proven:
            continue
        if window == "hold" and item.state in TOLD:
            _told_anew(item, now)
            item.signal("call_lost", now, AGAIN)  # its place comes by once more: without its words nobody does it
        elif item.state == "not_done" and (item.reason or "").startswith(BROKEN_OFF):
            item.signal("retry", now, AGAIN)
            item.attempt += 1
        found.append(item.key)
    return tuple(found)


def void(item: ItemState, said_t: float | None) -> bool:
    """Guard: what was said then, and perhaps read back, was for a lap that did not count."""
    return item.void_t is not None and said_t is not None and said_t <= item.void_t


def why_void(item: ItemState, call: str) -> str:
    """Why such a word counts no more."""
    if item.against is not None and item.void_t == item.against_t:  # a lap that was spoilt later has its own words
        return f"{call} was said for a lap on which {item.item.do} was not done: {item.against}"
    return f"{call} was said on a lap that was spoilt: {item.item.do} is told and driven again"


def _told_anew(item: ItemState, now: float) -> None:
    if item.state in TOLD:
        item.signal("spoilt", now, AGAIN)
        item.attempt, item.void_t = item.attempt + 1, now


def _window(car: TeamCar, item: ItemState) -> str:
    procedure = car.setup.procedures.get(item.item.do)
    return procedure.data_window if procedure is not None else "none"
