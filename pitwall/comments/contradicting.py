"""What may be said of one place or of another, and what two remarks say of the very same: refused, never guessed.

    t7 mid us 3 better t4       is it better in turn 4, or was it better in turn 7, too
    t7 mid us t4                is it the middle of turn 4
    t4 us 3 t4 us 2             which of both
    us t4 entry and t7 exit     is turn 4 meant from entry to exit, and turn 7, too
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from pitwall.comments.group import Group
from pitwall.comments.reading import Reading
from pitwall.comments.splitting import Slip
from pitwall.model.comments import Remark

PLACE = ("turn", "phase", "speed", "everywhere")
OF_A_TURN = (("phase",), ("axle", "side", "corner"))
HOW_IT_GOES = ("trend", "amount")
NOW = ("now", "later", "still", "initially")


def says_of_which_place(found: Sequence[Group]) -> None:
    """Raise a slip where a remark without a comma names a place, says something, and names another, and what is said
    may be of either.

    How it goes, right before a place, may begin what is said of that place: ``t7 us better t4``. A corner phase is of
    the turn that it stands with, where the other turn stands beyond the finding: ``t7 mid us t4``. Only a finding and
    how bad it is are of both: ``t4 us 3 t7`` is how people write a list.
    """
    runs: list[list[Group]] = []
    said: Group | None = None
    parted = True
    for group in found:
        if group.part in ("filler", "aside"):
            continue
        if group.part not in PLACE:
            said, parted = group, True
            continue
        if parted and runs and said is not None and said.part in HOW_IT_GOES and said.form != "same":
            raise Slip(said.word, "a comma before what is said of the next place, or that last of all: it may be said"
                                  " of what stands before it, or behind")
        runs += [[]] if parted else []
        parted = False
        runs[-1].append(group)
    turns = [group for run in runs for group in run if group.turns and run is not runs[0]]
    if turns and any(group.turns for group in runs[0]) and any(one.part == "phase" for run in runs for one in run):
        raise Slip(turns[0].word, "a comma before this place, and which part of the corner it is")


def goes_with_its_turn(found: Sequence[Group]) -> None:
    """Raise a slip where turns take turns with what is told of each, a part of the corner or a wheel, without a comma:
    all of them would be said of all turns, ``lock fl t1 rr t10``."""
    for own in OF_A_TURN:
        runs: list[tuple[bool, Group]] = []
        for group in found:
            is_turn = bool(group.turns)
            if (is_turn or group.part in own) and (not runs or runs[-1][0] != is_turn):
                runs.append((is_turn, group))
        if len(runs) > 3:
            raise Slip(runs[2][1].word, "a comma before the next place, such as us t4 entry, t7 exit")


def at_a_time(reading: Reading) -> bool:
    """Guard: it says when it was, or that it is otherwise than what stands before it."""
    now = any(word.key in NOW for word in reading.piece.words)
    return now or reading.asides or reading.noted or reading.piece.then or reading.piece.contrast


def says_no_other(reading: Reading, now: Iterable[Remark], found: Iterable[Remark]) -> None:
    """Raise a slip where the same finding at the same place is said to be as bad, or to go, otherwise than before in
    this comment. Not where words tell that it was at another time: ``t4 us 3 lap 2, t4 us 2 lap 9``."""
    if at_a_time(reading):
        return
    earlier = list(found)
    for one in now:
        for other in earlier:
            if _same(one, other) and _contradict(one, other):
                word = next((reading.parts[part][1] for part in ("severity", "trend", "finding")
                             if part in reading.parts), reading.piece.words[0])
                raise Slip(word, "one of both, or when each was, such as on lap 2: that place was said to be otherwise")


def _same(one: Remark, other: Remark) -> bool:
    return all(getattr(one, name) == getattr(other, name)
               for name in ("turn", "phase", "speed", "about", "what", "axle", "side"))


def _contradict(one: Remark, other: Remark) -> bool:
    gone = {one.trend == "gone", other.trend == "gone"}
    return len(gone) > 1 or any(None not in pair and len(set(pair)) > 1 for pair in (
        (one.severity, other.severity), (one.trend, other.trend)))
