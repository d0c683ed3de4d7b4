"""One hand on the wheel: where a switch really stands, what the wall believes, and what a call does to both.

A call that is *made* moves the switch, and the driver reads it back. A call that is *missed* moves nothing, in one of
three ways that differ in what the wall believes afterwards: it was read back and not done (nobody looks again), it was
perhaps said and nobody answered (the put-back stays owed), or it was plainly not said (the wall knows).
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from typing import Literal, NamedTuple

from pitwall.checks.flow.course import Part, Spot

Missing = Literal["read_back", "unanswered", "unsaid"]
MISSINGS: tuple[Missing, ...] = ("read_back", "unanswered", "unsaid")
NESTED = 3  # presets that set presets in a circle must come to an end


class Hand(NamedTuple):
    """One switch as it may stand.

    Attributes:
        stands: where it really is.
        told: where the driver was last told to have it; he may move a bias about this.
        believed: where the wall takes it to be.
        sure: was that read back or measured?
        owed: a put-back that is still owed at the next release check.
        moved: the position that was last asked for in this run and that is not the out-lap's.
        fresh: telemetry spoke of it on this lap.
    """

    stands: Spot
    told: Spot
    believed: Spot
    sure: bool = False
    owed: Spot | None = None
    moved: tuple[Spot, ...] = ()
    fresh: bool = False


Wheel = tuple[Hand, ...]


def at_start(parts: Sequence[Part], start: Sequence[Spot]) -> Wheel:
    """The wheel as the session opens; what is measured is known."""
    return tuple(Hand(stands, stands, stands, part.measured) for part, stands in zip(parts, start, strict=True))


def see(part: Part, hand: Hand) -> Hand:
    """Telemetry of a measured switch: the wall knows where it stands, and what is back is no longer owed."""
    if not part.measured:
        return hand
    owed = None if hand.owed == hand.stands else hand.owed
    return hand._replace(believed=hand.stands, sure=True, owed=owed)


def stir(part: Part, hand: Hand) -> Iterator[tuple[str | None, Hand]]:
    """What may happen to a switch on a lap without a call: nothing, the driver's free range, a page going home."""
    yield None, hand
    if part.free and isinstance(hand.told, float):
        for way in (-part.free, 0.0, part.free):
            there = round(min(max(hand.told + way, part.low), part.high), 6)
            if there != hand.stands:
                yield "free", see(part, hand._replace(stands=there, fresh=part.measured))
    if part.home is not None and hand.stands != part.home:
        yield "home", see(part, hand._replace(stands=part.home, told=part.home, fresh=part.measured))


def heard(parts: Sequence[Part], wheel: Wheel, index: int, target: Spot, release: bool, sure: bool) -> Wheel:
    """The wall takes a call as made: its belief follows for what is not measured, presets take along what they set."""
    changed = list(wheel)
    hand, part = changed[index], parts[index]
    if not release:
        hand = hand._replace(moved=tuple(sorted({*hand.moved, target}, key=str)))
    if not part.measured:
        hand = hand._replace(believed=target, sure=sure, owed=None if sure else hand.owed)
    changed[index] = hand
    if part.kind == "preset" and target != part.default and not part.measured:
        _spread(parts, changed, index)
    return tuple(changed)


def _spread(parts: Sequence[Part], wheel: list[Hand], index: int) -> None:
    for other, to in parts[index].sets:
        if not parts[other].measured:
            wheel[other] = wheel[other]._replace(believed=to, sure=False)


def act(parts: Sequence[Part], wheel: Wheel, index: int, target: Spot) -> Iterator[tuple[bool, Wheel]]:
    """The driver sets a switch. A preset let go may leave what it set, or put it at its default: (default?, wheel)."""
    hand, part = wheel[index], parts[index]
    moves = hand.stands != target
    changed = list(wheel)
    changed[index] = see(part, hand._replace(stands=target, told=target, fresh=part.measured or hand.fresh))
    if part.kind != "preset" or not moves:
        yield False, tuple(changed)
    elif target != part.default:
        if part.measured:
            _spread(parts, changed, index)
        yield False, _press(parts, tuple(changed), part.sets)
    else:
        yield False, tuple(changed)
        reset = _press(parts, tuple(changed), part.resets)
        if reset != tuple(changed):
            yield True, reset


def _press(parts: Sequence[Part], wheel: Wheel, targets: Sequence[tuple[int, Spot]], depth: int = 0) -> Wheel:
    changed = list(wheel)
    for other, to in targets:
        part, hand = parts[other], changed[other]
        moves = hand.stands != to
        changed[other] = see(part, hand._replace(stands=to, told=to, fresh=part.measured or hand.fresh))
        if part.kind == "preset" and moves and depth < NESTED:
            deeper = part.sets if to != part.default else part.resets
            changed = list(_press(parts, tuple(changed), deeper, depth + 1))
    return tuple(changed)


def orders(parts: Sequence[Part], indices: Sequence[int]) -> Iterator[tuple[int, ...]]:
    """The orders in which changes may be made; they matter only where a preset is among them. By name comes first."""
    if len(indices) > 1 and any(parts[index].kind == "preset" for index in indices):
        yield from itertools.permutations(indices)
    else:
        yield tuple(indices)
