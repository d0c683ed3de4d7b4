"""A procedure whose parts are each sound and make no sense together: told twice, never called, never seen as done."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from pitwall.checks.codes import finding
from pitwall.errors import FilePath, Finding
from pitwall.model.car import Car, Switch, position_text
from pitwall.model.procedure import Procedure
from pitwall.radio.library import procedure_phrases, switch_positions
from pitwall.track.lapmap import LapMap


def check_steps(procedure: Procedure) -> Iterator[Finding]:
    """The same words for the same moment; said again elsewhere on the lap they are another call."""
    first: dict[tuple[str, str, float], int] = {}
    for index, step in enumerate(procedure.steps):
        told = first.setdefault((" ".join(step.say.casefold().split()), step.where, step.offset_s), index)
        if told != index:
            yield finding("PW145", path=("steps", index), expected="words or a moment of its own",
                          found=f"step {index + 1}, which says what step {told + 1} says")


def check_orders(procedure: Procedure, cars: Sequence[tuple[str, Car]]) -> Iterator[Finding]:
    """One text that puts one switch into two positions: 'flap open, then flap closed', or '... then closed'."""
    switches = {switch.word.casefold(): switch for _, car in cars for switch in car.switches}
    told: set[FilePath] = set()
    for phrase in procedure_phrases(procedure):
        _, step, key = phrase.source.rsplit(", ", 2)
        path: FilePath = ("steps", int(step.removeprefix("step ")) - 1, key)
        for switch in () if path in told else switches.values():
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
