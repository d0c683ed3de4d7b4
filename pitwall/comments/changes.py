"""What changed from run to run, what cannot both be true, what is still complained of; and what was changed between.

A comment is set against the car as it was on the last timed lap before it: on the cool-down lap on which the driver
speaks, switches may stand elsewhere already. A run without timed laps (a check, an out-and-in) has its other laps.
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
        """The lap that a comment is about: the timed one on which it was made, else the last one before it. Where its
        run had no timed lap by then, the last of the others: tyres and fuel are known of those too."""
        driven = [lap for lap in self.laps if lap.start_s <= said.t and said.run in (None, lap.run)
                  and (said.lap_number is None or lap.number <= said.lap_number)]  # fmt: skip
        timed = [lap for lap in driven if lap.kind == "timed"]
        return next(reversed(timed or driven), None)

    def moment_of(self, said: Said) -> float:
        """A session second at which the car was as it is commented on."""
        lap = self.lap_of(said)
        if lap is None:
            return said.t
        return min(said.t, 0.5 * (lap.start_s + lap.end_s) if lap.kind == "timed" else lap.end_s)


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
    said, history = all_said(comments, laps), History(laps, moves)
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
        last = [_with_what_it_equals(own, at) for at in range(len(own))
                if at + 1 == len(own) or own[at + 1].run != own[at].run]
        for (before, stood), (after, stands) in itertools.pairwise(last):
            direction, evidence = _direction(stood, stands)
            if direction == "same" and stands is not after.remark:
                evidence = "said"
            found.append(CommentChange.model_validate({
                "place": _place(after.remark), "before": before, "after": after, "direction": direction,
                "evidence": evidence, "between": tuple(_between(before, after, history)),
            }))  # fmt: skip
    yield from sorted(found, key=lambda change: (change.after.t, change.after.comment))


def _with_what_it_equals(own: Sequence[Said], at: int) -> tuple[Said, Remark]:
    """What was said, and what it says: ``same as before`` has the finding and the severity of what was before, said
    earlier of the same thing; it is read out with it."""
    one, remark = own[at], own[at].remark
    if remark.trend != "same" or remark.severity is not None:
        return one, remark
    for earlier in (other.remark for other in reversed(own[:at])):
        if earlier.trend in ("better", "worse") and earlier.severity is None:
            break  # the same as what became better: how bad that was nobody said
        if earlier.what is not None and remark.what in (None, earlier.what):
            found = earlier.model_copy(update={"trend": "gone" if earlier.trend == "gone" else None})
            severity = "" if found.severity is None else f", severity {found.severity}"
            what = str(found.what).replace("_", " ") + (", gone" if found.trend == "gone" else severity)
            return one.model_copy(update={"words": f"{one.words} ({what})"}), found
    return one, remark


def _direction(before: Remark, after: Remark) -> tuple[Direction, str]:
    """Which way it went, and on what that rests: findings go before severities, the driver's own word comes last."""
    if before.trend == "gone" and after.trend is None and after.complaint:
        return "worse", "finding"  # it is back, or something else is there now
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
    """The last word on each thing where that is a complaint, the worst first; two complaints of one breath are both.

    Less of it is still a complaint; what is gone is none. Gone from a turn it is gone from all phases of it, and gone
    from the car as a whole it is gone from every place.
    """
    found = []
    for its_own in _by_topic(said).values():
        worded = [one for one in its_own if one.remark.what is not None] or its_own[-1:]
        counted = {id(one) for one in (*worded, *(one for one in said if _ends(one, its_own[0])))}
        last: list[Said] = []
        for one in (one for one in said if id(one) in counted):
            others = [other for other in last if other.remark.what != one.remark.what]
            # What is gone leaves open what else was said there last.
            last = others if one.remark.trend == "gone" else [*(other for other in others if _beside(other, one)), one]
        found += [one for one in last if one.remark.complaint]
    return tuple(sorted(found, key=lambda one: (-(one.remark.severity or 0), one.t, one.comment, one.words)))


def _beside(first: Said, second: Said) -> bool:
    """Guard: said in one breath, and neither says that it is well: "brakes fading, pedal long" is two complaints."""
    return first.comment == second.comment and first.remark.complaint and second.remark.complaint


def _ends(gone: Said, one: Said) -> bool:
    """Said to be gone from where this was said, or from a wider place: the turn without a phase, or the whole car."""
    wide, narrow = gone.remark, one.remark
    if wide.trend != "gone" or gone.driver != one.driver or _topic(gone)[4:] != _topic(one)[4:]:
        return False
    everywhere = wide.turn is None and wide.speed is None
    return (everywhere or (wide.turn, wide.speed) == (narrow.turn, narrow.speed)) and (
        wide.phase in (None, narrow.phase))


def closed_by(comment: int, comments: Iterable[Comment]) -> tuple[Said, ...]:
    """What was open at a place, and is not since this comment said of the whole car that it is gone."""
    every = all_said(comments)
    gone = [one for one in every if one.comment == comment and one.remark.trend == "gone"
            and one.remark.turn is None and one.remark.speed is None]  # fmt: skip
    if not gone:
        return ()
    before = open_complaints([one for one in every if one.comment != comment])
    still = {_topic(one) for one in open_complaints(every)}
    return tuple(one for one in before if _topic(one) not in still and any(_ends(other, one) for other in gone)
                 and (one.remark.turn, one.remark.speed) != (None, None))
