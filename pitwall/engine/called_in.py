"""A driver who was called in, and is to go on after all: he is told to stay out, and called in anew when it is time.

A box command is taken back, or a lap more is asked for, and "box" may be on the air by then. Whoever heard it comes in
as long as nobody says otherwise. Read off the calls, whatever changed the plan: one by which he was called in was said,
may have been said, or gets its key only now (the key comes after the mouth), and the lap that he is on is no in-lap.
A box board is another thing: it is taken in before the car passes, or it is too late to show anything on that lap.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from pitwall.engine.call import Call
from pitwall.engine.offered_again import HEARD
from pitwall.engine.run_state import RunState

if TYPE_CHECKING:
    from pitwall.engine.team import TeamCar

BEGINS_S = 1.0  # nobody reads a prompt and begins to speak in less (common practice, no source)
MAY_BE_SAID = "the car is to go on; it may have been said"
HE_COMES_IN = "he may come in, and it is too late to tell him to stay out"


def look(car: TeamCar, now: float) -> None:
    """See whether the driver is to be told, from the laps as they are laid out now."""
    run = _goes_on(car)
    heard = 0
    for call in _by_radio(car, run) if run is not None else ():
        if call.state == "due" and may_be_said(car, call, now):
            car.signal(call, "withdraw", now, MAY_BE_SAID)
        if not call.open:
            call.unfounded = True  # it was for another lap than the in-lap that is still to come
            heard += _heard(call)
    if not heard:
        car.called_in = None
    elif car.called_in is None or car.called_in[0] != heard:
        car.called_in = heard, now
        _of_another_lap(car)


def _of_another_lap(car: TeamCar) -> None:
    """He is told to stay out once a lap: what was said of an earlier one holds for that one."""
    for call in car.book.calls.values():
        if call.spec.ask.action == "stay_out" and not call.open and call.spec.lap_number != car.track.lap_number:
            call.unfounded = True


def anew(car: TeamCar, since: float) -> None:
    """A box command of that moment never was: what was said or lost since for laps that are still to come is made anew
    for them."""
    run = car.progress.current
    for call in car.book.calls.values() if run is not None else ():
        t = call.said_t if call.said_t is not None else call.ended_t
        if run is None or call.open or t is None or t < since or call.spec.run != run.run.run:
            continue
        ahead = call.spec.leg is not None and call.spec.leg > run.pointer
        if call.spec.ask.action != "stay_out" and (ahead or call.spec.kind == "box"):
            call.unfounded = True


def words(car: TeamCar, now: float) -> str:
    """What somebody who lets the car go on must know, to be put behind the answer; empty where nobody told the driver
    to come in."""
    run = _goes_on(car)
    if run is None:
        return ""
    for call in car.book.asking("box"):
        ahead = (call.spec.pass_number or 0) - car.track.lap_number
        if call.spec.medium == "board" and call.said_t is not None and ahead >= 0:
            return "; the box board hangs: take it in before the car passes" if ahead else f"; {HE_COMES_IN}"
    calls = [*_by_radio(car, run)]
    told = [call for call in calls if _heard(call)] or [call for call in calls if may_be_said(car, call, now)]
    if not told:
        return ""
    last = car.track.earliest(car.lap_map.last_chance)
    late = car.track.seen_phase > car.lap_map.last_chance or (
        last is not None and now + car.setup.calls.box_reaction_s > last)
    return f"; {told[-1].spec.short!r} may be on the air: {HE_COMES_IN if late else 'tell the driver to stay out'}"


def _goes_on(car: TeamCar) -> RunState | None:
    """The run that the car is on, where it drives a lap that is not its in-lap."""
    run = car.progress.current
    if run is None or not car.track.on_track or run.out_in or run.expected_kind == "in":
        return None
    return run


def _by_radio(car: TeamCar, run: RunState) -> Iterator[Call]:
    """Calls in of this run for the lap that the car is on, and those that came too late for the lap before it. One that
    is said a moment before its lap begins is for the lap to come."""
    lap = car.track.lap
    since = float("inf") if lap is None else lap.start_t - car.setup.calls.box_reaction_s - (
        1.0 - car.lap_map.last_chance) * car.track.pace.quick_s()
    since = max(since, car.progress.left_t)
    for call in car.book.asking("box"):
        t = call.said_t if call.said_t is not None else call.due_t
        if call.spec.run != run.run.run or t is None or t < since:
            continue
        to_come = call.spec.waits and call.spec.leg != run.pointer  # the lap that it waits for has not begun
        if not to_come and call.spec.medium != "board":
            yield call


def _heard(call: Call) -> bool:
    return call.state in HEARD or call.said_t is not None or call.reason == MAY_BE_SAID


def may_be_said(car: TeamCar, call: Call, now: float) -> bool:
    """Guard: somebody may be saying it now: the radio desk says so, or where it says nothing the call stands there for
    long enough."""
    if call.state != "due" or call.due_t is None:
        return False
    if car.channel.talk.known:
        return car.channel.being_said(call, now) or call.id in car.channel.spoken
    return now - call.due_t >= BEGINS_S
