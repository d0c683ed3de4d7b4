"""Every step of a car through its plan: from the garage onto the out-lap, from lap to lap, and back in.

A step is what happens between two lap starts. Its cost counts what is *not* as planned: a call missed, an item left
out, a run dropped, a run broken off (a red flag, or a call to come in early), a page that went home, a bias moved
within its free range, a preset whose release moved more than it says. A step as planned costs nothing.

What is said follows the daemon. Before the line into a timed lap, and wherever the lap that ends may hear it: what the
next lap wants otherwise than this one, and what is taken to be off. After the line of a silent lap: what is believed
off. Before a release: the first time everything, later what is believed off or still owed. A run broken off before it
counts is gone on with: by a red flag it counts with all its timed laps or ``shorten_to``, called in with half of them.
An item may be taken out after its switch was changed for it, before its lap or on it: then what it changed is told to
go back. Not looked at: such an item on a lap that is broken off, items that move to a later lap, runs that are swapped,
and a weather that turns in mid-session.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator

from pitwall.checks.flow.course import Course, ItemId, Spot, Stint
from pitwall.checks.flow.saying import new_lap, ways_made, ways_said
from pitwall.checks.flow.state import Event, Events, Names, State, Step
from pitwall.checks.flow.wheel import Wheel, at_start, stir


def start(course: Course) -> State:
    """The garage before the first run."""
    return State(0, None, at_start(course.parts, course.start))


def steps(course: Course, state: State, misses: int) -> Iterator[Step]:
    """Every step from here with at most so many missed calls in all; the first one is the step as planned."""
    if state.run >= len(course.stints):
        return
    for stirred, wheel in _stirred(course, state):
        moved = state._replace(wheel=wheel)
        if state.lap is None:
            yield from _leave(course, moved, misses, stirred)
        else:
            yield from _along(course, moved, misses, stirred)
    if state.lap is None:
        stint = course.stints[state.run]
        event = Event("dropped", state.run, None, do=stint.run.run)
        yield (event,), _next_run(state, state.wheel)


def _stirred(course: Course, state: State) -> Iterator[tuple[Events, Wheel]]:
    """What switches do by themselves; in the garage nobody plays with a bias."""
    choices = []
    for part, hand in zip(course.parts, state.wheel, strict=True):
        options = list(stir(part, hand))
        choices.append([one for one in options if one[0] != "free"] if state.lap is None else options)
    for combined in itertools.product(*choices):
        events = tuple(
            Event("free" if what == "free" else "home", state.run, state.lap, (part.name,), (hand.stands,))
            for part, (what, hand) in zip(course.parts, combined, strict=True) if what is not None
        )
        yield events, tuple(hand for _, hand in combined)


# -- in the garage -------------------------------------------------------------------------------------------------


def release_list(course: Course, state: State, wanted: tuple[Spot, ...]) -> dict[int, Spot]:
    """What the check before release reads out."""
    found: dict[int, Spot] = {}
    for index, part in enumerate(course.parts):
        hand = state.wheel[index]
        if part.kind == "momentary":
            continue
        if not state.checked:
            rests = hand.believed == part.default and wanted[index] == part.default
            listed = part.kind != "preset" or not rests
        else:
            listed = hand.owed is not None or not part.near(hand.believed, wanted[index])
        if listed:
            found[index] = wanted[index]
    return found


def _leave(course: Course, state: State, misses: int, before: Events) -> Iterator[Step]:
    stint = course.stints[state.run]
    chosen: Iterable[tuple[Events, tuple[ItemId, ...]]] = _chosen(stint, state.run, 0, None)
    if state.begun:
        chosen = [((), state.first or ())]
    elif state.first is not None:
        # What was left out of an out-lap that was broken off does not come back.
        gone = {one.item for one in stint.asked[0]} - set(state.first)
        chosen = [(tuple(event for event in events if event.item not in gone), alive)
                  for events, alive in chosen if not gone & set(alive)]
    for left_out, alive in chosen:
        wanted = stint.wanted(0, alive, ())
        names = release_list(course, state, wanted)
        for said, wheel, missed in ways_said(course, state, names, misses, None, 0):
            yield (*before, *left_out, *said), state._replace(
                lap=0, wheel=new_lap(wheel), alive=alive, first=alive, checked=True, missed=missed)


def _chosen(stint: Stint, run: int, lap: int, on: int | None) -> Iterator[tuple[Events, tuple[ItemId, ...]]]:
    """Which items of a lap are done and which are left out; all of them first."""
    asked = stint.asked[lap]
    for count in range(len(asked) + 1):
        for gone in itertools.combinations(asked, count):
            events = tuple(Event("left_out", run, on, next_lap=lap, do=one.do, item=one.item) for one in gone)
            yield events, tuple(one.item for one in asked if one not in gone)


# -- on the road ---------------------------------------------------------------------------------------------------


def _along(course: Course, state: State, misses: int, before: Events) -> Iterator[Step]:
    stint, lap = course.stints[state.run], state.lap
    assert lap is not None
    if stint.run.out_in or lap == stint.last:
        for parked in _come_in(course, state, state.wheel, lap, by_flag=False):
            yield before, parked
        return
    following = state.resume if lap == 0 else lap + 1
    # On the out-lap of a run that is gone on with, what was driven once is behind it and cannot be taken out.
    told: Names | None = {} if lap == 0 and state.begun else None
    for out, alive in _taken_out(stint, state.run, lap, lap, state.alive, told):
        # Taken out on its own lap: what it changed is off, and its place in the plan is as if it had never been.
        now = state._replace(alive=alive, first=alive if out and lap == 0 else state.first)
        yield from _to_the_line(course, now, misses, (*before, *out), following)
    yield from _broken_off(course, state, misses, before, following, _left_behind(stint, state))


def _left_behind(stint: Stint, state: State) -> tuple[ItemId, ...]:
    """Items of this lap and of earlier ones whose positions are left on purpose."""
    left = {one.item for one in stint.asked[state.lap or 0] if one.stays and one.item in state.alive}
    return tuple(sorted(left.union(state.stays)))


def _to_the_line(course: Course, state: State, misses: int, before: Events, following: int) -> Iterator[Step]:
    stint, lap = course.stints[state.run], state.lap
    stays = _left_behind(stint, state)
    for left_out, alive in _chosen(stint, state.run, following, lap):
        names = between(course, state, following, alive, stays)
        for said, wheel, missed in ways_said(course, state, names, misses, lap, following):
            after = state._replace(lap=following, wheel=new_lap(wheel), resume=1, alive=alive, stays=stays,
                                   missed=missed)
            yield (*before, *left_out, *said), after
            told = state._replace(wheel=wheel, missed=missed)
            for out, rest in _taken_out(stint, state.run, following, lap, alive, names):
                # What is told to go back, if it was told at all; the rest was told before.
                again = between(course, told, following, rest, stays)
                back = {index: to for index, to in again.items() if names.get(index) != to}
                for more, turned, missed_now in ways_said(course, told, back, misses, lap, following) if out else ():
                    yield (*before, *left_out, *said, *out, *more), after._replace(
                        wheel=new_lap(turned), alive=rest, missed=missed_now)


def _taken_out(
    stint: Stint, run: int, lap: int, on: int | None, alive: tuple[ItemId, ...], told: Names | None
) -> Iterator[tuple[Events, tuple[ItemId, ...]]]:
    """Which of a lap's items are taken out after their switches were changed (``told``; None: all were); none first."""
    moved = [one for one in stint.asked[lap] if one.item in alive
             and (told is None or any(index in told for index, _ in (*one.to, *one.by)))]
    for count in range(len(moved) + 1):
        for gone in itertools.combinations(moved, count):
            events = tuple(Event("taken_out", run, on, next_lap=lap, do=one.do, item=one.item) for one in gone)
            yield events, tuple(item for item in alive if all(item != one.item for one in gone))


