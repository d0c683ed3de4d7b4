"""What changed from run to run, what cannot both be true, what is still complained of; and what was changed between.

A comment is set against the car as it was on the last timed lap before it: on the cool-down lap on which the driver
speaks, switches may stand elsewhere already.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from pitwall.comments.finding import OPPOSITES
from pitwall.comments.matrix import all_said, by_speed, matrices, place_words
from pitwall.model.car import position_text
from pitwall.model.comment_rows import Between, CommentChange, CommentFindings, Contradiction, Direction, Said
from pitwall.model.comments import CONTENT, Comment, Remark, SpeedClass
from pitwall.model.debrief_rows import LapRow, SwitchMove
from pitwall.model.plan import Scalar

FUEL_TOLD_KG = 3.0  # less than this is the burn of a lap or two (common practice, no source)
Topic = tuple[object, ...]


@dataclass(frozen=True)
class History:
    """What is known of the car over the session: laps, and the moves of its switches, each in order."""

    laps: Sequence[LapRow] = ()
    moves: Sequence[SwitchMove] = ()

    def lap_of(self, said: Said) -> LapRow | None:
        """The lap that a comment is about: the timed one on which it was made, else the last one before it."""
        timed = [lap for lap in self.laps if lap.kind == "timed" and lap.start_s <= said.t
                 and said.run in (None, lap.run)]  # fmt: skip
        named = next((lap for lap in timed if lap.number == said.lap_number), None)
        return named or (timed[-1] if timed else None)

    def moment_of(self, said: Said) -> float:
        """A session second at which the car was as it is commented on."""
        lap = self.lap_of(said)
        return said.t if lap is None else min(said.t, 0.5 * (lap.start_s + lap.end_s))


def findings(
    comments: Iterable[Comment], laps: Sequence[LapRow] = (), moves: Sequence[SwitchMove] = (),
    classes: Mapping[int, SpeedClass] = MappingProxyType({}),
) -> CommentFindings:
    """All that the comments of one car say together.

    Args:
        comments: as they stand, in any order.
        laps: the car's laps in order; without them tyres and fuel between two comments are not told.
        moves: first where each switch stood, then every move, in order.
        classes: the speed class of each turn, as far as it is known.
    """
    said, history = all_said(comments), History(laps, moves)
    return CommentFindings(
        said=said, matrices=matrices(said), by_speed=by_speed(said, classes), changes=tuple(_changes(said, history)),
        contradictions=tuple(_contradictions(said, history)), open=open_complaints(said),
    )  # fmt: skip


def _topic(one: Said) -> Topic:
    """Who, where, and of what: comments of one topic can be compared."""
    remark = one.remark
    axle = None if remark.about == "balance" else remark.axle
    return (one.driver, remark.turn, remark.speed, remark.phase, remark.about, axle)


def _by_topic(said: Sequence[Said]) -> dict[Topic, list[Said]]:
    found: dict[Topic, list[Said]] = {}
    for one in said:
        found.setdefault(_topic(one), []).append(one)
    return found


def _place(remark: Remark) -> str:
    return " ".join([place_words(remark), *([remark.phase] if remark.phase is not None else [])])


# -- from run to run ------------------------------------------------------------------------------------------------


def _changes(said: Sequence[Said], history: History) -> Iterator[CommentChange]:
    found = []
    for own in _by_topic(said).values():
        last = [own[at] for at in range(len(own)) if at + 1 == len(own) or own[at + 1].run != own[at].run]
        for before, after in itertools.pairwise(last):
            direction, evidence = _direction(before.remark, after.remark)
            found.append(CommentChange.model_validate({
                "place": _place(after.remark), "before": before, "after": after, "direction": direction,
                "evidence": evidence, "between": tuple(_between(before, after, history)),
            }))  # fmt: skip
    yield from sorted(found, key=lambda change: (change.after.t, change.after.comment))


def _direction(before: Remark, after: Remark) -> tuple[Direction, str]:
    """Which way it went, and on what that rests: findings go before severities, the driver's own word comes last."""
    gone = "gone" in (before.trend, after.trend)
    if before.what is not None and after.what is not None and before.what != after.what and not gone:
        if after.what in CONTENT:
            return "better", "finding"
        return ("worse" if before.what in CONTENT else "other"), "finding"
    if before.severity is not None and after.severity is not None and before.what == after.what:
        gain = before.severity - after.severity
        return ("better" if gain > 0 else "worse" if gain < 0 else "same"), "severity"
    if after.trend is None:
        return "same", "finding"
    return ("better" if after.trend == "gone" else after.trend), "said"


