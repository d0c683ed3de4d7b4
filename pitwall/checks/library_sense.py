"""A procedure whose parts are each sound and make no sense together: told twice, never called, never seen as done."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence

from pitwall.checks.codes import finding
from pitwall.checks.items import blank
from pitwall.errors import FilePath, Finding
from pitwall.model.car import Car, Switch, position_text
from pitwall.model.plan import LapKind
from pitwall.model.procedure import Argument, Procedure, Where
from pitwall.radio.library import procedure_phrases, switch_positions
from pitwall.track.lapmap import LapMap

NUMBERS = ("number", "whole")


def check_steps(procedure: Procedure) -> Iterator[Finding]:
    """The same words for the same moment; said again elsewhere on the lap they are another call."""
    first: dict[tuple[str, str, float], int] = {}
    for index, step in enumerate(procedure.steps):
        told = first.setdefault((" ".join(step.say.casefold().split()), step.where, step.offset_s), index)
        if told != index:
            yield finding("PW145", path=("steps", index), expected="words or a moment of its own",
                          found=f"step {index + 1}, which says what step {told + 1} says")


LAPS_WITH: Mapping[Where, tuple[LapKind, ...]] = {
    "pit_exit": ("out", "installation"), "pit_entry": ("in", "installation"),
    "pit_lane": ("out", "in", "installation"), "garage": ("out", "in", "installation"),
    "lap_end": ("out", "timed", "cool"),
}
"""Where a step may be, and the laps that have it; every lap has its start and, as far as it is driven, its places."""


def check_where(procedure: Procedure) -> Iterator[Finding]:
    """A step at a place that no lap of the procedure has; without 'laps' it may be done on any."""
    for index, step in enumerate(procedure.steps):
        having = LAPS_WITH.get(step.where)
        if having is not None and procedure.laps and not set(having) & set(procedure.laps):
            yield finding("PW148", path=("steps", index, "where"), expected=f"laps such as {', '.join(having)}",
                          found=f"'where: {step.where}' of a procedure for laps {', '.join(procedure.laps)}")


def check_types(procedure: Procedure, cars: Sequence[tuple[str, Car]]) -> Iterator[Finding]:
    """Arguments that are taken for a figure or for the name of a switch, and are of another type. One that can only be
    what is taken is as good."""
    hold, uses = procedure.hold, list[tuple[str | float | None, str, tuple[str, ...]]]()
    if hold is not None:
        uses += [(value, "a figure of the hold", NUMBERS) for value in (hold.seconds, hold.speed()[1], hold.gear)]
    if procedure.by is not None:
        uses += [(procedure.by, "the step of a switch", NUMBERS), ("switch", "the name of a switch", ("switch",))]
    uses += [(blank(name), "the name of a switch", ("switch",)) for name in procedure.switches]
    told: set[str] = set()
    for name, use, types in uses:
        known = procedure.arguments.get(name) if isinstance(name, str) else None
        if known is None or known.type in types or str(name) in told or _only_such(known, types, cars):
            continue
        told.add(str(name))
        yield finding("PW149", path=("arguments", str(name), "type"), expected=" or ".join(f"'{one}'" for one in types),
                      found=f"type {known.type!r} of argument {name!r}, which is {use}")


def _only_such(argument: Argument, types: tuple[str, ...], cars: Sequence[tuple[str, Car]]) -> bool:
    """Guard: each of the few values that it may have is a number, or the name of a switch that all cars have."""
    if types == NUMBERS:
        fit = [isinstance(one, int | float) and not isinstance(one, bool) for one in argument.one_of]
    else:
        fit = [car.switch(str(one)) is not None for one in argument.one_of for _, car in cars]
    return bool(fit) and all(fit)


def check_orders(procedure: Procedure, cars: Sequence[tuple[str, Car]]) -> Iterator[Finding]:
    """One text that puts one switch into two positions: 'flap open, then flap closed', or '... then closed'. A question
    may name both: it orders nothing."""
    switches = {switch.word.casefold(): switch for _, car in cars for switch in car.switches}
    told: set[FilePath] = set()
    for phrase in procedure_phrases(procedure):
        _, step, key = phrase.source.rsplit(", ", 2)
        path: FilePath = ("steps", int(step.removeprefix("step ")) - 1, key)
        asks = phrase.kind == "question" or phrase.text.endswith("?")
        for switch in () if path in told or asks else switches.values():
            named = _positions_named(switch, phrase.text.casefold())
            if len(named) > 1:
                told.add(path)
                orders = " and ".join(f"'{switch.word} {one}'" for one in named)
                yield finding("PW135", path=path, found=f"{phrase.text!r}: it holds both {orders}: opposite orders",
                              expected="one order a call: what is under 'switches' is put back by a call of its own")


def _positions_named(switch: Switch, text: str) -> list[str]:
    """The positions of this switch that a text (in small letters) orders, in their order."""
    word = switch.word.casefold()
    if word not in text:
        return []
    positions = {position_text(one).casefold() for one in switch_positions(switch)}
    either = "|".join(sorted(map(re.escape, positions), key=len, reverse=True))
    # A second position without the word is one where the clause ends behind it: "torque 3, then 5 laps" has none.
    second = rf"(?:,? (?:and then|then|and) ({either})(?=[,;]|\.(?!\d)|$))?"
    order = rf"\b{re.escape(word)}(?: to| at)? ({either}){second}(?!\w|\.\d)"
    return list(dict.fromkeys(one for found in re.findall(order, text) for one in found if one))


def check_evidence(procedure: Procedure) -> Iterator[Finding]:
    """What counts as done, where nothing of the procedure can show it."""
    asked = bool(procedure.feedback) or any(step.kind == "question" or "?" in step.say for step in procedure.steps)
    moved = bool(procedure.switches) or procedure.by is not None
    for index, evidence in enumerate(procedure.done_when):
        if evidence == "comment" and not asked:
            yield finding("PW146", path=("done_when", index), found="'comment', and no step asks for one",
                          expected="a step with 'kind: question', or 'feedback'")
        if evidence == "switch" and not moved:
            yield finding("PW146", path=("done_when", index), found="'switch', and no switch is changed",
                          expected="the switch and its position under 'switches', or 'by'")


def check_room_behind(procedure: Procedure, lap: LapMap | None) -> Iterator[Finding]:
    """Who is to have a whole lap free behind has it only when alone on the track."""
    if lap is not None and procedure.clear_behind_s >= lap.lap_s:
        yield finding("PW147", path=("clear_behind_s",), found=f"{procedure.clear_behind_s:g} s",
                      expected=f"less than a lap of {lap.circuit}, {lap.lap_s:.0f} s")