def between(
    course: Course, state: State, following: int, alive: tuple[ItemId, ...], stays: tuple[ItemId, ...]
) -> dict[int, Spot]:
    """What the driver is told to change from the lap of ``state`` to the one that follows."""
    stint, lap = course.stints[state.run], state.lap
    assert lap is not None
    was = stint.wanted(lap, state.alive, state.stays)
    wanted = stint.wanted(following, alive, stays)
    after_the_line = stint.laps[following] != "timed" and stint.silent[lap]
    return _to_change(course, state.wheel, None if after_the_line else was, wanted)


def _to_change(
    course: Course, wheel: Wheel, was: tuple[Spot, ...] | None, wanted: tuple[Spot, ...]
) -> dict[int, Spot]:
    """Against the lap before, or (``was`` None) against what is believed."""
    found: dict[int, Spot] = {}
    for index, (part, hand) in enumerate(zip(course.parts, wheel, strict=True)):
        if part.kind in ("momentary", "stationary"):
            continue
        off = not part.near(hand.believed, wanted[index])
        if was is None:
            told = off
        else:
            planned = was[index] != wanted[index] and not (part.measured and hand.fresh and not off)
            told = planned or off
        if told:
            found[index] = wanted[index]
    return found


def _broken_off(
    course: Course, state: State, misses: int, before: Events, following: int, stays: tuple[ItemId, ...]
) -> Iterator[Step]:
    """The run ends on this lap, before or after some of the calls that were due on it."""
    stint, lap = course.stints[state.run], state.lap
    assert lap is not None
    red, called = Event("broken_off", state.run, lap), Event("called_in", state.run, lap)
    # A run that is called in may count where one that a flag ended does not: nobody meant that one to be over.
    apart = stint.counts(_timed_done(stint, state), False) and not stint.counts(_timed_done(stint, state), True)
    for ended in (red, called) if apart else (red,):
        for parked in _come_in(course, state, state.wheel, lap, ended is red):
            yield (*before, ended), parked
        for left_out, alive in _chosen(stint, state.run, following, lap):
            names = between(course, state, following, alive, stays)
            yield from _some_said(course, state, names, (*before, *left_out, ended), lap, ended is red)
    if lap > 0 and stint.silent[stint.last - 1]:
        # Called in early after a silent lap: what the in-lap wants is said as it begins.
        for left_out, alive in _chosen(stint, state.run, stint.last, lap):
            wanted = stint.wanted(stint.last, alive, stays)
            names = _to_change(course, state.wheel, None, wanted)
            for ending in ((called,), (called, red)) if apart else ((called,),):
                yield from _some_said(course, state, names, (*before, *left_out, *ending), lap, red in ending)