# -- what was changed between two comments ----------------------------------------------------------------------------


def _between(before: Said, after: Said, history: History) -> Iterator[Between]:
    first, second = history.lap_of(before), history.lap_of(after)
    if first is not None and second is not None and first is not second:
        yield from _tyres_and_fuel(first, second)
    was, now = (_positions(history.moves, history.moment_of(one)) for one in (before, after))
    for switch, (word, position) in now.items():
        old = was.get(switch, (word, position))[1]
        if old != position:
            text = f"{word} {position_text(old)} to {position_text(position)}"
            yield Between(kind="switch", name=switch, before=old, after=position, text=text)


def _positions(moves: Sequence[SwitchMove], t: float) -> dict[str, tuple[str, Scalar]]:
    found: dict[str, tuple[str, Scalar]] = {}
    for move in moves:
        if move.t <= t or (move.before is None and move.switch not in found):
            found[move.switch] = (move.word, move.position)
    return found


def _tyres_and_fuel(first: LapRow, second: LapRow) -> Iterator[Between]:
    if first.tyres != second.tyres:
        names = [f"{lap.tyres or 'unknown'}{f' ({lap.compound})' if lap.compound else ''}" for lap in (first, second)]
        yield Between(kind="tyres", name="tyres", before=first.tyres, after=second.tyres,
                      text=f"tyres {names[0]} to {names[1]}")
    ages = (first.tyre_laps, second.tyre_laps)
    if ages[0] is not None and ages[1] is not None and ages[0] != ages[1]:
        yield Between(kind="tyre_laps", name="tyre laps", before=ages[0], after=ages[1],
                      text=f"tyres {ages[0]} to {ages[1]} laps old")
    loads = (first.fuel_kg, second.fuel_kg)
    if loads[0] is not None and loads[1] is not None and abs(loads[0] - loads[1]) >= FUEL_TOLD_KG:
        yield Between(kind="fuel", name="fuel", before=round(loads[0], 1), after=round(loads[1], 1),
                      text=f"fuel {loads[0]:.0f} to {loads[1]:.0f} kg")


# -- what cannot both be true -----------------------------------------------------------------------------------------


def _contradictions(said: Sequence[Said], history: History) -> Iterator[Contradiction]:
    for own in _by_topic(said).values():
        for at, first in enumerate(own):
            for second in own[at + 1 :]:
                why = _against(first.remark, second.remark) if first.run == second.run else ""
                if first.comment == second.comment and _praises_one(first, second):
                    why = ""  # "brakes cold, then ok" in one breath: it became so
                if why:
                    yield Contradiction(place=_place(first.remark), first=first, second=second, why=why,
                                        between=tuple(_between(first, second, history)))


def _praises_one(first: Said, second: Said) -> bool:
    return (first.remark.what in CONTENT) != (second.remark.what in CONTENT)


def _against(first: Remark, second: Remark) -> str:
    """Why the two cannot both hold; empty where they can."""
    if "gone" in (first.trend, second.trend):
        return ""  # what is no more contradicts nothing
    pair = (first.what, second.what)
    if set(pair) in OPPOSITES:
        return f"{pair[0]} and {pair[1]}"
    if None not in pair and (pair[0] in CONTENT) != (pair[1] in CONTENT):
        words = [str(what).replace("_", " ") for what in pair]
        return f"{words[0]} and {words[1]} of {first.about}"
    return ""


# -- what is still complained of --------------------------------------------------------------------------------------


def open_complaints(said: Sequence[Said]) -> tuple[Said, ...]:
    """The last word on each thing where that is a complaint, the worst first.

    Less of it is still a complaint; what is gone is none, and gone from a turn it is gone from all phases of it.
    """
    found, topics = [], _by_topic(said)
    for topic, its_own in topics.items():
        driver, turn, speed, phase, *of_what = topic
        whole = topics.get((driver, turn, speed, None, *of_what), []) if phase is not None else []
        worded = [one for one in its_own if one.remark.what is not None] or its_own[-1:]
        counted = {id(one) for one in (*worded, *(one for one in whole if one.remark.trend == "gone"))}
        last: Said | None = None
        for one in (one for one in said if id(one) in counted):
            if one.remark.trend != "gone":
                last = one
            elif last is not None and last.remark.what == one.remark.what:
                last = None  # what else was said there last is not open for that
        if last is not None and last.remark.complaint:
            found.append(last)
    return tuple(sorted(found, key=lambda one: (-(one.remark.severity or 0), one.t, one.comment, one.words)))
