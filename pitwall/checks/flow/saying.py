"""What is said and what is done on it: calls made as they come, one of them missed, and what a missed one leaves."""

from __future__ import annotations

import itertools
from collections.abc import Iterator

from pitwall.checks.flow.course import Course, Spot
from pitwall.checks.flow.state import Event, Events, Names, State
from pitwall.checks.flow.wheel import MISSINGS, Missing, Wheel, act, heard, orders


def new_lap(wheel: Wheel) -> Wheel:
    """The wheel as a lap begins: what telemetry has just shown is news no longer."""
    return tuple(hand._replace(fresh=False) if hand.fresh else hand for hand in wheel)


def ways_said(
    course: Course, state: State, names: Names, misses: int, lap: int | None, following: int
) -> Iterator[tuple[Events, Wheel, int]]:
    """All calls made, and (while misses are left) one call missed: any part of what is said may be in that call."""
    release = lap is None
    for turned, wheel in ways_made(course, state.wheel, names, release, state, lap):
        yield turned, wheel, state.missed
    if state.missed >= misses or not names:
        return
    for count in range(1, len(names) + 1):
        for gone in itertools.combinations(names, count):
            rest = {index: to for index, to in names.items() if index not in gone}
            for turned, wheel in ways_made(course, state.wheel, rest, release, state, lap):
                for how in MISSINGS:
                    event = Event("missed", state.run, lap, tuple(course.parts[one].name for one in gone),
                                  tuple(names[one] for one in gone), following, how)
                    yield (*turned, event), miss(course, wheel, {one: names[one] for one in gone}, release, how), \
                        state.missed + 1


def miss(course: Course, wheel: Wheel, names: Names, release: bool, how: Missing) -> Wheel:
    """What a missed call leaves: nothing moved, but the wall may believe that it did."""
    if how == "unsaid":
        return wheel
    for index, to in names.items():
        wheel = heard(course.parts, wheel, index, to, release, sure=how == "read_back")
    return wheel


def missing(course: Course, state: State, following: State, names: Names, gone: Names, how: Missing) -> State:
    """The lap that follows if of the calls for ``names`` those for ``gone`` are missed, and the others made as they
    come."""
    rest = {index: to for index, to in names.items() if index not in gone}
    _, wheel = next(ways_made(course, state.wheel, rest, state.lap is None, state, state.lap))
    return following._replace(wheel=new_lap(miss(course, wheel, gone, state.lap is None, how)))


def ways_made(
    course: Course, wheel: Wheel, names: Names, release: bool, state: State, lap: int | None
) -> Iterator[tuple[Events, Wheel]]:
    """Every way in which these changes may be made; as the words come first, without cost.

    The words are heard before the hand moves, so a preset's own telemetry may come after them. Where a preset is among
    the changes they may also be in several calls, one heard and done before the next.
    """
    parts, seen = course.parts, set[Wheel]()
    all_heard = wheel
    for index, to in names.items():
        all_heard = heard(parts, all_heard, index, to, release, sure=True)
    for number, order in enumerate(orders(parts, tuple(names))):
        turned: Events = (Event("order", state.run, lap, tuple(parts[one].name for one in order)),) if number else ()
        for together in (True, False) if len(order) > 1 else (True,):
            ways: list[tuple[Events, Wheel]] = [(turned, all_heard if together else wheel)]
            for index in order:
                ways = [way for told, before in ways for way in _one_made(
                    course, before if together else heard(parts, before, index, names[index], release, sure=True),
                    index, names[index], told, Event("reset", state.run, lap, (parts[index].name,)))]
            for way in ways:
                if way[1] not in seen:
                    seen.add(way[1])
                    yield way


def _one_made(
    course: Course, wheel: Wheel, index: int, to: Spot, told: Events, reset: Event
) -> Iterator[tuple[Events, Wheel]]:
    for more, after in act(course.parts, wheel, index, to):
        yield ((*told, reset) if more else told), after
