"""The calls of each lap of a plan in the order in which they come, before anything is known of the session.

Words and rules are the engine's own (``engine/rules/``), driven along the plan as it is written: every lap is the
planned one, every switch stands where the calls put it. What comes of the session (traffic, flags, pace) is not there.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from pitwall.checks.around import Around
from pitwall.checks.boards import OTHER, SWITCH, passes
from pitwall.checks.media import STANDING, asks
from pitwall.checks.summary import item_words
from pitwall.engine.item_arguments import item_arguments
from pitwall.engine.media import AFTER_THE_OUT_LAP
from pitwall.engine.progress import ItemState, PlanProgress, RunState
from pitwall.engine.rules.after_flag import told_at
from pitwall.engine.rules.box import BOX, BOX_AGAIN
from pitwall.engine.rules.first_line import ON_THE_OUT_LAP, STRAIGHT_IN
from pitwall.engine.rules.lap_kind import COOL_NOW, PUSH_AGAIN, laps_in_turn, laps_told
from pitwall.engine.rules.procedure import as_it_begins, makes_it_a_cool_lap
from pitwall.engine.switches import SwitchBoard
from pitwall.errors import UserError
from pitwall.model.car import Position, position_text
from pitwall.model.plan import CallClass, Item, LapKind, Plan
from pitwall.model.procedure import Procedure, Step
from pitwall.model.units import clock_text
from pitwall.radio.board import MOST_LINES, board_parts
from pitwall.radio.speech import spoken_s
from pitwall.radio.wording import count_word, fill, switch_words
from pitwall.track.likely import LAP_FACTORS

USUAL_LAP_S = 90.0
"""Where no circuit could be read: only the order of calls hangs on it."""
LINE, BEFORE_LINE, GARAGE, PIT_EXIT, PIT_ENTRY, PIT_LANE = (
    "line", "lap end", "garage", "pit exit", "pit entry", "pit lane")  # fmt: skip
PIT_WALL, BACK = "pit wall", "back in the garage"
GARAGE_S = -60.0
LAPS_TOLD_S = 25.0
"""Before the line: when the run is read out on the out-lap."""


@dataclass(frozen=True)
class SheetCall:
    """One call: where it belongs and what is said; ``at_s`` orders the calls of a lap."""

    where: str
    text: str
    kind: CallClass
    at_s: float
    condition: str = ""


@dataclass(frozen=True)
class SheetLap:
    """One lap, or several that follow each other and have the same calls."""

    name: str
    kind: LapKind | None
    calls: tuple[SheetCall, ...]
    count: int = 1


class PlannedCalls:
    """Goes through a plan once, run after run; ask for its runs in their order."""

    def __init__(self, plan: Plan, around: Around) -> None:
        self.plan, self.around = plan, around
        self.states = PlanProgress(plan).runs
        self.lap_s = around.lap.lap_s if around.lap is not None else USUAL_LAP_S
        self.board: SwitchBoard | None = None
        if around.car is not None:
            self.board = SwitchBoard(around.car, plan, around.procedures, around.wet)
            self.stands: dict[str, Position] = dict(self.board.believed)

    def _check_list(self, state: RunState) -> str:
        """The switches that must be moved before this run leaves, ``torque map 3, brake bias 55``."""
        if self.board is None or not state.laps:
            held = {**self.plan.original(state.run).switches, **state.run.switches}
            return ", ".join(f"{name} {position_text(position)}" for name, position in held.items())
        wanted = self.board.wanted(state, 0)
        moved = self.board.changes(self.stands, wanted, parked=True)
        self.stands = self.board.wanted(state, 0 if state.out_in else len(state.laps) - 1)
        return ", ".join(f"{self._word(name)} {position_text(position)}" for name, position in moved.items())

    def _word(self, name: str) -> str:
        switch = self.board.known(name) if self.board is not None else None
        return name if switch is None else switch.word

    def laps(self, state: RunState) -> tuple[SheetLap, ...]:
        """The garage before a run, and its laps with their calls; laps in a row that have the same are one. On a pit
        board also what is asked in the garage once the car is back."""
        switches, asked = self._check_list(state), tuple(self._asked_back(state))
        back = (SheetLap(BACK, None, asked),) if asked else ()
        if not switches:
            return (*self._driven(state), *back)
        call = SheetCall("switches", f"Set {switches}.", "switch", 0.0)
        return (SheetLap(GARAGE, None, (call,)), *self._driven(state), *back)

    def _driven(self, state: RunState) -> tuple[SheetLap, ...]:
        if not state.laps:
            return (SheetLap("after the flag", None, tuple(self._block(state))),)
        calls: list[list[SheetCall]] = [[] for _ in state.laps]
        for lap, call in self._all(state):
            calls[0 if state.out_in else lap].append(call)
        if state.out_in:
            return (SheetLap("out-in", "out", _in_order(calls[0])),)
        return _joined(state, [_in_order(one) for one in calls])

    def _all(self, state: RunState) -> Iterator[tuple[int, SheetCall]]:
        if self.plan.medium == "board" and self.board is not None and state.laps:
            yield from self._on_boards(state)
            return
        yield from self._of_items(state)
        yield from self._of_switches(state)
        yield from self._of_the_run(state)

    # -- a pit board ---------------------------------------------------------------------------------------------------

    def _on_boards(self, state: RunState) -> Iterator[tuple[int, SheetCall]]:
        """What is told in the garage, and the board of each pass: it hangs as the car begins that lap."""
        for item in state.items:
            procedure = self.around.procedures.get(item.item.do)
            for step in procedure.steps if procedure is not None else ():
                of_the_out_lap = item.leg == 0 or state.out_in
                if of_the_out_lap and (not asks(step) or step.where in STANDING):
                    yield 0, self._told_before(item, procedure, step)
                elif item.leg == 1 and not state.out_in and as_it_begins(step):
                    yield 0, self._told_before(item, procedure, step, AFTER_THE_OUT_LAP)
        if state.out_in:
            yield 0, SheetCall(GARAGE, STRAIGHT_IN, "box", GARAGE_S)
            return
        yield from self._first_line(state)
        index = self.states.index(state)
        laid_out = [one for one in passes(self.plan, self.around) if one.run == index]
        shown = {one.lap: [line for board in one.hung for line in board.lines] for one in laid_out}
        laps = board_parts(laps_in_turn(state.laps).split(", "))
        beside = [board for one in laid_out if one.lap == 1 for board in one.hung]
        alone = all(board.rank in (SWITCH, OTHER) for board in beside)  # else it speaks of another lap than they do
        if laps is not None and alone and len(shown.get(1, [])) + len(laps) <= MOST_LINES:
            shown.setdefault(1, []).extend(laps)
        for late in (board for one in laid_out for board in one.left if board.timed is not None):
            lines = shown.setdefault(late.timed or 0, [])  # at the line of the lap that begins without it
            lines += late.lines if len(lines) + len(late.lines) <= MOST_LINES else ()
        for lap, lines in shown.items():
            yield lap, SheetCall(PIT_WALL, " / ".join(lines), "box" if "BOX" in lines else "run", 0.0)

    def _told_before(self, item: ItemState, procedure: Procedure | None, step: Step, when: str = "") -> SheetCall:
        assert procedure is not None
        try:
            own = item_arguments(procedure, item)
            text = f"{when}{fill(step.short, own)}." if when else fill(step.say, own)
        except UserError:  # the checks tell which word is missing
            text = item_words(item.item, procedure)
        return SheetCall(GARAGE, text, step.kind, GARAGE_S, _waits(item.item))

    def _asked_back(self, state: RunState) -> Iterator[SheetCall]:
        """What nobody can ask on track (``engine/rules/back_in_the_garage.py``)."""
        for item in state.items if self.plan.medium == "board" and state.laps else ():
            procedure = self.around.procedures.get(item.item.do)
            if procedure is not None:
                yield from (self._told_before(item, procedure, step) for step in procedure.steps
                            if step.kind == "question")

    def _first_line(self, state: RunState) -> Iterator[tuple[int, SheetCall]]:
        """The changes at the first line: no board comes before it."""
        assert self.board is not None
        was, wanted = self.board.wanted(state, 0), self.board.wanted(state, 1)
        words = [self._switch_words(name, to, was) for name, to in self.board.changes(was, wanted).items()]
        if words:
            yield 0, SheetCall(GARAGE, f"{ON_THE_OUT_LAP}{', '.join(words)}.", "switch", GARAGE_S)

    # -- items ---------------------------------------------------------------------------------------------------------

    def _of_items(self, state: RunState) -> Iterator[tuple[int, SheetCall]]:
        begun: set[int] = set()
        for item in sorted(state.items, key=lambda one: one.leg):
            procedure = self.around.procedures.get(item.item.do)
            condition = _waits(item.item)
            first = item.number not in begun
            begun.add(item.number)
            if procedure is None:
                yield item.leg, SheetCall("", item_words(item.item), "procedure", 0.5 * self.lap_s, condition)
                continue
            for step in procedure.steps:
                if step.repeat == "each_lap" or first:
                    yield self._step(state, item, procedure, step, condition)

    def _step(
        self, state: RunState, item: ItemState, procedure: Procedure, step: Step, condition: str
    ) -> tuple[int, SheetCall]:
        try:
            text = fill(self._words(state, item, step), item_arguments(procedure, item))
        except UserError:  # the checks tell which word is missing
            text = item_words(item.item, procedure)
        if item.item.times > 1:
            text = f"{text} ({item.item.times} times)"
        where, at_s = self._place(state, item, step)
        leg = item.leg
        ready_s = at_s - step.reaction_s - spoken_s(text, self.around.calls.words_per_minute)
        if step.where == "lap_start" and leg > 0 and ready_s < 0 and self.plan.may_say(step.kind, state.laps[leg - 1]):
            # The driver acts as the lap begins: it is said on the lap before.
            leg, where, at_s = leg - 1, BEFORE_LINE, self._length_s(state, leg - 1) + ready_s
        return leg, SheetCall(where, text, step.kind, at_s, condition)

    def _words(self, state: RunState, item: ItemState, step: Step) -> str:
        before = state.laps[item.leg - 1] if item.leg and state.laps else None
        silent = before is not None and not self.plan.may_say(step.kind, before)
        return step.say_begun if step.say_begun is not None and silent else step.say

    def _place(self, state: RunState, item: ItemState, step: Step) -> tuple[str, float]:
        length_s = self._length_s(state, item.leg)
        named = item.item.after or item.item.at
        lap = self.around.lap
        if step.where == "place" and named is not None:
            try:
                phase = lap.phase_of(named) if lap is not None else 0.5
            except UserError:
                phase = 0.5
            return named, phase * length_s + step.offset_s
        entry_s = (lap.pit_entry if lap is not None else 0.95) * length_s
        places = {
            "garage": (GARAGE, -90.0), "pit_exit": (PIT_EXIT, -1.0), "pit_entry": (PIT_ENTRY, entry_s),
            "lap_start": (LINE if item.leg or state.out_in else PIT_EXIT, 0.0), "lap_end": (BEFORE_LINE, length_s),
            "pit_lane": (PIT_LANE, entry_s + 5.0 if state.laps[item.leg] == "in" else -30.0),
        }  # fmt: skip
        where, at_s = places.get(step.where, ("", 0.5 * length_s))
        at_s += step.offset_s
        if step.where == "lap_start" and step.offset_s > 0:
            where = f"{where} + {step.offset_s:g} s"
        return where, at_s

    def _length_s(self, state: RunState, leg: int) -> float:
        return (LAP_FACTORS["installation"] if state.out_in else LAP_FACTORS[state.laps[leg]]) * self.lap_s

    def _block(self, state: RunState) -> Iterator[SheetCall]:
        """Items after the flag."""
        for item in state.items:
            place, many = item.item.at or PIT_EXIT, item.item.times
            name = item.item.do.replace("_", " ")
            what = f"{count_word(many)} {name}{'s' if many > 1 else ''}"
            yield SheetCall(place, told_at(place, what), "procedure", 0.0)

    # -- switches and the run itself -----------------------------------------------------------------------------------

    def _of_switches(self, state: RunState) -> Iterator[tuple[int, SheetCall]]:
        if self.board is None or state.out_in:
            return
        needed = [self.board.wanted(state, leg) for leg in range(len(state.laps))]
        for leg, (was, wanted) in enumerate(itertools.pairwise(needed)):
            changes = self.board.changes(was, wanted)
            if not changes:
                continue
            words = ", ".join(self._switch_words(name, position, was) for name, position in changes.items())
            if state.laps[leg + 1] != "timed" and self.plan.changes_wait(state.laps[leg]):
                yield leg + 1, SheetCall(LINE, _sentence(words), "switch", 1.0)
            else:
                # "Before the line:" and "Now:" are said as well; here "lap end" and "line" stand beside it.
                yield leg, SheetCall(BEFORE_LINE, _sentence(words), "switch", self._length_s(state, leg) - 8.0)

    def _switch_words(self, name: str, position: Position, was: Mapping[str, Position]) -> str:
        switch = self.board.known(name) if self.board is not None else None
        return name if switch is None else switch_words(switch, position, was.get(name))[0]

    def _of_the_run(self, state: RunState) -> Iterator[tuple[int, SheetCall]]:
        last = len(state.laps) - 1
        if not state.out_in:
            yield 0, SheetCall(BEFORE_LINE, laps_told(state.timed_wanted, state.laps.count("cool")), "run",
                               self._length_s(state, 0) - LAPS_TOLD_S)
        for leg, kind in enumerate(state.laps[1:], start=1):
            before = state.laps[leg - 1]
            if kind == "cool" and before != "cool" and not self._told_by_an_item(state, leg):
                yield leg, SheetCall(LINE, COOL_NOW, "run", 1.0)
            if kind == "timed" and before == "cool":
                yield leg - 1, SheetCall(BEFORE_LINE, PUSH_AGAIN, "run", self._length_s(state, leg - 1) - 5.0)
        entry = self.around.lap.last_chance if self.around.lap is not None else 0.93
        length_s = self._length_s(state, last)
        yield last, SheetCall(LINE if last and not state.out_in else PIT_EXIT, BOX, "box", 0.5)
        yield last, SheetCall(PIT_ENTRY, BOX_AGAIN, "box", entry * length_s - 4.0)

    def _told_by_an_item(self, state: RunState, leg: int) -> bool:
        own = (self.around.procedures.get(item.item.do) for item in state.items if item.leg == leg)
        return any(procedure is not None and makes_it_a_cool_lap(procedure) for procedure in own)


def _waits(item: Item) -> str:
    """``not before 20:00, once brake_bedding is done``; nothing for an item that waits for nothing."""
    if item.when is None:
        return ""
    parts = [] if item.when.not_before is None else [f"not before {clock_text(item.when.not_before)}"]
    parts += [] if item.when.after_item is None else [f"once {item.when.after_item} is done"]
    return f"{', '.join(parts)}; else on a later lap"


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}."


def _in_order(calls: list[SheetCall]) -> tuple[SheetCall, ...]:
    return tuple(sorted(calls, key=lambda call: call.at_s))


def _joined(state: RunState, calls: list[tuple[SheetCall, ...]]) -> tuple[SheetLap, ...]:
    found: list[tuple[int, int]] = []
    for leg, kind in enumerate(state.laps):
        if found and state.laps[found[-1][1]] == kind and calls[found[-1][1]] == calls[leg]:
            found[-1] = (found[-1][0], leg)
        else:
            found.append((leg, leg))
    return tuple(SheetLap(_name(state, first, last), state.laps[first], calls[first], last - first + 1)
                 for first, last in found)


def _name(state: RunState, first: int, last: int) -> str:
    """``out``, ``timed 1``, ``timed 2-4``, ``cool``; numbered only where there are several."""
    kind = state.laps[first]
    if state.laps.count(kind) == 1:
        return kind
    numbers = [state.laps[: leg + 1].count(kind) for leg in (first, last)]
    return f"{kind} {numbers[0]}" if first == last else f"{kind} {numbers[0]}-{numbers[1]}"
