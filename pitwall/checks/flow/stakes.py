"""The single calls on which timed laps hang: what each call of the plan, missed alone, would spoil.

The plan is walked once as it stands, with the whole wheel, and its calls are taken as the daemon groups them. Then each
of them is missed, alone and in the worst way, and the walk goes on as planned: the timed laps that start wrong are
counted.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from pitwall.checks.flow.course import Course, Spot, lay_out
from pitwall.checks.flow.saying import missing
from pitwall.checks.flow.search import LapStart
from pitwall.checks.flow.state import Names, State
from pitwall.checks.flow.walk import between, release_list, start, steps
from pitwall.checks.flow.wheel import MISSINGS
from pitwall.model.car import Car
from pitwall.model.plan import Plan
from pitwall.model.procedure import Procedure
from pitwall.track.lapmap import LapMap

ALONE, ON_THE_ROAD, BEFORE_RELEASE = 1, 2, 4
"""Switches in one call on track, where the listening stretches are known and elsewhere, and in one group of the check
before release (common practice, no source)."""


@dataclass(frozen=True)
class Call:
    """One call of the plan: said in the garage (``lap`` None) or on a lap, for the lap that follows."""

    run: int
    lap: int | None
    next_lap: int
    names: tuple[str, ...]
    to: tuple[Spot, ...]
    was: tuple[Spot, ...]


@dataclass(frozen=True)
class Stake:
    """What hangs on a call.

    Attributes:
        spoilt: the timed laps that start wrong if it alone is missed, in order.
        switches: with what.
        seen: does telemetry show each of these switches, so that an alert comes at once?
    """

    call: Call
    spoilt: tuple[LapStart, ...]
    switches: tuple[str, ...]
    seen: bool


def stakes(
    plan: Plan, car: Car, procedures: Mapping[str, Procedure], wet: bool = False, lap: LapMap | None = None
) -> tuple[Stake, ...]:
    """Every call on which a timed lap hangs, the most at stake first, then what nobody would see, then in order.

    ``lap``: the circuit at the car's pace, for what goes into one call; None where it is not known.
    """
    course = lay_out(plan, car, procedures, wet, sorted(switch.switch for switch in car.switches))
    road = _Road(course, car)
    plain = set(road.wrong(start(course)))
    found: list[Stake] = []
    state: State | None = start(course)
    while state is not None:
        following = road.next(state)
        for call, names, group in _calls(course, state, following, _at_most(plan, lap)):
            assert following is not None
            ways = (missing(course, state, following, names, group, how) for how in MISSINGS)
            worst = max((set(road.wrong(way)) - plain for way in ways), key=len)
            if worst:
                off = tuple(sorted({name for _, name in worst}))
                seen = all(part.measured for part in course.parts if part.name in off)
                found.append(Stake(call, tuple(sorted({at for at, _ in worst})), off, seen))
        state = following
    return tuple(sorted(found, key=lambda one: (-len(one.spoilt), one.seen, -len(one.switches))))


def calls_of(
    plan: Plan, car: Car, procedures: Mapping[str, Procedure], wet: bool = False, lap: LapMap | None = None
) -> Iterator[Call]:
    """Every switch call of the plan as it stands, in order; ``lap`` as in :func:`stakes`."""
    course = lay_out(plan, car, procedures, wet, sorted(switch.switch for switch in car.switches))
    road = _Road(course, car)
    state: State | None = start(course)
    while state is not None:
        following = road.next(state)
        yield from (call for call, _, _ in _calls(course, state, following, _at_most(plan, lap)))
        state = following


def _at_most(plan: Plan, lap: LapMap | None) -> int:
    """Switches in one call on track, as the daemon's rule has them."""
    return ALONE if plan.medium != "board" and lap is not None and lap.listening is not None else ON_THE_ROAD


class _Road:
    """The plan from any state on, all as planned; where two ways meet again the rest is looked up."""

    def __init__(self, course: Course, car: Car) -> None:
        self.course = course
        self.guarded = tuple(course.guarded(car, index) for index in range(len(course.parts)))
        self._next: dict[State, State | None] = {}

    def next(self, state: State) -> State | None:
        """One step as planned; None at the end of the plan."""
        if state not in self._next:
            self._next[state] = next((following for _, following in steps(self.course, state, 0)), None)
        return self._next[state]

    def wrong(self, begin: State) -> Iterator[tuple[LapStart, str]]:
        """Every wrong start of a timed lap from here on."""
        state: State | None = begin
        while state is not None:
            stint = self.course.stints[state.run] if state.lap is not None else None
            if stint is not None and state.lap is not None and stint.laps[state.lap] == "timed":
                wanted = stint.wanted(state.lap, state.alive, state.stays)
                for part, hand, to, watched in zip(self.course.parts, state.wheel, wanted, self.guarded, strict=True):
                    if watched and not part.near(hand.stands, to):
                        yield (state.run, state.lap), part.name
            state = self.next(state)


def _calls(
    course: Course, state: State, following: State | None, on_the_road: int
) -> Iterator[tuple[Call, Names, Names]]:
    """The calls from here to the next lap in the daemon's groups: (call, all that is told, what this call tells)."""
    if following is None or following.lap is None:
        return
    if state.lap is None:
        names = release_list(course, state, course.stints[state.run].wanted(0, following.alive, ()))
    else:
        names = between(course, state, following.lap, following.alive, following.stays)
    most, listed = BEFORE_RELEASE if state.lap is None else on_the_road, sorted(names)
    for begin in range(0, len(listed), most):
        group = {index: names[index] for index in listed[begin:begin + most]}
        told = tuple(course.parts[one].name for one in group)
        was = tuple(state.wheel[one].stands for one in group)
        yield Call(state.run, state.lap, following.lap, told, tuple(group.values()), was), names, group