def _timed_done(stint: Stint, state: State) -> int:
    """Timed laps behind the car; on the out-lap of a run that is gone on with, those of its earlier leavings."""
    return stint.laps[: state.lap or state.resume].count("timed")


def _some_said(
    course: Course, state: State, names: Names, events: Events, lap: int, by_flag: bool
) -> Iterator[Step]:
    for count in range(1, len(names) + 1):
        for some in itertools.combinations(names, count):
            told = {index: names[index] for index in some}
            for turned, wheel in ways_made(course, state.wheel, told, False, state, lap):
                for parked in _come_in(course, state, wheel, lap, by_flag):
                    yield (*events, *turned), parked


def _come_in(course: Course, state: State, wheel: Wheel, lap: int, by_flag: bool) -> Iterator[State]:
    """In the garage again: what was changed and is not known to be back is owed; the run counts or is gone on with."""
    stint = course.stints[state.run]
    home = stint.wanted(0, state.first or (), ())
    hands = []
    for hand, at in zip(wheel, home, strict=True):
        owes = any(to != at for to in hand.moved) and (hand.believed != at or not hand.sure)
        hands.append(hand._replace(owed=at if owes else hand.owed, fresh=False))
    counts = stint.run.out_in or stint.counts(_timed_done(stint, state), by_flag)
    if counts or state.again:
        yield _next_run(state, tuple(hands))
    if not counts:
        resume, began = max(1, lap), state.begun or lap > 0
        while stint.laps[resume] == "cool":
            resume += 1
        early = {one.item for asked in stint.asked[:resume] for one in asked}
        again, stays = state.again or state.resume > resume, tuple(item for item in state.stays if item in early)
        parked = state._replace(wheel=tuple(hands), lap=None, alive=())
        yield parked._replace(resume=resume, begun=began, again=again, stays=stays)


def _next_run(state: State, wheel: Wheel) -> State:
    hands = tuple(hand._replace(moved=(), fresh=False) for hand in wheel)
    return State(state.run + 1, None, hands, checked=state.checked, missed=state.missed)
