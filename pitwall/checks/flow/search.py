"""All positions that a lap can start with, and the shortest story of each timed lap that starts wrong.

Switch by switch, every state that the car and this switch can be in is visited once, cheapest first (fewest things out
of plan, then fewest laps): the first arrival at a wrong start is its shortest story. A switch is looked at together
with the presets that move it, and with nothing else: what else is said in the same call has no bearing on where it
stands.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import combinations, count

from pitwall.checks.flow.course import Course, Spot, Stint, lay_out, movers_of
from pitwall.checks.flow.state import Event, Events, State
from pitwall.checks.flow.walk import start, steps
from pitwall.checks.flow.wheel import at_start, stir
from pitwall.model.car import Car, Switch
from pitwall.model.plan import Plan
from pitwall.model.procedure import Procedure

LapStart = tuple[int, int]
"""(run, lap): indices among the runs with laps, and into the laps of that run."""

MOST_STATES = 40_000
"""States of one switch after which the proof is broken off: some seconds of work, reached by no plan that a person
writes."""


@dataclass(frozen=True)
class Wrong:
    """A timed lap that can start with a switch where the run does not want it.

    Attributes:
        switch: its name.
        at: the lap.
        stands, wanted: the position that it has and the one that it should have.
        events: what was out of plan, in order; empty when the plan itself does it.
    """

    switch: str
    at: LapStart
    stands: Spot
    wanted: Spot
    events: Events


@dataclass(frozen=True)
class SwitchProof:
    """What was shown for one switch.

    Attributes:
        guarded: must it be in place when a timed lap starts?
        positions: where it may stand when each lap starts, with no call missed and with at most ``misses``.
        complete: False when there were too many ways to follow them all; then nothing is shown.
        wrong: by lap, the shortest story with no call missed; ``wrong_missed`` the same with at most ``misses``.
    """

    switch: str
    guarded: bool
    positions: Mapping[LapStart, frozenset[Spot]]
    positions_missed: Mapping[LapStart, frozenset[Spot]]
    wrong: Mapping[LapStart, Wrong] = field(default_factory=dict)
    wrong_missed: Mapping[LapStart, Wrong] = field(default_factory=dict)
    complete: bool = True


def prove(
    plan: Plan, car: Car, procedures: Mapping[str, Procedure], wet: bool = False, misses: int = 1
) -> tuple[SwitchProof, ...]:
    """The proof for every switch of the car, by name."""
    used = {item.do for run in plan.runs for item in run.items}
    texts = [plan.model_dump_json(), car.model_dump_json()]
    texts += [f"{name} {procedures[name].model_dump_json()}" for name in sorted(used & procedures.keys())]
    return _proved(_Asked(tuple(texts), wet, misses, plan, car, procedures))


@dataclass(frozen=True)
class _Asked:
    """What is to be proved. It is the same question where plan, car and the procedures that the plan uses read alike:
    a file that is read once more makes others of them."""

    texts: tuple[str, ...]
    wet: bool
    misses: int
    plan: Plan = field(compare=False)
    car: Car = field(compare=False)
    procedures: Mapping[str, Procedure] = field(compare=False)


@lru_cache(maxsize=32)
def _proved(asked: _Asked) -> tuple[SwitchProof, ...]:
    # Kept, for the proofs of all plans are made whenever any file of the event is read again, and are most of the cost.
    return tuple(prove_switch(asked.plan, asked.car, asked.procedures, switch, asked.wet, asked.misses)
                 for switch in sorted(asked.car.switches, key=lambda one: one.switch))


def prove_switch(
    plan: Plan, car: Car, procedures: Mapping[str, Procedure], switch: Switch, wet: bool = False, misses: int = 1
) -> SwitchProof:
    """The proof for one switch."""
    names = movers_of(car, switch.switch)
    course = lay_out(plan, car, procedures, wet, names)
    subject = names.index(switch.switch)
    guarded = course.guarded(car, subject)
    if _still(course):
        spots = frozenset(hand.stands for _, hand in stir(course.parts[0], at_start(course.parts, course.start)[0]))
        where = dict.fromkeys(_starts(course), spots)
        return SwitchProof(switch.switch, guarded, where, where)
    if not misses and _follows_its_calls(course):
        where = {at: _wanted(course.stints[at[0]], at[1]) for at in _starts(course)}
        return SwitchProof(switch.switch, guarded, where, where)
    return search(course, subject, guarded, misses)


def search(course: Course, subject: int, guarded: bool, misses: int) -> SwitchProof:
    """The proof by going through every state; ``subject`` is the index of the switch that is asked about."""
    return _Search(course, subject, guarded, misses).proof()


def _follows_its_calls(course: Course) -> bool:
    """Guard: with no call missed the switch stands at each lap start where that lap wants it, so no search is needed.

    By induction along any path: nothing but calls moves a lone rotary, toggle or bias without a free range, so with all
    of them made the wall knows where it stands. The first check sets it as the out-lap wants it, a later one does so
    where it stands otherwise. Between two laps a call is made where the wanted positions differ, or where it stands
    otherwise.
    """
    part = course.parts[0]
    leaves = any(asked.stays for stint in course.stints for lap in stint.asked for asked in lap)
    return len(course.parts) == 1 and not leaves and not part.free and part.kind in ("rotary", "toggle", "bias")


def _starts(course: Course) -> Iterator[LapStart]:
    """Every lap that is started; out and straight in is one lap."""
    for run, stint in enumerate(course.stints):
        yield from ((run, lap) for lap in range(1 if stint.run.out_in else len(stint.laps)))


def _wanted(stint: Stint, lap: int) -> frozenset[Spot]:
    """Where a lap may want the switch, with each choice of items left out."""
    items = [asked.item for asked in stint.asked[lap]]
    return frozenset(stint.wanted(lap, alive, ())[0] for number in range(len(items) + 1)
                     for alive in combinations(items, number))


def _still(course: Course) -> bool:
    """Guard: nothing ever moves this switch, and nobody wants it elsewhere."""
    part = course.parts[0]
    if len(course.parts) > 1 or (part.home is not None and part.home != course.start[0]):
        return False
    wanted = {spot for stint in course.stints for (spot,) in stint.base}
    return wanted <= set(course.start) and not any(one for stint in course.stints for lap in stint.asked for one in lap)


class _Search:
    """One search; cheapest states first."""

    def __init__(self, course: Course, subject: int, guarded: bool, misses: int) -> None:
        self.course, self.subject, self.guarded, self.misses = course, subject, guarded, misses
        self.came: dict[State, tuple[State, Events] | None] = {}
        self.where: tuple[dict[LapStart, set[Spot]], dict[LapStart, set[Spot]]] = ({}, {})
        self.wrong: tuple[dict[LapStart, Wrong], dict[LapStart, Wrong]] = ({}, {})

    def proof(self) -> SwitchProof:
        """Search, and put together what was found."""
        self._run()
        calm, missed = ({at: frozenset(spots) for at, spots in sorted(one.items())} for one in self.where)
        name = self.course.parts[self.subject].name
        return SwitchProof(name, self.guarded, calm, missed, *self.wrong, complete=len(self.came) < MOST_STATES)

    def _run(self) -> None:
        first, tick = start(self.course), count()
        heap: list[tuple[int, int, int, State, State | None, Events]] = [(0, 0, next(tick), first, None, ())]
        while heap and len(self.came) < MOST_STATES:
            cost, length, _, state, before, events = heapq.heappop(heap)
            if self._known(state):
                continue
            self.came[state] = None if before is None else (before, events)
            self._arrive(state)
            for more, following in steps(self.course, state, self.misses):
                if not self._known(following):
                    heapq.heappush(heap, (cost + len(more), length + 1, next(tick), following, state, more))

    def _known(self, state: State) -> bool:
        """Guard: was it here before, at no higher cost and with as many misses left?"""
        return state in self.came or bool(state.missed and state._replace(missed=0) in self.came)

    def _arrive(self, state: State) -> None:
        if state.lap is None:
            return
        at, stint = (state.run, state.lap), self.course.stints[state.run]
        stands = state.wheel[self.subject].stands
        for allowed in (0, 1):
            if state.missed <= allowed * self.misses:
                self.where[allowed].setdefault(at, set()).add(stands)
        if not self.guarded or stint.laps[state.lap] != "timed":
            return
        wanted = stint.wanted(state.lap, state.alive, state.stays)[self.subject]
        if self.course.parts[self.subject].near(stands, wanted):
            return
        for allowed in (0, 1):
            if state.missed <= allowed * self.misses and at not in self.wrong[allowed]:
                self.wrong[allowed][at] = Wrong(self.course.parts[self.subject].name, at, stands, wanted,
                                                tuple(self._story(state)))

    def _story(self, state: State) -> Iterator[Event]:
        parts: list[Events] = []
        link = self.came[state]
        while link is not None:
            state, events = link
            parts.append(events)
            link = self.came[state]
        for events in reversed(parts):
            yield from events
